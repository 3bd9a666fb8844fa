/*
 * series.c - the series of a segment: currents, capacitor, speed, angle, EMF, coefficient by coefficient.
 *
 * With s = t/h the equations give each coefficient from the ones before it, n = 0, 1, ...
 *
 *   (n+1) j[n+1]     = h (a j + a v + in_v v* + in_drop - g e)[n]      e = emf . turning
 *   (n+1) v[n+1]     = h (a[2] y + ...)[n]
 *   (n+1) w[n+1]     = h (T - B w - Tc way - Tl - kq slip|slip|)[n] / J
 *   (n+1) angle[n+1] = h p w[n]
 *   turning = basis(angle) w,   T = basis(angle) (emf . i)            products of series
 *   C' = -S phi', S' = C phi'                                         basis of a smooth shape
 *
 * Speed and angle hardly bend within a segment, so their series are short, and so are those of the EMF.
 * The others go on until a term has become too small to matter.
 */
#include "rotor.h"
#include <math.h>

/* The first term left out is smaller than the last taken, which is below these: the comparator's
 * band of 1e-7 V must not notice where one segment ends and the next begins. */
#define TERM_A 1e-8
#define TERM_V 1e-9
/* Terms of the EMF: straight shapes, smooth ones over SMOOTH_TURN_RAD (plan.c) at most. */
#define STRAIGHT_ORDERS 6
#define SMOOTH_ORDERS 10

/* The linear part, times h: what the series' own coefficients add to the next ones. */
typedef struct { double a[3][3], square[3][3], end[3], reach[3]; } kernel;

INLINE void next_order(kernel *m, const int loops, int n, const double g[3])
{
	plant_segment *q = &plant.q;
	double *j0 = q->j0, *j1 = q->j1, *v = q->v, by = inverse[n + 1];
	if (loops > 0) {
		j0[n + 1] = by * (m->a[0][0] * j0[n] + m->a[0][2] * v[n] + g[0] + (loops > 1 ? m->a[0][1] * j1[n] : 0.0));
		m->end[0] += j0[n + 1];
		m->reach[0] += fabs(j0[n + 1]);
	}
	if (loops > 1) {
		j1[n + 1] = by * (m->a[1][0] * j0[n] + m->a[1][2] * v[n] + g[1] + m->a[1][1] * j1[n]);
		m->end[1] += j1[n + 1];
		m->reach[1] += fabs(j1[n + 1]);
	}
	v[n + 1] = by * (m->a[2][2] * v[n] + g[2] + (loops > 0 ? m->a[2][0] * j0[n] : 0.0)
	                 + (loops > 1 ? m->a[2][1] * j1[n] : 0.0));
	m->end[2] += v[n + 1];
	m->reach[2] += fabs(v[n + 1]);
}

INLINE void square(kernel *m, const int loops)
{
	for (int k = 0; k < 3; k++)
		for (int l = 0; l < 3; l++) {
			double sum = m->a[k][2] * m->a[2][l];
			if (loops > 0)
				sum += m->a[k][0] * m->a[0][l];
			if (loops > 1)
				sum += m->a[k][1] * m->a[1][l];
			m->square[k][l] = sum;
		}
}

/* Without a drive, coefficient n + 2 from n: even and odd ones do not wait for each other. y: the
 * coefficients n of j0, j1, v, replaced by those of n + 2. */
INLINE void order_after_next(kernel *m, const int loops, int n, double y[3])
{
	plant_segment *q = &plant.q;
	double by = inverse[n + 1] * inverse[n + 2], next[3] = {0.0, 0.0, 0.0};
	for (int l = loops > 0 ? 0 : 2; l < 3; l++) {
		if (l == 1 && loops < 2)
			continue;
		double sum = m->square[l][2] * y[2];
		if (loops > 0)
			sum += m->square[l][0] * y[0];
		if (loops > 1)
			sum += m->square[l][1] * y[1];
		next[l] = by * sum;
		m->end[l] += next[l];
		m->reach[l] += fabs(next[l]);
	}
	if (loops > 0)
		q->j0[n + 2] = y[0] = next[0];
	if (loops > 1)
		q->j1[n + 2] = y[1] = next[1];
	q->v[n + 2] = y[2] = next[2];
}

