/*
 * rotor.h - the part of a segment's series that turns: speed, angle, functions of the angle and what they make
 * of the currents, coefficient by coefficient. series.c has the equations.
 */
#ifndef DRYSPIN_ROTOR_H
#define DRYSPIN_ROTOR_H

#include "segment.h"

#define INLINE static inline __attribute__((always_inline))

static const double inverse[ORDERS + 1] = {
	0.0,      1.0,      1.0 / 2,  1.0 / 3,  1.0 / 4,  1.0 / 5,  1.0 / 6,  1.0 / 7,  1.0 / 8,
	1.0 / 9,  1.0 / 10, 1.0 / 11, 1.0 / 12, 1.0 / 13, 1.0 / 14, 1.0 / 15, 1.0 / 16, 1.0 / 17,
	1.0 / 18, 1.0 / 19, 1.0 / 20, 1.0 / 21, 1.0 / 22, 1.0 / 23, 1.0 / 24, 1.0 / 25, 1.0 / 26};

/* How EMF enters the loops (times h), and how their currents make torque, by basis. */
typedef struct { double drive[2][BASES], torque[2][BASES]; } links;

INLINE void link_up(links *k, const plant_circuit *c, const int loops, const int bases, double h)
{
	for (int l = 0; l < loops; l++)
		for (int b = 0; b < bases; b++) {
			double drive = 0.0, torque = 0.0;
			for (int x = 0; x < 3; x++) {
				drive -= c->g[l][x] * plant.emf[x][b];
				torque += c->of_loop[x][l] * plant.emf[x][b];
			}
			k->drive[l][b] = h * drive;
			k->torque[l][b] = torque;
		}
}

/* Coefficient n of the product of the speed, which ends early, and a series. */
INLINE double times_speed(const double *a, const double *w, int n)
{
	_Static_assert(SPEED_ORDERS == 5, "written out for w[0] .. w[4]: n is known where it matters");
	double sum = w[0] * a[n];
	if (n >= 1)
		sum += w[1] * a[n - 1];
	if (n >= 2)
		sum += w[2] * a[n - 2];
	if (n >= 3)
		sum += w[3] * a[n - 3];
	if (n >= 4)
		sum += w[4] * a[n - 4];
	return sum;
}

/* cos and sin of `times` the angle since the start: coefficient n + 1. */
INLINE void turn_basis(double *c, double *s, const double *angle, double times, int n)
{
	double dc = 0.0, ds = 0.0;
	int last = n + 1 < SPEED_ORDERS ? n + 1 : SPEED_ORDERS;
	for (int k = 1; k <= last; k++) {
		dc -= s[n + 1 - k] * k * angle[k];
		ds += c[n + 1 - k] * k * angle[k];
	}
	c[n + 1] = times * dc * inverse[n + 1];
	s[n + 1] = times * ds * inverse[n + 1];
}

INLINE double braking(const plant_segment *q, int n)
{
	const plant_params *p = &plant.p;
	const double *w = q->w;
	double slip = w[0] - plant.in.water_rad_s, square = n == 0 ? slip * slip : 2.0 * slip * w[n];
	_Static_assert(SPEED_ORDERS == 5, "the squares below are those of n < 4");
	if (n == 2)
		square += w[1] * w[1];
	if (n == 3)
		square += 2.0 * w[1] * w[2];
	double constant = n == 0 ? p->coulomb_nm * plant.s.moving + plant.in.load_nm : 0.0;
	return p->b_nm_s * w[n] + constant + p->kq_nm_s2 * plant.in.load_factor * q->way * square;
}

/* Torque per ampere times current of one basis, coefficient n. */
INLINE double pull(const links *k, const int loops, int b, int n)
{
	const plant_segment *q = &plant.q;
	return k->torque[0][b] * q->j0[n] + (loops > 1 ? k->torque[1][b] * q->j1[n] : 0.0);
}

/* Torque, coefficient n < SPEED_ORDERS - 1. With a straight shape the first basis is 1 and the second
 * the angle. */
INLINE double torque_order(const links *k, const int loops, const int bases, const int sine, int n)
{
	const plant_segment *q = &plant.q;
	double sum = sine ? 0.0 : pull(k, loops, 0, n);
	for (int b = sine ? 0 : 1; b < bases; b++) {
		const double *f = !sine && b == 1 ? q->angle : q->basis[b];
		sum += f[0] * pull(k, loops, b, n);
		if (n >= 1)
			sum += f[1] * pull(k, loops, b, n - 1);
		if (n >= 2)
			sum += f[2] * pull(k, loops, b, n - 2);
		if (n >= 3)
			sum += f[3] * pull(k, loops, b, n - 3);
	}
	return sum;
}

/* Angle, basis, basis x speed: coefficient n; then the speed's n + 1. */
INLINE void turn_order(const links *k, const int loops, const int bases, const int sine, double h, int n)
{
	plant_segment *q = &plant.q;
	double *w = q->w, *angle = q->angle;
	if (n > 0 && n <= SPEED_ORDERS)
		angle[n] = h * plant.p.pole_pairs * w[n - 1] * inverse[n];
	if (sine && n > 0)
		turn_basis(q->basis[0], q->basis[1], angle, 1.0, n - 1);
	if (bases > 2 && n > 0)
		turn_basis(q->basis[2], q->basis[3], angle, 3.0, n - 1);
	q->turning[0][n] = sine ? times_speed(q->basis[0], w, n) : n < SPEED_ORDERS ? w[n] : 0.0;
	q->turning[1][n] = times_speed(sine ? q->basis[1] : angle, w, n);
	for (int b = 2; b < bases; b++)
		q->turning[b][n] = times_speed(q->basis[b], w, n);
	if (n >= SPEED_ORDERS - 1)
		return;
	if (plant.s.moving != 0) {
		double torque = loops > 0 ? torque_order(k, loops, bases, sine, n) : 0.0;
		w[n + 1] = h / plant.p.j_kg_m2 * inverse[n + 1] * (torque - braking(q, n));
	} else {
		w[n + 1] = n == 0 && plant.in.driven ? h * plant.in.w_driven_slope : 0.0;
	}
}

/* Torque of the currents' coefficient `now` and of the one before. */
INLINE double pulled(const double *at, const double *slope, const int loops, const double now[3],
                     const double before[3])
{
	double torque = loops > 0 ? at[0] * now[0] + slope[0] * before[0] : 0.0;
	return loops > 1 ? torque + at[1] * now[1] + slope[1] * before[1] : torque;
}

#endif
