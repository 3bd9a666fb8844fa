/*
 * limiter.c - the board's current limit: a shunt in the bridge's return to the bulk capacitor, a comparator
 * with a filter, and the pin that it pulls low.
 *
 * What returns through the shunt is what the bridge takes from the bus, the sum of the currents of the legs
 * whose terminal stands there: by their high FET, or by its diode while they carry current out of the motor.
 * A current that goes round through low FETs alone, as while braking, does not pass the shunt.
 *
 * The pin follows once the current has lain on the other side of the limit for the filter's time. Above
 * half of the limit the current is looked at every 2 us, else where segments of the plant end.
 */
#include "controller.h"
#include <math.h>

#define LOOK_S 2e-6
#define LOOK_SHARE 0.5

void limiter_start(void)
{
	ctl.limiter_look = ctl.limiter_change = NEVER;
	if (config->over_current_a > 0.0)
		record(SIGNAL_OVER_CURRENT, 0, 0, 0, 0);
}

static double return_a(void)
{
	double sum_a = 0.0;
	for (int x = 0; x < 3; x++) {
		double i_a = plant.s.i_a[x];
		if ((ctl.gate[x] & 1U) || (ctl.gate[x] == 0 && i_a < 0.0))
			sum_a += i_a;
	}
	return sum_a;
}

void limiter_watch(void)
{
	if (!(config->over_current_a > 0.0))
		return;
	double i_a = return_a();
	if (i_a <= LOOK_SHARE * config->over_current_a && ctl.limiter_look == NEVER && !ctl.limiter_over)
		return;
	int64_t before = limiter_next();
	int64_t now = (int64_t)ceil(plant.s.t_s * config->f_cpu_hz - 1e-6);
	uint8_t over = i_a > config->over_current_a;
	if (over != ctl.limiter_over) {
		ctl.limiter_over = over;
		ctl.limiter_change = over == ctl.limiter_pulls
		                         ? NEVER
		                         : now + (int64_t)ceil(config->over_current_filter_s * config->f_cpu_hz);
	}
	ctl.limiter_look = i_a > LOOK_SHARE * config->over_current_a
	                       ? now + (int64_t)ceil(LOOK_S * config->f_cpu_hz)
	                       : NEVER;
	if (limiter_next() != before)
		ctl.horizon = LOOK_AGAIN;
}

int64_t limiter_next(void)
{
	return ctl.limiter_look < ctl.limiter_change ? ctl.limiter_look : ctl.limiter_change;
}

void limiter_at(int64_t cycle)
{
	if (ctl.limiter_look <= cycle) {
		ctl.limiter_look = NEVER;
		bench_reach(cycle);
	}
	if (ctl.limiter_change <= cycle) {
		ctl.limiter_change = NEVER;
		ctl.limiter_pulls = ctl.limiter_over;
		record(SIGNAL_OVER_CURRENT, ctl.limiter_pulls, cycle, 0, 0);
		if (ctl.limiter_pulls)
			ctl.irq_pending |= 1U << IRQ_OVER_CURRENT;
	}
}
