/*
 * events.c - what ends a segment early: a diode whose current stops, an open leg at a clamp, a corner of
 * the EMF, the supply's or the auxiliary current's on and off, a rotor that stops or breaks away.
 *
 * Each is a series that turns negative. A cheap bound over the whole segment comes first: only where it
 * cannot rule the event out are the coefficients written down and the first root sought (roots.c).
 */
#include "segment.h"
#include <math.h>

/* An open leg may pass its clamp by this much; conduction.c decides with half of it, so that event and
 * decision never disagree on the same moment. */
#define CLAMP_V 1e-7
/* The bus may pass the source by this much before the supply switches. */
#define SUPPLY_V 1e-9
/* The auxiliary current stops this far below the voltage at which it starts, lest it chatter. */
#define AUX_HYSTERESIS_V 1e-3
/* A rotor breaks away with this share of its friction to spare, or it would stop at once. */
#define BREAKAWAY_SHARE 1e-9

void event_cut(double s, uint8_t event, int leg)
{
	plant_segment *q = &plant.q;
	if (s >= q->s_end)
		return;
	q->s_end = s;
	q->event = event;
	q->leg = (uint8_t)leg;
}

void event_find_row(const row *r, double sign, double bound, uint8_t event, int leg)
{
	double c[ORDERS];
	if (sign * (row_start(r) - bound) > row_reach(r))
		return;
	row_series(r, c);
	c[0] -= bound;
	for (int n = 0; sign < 0.0 && n < plant.q.n; n++)
		c[n] = -c[n];
	event_cut(root_first(c, plant.q.n), event, leg);
}

static void find_diode_off(int x)
{
	const plant_circuit *c = plant.q.circuit;
	const plant_segment *q = &plant.q;
	double j0 = c->of_loop[x][0], j1 = c->of_loop[x][1];
	double sign = plant.s.mode[x] == MODE_DIODE_LOW ? 1.0 : -1.0;
	if (sign * plant.s.i_a[x] > fabs(j0) * q->reach_j0 + fabs(j1) * q->reach_j1)
		return;
	row r = {j0, j1, 0.0, 0.0, {0.0}};
	event_find_row(&r, sign, 0.0, EVENT_DIODE_OFF, x);
}

static void find_clamp(int x)
{
	const plant_segment *q = &plant.q;
	const plant_circuit *c = q->circuit;
	row r;
	if (plant.s.t_s < plant.s.blocked_until_s[x]) {
		event_cut((plant.s.blocked_until_s[x] - plant.s.t_s) / q->h_s, EVENT_CLAMP, x);
		return;
	}
	terminal_row(x, &r);
	double start = row_start(&r), reach = row_reach(&r);
	double bus = fabs(c->bus[0]) * q->reach_j0 + fabs(c->bus[1]) * q->reach_j1 + fabs(c->bus[2]) * q->reach_v;
	if (start - reach > -plant.p.v_f_v && start + reach + bus < plant.s.v_bus_v + plant.p.v_f_v)
		return;
	event_find_row(&r, 1.0, -plant.p.v_f_v - CLAMP_V, EVENT_CLAMP, x);
	r.j0 -= c->bus[0];
	r.j1 -= c->bus[1];
	r.v -= c->bus[2];
	r.constant -= q->v_star;
	event_find_row(&r, -1.0, plant.p.v_f_v + CLAMP_V, EVENT_CLAMP, x);
}

/* Nothing conducts: a diode pair starts once the EMF between two phases exceeds the bus. */
static void find_rectification(void)
{
	const plant_segment *q = &plant.q;
	for (int x = 0; x < 3; x++)
		for (int y = 0; y < 3; y++) {
			if (x == y || plant.s.mode[x] != MODE_OPEN || plant.s.mode[y] != MODE_OPEN)
				continue;
			if (plant.s.t_s < plant.s.blocked_until_s[x]) {
				event_cut((plant.s.blocked_until_s[x] - plant.s.t_s) / q->h_s, EVENT_CLAMP, x);
				continue;
			}
			row r = {0.0, 0.0, q->circuit->bus[2], q->v_star, {0.0}};
			for (int b = 0; b < plant.bases; b++)
				r.e[b] = plant.emf[y][b] - plant.emf[x][b];
			event_find_row(&r, 1.0, -2.0 * (plant.p.v_f_v + CLAMP_V), EVENT_CLAMP, x);
		}
}

