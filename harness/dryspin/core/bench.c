/*
 * bench.c - the plant as the controller sees it: kept just behind CPU time, brought exactly to the
 * cycle of every change of gates or sense, planned ahead so that its own next event is known.
 *
 * With an outside plant the same two questions, plan and commit, go to the host.
 */
#include "controller.h"
#include <math.h>

/* A trace that slopes is read at least as often: the plant takes it as constant over a plan. */
#define SLOPE_S 50e-6

/* A piece of a trace without a slope holds until the next breakpoint of any of them. */
static double read_trace(core_trace *trace, int64_t cycle, double t_s, double absent, double *slope)
{
	double value = trace_value(trace, t_s, absent, slope);
	int64_t next = *slope != 0.0 ? cycle + 1 : NEVER;
	ctl.input_again = next < ctl.input_again ? next : ctl.input_again;
	next = trace_next(trace, cycle);
	ctl.input_cycle = next < ctl.input_cycle ? next : ctl.input_cycle;
	return value;
}

void bench_read_inputs(int64_t cycle)
{
	double t = (double)cycle * ctl.s_per_cycle, none;
	core_config *c = (core_config *)(uintptr_t)config; /* the traces keep their reading position */
	plant_input *in = &plant.in;
	ctl.input_cycle = ctl.input_again = NEVER;
	in->v_supply_v = read_trace(&c->supply_v, cycle, t, in->v_supply_v, &none);
	in->load_factor = read_trace(&c->load_factor, cycle, t, 1.0, &none);
	in->load_nm = read_trace(&c->load_nm, cycle, t, 0.0, &none);
	in->water_rad_s = read_trace(&c->water_rad_s, cycle, t, 0.0, &none);
	in->noise_v = read_trace(&c->noise_v, cycle, t, 0.0, &none);
	in->noise_seed = c->noise_seed;
	in->driven = c->speed_rad_s.n > 0;
	in->w_driven_rad_s = read_trace(&c->speed_rad_s, cycle, t, 0.0, &in->w_driven_slope);
	int64_t edge = supply_next_edge(cycle);
	in->unplugged = supply_out(cycle);
	ctl.input_cycle = edge < ctl.input_cycle ? edge : ctl.input_cycle;
	ctl.input_again = ctl.input_cycle < ctl.input_again ? ctl.input_cycle : ctl.input_again;
}

/* A trace that slopes is read again at the next plan anyway, and one that has a point up to its beginning is
 * the same in both configs there; what lies beyond may have moved. */
void bench_new_course(void)
{
	int64_t settled = ctl.plan_cycle;
	if (ctl.input_cycle <= settled)
		return;
	const core_trace *trace[] = {&config->supply_v, &config->load_factor, &config->load_nm,
	                             &config->water_rad_s, &config->noise_v, &config->speed_rad_s};
	ctl.input_cycle = supply_next_edge(settled);
	for (size_t k = 0; k < sizeof trace / sizeof trace[0]; k++) {
		int64_t next = trace_next(trace[k], settled);
		ctl.input_cycle = next < ctl.input_cycle ? next : ctl.input_cycle;
	}
	if (ctl.input_again > settled)
		ctl.input_again = ctl.input_cycle;
}

void bench_plan(void)
{
	int64_t cycle = (int64_t)(plant.s.t_s * config->f_cpu_hz + 1e-6);
	if (cycle >= ctl.input_again)
		bench_read_inputs(cycle);
	int64_t limit = carriers_next();
	limit = ctl.input_cycle < limit ? ctl.input_cycle : limit;
	limit = ctl.replay_cycle > cycle && ctl.replay_cycle < limit ? ctl.replay_cycle : limit;
	limit = config->end_cycle < limit ? config->end_cycle : limit;
	if (ctl.input_again == cycle + 1) {
		int64_t stale = cycle + (int64_t)(SLOPE_S * config->f_cpu_hz);
		limit = stale < limit ? stale : limit;
	}
	double limit_s = (double)limit * ctl.s_per_cycle;
	if (ctl.outside) {
		core_outside()->limit_s = limit_s;
		stack_yield(CORE_PLAN);
		ctl.plan_end_s = core_outside()->t_end_s;
	} else {
		plant_plan(limit_s);
		ctl.plan_end_s = plant_plan_end();
	}
	ctl.plan_cycle = (int64_t)ceil(ctl.plan_end_s * config->f_cpu_hz - 1e-6);
	ctl.plan_valid = 1;
}

static void commit(double t_s)
{
	int changed;
	double before_s = plant.s.t_s;
	if (ctl.outside) {
		core_outside()->limit_s = t_s;
		stack_yield(CORE_COMMIT);
		changed = core_outside()->changed;
		plant.s.level = (uint8_t)core_outside()->level;
	} else {
		changed = plant_commit(t_s);
	}
	ctl.plan_valid = 0;
	ctl.segments++;
	ctl.still = plant.s.t_s > before_s ? 0 : ctl.still + 1;
	while (ctl.still > STILL_MAX)
		stack_yield(CORE_STALLED);
	while (plant_escaped() != WITHIN_BOUNDS)
		stack_yield(CORE_ESCAPED);
	record_state();
	limiter_watch();
	if (changed)
		comparator_input(plant.s.level, plant.s.t_s);
	supply_watch();
}

/* The plan has run its course. */
void bench_at_plan_end(void)
{
	commit(ctl.plan_end_s);
}

void bench_reach(int64_t cycle)
{
	double t = (double)cycle * ctl.s_per_cycle;
	for (;;) {
		if (plant.s.t_s >= t)
			return;
		if (!ctl.plan_valid)
			bench_plan();
		commit(t < ctl.plan_end_s ? t : ctl.plan_end_s);
	}
}

static void changed_from(uint8_t level)
{
	if (plant.s.level != level)
		comparator_input(plant.s.level, plant.s.t_s);
}

/* The outside plant answers a commit of no length with the level under the new gates or sense. */
static void ask_level(void)
{
	core_outside()->limit_s = plant.s.t_s;
	stack_yield(CORE_COMMIT);
	plant.s.level = (uint8_t)core_outside()->level;
}

void bench_set_gates(void)
{
	uint8_t level = plant.s.level;
	for (int x = 0; x < 3; x++)
		core_outside()->gate[x] = ctl.gate[x];
	if (ctl.outside)
		ask_level();
	else
		plant_set_gates(ctl.gate[0], ctl.gate[1], ctl.gate[2]);
	ctl.plan_valid = 0;
	limiter_watch();
	changed_from(level);
}

void bench_set_sense(uint8_t leg)
{
	bench_reach(ctl.now);
	uint8_t level = plant.s.level;
	core_outside()->sense = leg;
	plant.s.sense = leg;
	if (ctl.outside)
		ask_level();
	else
		plant_set_sense(leg);
	ctl.plan_valid = 0;
	changed_from(level);
}
