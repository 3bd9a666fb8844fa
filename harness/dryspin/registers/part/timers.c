/*
 * timers.c - the three timers: where each count stands, and the ticks at which more than the count changes.
 *
 * A count is a function of time between such ticks, so that nothing is stepped. A match, an overflow and a
 * new compare value act on the tick after the count they belong to (timing diagrams of the sections on the
 * timers: OCF with the count going from OCR to OCR + 1, TOV from TOP or MAX to BOTTOM and from BOTTOM to 1).
 * Compare values are taken over at once without PWM, at BOTTOM in fast, at TOP in phase-correct, at BOTTOM in
 * phase-and-frequency-correct mode.
 *
 * With PWM an output is a function of the count: fast, high up to the compare value; phase-correct, high
 * where the count is below it, one tick late; 0 constant low and TOP constant high in phase-correct, a spike
 * of one tick and constant high in fast mode ("narrow spike for each MAX+1 timer clock cycle", 2467P p. 152).
 */
#include "part.h"
#include "timers.h"

static void set_flag(int vector)
{
	ctl.irq_pending |= BIT(vector);
}

uint16_t timer_top(const timer *t)
{
	if (t->top_from == TOP_COMPARE_A)
		return t->compare[0];
	return t->top_from == TOP_CAPTURE ? t->icr : t->fixed_top;
}

int timer_is_pwm(int which)
{
	return is_pwm(&part.timer[which]);
}

/* Position on the way up and down again, 0 .. 2 TOP - 1. */
static int64_t position(const timer *t, int64_t top)
{
	return t->down ? 2 * top - t->count : t->count;
}

static void advance(timer *t, int64_t ticks)
{
	int64_t top = timer_top(t), count = t->count;
	t->at += ticks * t->divider;
	if (count > top) { /* TOP was set below the count: up to MAX first */
		int64_t to_zero = t->max - count + 1;
		if (ticks < to_zero) {
			t->count = (uint16_t)(count + ticks);
			return;
		}
		ticks -= to_zero;
		count = 0;
		t->down = 0;
		t->count = 0;
	}
	if (!is_dual(t)) {
		t->count = (uint16_t)((count + ticks) % (top + 1));
	} else if (top == 0) {
		t->count = 0;
		t->down = 0;
	} else {
		int64_t p = (position(t, top) + ticks) % (2 * top);
		t->down = p >= top;
		t->count = (uint16_t)(p <= top ? p : 2 * top - p);
	}
}

/* Bring the count to this cycle; the ticks in between change nothing else. */
void timer_reach(timer *t, int64_t cycle)
{
	if (runs(t) && cycle > t->at)
		advance(t, (cycle - t->at) / t->divider);
}

/* Ticks until the count has left this value; up: only while counting up, down: only while counting down. */
static int64_t until_left(const timer *t, int64_t value, int up, int down)
{
	int64_t top = timer_top(t), count = t->count, best = INT64_MAX;
	if (count > top) {
		if (value >= count)
			return value - count + 1;
		return value <= top ? t->max - count + 1 + value + 1 : INT64_MAX;
	}
	if (value > top)
		return INT64_MAX;
	if (!is_dual(t))
		return (value - count + top + 1) % (top + 1) + 1;
	if (top == 0)
		return 1;
	int64_t p = position(t, top), way = 2 * top;
	if (up)
		best = (value - p + way) % way + 1;
	if (down) {
		int64_t d = (way - value - p + 2 * way) % way + 1;
		best = d < best ? d : best;
	}
	return best;
}

static int64_t sooner(int64_t a, int64_t b)
{
	return a < b ? a : b;
}

static int is_used(int which, int k)
{
	const timer *t = &part.timer[which];
	return t->com[k] != 0 && (!is_pwm(t) || pin_is_gate(output_pin(which, k)));
}

