/*
 * trace.c - writing the recording, and reading the scenario's traces.
 *
 * Buffers belong to the host. When one is full the firmware's stack yields, the host takes the
 * contents away, and the run goes on as if nothing had happened.
 */
#include "controller.h"
#include <math.h>

static core_edge_buffer edges;
static core_sample_buffer states;

core_edge_buffer *core_edges(void)
{
	return &edges;
}

core_sample_buffer *core_states(void)
{
	return &states;
}

void record(uint8_t signal, int32_t value, int64_t cycle, uint32_t pc, uint32_t caller)
{
	if (config->unrecorded)
		return;
	if (edges.n >= edges.room)
		stack_yield(CORE_EDGES_FULL);
	if (edges.n >= edges.room)
		return; /* no room was made: only possible before the first run, with no buffer at all */
	core_edge *e = &edges.edge[edges.n++];
	e->cycle = cycle;
	e->pc = pc;
	e->caller = caller;
	e->value = value;
	e->signal = signal;
	e->context = ctl.context;
	e->unused = 0;
}

void record_state(void)
{
	if (config->unrecorded)
		return;
	if (states.n >= states.room)
		stack_yield(CORE_STATES_FULL);
	if (states.n >= states.room)
		return;
	core_sample *r = &states.sample[states.n++];
	const plant_state *s = &plant.s;
	r->t_s = s->t_s;
	r->theta_rad = plant_theta();
	r->i_u_a = (float)s->i_a[0];
	r->i_v_a = (float)s->i_a[1];
	r->w_rad_s = (float)s->w_rad_s;
	r->v_bus_v = (float)s->v_bus_v;
}

/* A point and the cycle it falls on are the same moment, however either was rounded. */
#define SAME_S 1e-11

double trace_value(core_trace *trace, double t_s, double absent, double *slope)
{
	*slope = 0.0;
	if (trace->n == 0)
		return absent;
	while (trace->at + 1 < trace->n && trace->t_s[trace->at + 1] <= t_s + SAME_S)
		trace->at++;
	int k = trace->at;
	if (k + 1 >= trace->n || t_s + SAME_S < trace->t_s[k])
		return trace->value[k];
	*slope = (trace->value[k + 1] - trace->value[k]) / (trace->t_s[k + 1] - trace->t_s[k]);
	return trace->value[k] + *slope * (t_s - trace->t_s[k]);
}

/* Compared as cycles: in seconds, rounding can leave a point ahead of the very cycle it falls on,
 * and time would stand still before it. */
int64_t trace_next(const core_trace *trace, int64_t cycle)
{
	for (int k = trace->at; k < trace->n; k++) {
		int64_t at = (int64_t)ceil(trace->t_s[k] * config->f_cpu_hz);
		if (at > cycle)
			return at;
	}
	return NEVER;
}
