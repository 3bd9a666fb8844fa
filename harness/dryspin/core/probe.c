/*
 * probe.c - what can be measured on the plant now: terminals, angle, bounds; starting it, and driving it
 * by itself, without a controller.
 */
#include "segment.h"
#include <math.h>
#include <string.h>

plant_t plant;

/* Longest segment in time constants of the fastest decay or oscillation; the series converge for any,
 * but beyond this they take more terms than a second segment costs. */
#define SPAN 3.0
/* The same for the filters of the sense lines, whose series has a fixed length. */
#define FILTER_SPAN 2.0

void plant_terminals(double *v_v)
{
	const plant_state *s = &plant.s;
	const plant_circuit *c = plant.circuit;
	double e[3], v_star = c->from_source * plant.in.v_supply_v + (s->aux_on ? c->from_aux * plant.p.i_aux_a : 0.0);
	int floating = !conducts(s->mode[0]) && !conducts(s->mode[1]) && !conducts(s->mode[2]);
	shape_emf(e);
	double vn = floating ? plant_floating_star(s->mode, e, s->v_bus_v) : 0.0;
	double j0 = c->loops > 0 ? s->i_a[c->first] : 0.0, j1 = c->loops > 1 ? s->i_a[1] : 0.0;
	for (int x = 0; x < 3; x++) {
		v_v[x] = c->t[x][0] * j0 + c->t[x][1] * j1 + c->t[x][2] * s->v_c_v + c->t_v[x] * v_star + c->t_drop[x]
		         + c->t_e[x][0] * e[0] + c->t_e[x][1] * e[1] + c->t_e[x][2] * e[2];
		if (floating && s->mode[x] == MODE_OPEN)
			v_v[x] = vn + e[x];
	}
}

double plant_theta(void)
{
	return plant.first_rad + plant.step_rad * (double)plant.s.sector + plant.s.in_sector_rad;
}

void plant_turn_to(double theta_rad)
{
	double past = theta_rad - plant.first_rad;
	plant.s.sector = (int64_t)floor(past / plant.step_rad);
	plant.s.in_sector_rad = past - plant.step_rad * (double)plant.s.sector;
}

static double longest_segment(void)
{
	const plant_params *p = &plant.p;
	double least = circuit_least_inductance(), r = 0.0, h = p->h_max_s;
	for (int x = 0; x < 3; x++)
		r = p->r_ohm[x] > r ? p->r_ohm[x] : r;
	r += (p->r_on_ohm > p->r_diode_ohm ? p->r_on_ohm : p->r_diode_ohm) + 2.0 * p->esr_ohm;
	double fastest = r / least;
	if (!p->stiff) {
		double bus = 1.0 / ((p->r_supply_ohm + p->esr_ohm) * p->c_bus_f);
		double ringing = 1.0 / sqrt(least * p->c_bus_f);
		fastest = bus > fastest ? bus : fastest;
		fastest = ringing > fastest ? ringing : fastest;
	}
	if (h * fastest > SPAN)
		h = SPAN / fastest;
	if (p->sense_tau_s > 0.0 && h > FILTER_SPAN * p->sense_tau_s)
		h = FILTER_SPAN * p->sense_tau_s;
	return h;
}

static void settle(void)
{
	plant_resolve();
	plant.s.moving = plant_direction_from_rest();
	plant_terminals(plant.s.sense_v);
	sense_read_level();
}

void plant_init(const plant_params *p, double theta_rad, double w_rad_s, double v_bus_v)
{
	memset(&plant, 0, sizeof plant);
	circuit_forget();
	plant.p = *p;
	shape_init();
	plant.h_cap_s = longest_segment();
	plant.any_broken = p->broken[0] || p->broken[1] || p->broken[2];
	plant.plain_sense = p->sense_tau_s <= 0.0 && isinf(p->pin_clamp_v);
	plant.in.v_supply_v = v_bus_v;
	plant.in.load_factor = 1.0;
	plant.s.v_c_v = v_bus_v;
	plant.s.w_rad_s = w_rad_s;
	plant.s.supply_on = 1;
	plant_turn_to(theta_rad);
	settle();
}

void plant_put(double t_s, const double *i_a, double v_c_v)
{
	plant_state *s = &plant.s;
	s->t_s = t_s;
	s->i_a[0] = i_a[0];
	s->i_a[1] = i_a[1];
	s->i_a[2] = -(i_a[0] + i_a[1]);
	s->v_c_v = v_c_v;
	settle();
}

void plant_put_sense(const double *v_v)
{
	for (int x = 0; x < 3; x++)
		plant.s.sense_v[x] = v_v[x];
	sense_read_level();
}

void plant_set_gates(uint8_t u, uint8_t v, uint8_t w)
{
	plant.s.gate[0] = u;
	plant.s.gate[1] = v;
	plant.s.gate[2] = w;
	plant_resolve();
	sense_read_level();
}

void plant_set_sense(uint8_t leg)
{
	plant.s.sense = leg;
	sense_read_level();
}

int plant_escaped(void)
{
	const plant_state *s = &plant.s;
	if (!(fabs(s->i_a[0]) < CURRENT_MAX_A) || !(fabs(s->i_a[1]) < CURRENT_MAX_A))
		return QUANTITY_CURRENT;
	if (!(fabs(s->v_bus_v) < BUS_MAX_V) || !(fabs(s->v_c_v) < BUS_MAX_V))
		return QUANTITY_BUS;
	if (!(fabs(s->w_rad_s) < SPEED_MAX_RAD_S))
		return QUANTITY_SPEED;
	return WITHIN_BOUNDS;
}

int plant_advance(double to_s)
{
	int still = 0;
	while (plant.s.t_s < to_s) {
		double before_s = plant.s.t_s;
		plant_plan(to_s);
		int changed = plant_commit(plant_plan_end());
		still = plant.s.t_s > before_s ? 0 : still + 1;
		if (still > STILL_MAX || plant_escaped() != WITHIN_BOUNDS)
			return -1;
		if (changed)
			return 1;
	}
	return 0;
}

void plant_meter(int on)
{
	memset(&plant.energy, 0, sizeof plant.energy);
	plant.metered = on;
}

int64_t plant_bytes(void)
{
	return (int64_t)sizeof plant;
}

void plant_copy(void *to)
{
	memcpy(to, &plant, sizeof plant);
}

void plant_restore(const void *from)
{
	memcpy(&plant, from, sizeof plant);
	plant.circuit = circuit_of(plant.s.mode, plant.s.supply_on);
}

plant_energy *plant_energy_now(void)
{
	return &plant.energy;
}

plant_history *plant_history_now(void)
{
	return &plant.history;
}

plant_state *plant_access(void)
{
	return &plant.s;
}

plant_input *plant_access_input(void)
{
	return &plant.in;
}
