/*
 * mask.c - the global interrupt enable, and the longest stretch without it.
 */
#include "controller.h"

off_span longest_off;

void interrupts_set(uint8_t on, uint32_t pc)
{
	if (ctl.irq_on && !on) {
		ctl.off_since = ctl.now;
		ctl.off = (off_span){0, pc, ctl.context};
	} else if (on && !ctl.irq_on && ctl.off_since != NEVER && ctl.now - ctl.off_since > longest_off.cycles) {
		longest_off = ctl.off;
		longest_off.cycles = ctl.now - ctl.off_since;
	}
	ctl.irq_on = on;
}

void interrupts_reset(void)
{
	ctl.off_since = NEVER;
	ctl.irq_on = 0;
}
