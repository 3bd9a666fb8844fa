/*
 * advance.c - going to the end of a planned segment, or to an earlier moment of it, and what then happens.
 */
#include "segment.h"
#include <math.h>

#define INSTANT_S 1e-12

/* A diode that stops leaves exactly no current, and the other two legs exactly opposite ones:
 * a residue of rounding would count as conduction. */
static void stop_diode(int leg, double h)
{
	plant_state *s = &plant.s;
	int a = (leg + 1) % 3, b = (leg + 2) % 3;
	s->i_a[leg] = 0.0;
	if (!conducts(s->mode[a]) || !conducts(s->mode[b]))
		s->i_a[a] = s->i_a[b] = 0.0;
	else
		s->i_a[b] = -s->i_a[a];
	if (h < INSTANT_S) {
		s->blocked_until_s[leg] = s->t_s + GUARD_S;
		s->guard_hits++;
	}
	plant_resolve();
}

static void start_diode(int leg, double h)
{
	plant_state *s = &plant.s;
	uint8_t before[3] = {s->mode[0], s->mode[1], s->mode[2]};
	plant_resolve();
	if (h < INSTANT_S && before[0] == s->mode[0] && before[1] == s->mode[1] && before[2] == s->mode[2]) {
		s->blocked_until_s[leg] = s->t_s + GUARD_S;
		s->guard_hits++;
	}
}

/* Source and auxiliary current switch without a look at who conducts: with a series resistance in the
 * capacitor the bus moves, and an open leg may find itself at a clamp. */
static void switch_bus(uint8_t *on)
{
	*on ^= 1U;
	plant_resolve();
}

static int finish(double h)
{
	plant_state *s = &plant.s;
	const plant_segment *q = &plant.q;
	if (q->event != EVENT_NONE) {
		uint32_t at = plant.history.at++ % 8U;
		plant.history.t_s[at] = s->t_s;
		plant.history.event[at] = q->event;
		plant.history.leg[at] = q->leg;
	}
	switch (q->event) {
	case EVENT_DIODE_OFF: stop_diode(q->leg, h); break;
	case EVENT_CLAMP: start_diode(q->leg, h); break;
	case EVENT_BORDER:
		s->sector += q->leg ? 1 : -1;
		s->in_sector_rad = q->leg ? 0.0 : plant.step_rad;
		break;
	case EVENT_SUPPLY: switch_bus(&s->supply_on); break;
	case EVENT_AUXILIARY: switch_bus(&s->aux_on); break;
	case EVENT_STOP:
		s->w_rad_s = 0.0;
		s->moving = plant_direction_from_rest();
		break;
	case EVENT_BREAKAWAY: s->moving = plant_rest_torque() > 0.0 ? 1 : -1; break;
	case EVENT_CROSSING: s->level ^= 1U; return 1;
	default: break;
	}
	return 0;
}

/* The state at s; `whole`: at the end of the series, whose sums are known. */
static void take_over(double at, int whole)
{
	plant_state *s = &plant.s;
	const plant_segment *q = &plant.q;
	const plant_circuit *c = q->circuit;
	double j0 = q->end[0], j1 = q->end[1], v = q->end[2], w = q->end[3], angle = q->end[4];
	if (!whole) {
		j0 = c->loops > 0 ? series_at(q->j0, q->n, at) : 0.0;
		j1 = c->loops > 1 ? series_at(q->j1, q->n, at) : 0.0;
		v = series_at(q->v, q->n, at);
		w = series_at(q->w, q->n, at);
		angle = series_at(q->angle, SPEED_ORDERS + 1, at);
	}
	if (c->loops == 1) {
		for (int x = 0; x < 3; x++)
			s->i_a[x] = c->of_loop[x][0] * j0;
	} else {
		s->i_a[0] = c->loops > 1 ? j0 : 0.0;
		s->i_a[1] = c->loops > 1 ? j1 : 0.0;
		s->i_a[2] = -(s->i_a[0] + s->i_a[1]);
	}
	s->v_c_v = v;
	s->v_bus_v = c->bus[0] * j0 + c->bus[1] * j1 + c->bus[2] * v + q->v_star;
	s->w_rad_s = w;
	s->in_sector_rad = angle < 0.0 ? 0.0 : angle > plant.step_rad ? plant.step_rad : angle;
	for (int x = 0; plant.p.sense_tau_s > 0.0 && x < 3; x++)
		s->sense_v[x] = series_at(q->sense[x], ORDERS, at);
}

int plant_commit(double t_s)
{
	plant_state *s = &plant.s;
	const plant_segment *q = &plant.q;
	double end_s = plant_plan_end();
	int full = t_s >= end_s;
	double at = full ? q->s_end : (t_s - q->t0_s) / q->h_s;
	if (plant.metered)
		energy_add(at);
	take_over(at, at == 1.0);
	s->t_s = full ? end_s : t_s;
	int changed = full ? finish(at * q->h_s) : 0;
	if (!changed && (s->relevel || plant.in.noise_v > 0.0))
		changed = sense_read_level();
	return changed;
}
