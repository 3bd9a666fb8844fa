/*
 * mask.c - the global interrupt enable, and the longest stretch without it.
 */
#include "controller.h"

/* Of this stretch with interrupts off, and of the longest: for who measures, no state of the run. Before they
 * have first been on after a reset, nothing can be late. */
off_span longest_off;
static off_span off;
static int64_t off_since = NEVER;

void interrupts_set(uint8_t on, uint32_t pc)
{
	if (ctl.irq_on && !on) {
		off_since = ctl.now;
		off = (off_span){0, pc, ctl.context};
	} else if (on && !ctl.irq_on && off_since != NEVER && ctl.now - off_since > longest_off.cycles) {
		longest_off = off;
		longest_off.cycles = ctl.now - off_since;
	}
	ctl.irq_on = on;
}

void interrupts_reset(void)
{
	off_since = NEVER;
	ctl.irq_on = 0;
}
