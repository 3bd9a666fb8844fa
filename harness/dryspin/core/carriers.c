/*
 * carriers.c - the two 8-bit timers that chop: phase-correct, counting up to top and down again.
 *
 * The compare output is high while the count is below the compare value: an on-pulse of 2 x compare
 * cycles centred on bottom, out of 510. Compare 0 is always low, 255 always high. A new value is
 * taken over at top, the middle of the off-time. Leg U hangs on carrier 0, V and W on carrier 1.
 */
#include "controller.h"

#define TOP 255

/* Cycles since the count last stood at bottom; the divider is asked only once in a while. */
static int64_t phase(carrier *c, int64_t cycle)
{
	int64_t x = cycle - c->bottom;
	if (x >= 0 && x < config->carrier_period)
		return x;
	x = (cycle - c->started) % config->carrier_period;
	c->bottom = cycle - x;
	return x;
}

static int output_at(carrier *c, int64_t cycle)
{
	if (c->started == NEVER || c->compare == 0)
		return 0;
	if (c->compare == TOP)
		return 1;
	int64_t x = phase(c, cycle);
	return x < c->compare || x >= config->carrier_period - c->compare;
}

uint8_t carrier_output(int leg, int64_t cycle)
{
	return (uint8_t)output_at(&ctl.carrier[leg != 0], cycle);
}

static int is_used(int which)
{
	return which == 0 ? ctl.leg[0] == PORT_CHOPPED : ctl.leg[1] == PORT_CHOPPED || ctl.leg[2] == PORT_CHOPPED;
}

static int64_t next_edge(int which, int64_t after)
{
	carrier *c = &ctl.carrier[which];
	if (c->started == NEVER)
		return NEVER;
	int64_t x = phase(c, after), bottom = after - x, next = NEVER;
	int64_t period = config->carrier_period, top = period / 2;
	if (is_used(which) && c->compare != 0 && c->compare != TOP) {
		if (x < c->compare)
			next = bottom + c->compare;
		else if (x < period - c->compare)
			next = bottom + period - c->compare;
		else
			next = bottom + period + c->compare;
	}
	if (c->next_compare != c->compare) {
		int64_t at_top = x < top ? bottom + top : bottom + period + top;
		next = at_top < next ? at_top : next;
	}
	return next;
}

void carriers_reset(void)
{
	for (int k = 0; k < 2; k++) {
		ctl.carrier[k].started = NEVER;
		ctl.carrier[k].compare = ctl.carrier[k].next_compare = 0;
		ctl.carrier[k].next_edge = NEVER;
	}
}

void carriers_replan(void)
{
	for (int k = 0; k < 2; k++)
		ctl.carrier[k].next_edge = next_edge(k, ctl.now);
}

void carrier_start(int which, int64_t cycle)
{
	ctl.carrier[which].started = ctl.carrier[which].bottom = cycle;
	ctl.carrier[which].compare = ctl.carrier[which].next_compare;
	carriers_replan();
}

/* A stopped timer takes the value over at once. */
void carriers_duty(uint8_t counts)
{
	for (int k = 0; k < 2; k++) {
		ctl.carrier[k].next_compare = counts;
		if (ctl.carrier[k].started == NEVER)
			ctl.carrier[k].compare = counts;
	}
	carriers_replan();
}

void carriers_at(int64_t cycle)
{
	for (int k = 0; k < 2; k++) {
		carrier *c = &ctl.carrier[k];
		if (c->next_edge > cycle)
			continue;
		if (phase(c, cycle) == config->carrier_period / 2)
			c->compare = c->next_compare;
		c->next_edge = next_edge(k, cycle);
	}
	legs_drive(cycle, 0, 0);
}
