/*
 * legs.c - from the firmware's command for a leg to its two FETs.
 *
 * Commands act at once. With one input for each FET a chopped leg has its high FET on the carrier's
 * output and its low FET off (one-sided chopping on the high side).
 *
 * With a gate driver that has one input and one enable for each leg, a chopped leg's input is the
 * carrier's output: the low FET is on where the high one is not. The driver turns a FET off at once and
 * the other on by its dead time later, whatever has changed: carrier, command, enable.
 */
#include "controller.h"

/* What command and carrier say for a leg: bit 0 its high FET, bit 1 its low FET. */
static uint8_t wanted_gate(int x, int64_t cycle)
{
	switch (ctl.leg[x]) {
	case PORT_LOW:
		return 2;
	case PORT_HIGH:
		return 1;
	case PORT_CHOPPED:
		if (carrier_output(x, cycle))
			return 1;
		return config->driver_dead_cycles > 0 ? 2 : 0;
	default:
		return 0;
	}
}

/* The same behind the driver. */
static uint8_t driven_gate(int x, int64_t cycle)
{
	uint8_t wanted = wanted_gate(x, cycle);
	if (config->driver_dead_cycles == 0)
		return wanted;
	if (wanted != ctl.wanted[x]) {
		ctl.wanted[x] = wanted;
		ctl.turn_on[x] = cycle + config->driver_dead_cycles;
	}
	return cycle >= ctl.turn_on[x] ? wanted : 0;
}

int64_t legs_next(void)
{
	int64_t next = NEVER;
	if (config->driver_dead_cycles == 0)
		return next;
	for (int x = 0; x < 3; x++)
		if (ctl.gate[x] != ctl.wanted[x] && ctl.turn_on[x] < next)
			next = ctl.turn_on[x];
	return next;
}

/* Bring the FETs to what commands, carriers and driver say at this cycle. */
void legs_drive(int64_t cycle, uint32_t pc, uint32_t caller)
{
	int changed = 0;
	for (int x = 0; x < 3; x++) {
		uint8_t gate = driven_gate(x, cycle);
		if (gate == ctl.gate[x])
			continue;
		if (!changed)
			bench_reach(cycle);
		ctl.gate[x] = gate;
		changed = 1;
		record((uint8_t)(SIGNAL_GATE + x), gate, cycle, pc, caller);
	}
	if (changed)
		bench_set_gates();
}

void legs_command(int leg, uint8_t state, uint32_t pc, uint32_t caller)
{
	if (ctl.leg[leg] == state)
		return;
	ctl.leg[leg] = state;
	record((uint8_t)(SIGNAL_LEG + leg), state, ctl.now, pc, caller);
}

void legs_release(int64_t cycle)
{
	for (int x = 0; x < 3; x++)
		legs_command(x, PORT_OPEN, 0, 0);
	legs_drive(cycle, 0, 0);
}
