/*
 * capture.c - the throttle pin and the timer's capture unit.
 *
 * Two cycles of synchroniser and four of noise canceller lie between an edge at the pin and its
 * capture. The canceller wants four equal samples, so a level that lasts less than four cycles is
 * not seen. An unread capture is overwritten.
 */
#include "controller.h"

#define CANCELLER 4
#define CAPTURE_DELAY (2 + CANCELLER)

static int64_t edge_cycle(int32_t k)
{
	return k < config->n_throttle ? config->throttle_cycle[k] : NEVER;
}

void capture_reset(void)
{
	ctl.throttle_edge = 0;
	ctl.captured = 0;
}

int64_t capture_next(void)
{
	int64_t pin = edge_cycle(ctl.throttle_at), unit = edge_cycle(ctl.capture_at);
	unit = unit == NEVER ? NEVER : unit + CAPTURE_DELAY;
	return pin < unit ? pin : unit;
}

void capture_at(int64_t cycle)
{
	if (edge_cycle(ctl.throttle_at) <= cycle) {
		ctl.throttle_level = (ctl.throttle_at & 1) == 0;
		ctl.throttle_at++;
		record(SIGNAL_THROTTLE, ctl.throttle_level, cycle, 0, 0);
	}
	int64_t unit = edge_cycle(ctl.capture_at);
	if (unit != NEVER && unit + CAPTURE_DELAY <= cycle) {
		int rising = (ctl.capture_at & 1) == 0;
		ctl.capture_at++;
		if (edge_cycle(ctl.capture_at) - unit < CANCELLER)
			ctl.capture_at++; /* the level went back: neither edge is one */
		else if (rising == ctl.throttle_edge) {
			ctl.captured = timer_count(cycle);
			ctl.irq_pending |= 1U << IRQ_CAPTURE;
		}
	}
}