void timer_plan(int which)
{
	timer *t = &part.timer[which];
	int64_t top = timer_top(t), ticks = INT64_MAX;
	if (!runs(t)) {
		t->next = NEVER;
		return;
	}
	for (int k = 0; k < 2; k++) {
		int64_t x = t->compare[k];
		int edges = is_used(which, k);
		if (edges || !flag_stands(match_vector[which][k]))
			ticks = sooner(ticks, until_left(t, x, 1, 1));
		if (edges && t->kind == FAST)
			ticks = sooner(ticks, until_left(t, top, 1, 1));
		if (is_pwm(t) && t->written[k] != t->compare[k])
			ticks = sooner(ticks, t->kind == PHASE ? until_left(t, top, 1, 1) : t->kind == FAST
			                      ? until_left(t, top, 1, 1) : until_left(t, 0, 1, 1));
	}
	if (!flag_stands(wrap_vector[which]))
		ticks = sooner(ticks, is_dual(t) ? until_left(t, 0, 1, 1)
		                      : until_left(t, t->kind == FAST ? top : t->max, 1, 1));
	if (t->top_from == TOP_CAPTURE && !flag_stands(CAPTURE_VECTOR))
		ticks = sooner(ticks, until_left(t, top, 1, 1));
	if (t->count > top)
		ticks = sooner(ticks, t->max - t->count + 1);
	if (t->blocked)
		ticks = 1;
	t->next = ticks == INT64_MAX ? NEVER : t->at + ticks * t->divider;
}

void timer_take_over(timer *t)
{
	t->compare[0] = t->written[0];
	t->compare[1] = t->written[1];
}

static void match(int which, int k)
{
	timer *t = &part.timer[which];
	set_flag(match_vector[which][k]);
	if (is_pwm(t) || t->com[k] == 0)
		return;
	t->latch[k] = t->com[k] == 1 ? !t->latch[k] : t->com[k] == 3;
}

static void tick(int which)
{
	timer *t = &part.timer[which];
	uint16_t left = t->count, top = timer_top(t);
	for (int k = 0; k < 2; k++)
		if (left == t->compare[k] && !t->blocked)
			match(which, k);
	if (left == top && t->top_from == TOP_CAPTURE)
		set_flag(CAPTURE_VECTOR);
	advance(t, 1);
	if (is_dual(t) ? left == 0 : t->count == 0 && (t->kind == FAST || left == t->max))
		set_flag(wrap_vector[which]);
	if (t->kind == PHASE ? left == top : t->kind == FAST ? t->count == 0 : t->kind == PHASE_FREQUENCY && left == 0)
		timer_take_over(t);
	t->blocked = 0;
}

int timer_output(int which, int k)
{
	const timer *t = &part.timer[which];
	int64_t top = timer_top(t), x = t->compare[k], high;
	if (!is_pwm(t))
		return t->latch[k];
	if (t->kind == FAST)
		high = t->count <= x;
	else if (x == 0)
		high = 0;
	else if (x >= top)
		high = 1;
	else
		high = t->count > top ? 0 : position(t, top) <= x || position(t, top) >= 2 * top - x + 1;
	/* a timer that has never had a clock has an output that has never been set */
	return t->com[k] == 3 ? !high : (int)high;
}

/* The written compare value as a share of TOP, in 255ths. */
uint8_t timer_duty(int which, int k)
{
	const timer *t = &part.timer[which];
	int64_t top = timer_top(t), counts = top == 0 ? 255 : t->written[k] * INT64_C(255) / top;
	return (uint8_t)(counts > 255 ? 255 : counts);
}

/* What the core asks for as the carriers' next edge: the next tick that matters, or a gate's change. */
void timers_tell_next(void)
{
	int64_t next = part.timer[0].next;
	next = sooner(next, sooner(part.timer[1].next, part.timer[2].next));
	next = sooner(next, chopping_next());
	for (int g = 0; g < 6; g++)
		if (part.flight_in[g] != part.flight_out[g])
			next = sooner(next, part.flight[g][part.flight_out[g] % FLIGHTS].cycle);
	ctl.carrier[0].next_edge = next;
	ctl.carrier[1].next_edge = NEVER;
}

/* No driver with a dead time of its own: every FET has its pin. */
int64_t legs_next(void)
{
	return NEVER;
}

void carriers_at(int64_t cycle)
{
	for (int w = 0; w < 3; w++) {
		timer *t = &part.timer[w];
		while (t->next <= cycle) {
			timer_reach(t, t->next - t->divider);
			tick(w);
			timer_plan(w);
		}
	}
	pins_update(cycle, (place){0, 0});
}

int64_t timer_next(void)
{
	return serial_next();
}

void timer_at(int64_t cycle)
{
	serial_at(cycle);
}

void timers_replan(void)
{
	for (int w = 0; w < 3; w++) {
		timer_reach(&part.timer[w], ctl.now);
		timer_plan(w);
	}
	timers_tell_next();
	ctl.plan_valid = 0;
}
