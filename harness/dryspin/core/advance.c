/*
 * advance.c - going to the end of a planned segment, or to an earlier moment of it.
 */
#include "plant.h"
#include "segment.h"
#include <math.h>

#define GUARD_S 20e-9 /* how long a leg whose diode reverted at once is left open */
#define INSTANT_S 1e-12
/* A current that has decayed for long may reach zero in 1e-174 s: no state changes in that time, and
 * its square is no number to divide by. */
#define NOTHING_S 1e-15

/* Shaft torque less all that brakes it, at speed w moving in direction `way`. */
static double net_torque(double torque, double w, double way)
{
	const plant_params *p = &plant.p;
	return torque - p->b_nm_s * w - way * p->coulomb_nm - plant.in.load_nm
	       - plant.in.load_factor * p->kq_nm_s2 * w * fabs(w);
}

static void currents(const lag *r, double t, double i[3])
{
	const plant_plan_t *q = &plant.plan;
	for (int x = 0; x < 3; x++)
		i[x] = plant.s.mode[x] == MODE_OPEN
		           ? 0.0
		           : plant.s.i_a[x] * r->e + t * plant.inv_l * (q->g0_v[x] * r->phi1 + q->g1_v_s[x] * t * r->phi2);
}

static double bus_current(const double i[3])
{
	double sum = plant_aux_current();
	for (int x = 0; x < 3; x++)
		if (plant.s.mode[x] == MODE_FET_HIGH || plant.s.mode[x] == MODE_DIODE_HIGH)
			sum += i[x];
	return sum;
}

/* Bus driven by the quadratic through start, middle and end of the bridge current, which keeps
 * charge balanced where a chord would not (small L). */
static void advance_bus(double h, const double mid[3], const double end[3])
{
	const plant_params *p = &plant.p;
	plant_state *s = &plant.s;
	double d0 = bus_current(s->i_a), dm = bus_current(mid), de = bus_current(end);
	double q1 = (4.0 * dm - 3.0 * d0 - de) / h;
	double q2 = (2.0 * d0 - 4.0 * dm + 2.0 * de) / (h * h);
	if (!s->supply_on) {
		s->v_bus_v -= h / p->c_bus_f * (d0 + 4.0 * dm + de) * (1.0 / 6.0);
		return;
	}
	lag r = lag_slow(h / plant.tau_bus_s);
	double y = (s->v_bus_v - plant.in.v_supply_v) * r.e
	           - h / p->c_bus_f * (d0 * r.phi1 + h * (q1 * r.phi2 + h * 2.0 * q2 * r.phi3));
	s->v_bus_v = plant.in.v_supply_v + y;
}

/* Speed by Simpson's rule over the torque, angle by the mean of old and new speed. */
static void advance_rotor(double h, const double mid[3], const double end[3])
{
	const plant_params *p = &plant.p;
	plant_state *s = &plant.s;
	double w0 = s->w_rad_s, al = plant.plan.al_rad_s2, w1 = w0;
	if (plant.in.driven) {
		w1 = w0 + plant.in.w_driven_slope * h;
	} else if (!p->fixed_speed && !s->stuck) {
		double t0 = plant_torque(s->i_a, 0.0);
		double way = w0 > 0.0 ? 1.0 : w0 < 0.0 ? -1.0 : t0 > plant.in.load_nm ? 1.0 : -1.0;
		double sum = net_torque(t0, w0, way) + 4.0 * net_torque(plant_torque(mid, 0.5 * h), w0 + 0.5 * al * h, way)
		             + net_torque(plant_torque(end, h), w0 + al * h, way);
		w1 = w0 + h * sum / (6.0 * p->j_kg_m2);
		if (w0 * w1 < 0.0)
			w1 = 0.0;
	}
	s->in_sector_rad += p->pole_pairs * 0.5 * (w0 + w1) * h;
	if (s->in_sector_rad < 0.0)
		s->in_sector_rad = 0.0;
	if (s->in_sector_rad > SECTOR_RAD)
		s->in_sector_rad = SECTOR_RAD;
	s->w_rad_s = w1;
}

/* A diode that stops leaves exactly no current, and the other two legs exactly opposite ones:
 * a residue of rounding would count as conduction. */
static void stop_diode(int leg, double h)
{
	plant_state *s = &plant.s;
	int a = (leg + 1) % 3, b = (leg + 2) % 3;
	s->i_a[leg] = 0.0;
	if (s->mode[a] == MODE_OPEN || s->mode[b] == MODE_OPEN)
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

static int finish(double h)
{
	plant_state *s = &plant.s;
	const plant_plan_t *q = &plant.plan;
	switch (q->event) {
	case EVENT_DIODE_OFF: stop_diode(q->leg, h); break;
	case EVENT_CLAMP: start_diode(q->leg, h); break;
	case EVENT_BORDER:
		s->sector += q->leg ? 1 : -1;
		s->in_sector_rad = q->leg ? 0.0 : SECTOR_RAD;
		break;
	case EVENT_SUPPLY: s->v_bus_v = plant.in.v_supply_v; break;
	case EVENT_STOP: s->w_rad_s = 0.0; break;
	case EVENT_CROSSING: s->level ^= 1U; return 1;
	default: break;
	}
	return 0;
}

int plant_commit(double t_s)
{
	plant_state *s = &plant.s;
	const plant_plan_t *q = &plant.plan;
	int full = t_s >= q->t_end_s;
	double h = full ? q->h_s : t_s - s->t_s;
	if (h >= NOTHING_S) {
		double mid[3], end[3];
		lag r = lag_fast(0.5 * h * plant.inv_tau);
		currents(&r, 0.5 * h, mid);
		r = lag_fast(h * plant.inv_tau);
		currents(&r, h, end);
		if (!plant.p.stiff)
			advance_bus(h, mid, end);
		else
			s->v_bus_v = plant.in.v_supply_v;
		advance_rotor(h, mid, end);
		s->i_a[0] = end[0];
		s->i_a[1] = end[1];
		s->i_a[2] = s->mode[2] == MODE_OPEN ? 0.0 : -(end[0] + end[1]);
		if (s->mode[0] != MODE_OPEN && s->mode[1] != MODE_OPEN && s->mode[2] == MODE_OPEN)
			s->i_a[1] = -end[0];
	}
	s->t_s = full ? q->t_end_s : t_s;
	int changed = full ? finish(h) : 0;
	if (!changed && (s->relevel || plant.in.noise_v > 0.0))
		changed = plant_read_level();
	return changed;
}
