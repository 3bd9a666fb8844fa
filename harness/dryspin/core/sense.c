/*
 * sense.c - what the comparator gets of the terminals, now and over a segment.
 *
 *   d = v_sel - (v_u + v_v + v_w)/3 + offset + noise      level 1: the selected phase lies above neutral
 *
 * With a filter each line follows tau dv_f/dt = v - v_f, and the neutral is the mean of those. A pin
 * clamp cuts line and neutral off after the filter. Everything is referred to the terminal; offset and
 * noise come divided by the divider. Its delay belongs to the controller.
 */
#include "segment.h"
#include <math.h>

/* Line or neutral may pass the clamp by this much before the segment is cut there. */
#define CLAMPED_V 1e-9

/* Whether the sense lines show differences of the EMFs alone, with nothing conducting. */
static int plain(void)
{
	const uint8_t *mode = plant.s.mode;
	if (!plant.plain_sense)
		return 0;
	return !plant.any_broken || conducts(mode[0]) || conducts(mode[1]) || conducts(mode[2]);
}

static void plain_row(row *r)
{
	const plant_circuit *c = plant.q.circuit;
	int x = plant.s.sense;
	r->j0 = c->d[x][0];
	r->j1 = c->d[x][1];
	r->v = c->d[x][2];
	r->constant = c->d_v[x] * plant.q.v_star + c->d_drop[x];
	row_emf(r, c->d_e[x]);
}

static double lines_now(void)
{
	double v[3];
	if (plant.p.sense_tau_s > 0.0)
		for (int x = 0; x < 3; x++)
			v[x] = plant.s.sense_v[x];
	else
		plant_terminals(v);
	double neutral = (v[0] + v[1] + v[2]) * (1.0 / 3.0), line = v[plant.s.sense], most = plant.p.pin_clamp_v;
	return (line < most ? line : most) - (neutral < most ? neutral : most);
}

double sense_now(void)
{
	const plant_state *s = &plant.s;
	double d = plant.p.offset_v + plant_noise(s->t_s);
	if (!plain())
		return d + lines_now();
	const plant_circuit *c = plant.circuit;
	double e[3], v_star = c->from_source * plant.in.v_supply_v + (s->aux_on ? c->from_aux * plant.p.i_aux_a : 0.0);
	const double *row = c->d[s->sense], *row_e = c->d_e[s->sense];
	shape_emf(e);
	d += row[2] * s->v_c_v + c->d_v[s->sense] * v_star + c->d_drop[s->sense];
	if (c->loops > 0)
		d += row[0] * s->i_a[c->first];
	if (c->loops > 1)
		d += row[1] * s->i_a[1];
	return d + row_e[0] * e[0] + row_e[1] * e[1] + row_e[2] * e[2];
}

int sense_read_level(void)
{
	plant_state *s = &plant.s;
	double d = sense_now();
	s->relevel = 0;
	if (fabs(d) <= LEVEL_V)
		return 0;
	uint8_t level = d > 0.0;
	if (level == s->level)
		return 0;
	s->level = level;
	return 1;
}

/* Series of the filtered lines: (n+1) f[n+1] = (h/tau) (v[n] - f[n]). */
static void filter(void)
{
	plant_segment *q = &plant.q;
	double ratio = q->h_s / plant.p.sense_tau_s, v[ORDERS];
	row r;
	for (int x = 0; x < 3; x++) {
		double *f = q->sense[x];
		terminal_row(x, &r);
		row_series(&r, v);
		f[0] = plant.s.sense_v[x];
		for (int n = 0; n + 1 < ORDERS; n++)
			f[n + 1] = ratio * ((n < q->n ? v[n] : 0.0) - f[n]) / (n + 1);
	}
}

/* Line and neutral as series; the number of their coefficients. */
static int lines(double *line, double *neutral)
{
	plant_segment *q = &plant.q;
	double v[3][ORDERS];
	row r;
	if (plant.p.sense_tau_s > 0.0)
		filter();
	for (int x = 0; x < 3 && plant.p.sense_tau_s <= 0.0; x++) {
		terminal_row(x, &r);
		row_series(&r, v[x]);
	}
	int n = plant.p.sense_tau_s > 0.0 ? ORDERS : q->n;
	const double(*c)[ORDERS] = plant.p.sense_tau_s > 0.0 ? (const double(*)[ORDERS])q->sense
	                                                     : (const double(*)[ORDERS])v;
	for (int k = 0; k < n; k++) {
		line[k] = c[plant.s.sense][k];
		neutral[k] = (c[0][k] + c[1][k] + c[2][k]) * (1.0 / 3.0);
	}
	return n;
}

/* Replace a line by the clamp where it lies above; cut the segment where that changes. */
static void clamp(double *c, int n)
{
	double most = plant.p.pin_clamp_v, room[ORDERS] = {0.0};
	if (isinf(most))
		return;
	int above = c[0] > most;
	for (int k = 0; k < n; k++)
		room[k] = above ? c[k] : -c[k];
	room[0] += (above ? -most : most) + CLAMPED_V;
	event_cut(root_first(room, n), EVENT_NONE, 0);
	for (int k = 0; above && k < n; k++)
		c[k] = k == 0 ? most : 0.0;
}

/* Noise is held for a cell of 1 us. Where it can decide the level, the segment ends with the cell; and
 * it ends where that begins. d: without the noise. */
static void find_noise_cell(const double *d, int n)
{
	const plant_segment *q = &plant.q;
	double reach = NOISE_PEAK * plant.in.noise_v + LEVEL_V, outside[ORDERS];
	double cell = floor(plant.s.t_s * NOISE_CELL_PER_S + 1e-6);
	double to_go = (cell + 1.0) / NOISE_CELL_PER_S - plant.s.t_s;
	if (fabs(d[0]) <= reach) {
		if (to_go < q->h_s)
			event_cut(to_go / q->h_s, EVENT_NONE, 0);
		return;
	}
	outside[0] = fabs(d[0]) - reach;
	for (int k = 1; k < n; k++)
		outside[k] = d[0] > 0.0 ? d[k] : -d[k];
	double s = root_first(outside, n);
	/* no sooner than the cell ends, which is when the noise is another */
	if (s * q->h_s < to_go)
		s = to_go < q->h_s ? to_go / q->h_s : 2.0;
	event_cut(s, EVENT_NONE, 0);
}

void sense_find(void)
{
	const plant_segment *q = &plant.q;
	double d[ORDERS], neutral[ORDERS];
	int n = q->n, sign = plant.s.level ? 1 : -1;
	if (plain()) {
		row r;
		plain_row(&r);
		double d0 = row_start(&r) + plant.p.offset_v;
		double reach = row_reach(&r) + NOISE_PEAK * plant.in.noise_v;
		if (sign * d0 > reach)
			return;
		row_series(&r, d);
	} else {
		n = lines(d, neutral);
		clamp(d, n);
		clamp(neutral, n);
		for (int k = 0; k < n; k++)
			d[k] -= neutral[k];
	}
	d[0] += plant.p.offset_v;
	if (plant.in.noise_v > 0.0)
		find_noise_cell(d, n);
	d[0] += q->noise_v;
	for (int k = 0; sign < 0 && k < n; k++)
		d[k] = -d[k];
	d[0] += LEVEL_V;
	event_cut(root_first(d, n), EVENT_CROSSING, 0);
}
