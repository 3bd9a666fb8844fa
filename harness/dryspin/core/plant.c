/*
 * plant.c - planning a segment: drive of every conducting leg, bus, rotor, then what ends it first.
 * dryspin/plant/equations.py states the equations plainly; here are their closed forms between events.
 */
#include "plant.h"
#include "events.h"
#include "segment.h"
#include <math.h>
#include <string.h>

plant_t plant;

double plant_aux_current(void)
{
	return plant.s.v_bus_v > AUX_FROM_V ? plant.p.i_aux_a : 0.0;
}

static double friction(double w)
{
	const plant_params *p = &plant.p;
	double dry = w > 0.0 ? p->coulomb_nm : w < 0.0 ? -p->coulomb_nm : 0.0;
	return p->b_nm_s * w + dry + plant.in.load_factor * p->kq_nm_s2 * w * fabs(w) + plant.in.load_nm;
}

/* Bus after h for a bus current q0 + q1 t + q2 t^2 drawn by the bridge; mean over h to *mean_v. */
static double bus_after(double h, double q0, double q1, double q2, double *mean_v)
{
	const plant_params *p = &plant.p;
	double v0 = plant.s.v_bus_v;
	double charge = h * (q0 + h * (q1 * 0.5 + h * (q2 / 3.0)));
	if (!plant.s.supply_on) {
		*mean_v = v0 - h / p->c_bus_f * (q0 * 0.5 + h * (q1 / 6.0 + h * q2 / 12.0));
		return v0 - charge / p->c_bus_f;
	}
	double y0 = v0 - plant.in.v_supply_v;
	lag r = lag_slow(h / plant.tau_bus_s);
	double y = y0 * r.e - h / p->c_bus_f * (q0 * r.phi1 + h * (q1 * r.phi2 + h * 2.0 * q2 * r.phi3));
	/* the lag's own equation, integrated over h, gives the mean */
	*mean_v = plant.in.v_supply_v - (plant.tau_bus_s / h) * (y - y0 + charge / p->c_bus_f);
	return plant.in.v_supply_v + y;
}

static void set_drive(double v_now, double v_slope, double v_shift)
{
	plant_plan_t *q = &plant.plan;
	const uint8_t *mode = plant.s.mode;
	double rail_sum = 0.0, rail_slope_sum = 0.0, e_slope_sum = 0.0;
	int n = 0;
	q->v0_v = v_now;
	q->v1_v_s = v_slope;
	for (int x = 0; x < 3; x++) {
		if (mode[x] == MODE_OPEN)
			continue;
		n++;
		rail_sum += plant_rail(mode[x], v_now);
		if (mode[x] == MODE_FET_HIGH || mode[x] == MODE_DIODE_HIGH)
			rail_slope_sum += v_slope;
		e_slope_sum += q->e1_v_s[x];
	}
	q->vn0_v = plant_star_point(mode, q->e0_v, v_now);
	if (n > 0) {
		q->vn1_v_s = (rail_slope_sum - e_slope_sum) / n;
	} else {
		double later[3];
		double h = q->h_s > 1e-15 ? q->h_s : 1e-15;
		for (int x = 0; x < 3; x++)
			later[x] = q->e0_v[x] + q->e1_v_s[x] * h;
		q->vn1_v_s = (plant_star_point(mode, later, v_now + v_slope * h) - q->vn0_v) / h;
	}
	/* the mean-value shift of the bus enters the currents only, never the clamp tests */
	double vn_shift = n > 0 && v_slope != 0.0 ? v_shift * rail_slope_sum / v_slope / n : 0.0;
	double open_sum = 0.0, open_slope = 0.0;
	for (int x = 0; x < 3; x++) {
		if (mode[x] == MODE_OPEN) {
			q->g0_v[x] = q->g1_v_s[x] = 0.0;
			open_sum += q->vn0_v + q->e0_v[x];
			open_slope += q->vn1_v_s + q->e1_v_s[x];
			continue;
		}
		int high = mode[x] == MODE_FET_HIGH || mode[x] == MODE_DIODE_HIGH;
		q->g0_v[x] = plant_rail(mode[x], v_now) - q->e0_v[x] - q->vn0_v + (high ? v_shift : 0.0) - vn_shift;
		q->g1_v_s[x] = (high ? v_slope : 0.0) - q->e1_v_s[x] - q->vn1_v_s;
	}
	/* r_on i cancels in the mean of the terminals, since sum i = 0 */
	q->mean0_v = (rail_sum + open_sum) * (1.0 / 3.0);
	q->mean1_v_s = (rail_slope_sum + open_slope) * (1.0 / 3.0);
}

double plant_torque(const double i[3], double t)
{
	const plant_plan_t *q = &plant.plan;
	double sum = 0.0;
	for (int x = 0; x < 3; x++)
		sum += (q->f0[x] + q->f1_s[x] * t) * i[x];
	return plant.p.k_v_s * sum;
}

