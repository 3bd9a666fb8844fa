/*
 * conduction.c - which element of each leg carries current; whether the source feeds, whether friction
 * holds the rotor.
 *
 * A leg with a FET on is on that FET, one with a broken lead carries nothing. A leg with both FETs off
 * follows its current: a diode while any flows, and without current whatever is consistent: open inside
 * the clamps, or a diode whose current would grow in its own direction.
 */
#include "segment.h"
#include <math.h>

/* An open leg may stand this far beyond a clamp before its diode is said to conduct; planning
 * uses twice as much, so that the two never disagree on the same moment. */
#define CLAMP_TOLERANCE_V 0.5e-7
/* Least drive that starts a diode: below it the choice would be made by rounding. */
#define START_V 1e-9
/* Twice the margin of the event, so that its rounding decides nothing. */
#define SUPPLY_TOLERANCE_V 2e-9
#define AUX_TOLERANCE_V 1e-3

typedef struct { double j[2], v_star; } drive;

static drive drive_of(const plant_circuit *c)
{
	const plant_state *s = &plant.s;
	drive d;
	d.j[0] = c->loops > 0 ? s->i_a[c->first] : 0.0;
	d.j[1] = c->loops > 1 ? s->i_a[1] : 0.0;
	d.v_star = c->from_source * plant.in.v_supply_v + (s->aux_on ? c->from_aux * plant.p.i_aux_a : 0.0);
	return d;
}

static double bus_of(const plant_circuit *c, const drive *d)
{
	return c->bus[0] * d->j[0] + c->bus[1] * d->j[1] + c->bus[2] * plant.s.v_c_v + d->v_star;
}

/*
 * The source that cannot sink feeds while v_c - ESR i_out, the bus without it, lies below V0: feeding
 * moves the bus towards V0 and never past it, so the two choices exclude each other.
 */
void plant_refresh_bus(void)
{
	plant_state *s = &plant.s;
	const plant_params *p = &plant.p;
	if (p->stiff)
		s->v_c_v = plant.in.v_supply_v;
	if (s->v_c_v > AUX_FROM_V)
		s->aux_on = 1;
	else if (s->v_c_v < AUX_FROM_V - 2.0 * AUX_TOLERANCE_V)
		s->aux_on = 0;
	const plant_circuit *c = circuit_of(s->mode, s->supply_on);
	drive d = drive_of(c);
	uint8_t on = p->stiff || !plant.in.unplugged;
	if (on && !p->stiff && !p->sinks) {
		double i_out = (s->aux_on ? p->i_aux_a : 0.0) + c->out[0] * d.j[0] + c->out[1] * d.j[1];
		double above = s->v_c_v - p->esr_ohm * i_out - plant.in.v_supply_v;
		on = above > SUPPLY_TOLERANCE_V ? 0 : above < -SUPPLY_TOLERANCE_V ? 1 : s->supply_on;
	}
	if (on != s->supply_on) {
		s->supply_on = on;
		c = circuit_of(s->mode, on);
		d = drive_of(c);
	}
	s->v_bus_v = bus_of(c, &d);
	plant.circuit = c;
	plant.seen_supply_v = plant.in.v_supply_v;
	plant.seen_unplugged = plant.in.unplugged;
}

double plant_rest_torque(void)
{
	const plant_state *s = &plant.s;
	double water = plant.in.water_rad_s, sum = 0.0;
	shape_update();
	for (int x = 0; x < 3; x++)
		for (int b = 0; b < plant.bases; b++)
			sum += plant.emf[x][b] * plant.basis0[b] * s->i_a[x];
	return sum - plant.in.load_nm + plant.p.kq_nm_s2 * plant.in.load_factor * water * fabs(water);
}

int8_t plant_direction_from_rest(void)
{
	const plant_params *p = &plant.p;
	if (p->fixed_speed || plant.in.driven)
		return 0;
	if (plant.s.w_rad_s != 0.0)
		return plant.s.w_rad_s > 0.0 ? 1 : -1;
	if (p->breakaway_nm <= 0.0)
		return 1; /* nothing to break away from, and no friction that would need the sign */
	double net = plant_rest_torque();
	return net > p->breakaway_nm ? 1 : net < -p->breakaway_nm ? -1 : 0;
}

