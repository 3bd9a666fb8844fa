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
	uint8_t wanted = doublings > 9U ? 9U : doublings;

	if (ctl.watchdog_bites == NEVER || wanted != ctl.watchdog_doublings)
		record(SIGNAL_WATCHDOG, (int32_t)(SHORTEST_S * 1000.0) << wanted, ctl.now, 0, 0);
	ctl.watchdog_doublings = wanted;
	ctl.watchdog_bites = ctl.now + timeout();
}

void watchdog_feed(void)
{
	if (ctl.watchdog_bites != NEVER)
		ctl.watchdog_bites = ctl.now + timeout();
}

void watchdog_off(void)
{
	if (ctl.watchdog_bites != NEVER)
		record(SIGNAL_WATCHDOG, 0, ctl.now, 0, 0);
	ctl.watchdog_bites = NEVER;
}
