/*
 * energy.c - what passed each port of source, bus, bridge, machine and shaft.
 *
 * Each power is written down from its own law and integrated by itself over the segment's series
 * (Gauss-Legendre, five points: exact for polynomials of degree 9); none is found by subtraction. The
 * ports are those of dryspin/plant/energy.py.
 */
#include "segment.h"
#include <math.h>

/* Abramowitz and Stegun, table 25.4, n = 5, moved to [0, 1]. */
static const double node[5] = {0.046910077030668, 0.23076534494715845, 0.5, 0.76923465505284155,
                               0.953089922969332};
static const double weight[5] = {0.11846344252809454, 0.23931433524968324, 0.28444444444444444,
                                 0.23931433524968324, 0.11846344252809454};

static void heat(const double i[3], double seconds)
{
	plant_energy *e = &plant.energy;
	for (int x = 0; x < 3; x++) {
		double square = i[x] * i[x];
		e->copper += seconds * plant.p.r_ohm[x] * square;
		if (is_diode(plant.s.mode[x]))
			e->diode += seconds * (plant.p.v_f_v * fabs(i[x]) + plant.p.r_diode_ohm * square);
		else
			e->fet += seconds * plant.p.r_on_ohm * square;
	}
}

static void shaft(double w, double torque_power, double seconds)
{
	plant_energy *e = &plant.energy;
	const plant_params *p = &plant.p;
	double slip = w - plant.in.water_rad_s;
	e->electromechanical += seconds * torque_power;
	e->friction += seconds * (p->coulomb_nm * fabs(w) + p->b_nm_s * w * w);
	e->propeller += seconds * p->kq_nm_s2 * plant.in.load_factor * slip * fabs(slip) * w;
	e->load += seconds * plant.in.load_nm * w;
}

static void source(const plant_segment *q, double j0, double j1, double v_c, double seconds)
{
	plant_energy *e = &plant.energy;
	const plant_circuit *c = q->circuit;
	double v = c->bus[0] * j0 + c->bus[1] * j1 + c->bus[2] * v_c + q->v_star;
	double i_out = q->aux_a + c->out[0] * j0 + c->out[1] * j1;
	e->auxiliary += seconds * v * q->aux_a;
	if (plant.p.stiff) {
		e->source += seconds * v * i_out;
		return;
	}
	double i_b = c->feed * (plant.in.v_supply_v - v), i_c = i_b - i_out;
	e->source += seconds * plant.in.v_supply_v * i_b;
	e->supply_ohm += seconds * plant.p.r_supply_ohm * i_b * i_b;
	e->esr += seconds * plant.p.esr_ohm * i_c * i_c;
}

void energy_add(double s)
{
	const plant_segment *q = &plant.q;
	const plant_circuit *c = q->circuit;
	for (int k = 0; k < 5; k++) {
		double at = s * node[k], seconds = weight[k] * s * q->h_s;
		double j0 = c->loops > 0 ? series_at(q->j0, q->n, at) : 0.0;
		double j1 = c->loops > 1 ? series_at(q->j1, q->n, at) : 0.0;
		double i[3], power = 0.0;
		for (int x = 0; x < 3; x++)
			i[x] = c->of_loop[x][0] * j0 + c->of_loop[x][1] * j1;
		for (int b = 0; b < plant.bases; b++) {
			double current = plant.emf[0][b] * i[0] + plant.emf[1][b] * i[1] + plant.emf[2][b] * i[2];
			power += current * series_at(q->turning[b], q->n, at);
		}
		heat(i, seconds);
		shaft(series_at(q->w, q->n, at), power, seconds);
		source(q, j0, j1, series_at(q->v, q->n, at), seconds);
	}
}
