/*
 * stopping.c - see stopping.h. Brake and listen in turn; a rotor that the water turns for longer
 * than BRAKE_LONGEST_MS is only listened to, as braking it would heat the windings for nothing, and caught if
 * it comes to turn the way that is asked for.
 */
#include "stopping.h"

#include "bridge.h"
#include "commutation.h"
#include "drive_port.h"
#include "settings.h"
#include "standstill.h"

#define LISTENING 0U
#define BRAKING 1U
#define CATCHING 2U
#define DRIVING 3U /* whatever came before */

static uint8_t stage;
static uint8_t sure; /* braked after the last sign of turning */
static uint8_t may_catch;
static uint8_t catching; /* direction */
static uint8_t ms_left;
static uint16_t braked_ms;

/* Once is said that the legs are open, however often it is begun anew. */
static void listen(void)
{
	uint8_t were_on = port_interrupts_off();

	bridge_open();
	if (stage == DRIVING || stage == BRAKING)
		port_mark(PORT_MARK_COAST);
	port_interrupts_restore(were_on);
	stage = LISTENING;
	standstill_begin();
	commutation_rest(LISTEN_EVERY_TICKS);
}

static void brake(uint8_t ms)
{
	if (braked_ms >= BRAKE_LONGEST_MS) {
		may_catch = 1U;
		listen();
		return;
	}
	commutation_brake();
	stage = BRAKING;
	ms_left = ms;
}

void stopping_begin(void)
{
	braked_ms = 0U;
	sure = 0U;
	may_catch = 0U;
	stage = DRIVING;
	brake(BRAKE_FIRST_MS);
}

void stopping_check(uint8_t was_at_rest)
{
	braked_ms = 0U;
	sure = was_at_rest;
	may_catch = 1U;
	stage = DRIVING;
	listen();
}

void stopping_not_caught(void)
{
	if (stage == CATCHING)
		brake(BRAKE_FIRST_MS);
}

uint8_t stopping_caught(void)
{
	return (stage == CATCHING) ? catching : 0U;
}

/* What is held or left alone counts as stopped. */
static uint8_t turning(uint8_t wanted)
{
	if (wanted != 0U && may_catch != 0U) {
		may_catch = 0U;
		stage = CATCHING;
		catching = wanted;
		commutation_catch(wanted);
		return 0U;
	}
	if (wanted != 0U && braked_ms >= BRAKE_HELD_MS && standstill_is_slow() != 0U)
		return 1U;
	if (wanted == 0U && braked_ms >= BRAKE_LONGEST_MS)
		return 1U;
	brake(BRAKE_AGAIN_MS);
	return 0U;
}

uint8_t stopping_beat(uint8_t wanted)
{
	uint8_t answer;

	if (stage == CATCHING)
		return 0U;
	if (stage == BRAKING) {
		ms_left--;
		braked_ms++;
		if (ms_left == 0U)
			listen();
		return 0U;
	}
	answer = standstill_look();
	if (answer == STANDSTILL_TURNING) {
		sure = 0U;
		return turning(wanted);
	} else if (answer == STANDSTILL_STILL) {
		if (sure != 0U || braked_ms >= BRAKE_LONGEST_MS)
			return 1U;
		sure = 1U;
		brake(BRAKE_LAST_MS);
	}
	return 0U;
}
