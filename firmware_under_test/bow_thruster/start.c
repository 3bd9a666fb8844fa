/*
 * start.c - see start.h.
 *
 * The rotor is turned to a known place by two neighbouring patterns in turn, as one alone leaves a
 * rotor that happens to stand opposite to it where it is. Each has time for a rotor that lets go
 * late: one still on its way when the next pattern comes would be carried on by it. For the same
 * reason the second pattern begins with the current of the first: in its ramp from nothing such a
 * rotor would run freely for most of a turn.
 */
#include "start.h"

#include "bridge.h"
#include "commutation.h"
#include "drive_port.h"
#include "duty.h"
#include "settings.h"
#include "steps.h"

#define CHARGING 0U
#define ALIGNING 1U
#define RAMPING 2U

static uint8_t stage;
static uint8_t aligns_left;
static uint8_t ms_left;
static uint8_t ms_to_count;
static uint8_t step;
static uint8_t direction;

static void align(void)
{
	uint8_t were_on = port_interrupts_off();

	bridge_drive(step);
	port_interrupts_restore(were_on);
	ms_left = ALIGN_MS;
	ms_to_count = ALIGN_COUNT_MS;
}

/*
 * Low FETs charge what the high FETs' drivers live on, which listening with open legs may have
 * emptied. Later every off-time of the chopping does: the current flows through the low diode.
 */
void start_begin(uint8_t turning, uint8_t attempt)
{
	uint8_t were_on;

	direction = turning;
	step = ((attempt & 1U) != 0U) ? 0U : STEPS / 2U;
	stage = CHARGING;
	ms_left = PRECHARGE_MS;
	commutation_rest(TICKS_PER_MS);
	were_on = port_interrupts_off();
	bridge_brake();
	port_mark(PORT_MARK_PRECHARGE);
	port_interrupts_restore(were_on);
}

static void begin_aligning(void)
{
	uint8_t were_on = port_interrupts_off();

	stage = ALIGNING;
	aligns_left = ALIGNS;
	duty_set(ALIGN_DUTY_FIRST);
	align();
	port_mark(PORT_MARK_ALIGN);
	port_interrupts_restore(were_on);
}

/*
 * The ramp's first pattern is the very next one. The one after it would pull harder on a rotor that
 * stands as aligned, but one that still swings by 60 degrees would be half a turn behind and lost.
 */
static void ramp(void)
{
	stage = RAMPING;
	duty_set(RAMP_DUTY);
	port_mark(PORT_MARK_RAMP);
	commutation_ramp(step, direction);
}

void start_beat(void)
{
	if (stage == RAMPING)
		return;
	if (stage == CHARGING) {
		ms_left--;
		if (ms_left == 0U)
			begin_aligning();
		return;
	}
	ms_to_count--;
	if (ms_to_count == 0U) {
		ms_to_count = ALIGN_COUNT_MS;
		if (duty_now() < ALIGN_DUTY)
			duty_by(1);
	}
	ms_left--;
	if (ms_left != 0U)
		return;
	aligns_left--;
	if (aligns_left != 0U) {
		step = steps_next(step, direction);
		align();
	} else {
		ramp();
	}
}

void start_step(void)
{
	if (stage == RAMPING && duty_now() < RAMP_DUTY_LAST)
		duty_by(1);
}
