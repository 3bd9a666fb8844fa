/*
 * bridge.c - see bridge.h. Called once a step, up to 14 000 times a second.
 */
#include "bridge.h"

#include "drive_port.h"
#include "steps.h"

/* Two counts apart is more than one whole tick, 0.5 us, wherever within a tick the first was read. */
#define DEAD_TIME_TICKS 2U

#define NONE STEPS

static const uint8_t all_open[LEGS] = {PORT_OPEN, PORT_OPEN, PORT_OPEN};
static const uint8_t all_low[LEGS] = {PORT_LOW, PORT_LOW, PORT_LOW};
static const uint8_t pair_low[LEGS][LEGS] = {
	{PORT_OPEN, PORT_LOW, PORT_LOW},
	{PORT_LOW, PORT_OPEN, PORT_LOW},
	{PORT_LOW, PORT_LOW, PORT_OPEN},
}; /* by the leg that stays open */

static uint8_t driven = NONE;            /* which of the six patterns, */
static const uint8_t *rest = all_open; /* else this */

static void wait_dead_time(void)
{
	uint16_t start = port_ticks();

	while ((uint16_t)(port_ticks() - start) < DEAD_TIME_TICKS) {
	}
}

static void open_legs(uint8_t bits)
{
	if ((bits & 1U) != 0U)
		port_leg(PORT_U, PORT_OPEN);
	if ((bits & 2U) != 0U)
		port_leg(PORT_V, PORT_OPEN);
	if ((bits & 4U) != 0U)
		port_leg(PORT_W, PORT_OPEN);
}

static void close_legs(uint8_t bits, const uint8_t *wanted)
{
	if ((bits & 1U) != 0U)
		port_leg(PORT_U, wanted[PORT_U]);
	if ((bits & 2U) != 0U)
		port_leg(PORT_V, wanted[PORT_V]);
	if ((bits & 4U) != 0U)
		port_leg(PORT_W, wanted[PORT_W]);
}

/*
 * First open what has to change, then close what has to be closed. What that is, is found out before: from the
 * first leg that changes to the mark that says why, the bridge is not what was marked.
 */
static SELDOM void change_to(const uint8_t *wanted)
{
	const uint8_t *legs = (driven == NONE) ? rest : steps_pattern(driven);
	uint8_t opens = 0U;
	uint8_t closes = 0U;
	uint8_t bit = 1U;
	uint8_t leg;

	for (leg = 0U; leg < LEGS; leg++) {
		if (legs[leg] != wanted[leg]) {
			if (legs[leg] != PORT_OPEN)
				opens = (uint8_t)(opens | bit);
			if (wanted[leg] != PORT_OPEN)
				closes = (uint8_t)(closes | bit);
		}
		bit = (uint8_t)(bit << 1);
	}
	rest = wanted;
	driven = NONE;
	open_legs(opens);
	if ((opens & closes) != 0U)
		wait_dead_time();
	close_legs(closes, wanted);
}

void bridge_open(void)
{
	port_all_open();
	rest = all_open;
	driven = NONE;
	wait_dead_time();
}

void bridge_drive(uint8_t step)
{
	change_to(steps_pattern(step));
	driven = step;
}

/*
 * The leg that closes was open all through the step before, so no dead time is due. Its EMF has risen
 * then if it falls in the leg that opens now: it is the one to be driven high.
 */
void bridge_step(uint8_t step, uint8_t edge)
{
	uint8_t opens = steps_open_leg(step);
	uint8_t closes;

	if (driven == NONE) {
		bridge_drive(step);
		return;
	}
	closes = steps_open_leg(driven);
	port_leg(opens, PORT_OPEN);
	if (edge == PORT_FALLS_BELOW)
		port_leg(closes, PORT_CHOPPED);
	else
		port_leg(closes, PORT_LOW);
	driven = step;
}

void bridge_brake_pair(uint8_t step)
{
	change_to(pair_low[steps_open_leg(step)]);
}

/* Waits for its end, as a handler served in between would make the pulse longer. */
void bridge_pulse(uint8_t from, uint8_t to, uint16_t ticks)
{
	uint16_t start;

	port_leg(to, PORT_LOW);
	start = port_ticks();
	port_leg(from, PORT_HIGH);
	while ((uint16_t)(port_ticks() - start) < ticks) {
	}
	port_all_open();
}

void bridge_brake(void)
{
	change_to(all_low);
}
