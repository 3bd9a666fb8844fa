/*
 * plan.c - how long the present mode lasts: a segment, its series, and the first event that ends it.
 */
#include "segment.h"
#include <math.h>

/* How far a smooth shape may turn in a segment. */
#define SMOOTH_TURN_RAD 0.35

/* A bus this close to where it is held has arrived: a thousand roundings of some ten volts. */
#define RESTS_V 1e-12
/* Longest segment of a plant that rests. What is planned is settled: a checkpoint cannot be resumed with
 * another course before it. */
#define HOLD_S 1e-3

double plant_plan_end(void)
{
	const plant_segment *q = &plant.q;
	return q->event == EVENT_NONE && q->s_end >= 1.0 ? q->limit_s : q->t0_s + q->h_s * q->s_end;
}

/* Where the series begin. */
static void begin(plant_segment *q)
{
	const plant_state *s = &plant.s;
	const plant_circuit *c = q->circuit;
	q->j0[0] = c->loops > 0 ? s->i_a[c->first] : 0.0;
	q->j1[0] = c->loops > 1 ? s->i_a[1] : 0.0;
	q->v[0] = s->v_c_v;
	q->w[0] = s->w_rad_s;
	q->angle[0] = s->in_sector_rad;
	for (int b = 0; b < BASES; b++)
		q->basis[b][0] = plant.basis0[b];
	q->aux_a = s->aux_on ? plant.p.i_aux_a : 0.0;
	q->v_star = c->from_source * plant.in.v_supply_v + c->from_aux * q->aux_a;
	double slip = s->w_rad_s - plant.in.water_rad_s;
	q->way = slip > 0.0 ? 1 : slip < 0.0 ? -1 : s->moving;
}

/* What ends the segment. */
static void find(plant_segment *q)
{
	q->s_end = 1.0;
	q->event = EVENT_NONE;
	q->leg = 0;
	q->noise_v = plant_noise(plant.s.t_s);
	event_find();
}

/* Nothing conducts, the rotor rests and the bus stands where source and auxiliary current hold it, but for
 * rounding: all that happens comes from outside. */
static int rests(const plant_segment *q)
{
	const plant_circuit *c = q->circuit;
	if (c->loops > 0 || plant.s.w_rad_s != 0.0 || plant.s.moving != 0 || plant.in.driven
	    || plant.p.sense_tau_s > 0.0)
		return 0;
	if (plant.p.stiff)
		return 1;
	double flows = (c->feed * (plant.in.v_supply_v - q->v_star) - q->aux_a) / plant.p.c_bus_f;
	/* how far the bus still has to go: its slope, of a circuit with one time constant, times that */
	return c->a[2][2] < 0.0 && fabs(flows + c->a[2][2] * q->v[0]) < -c->a[2][2] * RESTS_V;
}

void plant_plan(double limit_s)
{
	plant_segment *q = &plant.q;
	plant_state *s = &plant.s;
	if (plant.in.driven)
		s->w_rad_s = plant.in.w_driven_rad_s;
	shape_update();
	if (!plant.p.sinks || plant.p.stiff || plant.in.v_supply_v != plant.seen_supply_v
	    || plant.in.unplugged != plant.seen_unplugged)
		plant_refresh_bus();
	if (s->moving == 0)
		s->moving = plant_direction_from_rest();

	double room = limit_s - s->t_s;
	q->t0_s = s->t_s;
	q->limit_s = limit_s;
	q->circuit = plant.circuit;
	begin(q);
	if (room > plant.h_cap_s && rests(q)) {
		q->h_s = room < HOLD_S ? room : HOLD_S;
		series_hold();
		if (q->h_s < room)
			q->limit_s = q->t0_s + q->h_s;
		find(q);
		return;
	}
	q->h_s = room < 0.0 ? 0.0 : room < plant.h_cap_s ? room : plant.h_cap_s;
	if (plant.smooth) {
		double speed = fabs(s->w_rad_s) * plant.p.pole_pairs;
		if (speed * q->h_s > SMOOTH_TURN_RAD)
			q->h_s = SMOOTH_TURN_RAD / speed;
	}
	while (!series_expand())
		q->h_s *= 0.5;
	if (q->h_s < room)
		q->limit_s = q->t0_s + q->h_s;
	find(q);
}
