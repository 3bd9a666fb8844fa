/*
 * clock.c - virtual time: what happens next, in which order, and when code gets to see it.
 *
 * Code spends cycles in port calls (and, if asked, per basic block). Whenever CPU time reaches the
 * horizon, everything due is done in order of cycle; at one cycle the order is: plant, carriers,
 * throttle pin, timer, comparator, current limit, store, ADC, power cut, reset, endless loop, watchdog. Then due handlers run.
 */
#include "controller.h"

controller ctl;
const core_config *config;
int64_t pause_cycle = NEVER, pause_asleep_cycle = NEVER;

static int64_t least(int64_t a, int64_t b)
{
	return a < b ? a : b;
}

static int64_t next_reset(void)
{
	return ctl.reset_at < config->n_reset ? config->reset_cycle[ctl.reset_at] : NEVER;
}

static int64_t next_endless(void)
{
	return ctl.endless_at < config->n_endless ? config->endless_cycle[ctl.endless_at] : NEVER;
}

static int64_t next_take_over(void)
{
	return config->take_over_cycle >= 0 && !ctl.outside ? config->take_over_cycle : NEVER;
}

/* Of all but plant and carriers. */
static int64_t next_rare(void)
{
	int64_t e = least(timer_next(), capture_next());
	e = least(e, least(comparator_next(), next_reset()));
	e = least(e, limiter_next());
	e = least(e, least(store_next(), converter_next()));
	e = least(e, least(ctl.watchdog_bites, supply_next_cut()));
	e = least(e, next_endless());
	return least(e, least(config->end_cycle, next_take_over()));
}

static int64_t next_event(void)
{
	if (!ctl.plan_valid)
		bench_plan();
	if (ctl.horizon == LOOK_AGAIN) {
		ctl.rare_cycle = next_rare();
		ctl.horizon = ctl.now;
	}
	return least(least(ctl.plan_cycle, carriers_next()), ctl.rare_cycle);
}

static void happen(int64_t cycle)
{
	ctl.events++;
	if (ctl.plan_cycle <= cycle && ctl.plan_valid)
		bench_at_plan_end();
	if (ctl.rare_cycle > cycle) {
		if (carriers_next() <= cycle)
			carriers_at(cycle);
		return;
	}
	ctl.horizon = LOOK_AGAIN;
	if (cycle >= next_take_over()) {
		bench_reach(cycle);
		ctl.outside = 1;
		ctl.plan_valid = 0;
	}
	if (carriers_next() <= cycle)
		carriers_at(cycle);
	if (capture_next() <= cycle)
		capture_at(cycle);
	if (timer_next() <= cycle)
		timer_at(cycle);
	if (comparator_next() <= cycle)
		comparator_at(cycle);
	if (limiter_next() <= cycle)
		limiter_at(cycle);
	if (store_next() <= cycle)
		store_finish(cycle);
	if (converter_next() <= cycle)
		converter_at(cycle);
	if (supply_next_cut() <= cycle)
		supply_cut(cycle);
	if (next_reset() <= cycle) {
		ctl.reset_at++;
		host_reset_request(cycle, PORT_RESET_EXTERNAL);
	}
	if (next_endless() <= cycle) {
		ctl.endless_at++;
		ctl.endless = 1;
	}
	if (ctl.watchdog_bites <= cycle)
		host_reset_request(cycle, PORT_RESET_WATCHDOG);
	if (config->end_cycle <= cycle) {
		bench_reach(config->end_cycle);
		for (;;)
			stack_yield(CORE_DONE);
	}
}

/* What comes next may be another scenario's: nobody keeps what was asked of next_event(). */
void clock_pause(void)
{
	pause_cycle = pause_asleep_cycle = NEVER;
	stack_yield(CORE_PAUSED);
}

void clock_catch_up(void)
{
	int64_t e;
	for (;;) {
		while ((e = next_event()) <= ctl.now || ctl.endless) {
			/* only a reset leads out of it, and that does not come back here */
			if (e > ctl.now)
				ctl.now = e;
			happen(e);
		}
		if (interrupts_due()) {
			interrupts_serve();
			continue;
		}
		if (ctl.now < pause_cycle)
			break;
		clock_pause();
	}
	ctl.horizon = least(e, pause_cycle);
}

void clock_sleep(void)
{
	uint32_t before = ctl.handlers_run;
	interrupts_set(1, 0);
	while (ctl.handlers_run == before) {
		ctl.hang_budget = HANG_BLOCKS;
		if (!interrupts_due()) {
			if (ctl.now >= pause_asleep_cycle)
				clock_pause();
			int64_t e = next_event();
			e = least(e, pause_asleep_cycle);
			ctl.now = e > ctl.now ? e : ctl.now;
		}
		clock_catch_up();
	}
}

void clock_wait(int64_t until)
{
	if (ctl.now >= ctl.horizon)
		clock_catch_up();
	while (ctl.now < until) {
		int64_t e = next_event();
		e = e > ctl.now ? e : ctl.now;
		ctl.now = least(e, until);
		ctl.hang_budget = HANG_BLOCKS;
		clock_catch_up();
	}
}

void clock_pay(void)
{
	int64_t left = ctl.owed / OWED_PER_CYCLE;
	if (left == 0)
		return;
	ctl.owed %= OWED_PER_CYCLE;
	ctl.hang_budget = HANG_BLOCKS;
	/* A stretch is many instructions, and a handler comes between two of them. */
	while (ctl.now + left >= ctl.horizon) {
		int64_t step = ctl.horizon > ctl.now ? ctl.horizon - ctl.now : 0;
		ctl.now += step;
		left -= step;
		clock_catch_up();
	}
	ctl.now += left;
}

void clock_note(uintptr_t pc)
{
	int64_t row = (int64_t)(pc - core_text_base()) - config->code_costs_from;
	if (row >= 0 && row < config->n_code_costs)
		ctl.owed += config->code_costs[row];
}

void clock_owe(uintptr_t pc)
{
	clock_pay();
	clock_note(pc);
}

/* The compiler calls this at the start of every basic block of the firmware. Without a cost per
 * block, only port calls let time pass, so very many blocks without one will never end. */
void __sanitizer_cov_trace_pc(void);
void __sanitizer_cov_trace_pc(void)
{
	if (ctl.block_cycles == BY_TABLE) {
		/* a block may be free, as in a loop that the part's compiler has removed */
		if (--ctl.hang_budget <= 0)
			stack_hang((uintptr_t)__builtin_return_address(0));
		clock_owe((uintptr_t)__builtin_return_address(0));
	} else if (ctl.block_cycles != 0) {
		if ((ctl.now += ctl.block_cycles) >= ctl.horizon)
			clock_catch_up();
	} else if (--ctl.hang_budget <= 0) {
		stack_hang((uintptr_t)__builtin_return_address(0));
	}
}