static int consistent(const uint8_t mode[3], const int undecided[3], const double e_v[3])
{
	const plant_circuit *c = circuit_of(mode, plant.s.supply_on);
	double v_f = plant.p.v_f_v, slope[2] = {0.0, 0.0};
	drive d = drive_of(c);
	double v = bus_of(c, &d);
	int floating = !conducts(mode[0]) && !conducts(mode[1]) && !conducts(mode[2]);
	double vn = floating ? plant_floating_star(mode, e_v, v) : 0.0;
	for (int l = 0; l < c->loops; l++)
		slope[l] = c->a[l][0] * d.j[0] + c->a[l][1] * d.j[1] + c->a[l][2] * plant.s.v_c_v + c->in_v[l] * d.v_star
		           + c->in_drop[l] - c->g[l][0] * e_v[0] - c->g[l][1] * e_v[1] - c->g[l][2] * e_v[2];
	for (int x = 0; x < 3; x++) {
		if (!undecided[x])
			continue;
		double terminal = floating ? vn + e_v[x]
		                           : c->t[x][0] * d.j[0] + c->t[x][1] * d.j[1] + c->t[x][2] * plant.s.v_c_v
		                                 + c->t_v[x] * d.v_star + c->t_drop[x] + c->t_e[x][0] * e_v[0]
		                                 + c->t_e[x][1] * e_v[1] + c->t_e[x][2] * e_v[2];
		double rise = plant.p.l_h[x] * (c->of_loop[x][0] * slope[0] + c->of_loop[x][1] * slope[1]);
		if (mode[x] == MODE_OPEN
		    && (terminal < -v_f - CLAMP_TOLERANCE_V || terminal > v + v_f + CLAMP_TOLERANCE_V))
			return 0;
		if (mode[x] == MODE_DIODE_LOW && rise <= START_V)
			return 0;
		if (mode[x] == MODE_DIODE_HIGH && rise >= -START_V)
			return 0;
	}
	return 1;
}

/* Leave the legs that nothing decides open for the guard's time. */
static void give_up(const int undecided[3])
{
	plant.s.guard_hits++;
	for (int x = 0; x < 3; x++)
		if (undecided[x])
			plant.s.blocked_until_s[x] = plant.s.t_s + GUARD_S;
}

/* 1 if some of the undecided legs are to conduct. */
static int choose(const int undecided[3])
{
	static const uint8_t choice[3] = {MODE_OPEN, MODE_DIODE_LOW, MODE_DIODE_HIGH};
	plant_state *s = &plant.s;
	double e_v[3];
	shape_emf(e_v);
	if (consistent(s->mode, undecided, e_v))
		return 0;
	for (int k = 1; k < 27; k++) {
		uint8_t mode[3];
		int left = k;
		int skip = 0;
		for (int x = 0; x < 3; x++) {
			mode[x] = undecided[x] ? choice[left % 3] : s->mode[x];
			skip |= !undecided[x] && left % 3 != 0;
			left /= 3;
		}
		if (skip || !consistent(mode, undecided, e_v))
			continue;
		for (int x = 0; x < 3; x++)
			s->mode[x] = mode[x];
		return 1;
	}
	give_up(undecided);
	return 0;
}

void plant_resolve(void)
{
	plant_state *s = &plant.s;
	int undecided[3];
	int n = 0;
	for (int x = 0; x < 3; x++) {
		undecided[x] = 0;
		if (plant.p.broken[x])
			s->mode[x] = s->gate[x] & 1U ? MODE_CUT_HIGH : MODE_CUT_LOW;
		else if (s->gate[x] & 1U)
			s->mode[x] = MODE_FET_HIGH;
		else if (s->gate[x] & 2U)
			s->mode[x] = MODE_FET_LOW;
		else if (s->i_a[x] > 0.0)
			s->mode[x] = MODE_DIODE_LOW;
		else if (s->i_a[x] < 0.0)
			s->mode[x] = MODE_DIODE_HIGH;
		else {
			s->mode[x] = MODE_OPEN;
			undecided[x] = s->t_s >= s->blocked_until_s[x];
			n += undecided[x];
		}
	}
	s->relevel = 1;
	plant_refresh_bus();
	/* which of the undecided conduct changes the circuit, but not the bus: they carry nothing yet */
	if (n > 0 && choose(undecided))
		plant.circuit = circuit_of(s->mode, s->supply_on);
}
