/*
 * replay.c - a recording's gates and sense selection once more, without the firmware that chose them.
 *
 * Plant, comparator, timer and recording run as in the recorded run; what the firmware and the carriers
 * did to the legs happens at the recorded cycles. Neither brown-out nor reset interrupts it.
 */
#include "controller.h"

static const core_edge *edge;
static int64_t left;

static int of_interest(const core_edge *e)
{
	return e->signal < SIGNAL_GATE + 3 || e->signal == SIGNAL_SENSE_LEG || e->signal == SIGNAL_SENSE_EDGE;
}

static void skip(void)
{
	while (left > 0 && !of_interest(edge)) {
		edge++;
		left--;
	}
	ctl.replay_cycle = left > 0 ? edge->cycle : NEVER;
}

static void take_gates(int64_t cycle)
{
	int changed = 0;
	for (; left > 0 && edge->cycle == cycle && edge->signal < SIGNAL_GATE + 3; edge++, left--) {
		ctl.gate[edge->signal - SIGNAL_GATE] = (uint8_t)edge->value;
		record(edge->signal, edge->value, cycle, edge->pc, edge->caller);
		changed = 1;
	}
	if (changed)
		bench_set_gates();
}

static void take(int64_t cycle)
{
	if (edge->signal < SIGNAL_GATE + 3) {
		take_gates(cycle);
		return;
	}
	record(edge->signal, edge->value, cycle, edge->pc, edge->caller);
	if (edge->signal == SIGNAL_SENSE_LEG)
		bench_set_sense((uint8_t)edge->value);
	else
		comparator_select_edge((uint8_t)edge->value);
	edge++;
	left--;
}

static void play(void)
{
	for (skip(); left > 0; skip()) {
		if (edge->cycle > ctl.now) {
			/* all before this cycle first; nothing is planned beyond it that the edge would undo */
			ctl.now = edge->cycle - 1;
			clock_catch_up();
			ctl.now = edge->cycle;
		}
		bench_reach(ctl.now);
		take(ctl.now);
	}
	for (;;) {
		ctl.now = config->end_cycle;
		clock_catch_up(); /* yields at the end */
	}
}

void core_replay(const core_edge *edges, int64_t n)
{
	edge = edges;
	left = n;
	while (left > 0 && edge->cycle == 0) { /* the initial values, which core_start has recorded */
		edge++;
		left--;
	}
	ctl.held = 1;
	stack_prepare(play);
}
