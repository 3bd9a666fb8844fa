/*
 * watchdog.c - resets the controller unless fed in time; runs on an oscillator of its own.
 *
 * 2048 cycles of 128 kHz, doubled up to nine times: 16 ms to 8 s, typical. After a reset by it the
 * watchdog stays on, at 16 ms, until the firmware turns it off.
 */
#include "controller.h"

#define SHORTEST_S 0.016

static int64_t timeout(void)
{
	return (int64_t)((double)(1U << ctl.watchdog_doublings) * SHORTEST_S * config->f_cpu_hz);
}

void watchdog_on(uint8_t doublings)
{
	ctl.watchdog_doublings = doublings > 9U ? 9U : doublings;
	ctl.watchdog_bites = ctl.now + timeout();
}

void watchdog_feed(void)
{
	if (ctl.watchdog_bites != NEVER)
		ctl.watchdog_bites = ctl.now + timeout();
}

void watchdog_off(void)
{
	ctl.watchdog_bites = NEVER;
}
