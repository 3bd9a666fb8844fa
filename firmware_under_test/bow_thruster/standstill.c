/*
 * standstill.c - see standstill.h.
 *
 * The legs are looked at in turn. A look is a burst of votes that counts only if it is unanimous:
 * at rest the comparator shows its offset, always the same way, or without one the noise, which is
 * hardly ever of one mind. A turning rotor makes every leg change its mind twice in each electrical
 * turn.
 */
#include "standstill.h"

#include "drive_port.h"
#include "settings.h"
#include "steps.h"

#define UNKNOWN 2U

static uint8_t mind[LEGS];
static uint8_t leg;
static uint8_t looks;
static uint8_t changes;

void standstill_begin(void)
{
	mind[PORT_U] = UNKNOWN;
	mind[PORT_V] = UNKNOWN;
	mind[PORT_W] = UNKNOWN;
	leg = PORT_U;
	looks = 0U;
	changes = 0U;
	port_sense_select(leg);
}

uint8_t standstill_is_slow(void)
{
	return (uint8_t)(looks >= SLOW_LOOKS);
}

/* The answer lags the selection by 0.6 us, so each look ends by selecting the leg of the next. */
uint8_t standstill_look(void)
{
	uint8_t above = 0U;
	uint8_t k;

	for (k = 0U; k < LISTEN_VOTES; k++) {
		uint8_t were_on = port_interrupts_off();

		(void)port_ticks();
		(void)port_ticks();
		port_interrupts_restore(were_on);
		above = (uint8_t)(above + port_sense_above());
	}
	if (above == 0U || above == LISTEN_VOTES) {
		uint8_t now = (uint8_t)(above != 0U);

		if (mind[leg] != UNKNOWN && mind[leg] != now)
			changes++;
		mind[leg] = now;
	}
	leg = (leg == PORT_W) ? PORT_U : (uint8_t)(leg + 1U);
	port_sense_select(leg);

	looks++;
	if (changes >= LISTEN_CHANGES)
		return STANDSTILL_TURNING;
	return (looks >= LISTEN_LOOKS) ? STANDSTILL_STILL : STANDSTILL_LISTENING;
}
