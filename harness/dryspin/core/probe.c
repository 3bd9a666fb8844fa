/*
 * probe.c - what can be measured on the plant now: terminals, comparator level; and the plant
 * driven by itself, without a controller.
 */
#include "plant.h"
#include <math.h>
#include <string.h>


void plant_terminals(double *v_v)
{
	const plant_state *s = &plant.s;
	double f[3], slope[3], e_v[3];
	plant_shape(f, slope);
	for (int x = 0; x < 3; x++)
		e_v[x] = plant.p.k_v_s * s->w_rad_s * f[x];
	double vn = plant_star_point(s->mode, e_v, s->v_bus_v);
	for (int x = 0; x < 3; x++)
		v_v[x] = s->mode[x] == MODE_OPEN ? vn + e_v[x]
		                                 : plant_rail(s->mode[x], s->v_bus_v) - plant.p.r_on_ohm * s->i_a[x];
}

int plant_read_level(void)
{
	plant_state *s = &plant.s;
	double v[3];
	plant_terminals(v);
	double d = v[s->sense] - (v[0] + v[1] + v[2]) * (1.0 / 3.0) + plant.p.offset_v + plant_noise(s->t_s);
	s->relevel = 0;
	if (fabs(d) <= LEVEL_V)
		return 0;
	uint8_t level = d > 0.0;
	if (level == s->level)
		return 0;
	s->level = level;
	return 1;
}

void plant_init(const plant_params *p, double theta_rad, double w_rad_s, double v_bus_v)
{
	memset(&plant, 0, sizeof plant);
	plant.p = *p;
	plant.tau_s = p->l_h / (p->r_ohm + p->r_on_ohm);
	plant.inv_tau = 1.0 / plant.tau_s;
	plant.inv_l = 1.0 / p->l_h;
	plant.tau_bus_s = p->r_supply_ohm * p->c_bus_f;
	/* both series of segment.h stay inside the range their truncation is stated for */
	plant.h_cap_s = p->h_max_s;
	if (plant.h_cap_s > 0.25 * plant.tau_s)
		plant.h_cap_s = 0.25 * plant.tau_s;
	if (!p->stiff && plant.h_cap_s > plant.tau_bus_s)
		plant.h_cap_s = plant.tau_bus_s;
	plant.in.v_supply_v = v_bus_v;
	plant.in.load_factor = 1.0;
	plant.s.v_bus_v = v_bus_v;
	plant.s.w_rad_s = w_rad_s;
	plant.s.supply_on = 1;
	double past = theta_rad - SECTOR_RAD * 0.5;
	plant.s.sector = (int64_t)floor(past / SECTOR_RAD);
	plant.s.in_sector_rad = past - SECTOR_RAD * (double)plant.s.sector;
	plant_resolve();
	plant_read_level();
}

void plant_set_gates(uint8_t u, uint8_t v, uint8_t w)
{
	plant.s.gate[0] = u;
	plant.s.gate[1] = v;
	plant.s.gate[2] = w;
	plant_resolve();
	plant_read_level();
}

void plant_set_sense(uint8_t leg)
{
	plant.s.sense = leg;
	plant_read_level();
}

int plant_advance(double to_s)
{
	while (plant.s.t_s < to_s) {
		plant_plan(to_s);
		if (plant_commit(plant.plan.t_end_s))
			return 1;
	}
	return 0;
}

plant_state *plant_access(void)
{
	return &plant.s;
}

plant_input *plant_access_input(void)
{
	return &plant.in;
}
