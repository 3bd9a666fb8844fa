/*
 * plan.c - the series of a segment: currents, capacitor, speed, angle, EMF, coefficient by coefficient.
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
#include "segment.h"
#include <math.h>

/* The first term left out is smaller than the last taken, which is below these: the comparator's
 * band of 1e-7 V must not notice where one segment ends and the next begins. */
#define TERM_A 1e-8
#define TERM_V 1e-9
/* Terms of the EMF: straight shapes, smooth ones over SMOOTH_TURN_RAD at most. */
#define STRAIGHT_ORDERS 6
#define SMOOTH_ORDERS 10
#define SMOOTH_TURN_RAD 0.35

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
	int last = plant.p.shape == EMF_SINE || plant.bases > 2 ? SMOOTH_ORDERS : STRAIGHT_ORDERS;
	for (int b = 0; b < plant.bases; b++) {
		q->reach_turning[b] = 0.0;
		for (int n = 1; n < last; n++)
			q->reach_turning[b] += fabs(q->turning[b][n]);
	}
}

void row_series(const row *r, double *c)
{
	const plant_segment *q = &plant.q;
	for (int n = 0; n < q->n; n++)
		c[n] = r->j0 * q->j0[n] + r->j1 * q->j1[n] + r->v * q->v[n];
	int last = plant.p.shape == EMF_SINE || plant.bases > 2 ? SMOOTH_ORDERS : STRAIGHT_ORDERS;
	for (int b = 0; b < plant.bases; b++)
		for (int n = 0; n < last; n++)
			c[n] += r->e[b] * q->turning[b][n];
	c[0] += r->constant;
}

double plant_plan_end(void)
{
	const plant_segment *q = &plant.q;
	return q->event == EVENT_NONE && q->s_end >= 1.0 ? q->limit_s : q->t0_s + q->h_s * q->s_end;
}

/* Where the series begin. */
static void begin(plant_segment *q)
{
	const plant_state *s = &plant.s;
	const plant_circuit *c = q->circuit;
	q->j0[0] = c->loops > 0 ? s->i_a[c->first] : 0.0;
	q->j1[0] = c->loops > 1 ? s->i_a[1] : 0.0;
	q->v[0] = s->v_c_v;
	q->w[0] = s->w_rad_s;
	q->angle[0] = s->in_sector_rad;
	for (int b = 0; b < BASES; b++)
		q->basis[b][0] = plant.basis0[b];
	q->aux_a = s->aux_on ? plant.p.i_aux_a : 0.0;
	q->v_star = c->from_source * plant.in.v_supply_v + c->from_aux * q->aux_a;
	double slip = s->w_rad_s - plant.in.water_rad_s;
	q->way = slip > 0.0 ? 1 : slip < 0.0 ? -1 : s->moving;
}

void plant_plan(double limit_s)
{
	plant_segment *q = &plant.q;
	plant_state *s = &plant.s;
	if (plant.in.driven)
		s->w_rad_s = plant.in.w_driven_rad_s;
	shape_update();
	if (!plant.p.sinks || plant.p.stiff || plant.in.v_supply_v != plant.seen_supply_v
	    || plant.in.unplugged != plant.seen_unplugged)
		plant_refresh_bus();
	if (s->moving == 0)
		s->moving = plant_direction_from_rest();

	double room = limit_s - s->t_s;
	q->t0_s = s->t_s;
	q->limit_s = limit_s;
	q->circuit = plant.circuit;
	q->h_s = room < 0.0 ? 0.0 : room < plant.h_cap_s ? room : plant.h_cap_s;
	if (plant.p.shape == EMF_SINE || plant.bases > 2) {
		double speed = fabs(s->w_rad_s) * plant.p.pole_pairs;
		if (speed * q->h_s > SMOOTH_TURN_RAD)
			q->h_s = SMOOTH_TURN_RAD / speed;
	}
	begin(q);
	while (!expand_mode())
		q->h_s *= 0.5;
	if (q->h_s < room)
		q->limit_s = q->t0_s + q->h_s;
	rotor_sums(q);
	q->s_end = 1.0;
	q->event = EVENT_NONE;
	q->leg = 0;
	q->noise_v = plant_noise(s->t_s);
	event_find();
}
