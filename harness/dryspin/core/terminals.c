/*
 * terminals.c - the terminals over a segment; the star point of a machine none of whose legs conducts.
 *
 * Then the sense dividers, all alike, bring the mean of the connected terminals to ground, unless a
 * diode holds the lowest or the highest of them at its clamp:
 *
 *   free: v_n = -mean(e)      low: v_n = -Vf - e_lowest      high: v_n = V + Vf - e_highest
 *
 * Which of them holds may change without anything else happening; that too ends a segment.
 */
#include "segment.h"
#include <math.h>

enum { STAR_FREE, STAR_LOW, STAR_HIGH };

/* A condition may be broken by this much before the choice is made anew. */
#define STAR_V 1e-9

double plant_floating_star(const uint8_t mode[3], const double e_v[3], double v_bus_v)
{
	double sum = 0.0, lowest = INFINITY, highest = -INFINITY, v_f = plant.p.v_f_v;
	int n = 0;
	for (int x = 0; x < 3; x++) {
		if (mode[x] != MODE_OPEN)
			continue;
		n++;
		sum += e_v[x];
		lowest = e_v[x] < lowest ? e_v[x] : lowest;
		highest = e_v[x] > highest ? e_v[x] : highest;
	}
	if (n == 0)
		return 0.0;
	double vn = -sum / n;
	if (vn + highest > v_bus_v + v_f)
		vn = v_bus_v + v_f - highest;
	if (vn + lowest < -v_f)
		vn = -v_f - lowest;
	return vn;
}

static int nothing_conducts(void)
{
	const uint8_t *mode = plant.s.mode;
	return !conducts(mode[0]) && !conducts(mode[1]) && !conducts(mode[2]);
}

/* The free star point plus sign times the EMF of leg x. */
static void free_row(int x, double sign, row *r)
{
	int n = 0;
	*r = (row){0.0, 0.0, 0.0, 0.0, {0.0}};
	for (int y = 0; y < 3; y++)
		n += plant.s.mode[y] == MODE_OPEN;
	for (int b = 0; b < plant.bases; b++) {
		for (int y = 0; y < 3; y++)
			if (plant.s.mode[y] == MODE_OPEN)
				r->e[b] -= plant.emf[y][b] / n;
		r->e[b] += sign * plant.emf[x][b];
	}
}

static void floating_row(int x, row *r)
{
	const plant_segment *q = &plant.q;
	int m = q->star_leg;
	if (q->star == STAR_FREE) {
		free_row(x, 1.0, r);
		return;
	}
	*r = (row){0.0, 0.0, 0.0, -plant.p.v_f_v, {0.0}};
	if (q->star == STAR_HIGH) {
		r->v = q->circuit->bus[2];
		r->constant = q->v_star + plant.p.v_f_v;
	}
	for (int b = 0; b < plant.bases; b++)
		r->e[b] = plant.emf[x][b] - plant.emf[m][b];
}

void terminal_row(int x, row *r)
{
	const plant_circuit *c = plant.q.circuit;
	if (plant.s.mode[x] == MODE_OPEN && nothing_conducts()) {
		floating_row(x, r);
		return;
	}
	r->j0 = c->t[x][0];
	r->j1 = c->t[x][1];
	r->v = c->t[x][2];
	r->constant = c->t_v[x] * plant.q.v_star + c->t_drop[x];
	row_emf(r, c->t_e[x]);
}

static void choose_star(plant_segment *q)
{
	const plant_state *s = &plant.s;
	double e[3], sum = 0.0, v_f = plant.p.v_f_v;
	int n = 0, low = -1, high = -1;
	shape_emf(e);
	for (int x = 0; x < 3; x++) {
		if (s->mode[x] != MODE_OPEN)
			continue;
		n++;
		sum += e[x];
		low = low < 0 || e[x] < e[low] ? x : low;
		high = high < 0 || e[x] > e[high] ? x : high;
	}
	q->star = STAR_FREE;
	q->star_leg = 0;
	if (n == 0)
		return;
	if (e[low] - sum / n < -v_f) {
		q->star = STAR_LOW;
		q->star_leg = low;
	} else if (e[high] - sum / n > s->v_bus_v + v_f) {
		q->star = STAR_HIGH;
		q->star_leg = high;
	}
}

void star_find(void)
{
	plant_segment *q = &plant.q;
	double v_f = plant.p.v_f_v;
	row r;
	if (plant.plain_sense && !plant.any_broken)
		return; /* the comparator sees differences only */
	choose_star(q);
	for (int x = 0; x < 3; x++) {
		if (plant.s.mode[x] != MODE_OPEN)
			continue;
		free_row(x, 1.0, &r);
		int holds = q->star != STAR_FREE && x == q->star_leg;
		if (q->star == STAR_FREE || (holds && q->star == STAR_LOW))
			event_find_row(&r, holds ? -1.0 : 1.0, -v_f - (holds ? -STAR_V : STAR_V), EVENT_NONE, 0);
		r.v -= q->circuit->bus[2];
		r.constant -= q->v_star;
		if (q->star == STAR_FREE || (holds && q->star == STAR_HIGH))
			event_find_row(&r, holds ? 1.0 : -1.0, v_f + (holds ? -STAR_V : STAR_V), EVENT_NONE, 0);
		if (q->star == STAR_FREE || holds)
			continue;
		/* another leg becomes the lowest, or the highest */
		r = (row){0.0, 0.0, 0.0, 0.0, {0.0}};
		for (int b = 0; b < plant.bases; b++)
			r.e[b] = plant.emf[x][b] - plant.emf[q->star_leg][b];
		double sign = q->star == STAR_LOW ? 1.0 : -1.0;
		event_find_row(&r, sign, -sign * STAR_V, EVENT_NONE, 0);
	}
}
