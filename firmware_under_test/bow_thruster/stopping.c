/*
 * stopping.c - see stopping.h. Brake and listen in turn; a rotor that the water turns for longer
 * than BRAKE_LONGEST_MS is only listened to, as braking it would heat the windings for nothing.
 */
#include "stopping.h"

#include "bridge.h"
#include "commutation.h"
#include "drive_port.h"
#include "settings.h"
#include "standstill.h"

#define LISTENING 0U
#define BRAKING 1U

static uint8_t stage;
static uint8_t sure; /* braked after the last sign of turning */
static uint8_t ms_left;
static uint16_t braked_ms;

static void listen(void)
{
	uint8_t were_on = port_interrupts_off();

	bridge_open();
	port_interrupts_restore(were_on);
	stage = LISTENING;
	port_mark(PORT_MARK_COAST);
	standstill_begin();
	commutation_rest(LISTEN_EVERY_TICKS);
}

static void brake(uint8_t ms)
{
	if (braked_ms >= BRAKE_LONGEST_MS) {
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
	brake(BRAKE_FIRST_MS);
}

void stopping_check(void)
{
	braked_ms = 0U;
	sure = 1U;
	listen();
}

uint8_t stopping_beat(void)
{
	uint8_t answer;

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
		brake(BRAKE_AGAIN_MS);
	} else if (answer == STANDSTILL_STILL) {
		if (sure != 0U || braked_ms >= BRAKE_LONGEST_MS)
			return 1U;
		sure = 1U;
		brake(BRAKE_LAST_MS);
	}
	return 0U;
}