/* Coefficient n + 1 of all, with the EMF's coefficient n. */
INLINE void head_order(kernel *m, const links *k, const double in[3], const int loops, const int bases,
                       const int sine, double h, int n)
{
	double g[3] = {in[0], in[1], in[2]};
	turn_order(k, loops, bases, sine, h, n);
	for (int l = 0; l < loops; l++) {
		g[l] += k->drive[l][0] * plant.q.turning[0][n] + k->drive[l][1] * plant.q.turning[1][n];
		if (bases > 2)
			g[l] += k->drive[l][2] * plant.q.turning[2][n] + k->drive[l][3] * plant.q.turning[3][n];
	}
	next_order(m, loops, n, g);
}

/* All series over q->h_s; returns 0 if they do not converge over so long a segment. */
INLINE int expand(const int loops, const int bases, const int sine)
{
	plant_segment *q = &plant.q;
	const plant_circuit *c = q->circuit;
	const double h = q->h_s;
	const int orders = bases > 2 || sine ? SMOOTH_ORDERS : STRAIGHT_ORDERS;
	static const double nothing[3] = {0.0, 0.0, 0.0};
	kernel m;
	links k;
	double in[3] = {0.0, 0.0, 0.0};
	for (int l = 0; l < 3; l++)
		for (int x = 0; x < 3; x++)
			m.a[l][x] = h * c->a[l][x];
	for (int l = 0; l < loops; l++)
		in[l] = h * (c->in_v[l] * q->v_star + c->in_drop[l]);
	if (!plant.p.stiff)
		in[2] = h * (c->feed * (plant.in.v_supply_v - q->v_star) - q->aux_a) / plant.p.c_bus_f;
	link_up(&k, c, loops, bases, h);
	m.end[0] = q->j0[0];
	m.end[1] = q->j1[0];
	m.end[2] = q->v[0];
	m.reach[0] = m.reach[1] = m.reach[2] = 0.0;

	head_order(&m, &k, in, loops, bases, sine, h, 0);
	head_order(&m, &k, nothing, loops, bases, sine, h, 1);
	head_order(&m, &k, nothing, loops, bases, sine, h, 2);
	head_order(&m, &k, nothing, loops, bases, sine, h, 3);
	head_order(&m, &k, nothing, loops, bases, sine, h, 4);
	head_order(&m, &k, nothing, loops, bases, sine, h, 5);
	int n = STRAIGHT_ORDERS;
	for (; n < orders; n++)
		head_order(&m, &k, nothing, loops, bases, sine, h, n);
	/* The tail: no EMF, and the torque of currents in which only the angle's first two coefficients
	 * still matter. It bends the speed by some 1e-3 rad/s, but always the same way. */
	double tail[2] = {0.0, 0.0}, slope[2] = {0.0, 0.0}, last;
	const int free_rotor = loops > 0 && plant.s.moving != 0;
	for (int l = 0; l < loops; l++)
		for (int b = 0; b < bases; b++) {
			const double *f = !sine && b == 1 ? q->angle : q->basis[b];
			tail[l] += k.torque[l][b] * (!sine && b == 0 ? 1.0 : f[0]);
			slope[l] += k.torque[l][b] * (!sine && b == 0 ? 0.0 : f[1]);
		}
	square(&m, loops);
	next_order(&m, loops, n, nothing);
	n++;
	/* coefficients n - 1 and n */
	double even[3] = {q->j0[n - 1], q->j1[n - 1], q->v[n - 1]}, odd[3] = {q->j0[n], q->j1[n], q->v[n]};
	double accelerate = free_rotor ? h / plant.p.j_kg_m2 : 0.0;
	for (int o = SPEED_ORDERS; o <= n; o++) {
		double now[3] = {q->j0[o - 1], q->j1[o - 1], 0.0}, before[3] = {q->j0[o - 2], q->j1[o - 2], 0.0};
		q->w[o] = accelerate * inverse[o] * pulled(tail, slope, loops, now, before);
	}
	for (;; n += 2) {
		last = fabs(odd[2]) * (TERM_A / TERM_V);
		if (loops > 0)
			last = fabs(odd[0]) > last ? fabs(odd[0]) : last;
		if (loops > 1)
			last = fabs(odd[1]) > last ? fabs(odd[1]) : last;
		if (last < TERM_A || n + 2 >= ORDERS)
			break;
		double bends = pulled(tail, slope, loops, odd, even);
		q->w[n + 1] = accelerate * inverse[n + 1] * bends;
		order_after_next(&m, loops, n - 1, even);
		bends = pulled(tail, slope, loops, even, odd);
		q->w[n + 2] = accelerate * inverse[n + 2] * bends;
		order_after_next(&m, loops, n, odd);
	}
	q->n = n + 1;
	for (int l = 0; l < 3; l++)
		q->end[l] = m.end[l];
	q->reach_j0 = m.reach[0];
	q->reach_j1 = m.reach[1];
	q->reach_v = m.reach[2];
	return last < TERM_A;
}

