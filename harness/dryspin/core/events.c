/*
 * events.c - finding what ends a segment: a diode whose current stops, an open leg at a clamp, the
 * comparator's input at its threshold.
 */
#include "events.h"
#include "segment.h"
#include <math.h>

#define CLAMP_V 1e-7 /* see conduction.c */

double event_current(int x, double t)
{
	const plant_plan_t *q = &plant.plan;
	lag r = lag_fast(t * plant.inv_tau);
	return plant.s.i_a[x] * r.e + t * plant.inv_l * (q->g0_v[x] * r.phi1 + q->g1_v_s[x] * t * r.phi2);
}

double event_current_slope(int x, double t, double i)
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
		v = plant_rail(plant.s.mode[x], q->v0_v + q->v1_v_s * t) - plant.p.r_on_ohm * event_current(x, t);
	}
	return v - (q->mean0_v + q->mean1_v_s * t) + plant.p.offset_v + q->noise_v;
}

void event_cut(double t, uint8_t event, int leg)
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
	double i = event_current(x, t);
	return plant.s.mode[x] == MODE_DIODE_LOW ? i : -i;
}

/* The diode of leg x stops when its current comes back to zero. A current that dips and recovers
 * within the segment, or has only just started from zero, is bracketed by its extremum. */
void event_find_diode_off(int x)
{
	double h = plant.plan.h_s;
	double sign = plant.s.mode[x] == MODE_DIODE_LOW ? 1.0 : -1.0;
	double i0 = sign * plant.s.i_a[x];
	double slope0 = sign * event_current_slope(x, 0.0, plant.s.i_a[x]);
	double ih = signed_current(x, h);
	double slope_h = sign * event_current_slope(x, h, sign * ih);
	if (ih > 0.0 && !(slope0 < 0.0 && slope_h > 0.0))
		return;
	double t_ext = h, i_ext = ih;
	if (slope0 * slope_h < 0.0) {
		double a = 0.0, b = h;
		for (int k = 0; k < 40 && b - a > 1e-13; k++) {
			t_ext = 0.5 * (a + b);
			i_ext = signed_current(x, t_ext);
			double s = sign * event_current_slope(x, t_ext, sign * i_ext);
			if ((s < 0.0) == (slope0 < 0.0))
				a = t_ext;
			else
				b = t_ext;
		}
	}
	if (i0 > 0.0 && i_ext <= 0.0)
		event_cut(root(signed_current, x, 0.0, i0, t_ext, i_ext), EVENT_DIODE_OFF, x);
	else if (i_ext > 0.0 && ih <= 0.0)
		event_cut(root(signed_current, x, t_ext, i_ext, h, ih), EVENT_DIODE_OFF, x);
	else if (i0 <= 0.0 && ih <= 0.0)
		event_cut(0.0, EVENT_DIODE_OFF, x);
}

void event_find_clamp(int x)
{
	const plant_plan_t *q = &plant.plan;
	if (plant.s.t_s < plant.s.blocked_until_s[x])
		return event_cut(plant.s.blocked_until_s[x] - plant.s.t_s, EVENT_CLAMP, x);
	double v = q->vn0_v + q->e0_v[x], dv = q->vn1_v_s + q->e1_v_s[x];
	double below = v + plant.p.v_f_v + CLAMP_V;
	double above = q->v0_v + plant.p.v_f_v + CLAMP_V - v;
	double d_above = q->v1_v_s - dv;
	if (below + dv * q->h_s < 0.0)
		event_cut(below > 0.0 ? -below / dv : 0.0, EVENT_CLAMP, x);
	if (above + d_above * q->h_s < 0.0)
		event_cut(above > 0.0 ? -above / d_above : 0.0, EVENT_CLAMP, x);
}

/* With no leg conducting, a diode pair starts once the EMF between two phases exceeds the bus. */
void event_find_rectification(void)
{
	const plant_plan_t *q = &plant.plan;
	for (int x = 0; x < 3; x++) {
		for (int y = 0; y < 3; y++) {
			double gap = q->v0_v + 2.0 * plant.p.v_f_v + 2.0 * CLAMP_V - (q->e0_v[x] - q->e0_v[y]);
			double slope = q->v1_v_s - (q->e1_v_s[x] - q->e1_v_s[y]);
			if (x != y && gap + slope * q->h_s < 0.0)
				event_cut(gap > 0.0 ? -gap / slope : 0.0, EVENT_CLAMP, x);
		}
	}
}

/* Noise is held for a cell of 1 us. Where it can decide the level, the segment ends with the cell. */
void event_find_noise_cell(void)
{
	if (plant.in.noise_v <= 0.0)
		return;
	double reach = NOISE_PEAK * plant.in.noise_v;
	double noise = plant.plan.noise_v;
	double d0 = sense_at(0.0) - noise, dh = sense_at(plant.plan.h_s) - noise;
	if ((d0 > reach && dh > reach) || (d0 < -reach && dh < -reach))
		return;
	double cell = floor(plant.s.t_s * NOISE_CELL_PER_S + 1e-6);
	event_cut((cell + 1.0) / NOISE_CELL_PER_S - plant.s.t_s, EVENT_NONE, 0);
}

static double sense_signed(int sign, double t)
{
	return sign * sense_at(t) + LEVEL_V;
}

void event_find_crossing(void)
{
	int sign = plant.s.level ? 1 : -1;
	double h = plant.plan.h_s;
	double dh = sense_signed(sign, h);
	if (dh >= 0.0)
		return;
	double d0 = sense_signed(sign, 0.0);
	if (d0 <= 0.0)
		event_cut(0.0, EVENT_CROSSING, 0);
	else if (plant.s.mode[plant.s.sense] == MODE_OPEN)
		event_cut(h * d0 / (d0 - dh), EVENT_CROSSING, 0);
	else
		event_cut(root(sense_signed, sign, 0.0, d0, h, dh), EVENT_CROSSING, 0);
}