static void find_supply(void)
{
	const plant_circuit *c = plant.q.circuit;
	const plant_segment *q = &plant.q;
	double esr = plant.p.esr_ohm, sign = plant.s.supply_on ? -1.0 : 1.0;
	row r = {-esr * c->out[0], -esr * c->out[1], 1.0, -esr * q->aux_a, {0.0}};
	event_find_row(&r, sign, plant.in.v_supply_v - sign * SUPPLY_V, EVENT_SUPPLY, 0);
}

static void find_auxiliary(void)
{
	row r = {0.0, 0.0, 1.0, 0.0, {0.0}};
	double above = plant.q.v[0] - AUX_FROM_V;
	if ((plant.s.aux_on ? above : -above) > plant.q.reach_v)
		return;
	if (plant.s.aux_on)
		event_find_row(&r, 1.0, AUX_FROM_V - AUX_HYSTERESIS_V, EVENT_AUXILIARY, 0);
	else
		event_find_row(&r, -1.0, AUX_FROM_V, EVENT_AUXILIARY, 0);
}

static void find_border(void)
{
	const plant_segment *q = &plant.q;
	double c[SPEED_ORDERS + 1];
	int n = SPEED_ORDERS + 1;
	if (q->angle[0] + q->reach_angle >= plant.step_rad) {
		for (int k = 0; k < n; k++)
			c[k] = -q->angle[k];
		c[0] += plant.step_rad;
		event_cut(root_first(c, n), EVENT_BORDER, 1);
	}
	if (q->angle[0] - q->reach_angle <= 0.0)
		event_cut(root_first(q->angle, n), EVENT_BORDER, 0);
}

static void find_stop(void)
{
	const plant_segment *q = &plant.q;
	double c[ORDERS];
	if (plant.s.moving * q->w[0] > q->reach_w || plant.p.breakaway_nm <= 0.0)
		return;
	c[0] = plant.s.moving * q->w[0];
	for (int k = 1; k < q->n; k++)
		c[k] = plant.s.moving * q->w[k];
	event_cut(root_first(c, q->n), EVENT_STOP, 0);
}

static void find_breakaway(void)
{
	const plant_segment *q = &plant.q;
	const plant_circuit *c = q->circuit;
	double water = plant.in.water_rad_s, j[2] = {0.0, 0.0};
	/* at rest the bases keep their values, and EMF constants are torque constants */
	for (int x = 0; x < 3; x++)
		for (int b = 0; b < plant.bases; b++)
			for (int l = 0; l < 2; l++)
				j[l] += c->of_loop[x][l] * plant.emf[x][b] * plant.basis0[b];
	row r = {j[0], j[1], 0.0,
	         plant.p.kq_nm_s2 * plant.in.load_factor * water * fabs(water) - plant.in.load_nm, {0.0}};
	double away = plant.p.breakaway_nm * (1.0 + BREAKAWAY_SHARE);
	event_find_row(&r, -1.0, away, EVENT_BREAKAWAY, 0);
	event_find_row(&r, 1.0, -away, EVENT_BREAKAWAY, 0);
}

void event_find(void)
{
	const plant_params *p = &plant.p;
	const plant_state *s = &plant.s;
	int conducting = 0;
	for (int x = 0; x < 3; x++)
		conducting += conducts(s->mode[x]);
	if (conducting == 0)
		find_rectification();
	for (int x = 0; x < 3; x++) {
		if (is_diode(s->mode[x]))
			find_diode_off(x);
		else if (s->mode[x] == MODE_OPEN && conducting > 0)
			find_clamp(x);
	}
	if (!p->stiff) {
		if (!p->sinks && !plant.in.unplugged)
			find_supply();
		if (p->i_aux_a != 0.0)
			find_auxiliary();
	}
	find_border();
	if (s->moving != 0)
		find_stop();
	else if (!p->fixed_speed && !plant.in.driven)
		find_breakaway();
	if (conducting == 0)
		star_find();
	sense_find();
}
