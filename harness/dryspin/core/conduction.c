/*
 * conduction.c - which element of each leg carries current.
 *
 * A leg with a FET on is on that FET. A leg with both FETs off follows its current: a diode while
 * any flows, and without current whatever is consistent: open inside the clamps, or a diode that
 * would start in its own direction. All conducting legs have the same series resistance, so the
 * star point needs no current and the consistent choice is unique.
 */
#include "plant.h"

/* An open leg may stand this far beyond a clamp before its diode is said to conduct; planning
 * uses twice as much, so that the two never disagree on the same moment. */
#define CLAMP_TOLERANCE_V 0.5e-7
/* Least drive that starts a diode: below it the choice would be made by rounding. */
#define START_V 1e-9

double plant_rail(uint8_t mode, double v_bus_v)
{
	switch (mode) {
	case MODE_FET_HIGH: return v_bus_v;
	case MODE_DIODE_HIGH: return v_bus_v + plant.p.v_f_v;
	case MODE_DIODE_LOW: return -plant.p.v_f_v;
	default: return 0.0;
	}
}

/*
 * Conducting legs: vn = mean(u - e) over them, since the resistances are equal and sum i = 0.
 * None: the equal sense dividers hold the mean of the terminals at zero, unless that would put a
 * terminal beyond a clamp, where it then stands.
 */
double plant_star_point(const uint8_t mode[3], const double e_v[3], double v_bus_v)
{
	double sum = 0.0;
	int n = 0;
	for (int x = 0; x < 3; x++) {
		if (mode[x] == MODE_OPEN)
			continue;
		sum += plant_rail(mode[x], v_bus_v) - e_v[x];
		n++;
	}
	if (n > 0)
		return sum / n;
	double lowest = e_v[0], highest = e_v[0];
	for (int x = 1; x < 3; x++) {
		lowest = e_v[x] < lowest ? e_v[x] : lowest;
		highest = e_v[x] > highest ? e_v[x] : highest;
	}
	double vn = -(e_v[0] + e_v[1] + e_v[2]) / 3.0;
	if (vn + lowest < -plant.p.v_f_v)
		vn = -plant.p.v_f_v - lowest;
	if (vn + highest > v_bus_v + plant.p.v_f_v)
		vn = v_bus_v + plant.p.v_f_v - highest;
	return vn;
}

static int consistent(const uint8_t mode[3], const int undecided[3], const double e_v[3])
{
	double v = plant.s.v_bus_v, v_f = plant.p.v_f_v;
	double vn = plant_star_point(mode, e_v, v);
	for (int x = 0; x < 3; x++) {
		if (!undecided[x])
			continue;
		double terminal = vn + e_v[x];
		double drive = plant_rail(mode[x], v) - e_v[x] - vn;
		if (mode[x] == MODE_OPEN
		    && (terminal < -v_f - CLAMP_TOLERANCE_V || terminal > v + v_f + CLAMP_TOLERANCE_V))
			return 0;
		if (mode[x] == MODE_DIODE_LOW && drive <= START_V)
			return 0;
		if (mode[x] == MODE_DIODE_HIGH && drive >= -START_V)
			return 0;
	}
	return 1;
}

void plant_resolve(void)
{
	static const uint8_t choice[3] = {MODE_OPEN, MODE_DIODE_LOW, MODE_DIODE_HIGH};
	plant_state *s = &plant.s;
	double f[3], slope[3], e_v[3];
	int undecided[3];
	int n = 0;
	plant_shape(f, slope);
	for (int x = 0; x < 3; x++) {
		e_v[x] = plant.p.k_v_s * s->w_rad_s * f[x];
		undecided[x] = 0;
		if (s->gate[x] & 1U)
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
	if (n == 0 || consistent(s->mode, undecided, e_v))
		return;
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
		return;
	}
	/* no choice fits to rounding: leave the undecided legs open for the guard's time */
	s->guard_hits++;
	for (int x = 0; x < 3; x++)
		if (undecided[x])
			s->blocked_until_s[x] = s->t_s + 20e-9;
}
