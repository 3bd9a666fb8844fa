/*
 * plant.c - planning a segment and going there. The equations stand in plant.md of the physics
 * (dryspin/plant/equations.py states them plainly); here are their closed forms between events.
 */
#include "plant.h"
#include "segment.h"
#include <math.h>
#include <string.h>

#define CLAMP_V 1e-7                  /* see conduction.c */
#define NOISE_CELL_PER_S 1e6          /* comparator noise is held for 1 us */

plant_t plant;

/* Sector by sector: the phase whose EMF ramps, whether it rises with the angle, the flat ones. */
static const struct { uint8_t ramp; int8_t rise; int8_t flat[3]; } sectors[6] = {
	{2, -1, {1, -1, 0}}, {1, 1, {1, 0, -1}}, {0, -1, {0, 1, -1}},
	{2, 1, {-1, 1, 0}}, {1, -1, {-1, 0, 1}}, {0, 1, {0, -1, 1}},
};

void plant_shape(double f[3], double slope[3])
{
	int n = (int)(((plant.s.sector % 6) + 6) % 6);
	for (int x = 0; x < 3; x++) {
		f[x] = sectors[n].flat[x];
		slope[x] = 0.0;
	}
	int r = sectors[n].ramp;
	f[r] = sectors[n].rise * (plant.s.in_sector_rad * (2.0 / SECTOR_RAD) - 1.0);
	slope[r] = sectors[n].rise * (2.0 / SECTOR_RAD);
}

