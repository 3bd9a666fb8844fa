/*
 * legs.c - from the firmware's command for a leg to its two FETs.
 *
 * Commands act at once. A chopped leg has its high FET on the carrier's output and its low FET off
 * (one-sided chopping on the high side).
 */
#include "controller.h"

/* Bring the FETs to what commands and carriers say at this cycle. */
void legs_drive(int64_t cycle, uint32_t pc, uint32_t caller)
{
	int changed = 0;
	for (int x = 0; x < 3; x++) {
		uint8_t gate = 0;
		if (ctl.leg[x] == PORT_LOW)
			gate = 2;
		else if (ctl.leg[x] == PORT_HIGH)
			gate = 1;
		else if (ctl.leg[x] == PORT_CHOPPED)
			gate = carrier_output(x, cycle);
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
