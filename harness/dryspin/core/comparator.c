/*
 * comparator.c - from the comparator's input to what software sees of it.
 *
 * The part's delay and its synchroniser (1 to 2 cycles) lie in between. The flag is set by every
 * edge of the chosen kind, interrupt on or off; it survives a change of the selected phase, and
 * that change may itself be an edge. Choosing an edge whose outcome already stands sets the flag:
 * the data sheet only says that "an interrupt can occur", and the rig takes the worse case.
 */
#include "controller.h"
#include <math.h>

/* What the port cannot ask for and registers can. */
#define BOTH_EDGES 2

void comparator_reset(void)
{
	ctl.sense_edge = 0;
	ctl.pipe_in = ctl.pipe_out = 0;
	ctl.sense_above = plant.s.level;
}

static void push(uint8_t level, double t_s)
{
	int64_t cycle = (int64_t)ceil((t_s + config->comparator_delay_s) * config->f_cpu_hz) + 1;
	if (ctl.pipe_in - ctl.pipe_out >= PIPE_SIZE)
		stack_yield(CORE_OVERFLOWED);
	if (ctl.pipe_in != ctl.pipe_out) {
		int64_t last = ctl.pipe[(ctl.pipe_in - 1) % PIPE_SIZE].cycle;
		cycle = cycle > last ? cycle : last;
	}
	ctl.pipe[ctl.pipe_in % PIPE_SIZE].cycle = cycle;
	ctl.pipe[ctl.pipe_in % PIPE_SIZE].level = level;
	ctl.pipe_in++;
	ctl.horizon = LOOK_AGAIN;
}

void comparator_input(uint8_t level, double t_s)
{
	if (!ctl.converter_on)
		push(level, t_s);
}

void comparator_blinded(void)
{
	bench_reach(ctl.now);
	push(ctl.converter_on ? 0 : plant.s.level, plant.s.t_s);
}

int64_t comparator_next(void)
{
	return ctl.pipe_in == ctl.pipe_out ? NEVER : ctl.pipe[ctl.pipe_out % PIPE_SIZE].cycle;
}

void comparator_at(int64_t cycle)
{
	while (comparator_next() <= cycle) {
		uint8_t level = ctl.pipe[ctl.pipe_out % PIPE_SIZE].level;
		ctl.pipe_out++;
		if (level == ctl.sense_above)
			continue;
		ctl.sense_above = level;
		record(SIGNAL_COMPARATOR, level, cycle, 0, 0);
		if (level == ctl.sense_edge || ctl.sense_edge == BOTH_EDGES)
			ctl.irq_pending |= 1U << IRQ_COMPARATOR;
	}
}

void comparator_select_edge(uint8_t edge)
{
	if (edge != ctl.sense_edge && ctl.sense_above == edge)
		ctl.irq_pending |= 1U << IRQ_COMPARATOR;
	ctl.sense_edge = edge;
}