/* Noise as a function of (seed, time) alone, so that segmentation cannot change it. */
double plant_noise(double t_s)
{
	if (plant.in.noise_v <= 0.0)
		return 0.0;
	uint64_t z = (uint64_t)(int64_t)floor(t_s * NOISE_CELL_PER_S + 1e-6);
	z += (uint64_t)plant.in.noise_seed * UINT64_C(0x9E3779B97F4A7C15);
	z = (z ^ (z >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
	z = (z ^ (z >> 27)) * UINT64_C(0x94D049BB133111EB);
	z ^= z >> 31;
	double sum = 0.0;
	for (int k = 0; k < 4; k++)
		sum += (double)((z >> (16 * k)) & 0xFFFFU) * (1.0 / 65535.0);
	return plant.in.noise_v * (sum - 2.0) * 1.7320508075688772;
}

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

static double current_at(int x, double t)
{
	const plant_plan_t *q = &plant.plan;
	lag r = lag_fast(t * plant.inv_tau);
	return plant.s.i_a[x] * r.e + t * plant.inv_l * (q->g0_v[x] * r.phi1 + q->g1_v_s[x] * t * r.phi2);
}

static double current_slope(int x, double t, double i)
{
	const plant_plan_t *q = &plant.plan;
	return (q->g0_v[x] + q->g1_v_s[x] * t) * plant.inv_l - i * plant.inv_tau;
}

/* Distance of the comparator input from its threshold at t after the segment's start. */
static double sense_at(double t)
{
	const plant_plan_t *q = &plant.plan;
	int x = plant.s.sense;
	double v;
	if (plant.s.mode[x] == MODE_OPEN) {
		v = q->vn0_v + q->e0_v[x] + (q->vn1_v_s + q->e1_v_s[x]) * t;
	} else {
		v = plant_rail(plant.s.mode[x], q->v0_v + q->v1_v_s * t) - plant.p.r_on_ohm * current_at(x, t);
	}
	return v - (q->mean0_v + q->mean1_v_s * t) + plant.p.offset_v + q->noise_v;
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
		for (int x = 0; x < 3; x++)
			later[x] = q->e0_v[x] + q->e1_v_s[x] * q->h_s;
		q->vn1_v_s = (plant_star_point(mode, later, v_now + v_slope * q->h_s) - q->vn0_v) / q->h_s;
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

static void cut(double t, uint8_t event, int leg)
{
	plant_plan_t *q = &plant.plan;
	if (t >= q->h_s)
		return;
	q->h_s = t > 0.0 ? t : 0.0;
	q->event = event;
	q->leg = (uint8_t)leg;
}

/* Root of a sampled function that is positive at a and not at b; safeguarded secant. */
static double root(double (*f)(int, double), int x, double a, double fa, double b, double fb)
{
	double t = b;
	for (int k = 0; k < 60 && b - a > 1e-13; k++) {
		t = a + (b - a) * fa / (fa - fb);
		if (!(t > a) || !(t < b) || (k & 3) == 3)
			t = 0.5 * (a + b);
		double ft = f(x, t);
		if (fabs(ft) < 1e-11)
			return t;
		if (ft > 0.0) {
			a = t;
			fa = ft;
		} else {
			b = t;
			fb = ft;
		}
	}
	return t;
}

static double signed_current(int x, double t)
{
	double i = current_at(x, t);
	return plant.s.mode[x] == MODE_DIODE_LOW ? i : -i;
}

/* The diode of leg x stops when its current comes back to zero. A current that dips and recovers
 * within the segment, or has only just started from zero, is bracketed by its extremum. */
static void find_diode_off(int x)
{
	double h = plant.plan.h_s;
	double sign = plant.s.mode[x] == MODE_DIODE_LOW ? 1.0 : -1.0;
	double i0 = sign * plant.s.i_a[x];
	double slope0 = sign * current_slope(x, 0.0, plant.s.i_a[x]);
	double ih = signed_current(x, h);
	double slope_h = sign * current_slope(x, h, sign * ih);
	if (ih > 0.0 && !(slope0 < 0.0 && slope_h > 0.0))
		return;
	double t_ext = h, i_ext = ih;
	if (slope0 * slope_h < 0.0) {
		double a = 0.0, b = h;
		for (int k = 0; k < 40 && b - a > 1e-13; k++) {
			t_ext = 0.5 * (a + b);
			i_ext = signed_current(x, t_ext);
			double s = sign * current_slope(x, t_ext, sign * i_ext);
			if ((s < 0.0) == (slope0 < 0.0))
				a = t_ext;
			else
				b = t_ext;
		}
	}
	if (i0 > 0.0 && i_ext <= 0.0)
		cut(root(signed_current, x, 0.0, i0, t_ext, i_ext), EVENT_DIODE_OFF, x);
	else if (i_ext > 0.0 && ih <= 0.0)
		cut(root(signed_current, x, t_ext, i_ext, h, ih), EVENT_DIODE_OFF, x);
	else if (i0 <= 0.0 && ih <= 0.0)
		cut(0.0, EVENT_DIODE_OFF, x);
}

static void find_clamp(int x)
{
	const plant_plan_t *q = &plant.plan;
	if (plant.s.t_s < plant.s.blocked_until_s[x])
		return cut(plant.s.blocked_until_s[x] - plant.s.t_s, EVENT_CLAMP, x);
	double v = q->vn0_v + q->e0_v[x], dv = q->vn1_v_s + q->e1_v_s[x];
	double below = v + plant.p.v_f_v + CLAMP_V;
	double above = q->v0_v + plant.p.v_f_v + CLAMP_V - v;
	double d_above = q->v1_v_s - dv;
	if (below + dv * q->h_s < 0.0)
		cut(below > 0.0 ? -below / dv : 0.0, EVENT_CLAMP, x);
	if (above + d_above * q->h_s < 0.0)
		cut(above > 0.0 ? -above / d_above : 0.0, EVENT_CLAMP, x);
}

/* With no leg conducting, a diode pair starts once the EMF between two phases exceeds the bus. */
static void find_rectification(void)
{
	const plant_plan_t *q = &plant.plan;
	for (int x = 0; x < 3; x++) {
		for (int y = 0; y < 3; y++) {
			double gap = q->v0_v + 2.0 * plant.p.v_f_v + 2.0 * CLAMP_V - (q->e0_v[x] - q->e0_v[y]);
			double slope = q->v1_v_s - (q->e1_v_s[x] - q->e1_v_s[y]);
			if (x != y && gap + slope * q->h_s < 0.0)
				cut(gap > 0.0 ? -gap / slope : 0.0, EVENT_CLAMP, x);
		}
	}
}

static double sense_signed(int sign, double t)
{
	return sign * sense_at(t) + LEVEL_V;
}

static void find_crossing(void)
{
	int sign = plant.s.level ? 1 : -1;
	double h = plant.plan.h_s;
	double dh = sense_signed(sign, h);
	if (dh >= 0.0)
		return;
	double d0 = sense_signed(sign, 0.0);
	if (d0 <= 0.0)
		cut(0.0, EVENT_CROSSING, 0);
	else if (plant.s.mode[plant.s.sense] == MODE_OPEN)
		cut(h * d0 / (d0 - dh), EVENT_CROSSING, 0);
	else
		cut(root(sense_signed, sign, 0.0, d0, h, dh), EVENT_CROSSING, 0);
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
	if (fabs(net) <= p->coulomb_nm * (1.0 - 1e-9)) {
		s->stuck = 1;
		return 0.0;
	}
	s->stuck = 0;
	return (net - (net > 0.0 ? p->coulomb_nm : -p->coulomb_nm)) / p->j_kg_m2;
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
	cut(limit_s - s->t_s, EVENT_NONE, 0);

	plant_shape(f, f_angle);
	memcpy(q->f0, f, sizeof q->f0);
	for (int x = 0; x < 3; x++)
		q->f1_s[x] = 0.0;
	q->al_rad_s2 = acceleration(plant_torque(s->i_a, 0.0));
	double w0 = s->w_rad_s, al = q->al_rad_s2;

	/* stop, then the sector border by the angle w t + al t^2 / 2 */
	if (!plant.in.driven && w0 * al < 0.0 && -w0 / al < q->h_s)
		cut(-w0 / al, EVENT_STOP, 0);
	double turn = p->pole_pairs * (w0 * q->h_s + 0.5 * al * q->h_s * q->h_s);
	double room = turn > 0.0 ? SECTOR_RAD - s->in_sector_rad : s->in_sector_rad;
	if (fabs(turn) > 0.0 && fabs(turn) >= room) {
		double wm = (w0 + 0.5 * al * q->h_s) * p->pole_pairs;
		double t = room / fabs(wm);
		for (int k = 0; k < 3; k++) {
			wm = (w0 + 0.5 * al * t) * p->pole_pairs;
			t = wm != 0.0 ? room / fabs(wm) : t;
		}
		cut(t, EVENT_BORDER, turn > 0.0);
	}
	if (plant.in.noise_v > 0.0) {
		double cell = floor(s->t_s * NOISE_CELL_PER_S + 1e-6);
		cut((cell + 1.0) / NOISE_CELL_PER_S - s->t_s, EVENT_NONE, 0);
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
			q1 += current_slope(x, 0.0, s->i_a[x]);
		}
		s->supply_on = !plant.in.unplugged;
		if (!p->sinks && s->supply_on) {
			double y = s->v_bus_v - plant.in.v_supply_v;
			s->supply_on = y < 0.0 || (y == 0.0 && q0 > 0.0);
		}
		double h = q->h_s > 0.0 ? q->h_s : 1e-15;
		double v_h = bus_after(h, q0, q1, 0.0, &mean);
		set_drive(s->v_bus_v, (v_h - s->v_bus_v) / h, mean - 0.5 * (s->v_bus_v + v_h));
		double over = v_h - plant.in.v_supply_v, was_over = s->v_bus_v - plant.in.v_supply_v;
		if (!p->sinks && !plant.in.unplugged && over * was_over < 0.0)
			cut(h * was_over / (was_over - over), EVENT_SUPPLY, 0);
	}

	if (conducting == 0)
		find_rectification();
	for (int x = 0; x < 3; x++) {
		if (s->mode[x] == MODE_DIODE_LOW || s->mode[x] == MODE_DIODE_HIGH)
			find_diode_off(x);
		else if (s->mode[x] == MODE_OPEN && conducting > 0)
			find_clamp(x);
	}
	if (s->stuck && conducting > 0) {
		double i[3] = {current_at(0, q->h_s), current_at(1, q->h_s), current_at(2, q->h_s)};
		double now = fabs(plant_torque(s->i_a, 0.0) - plant.in.load_nm);
		double then = fabs(plant_torque(i, q->h_s) - plant.in.load_nm);
		if (then > p->coulomb_nm)
			cut(q->h_s * (p->coulomb_nm - now) / (then - now), EVENT_BREAKAWAY, 0);
	}
	find_crossing();
	q->t_end_s = q->h_s == limit_s - s->t_s ? limit_s : s->t_s + q->h_s;
}
