/*
 * bridge.c - see bridge.h. Called once a step, up to 14 000 times a second.
 */
#include "bridge.h"

#include "drive_port.h"
#include "steps.h"

/* Two counts apart is more than one whole tick, 0.5 us, wherever within a tick the first was read. */
#define DEAD_TIME_TICKS 2U

static uint8_t leg_state[LEGS];

static const uint8_t all_low[LEGS] = {PORT_LOW, PORT_LOW, PORT_LOW};

static void wait_dead_time(void)
{
	uint16_t start = port_ticks();

	while ((uint16_t)(port_ticks() - start) < DEAD_TIME_TICKS) {
	}
}

/*
 * First open what has to change, then close what has to be closed. In the order of the steps the
 * leg that closes was open all through the step before, so no wait is due there.
 */
static void change_to(const uint8_t *wanted)
{
	uint8_t leg;
	uint8_t changes_fet = 0U;

	for (leg = 0U; leg < LEGS; leg++) {
		if (leg_state[leg] == wanted[leg] || leg_state[leg] == PORT_OPEN)
			continue;
		port_leg(leg, PORT_OPEN);
		leg_state[leg] = PORT_OPEN;
		if (wanted[leg] != PORT_OPEN)
			changes_fet = 1U;
	}
	if (changes_fet != 0U)
		wait_dead_time();
	for (leg = 0U; leg < LEGS; leg++) {
		if (leg_state[leg] == wanted[leg])
			continue;
		port_leg(leg, wanted[leg]);
		leg_state[leg] = wanted[leg];
	}
}

void bridge_open(void)
{
	port_all_open();
	leg_state[PORT_U] = PORT_OPEN;
	leg_state[PORT_V] = PORT_OPEN;
	leg_state[PORT_W] = PORT_OPEN;
	wait_dead_time();
}

void bridge_drive(uint8_t step)
{
	change_to(steps_pattern(step));
}

void bridge_brake_pair(uint8_t step)
{
	const uint8_t *driven = steps_pattern(step);
	uint8_t wanted[LEGS];
	uint8_t leg;

	for (leg = 0U; leg < LEGS; leg++)
		wanted[leg] = (uint8_t)((driven[leg] == PORT_OPEN) ? PORT_OPEN : PORT_LOW);
	change_to(wanted);
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