static double acceleration(double torque)
{
	plant_state *s = &plant.s;
	const plant_params *p = &plant.p;
	if (p->fixed_speed)
		return 0.0;
	if (plant.in.driven)
		return plant.in.w_driven_slope;
	if (s->w_rad_s != 0.0) {
		s->stuck = 0;
		return (torque - friction(s->w_rad_s)) / p->j_kg_m2;
	}
	double net = torque - plant.in.load_nm;
	if (p->coulomb_nm > 0.0 && fabs(net) <= p->coulomb_nm * (1.0 - 1e-9)) {
		s->stuck = 1;
		return 0.0;
	}
	s->stuck = 0;
	return (net - (net > 0.0 ? p->coulomb_nm : net < 0.0 ? -p->coulomb_nm : 0.0)) / p->j_kg_m2;
}

void plant_plan(double limit_s)
{
	plant_plan_t *q = &plant.plan;
	plant_state *s = &plant.s;
	const plant_params *p = &plant.p;
	double f[3], f_angle[3];
	int conducting = 0;

	if (plant.in.driven)
		s->w_rad_s = plant.in.w_driven_rad_s;
	q->h_s = plant.h_cap_s;
	q->event = EVENT_NONE;
	event_cut(limit_s - s->t_s, EVENT_NONE, 0);

	plant_shape(f, f_angle);
	memcpy(q->f0, f, sizeof q->f0);
	for (int x = 0; x < 3; x++)
		q->f1_s[x] = 0.0;
	q->al_rad_s2 = acceleration(plant_torque(s->i_a, 0.0));
	double w0 = s->w_rad_s, al = q->al_rad_s2;

	/* stop, then the sector border by the angle w t + al t^2 / 2 */
	if (!plant.in.driven && w0 * al < 0.0 && -w0 / al < q->h_s)
		event_cut(-w0 / al, EVENT_STOP, 0);
	double turn = p->pole_pairs * (w0 * q->h_s + 0.5 * al * q->h_s * q->h_s);
	double room = turn > 0.0 ? SECTOR_RAD - s->in_sector_rad : s->in_sector_rad;
	if (fabs(turn) > 0.0 && fabs(turn) >= room) {
		double wm = (w0 + 0.5 * al * q->h_s) * p->pole_pairs;
		double t = room / fabs(wm);
		for (int k = 0; k < 3; k++) {
			wm = (w0 + 0.5 * al * t) * p->pole_pairs;
			t = wm != 0.0 ? room / fabs(wm) : t;
		}
		event_cut(t, EVENT_BORDER, turn > 0.0);
	}
	double w_mid = w0 + 0.5 * al * q->h_s;
	for (int x = 0; x < 3; x++) {
		q->f1_s[x] = f_angle[x] * p->pole_pairs * w_mid;
		q->e0_v[x] = p->k_v_s * w0 * f[x];
		q->e1_v_s[x] = p->k_v_s * (al * f[x] + w_mid * q->f1_s[x]);
		conducting += s->mode[x] != MODE_OPEN;
	}
	q->noise_v = plant_noise(s->t_s);

	set_drive(s->v_bus_v, 0.0, 0.0);
	if (!p->stiff) {
		double q0 = plant_aux_current(), q1 = 0.0, mean;
		for (int x = 0; x < 3; x++) {
			if (s->mode[x] != MODE_FET_HIGH && s->mode[x] != MODE_DIODE_HIGH)
				continue;
			q0 += s->i_a[x];
			q1 += event_current_slope(x, 0.0, s->i_a[x]);
		}
		s->supply_on = !plant.in.unplugged;
		if (!p->sinks && s->supply_on) {
			double y = s->v_bus_v - plant.in.v_supply_v;
			s->supply_on = y < 0.0 || (y == 0.0 && q0 > 0.0);
		}
		double h = q->h_s > 1e-15 ? q->h_s : 1e-15;
		double v_h = bus_after(h, q0, q1, 0.0, &mean);
		set_drive(s->v_bus_v, (v_h - s->v_bus_v) / h, mean - 0.5 * (s->v_bus_v + v_h));
		double over = v_h - plant.in.v_supply_v, was_over = s->v_bus_v - plant.in.v_supply_v;
		if (!p->sinks && !plant.in.unplugged && over * was_over < 0.0)
			event_cut(h * was_over / (was_over - over), EVENT_SUPPLY, 0);
	}

	if (conducting == 0)
		event_find_rectification();
	for (int x = 0; x < 3; x++) {
		if (s->mode[x] == MODE_DIODE_LOW || s->mode[x] == MODE_DIODE_HIGH)
			event_find_diode_off(x);
		else if (s->mode[x] == MODE_OPEN && conducting > 0)
			event_find_clamp(x);
	}
	if (s->stuck && conducting > 0) {
		double i[3] = {event_current(0, q->h_s), event_current(1, q->h_s), event_current(2, q->h_s)};
		double now = fabs(plant_torque(s->i_a, 0.0) - plant.in.load_nm);
		double then = fabs(plant_torque(i, q->h_s) - plant.in.load_nm);
		if (then > p->coulomb_nm)
			event_cut(q->h_s * (p->coulomb_nm - now) / (then - now), EVENT_BREAKAWAY, 0);
	}
	event_find_noise_cell();
	event_find_crossing();
	q->t_end_s = q->h_s == limit_s - s->t_s ? limit_s : s->t_s + q->h_s;
}