static int expand_mode(void)
{
	const int loops = plant.q.circuit->loops, sine = plant.p.shape == EMF_SINE;
	if (plant.bases == 2 && !sine)
		return loops == 1 ? expand(1, 2, 0) : loops == 0 ? expand(0, 2, 0) : expand(2, 2, 0);
	if (plant.bases == 2)
		return loops == 1 ? expand(1, 2, 1) : loops == 0 ? expand(0, 2, 1) : expand(2, 2, 1);
	return expand(2, 4, sine);
}

INLINE double strays(const double *c, int orders)
{
	double sum = 0.0;
	for (int n = 1; n < orders; n++)
		sum += fabs(c[n]);
	return sum;
}

static void rotor_sums(plant_segment *q)
{
	double w = q->w[0], angle = q->angle[0];
	q->reach_w = q->reach_angle = 0.0;
	for (int n = 1; n < q->n; n++) {
		w += q->w[n];
		q->reach_w += fabs(q->w[n]);
	}
	for (int n = 1; n <= SPEED_ORDERS; n++) {
		angle += q->angle[n];
		q->reach_angle += fabs(q->angle[n]);
	}
	q->end[3] = w;
	q->end[4] = angle;
	for (int b = 0; b < plant.bases; b++)
		q->reach_turning[b] = plant.smooth ? strays(q->turning[b], SMOOTH_ORDERS)
		                                   : strays(q->turning[b], STRAIGHT_ORDERS);
}

int series_expand(void)
{
	if (!expand_mode())
		return 0;
	rotor_sums(&plant.q);
	return 1;
}

void series_hold(void)
{
	plant_segment *q = &plant.q;
	q->n = 2;
	q->end[0] = q->end[1] = q->end[3] = 0.0;
	q->end[2] = q->v[0];
	q->end[4] = q->angle[0];
	q->j0[1] = q->j1[1] = q->v[1] = q->w[1] = 0.0;
	q->reach_j0 = q->reach_j1 = q->reach_v = q->reach_w = q->reach_angle = 0.0;
	for (int n = 1; n <= SPEED_ORDERS; n++)
		q->angle[n] = 0.0;
	for (int b = 0; b < plant.bases; b++) {
		q->reach_turning[b] = 0.0;
		for (int n = 0; n < SMOOTH_ORDERS; n++)
			q->turning[b][n] = 0.0;
	}
}

void row_series(const row *r, double *c)
{
	const plant_segment *q = &plant.q;
	for (int n = 0; n < q->n; n++)
		c[n] = r->j0 * q->j0[n] + r->j1 * q->j1[n] + r->v * q->v[n];
	for (int b = 0; b < plant.bases; b++)
		for (int n = 0; n < (plant.smooth ? SMOOTH_ORDERS : STRAIGHT_ORDERS); n++)
			c[n] += r->e[b] * q->turning[b][n];
	c[0] += r->constant;
}
