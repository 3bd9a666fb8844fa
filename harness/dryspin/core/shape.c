/*
 * shape.c - the EMF's shape over the angle, and the comparator's noise over time.
 *
 * e_x = w k_x f_x(theta), each f a sum over a few functions of the angle, so that the series of those
 * serve all three phases and the torque:
 *
 *   trapezoid, table: 1 and the angle past the last corner (straight between corners)
 *   sine:             cos and sin of the angle since the segment began
 *   third harmonic:   cos and sin of three times that, on top of either
 *
 * Corners lie at first + n step; V lags U by a third of a turn, W by two.
 */
#include "segment.h"
#include <math.h>

#define TURN_RAD 6.2831853071795864769
#define SIXTH_RAD (TURN_RAD / 6.0)
#define HALF_SQRT3 0.86602540378443864676

/* sin and cos to 2e-16 plus 1e-16 |x|, for angles of a few turns; the C library's are not the same
 * bits everywhere. Quarter turns are taken off in two pieces, then Taylor series. */
static void sine_cosine(double x, double *sine, double *cosine)
{
	double quarters = floor(x / (TURN_RAD / 4.0) + 0.5);
	double y = (x - quarters * 1.57079632673412561417) - quarters * 6.07710050650619224932e-11;
	double z = y * y, s = 1.0 / 355687428096000.0, c = 1.0 / 20922789888000.0;
	static const double odd[7] = {1.0 / 1307674368000.0, 1.0 / 6227020800.0, 1.0 / 39916800.0,
	                              1.0 / 362880.0, 1.0 / 5040.0, 1.0 / 120.0, 1.0 / 6.0};
	static const double even[7] = {1.0 / 87178291200.0, 1.0 / 479001600.0, 1.0 / 3628800.0,
	                               1.0 / 40320.0, 1.0 / 720.0, 1.0 / 24.0, 0.5};
	for (int k = 0; k < 7; k++) {
		s = odd[k] - z * s;
		c = even[k] - z * c;
	}
	s = y * (1.0 - z * s);
	c = 1.0 - z * c;
	int n = (int)quarters & 3;
	*sine = n == 0 ? s : n == 1 ? c : n == 2 ? -s : -c;
	*cosine = n == 0 ? c : n == 1 ? -s : n == 2 ? -c : s;
}

void shape_init(void)
{
	const plant_params *p = &plant.p;
	static const double trapezoid[6] = {1.0, 1.0, 1.0, -1.0, -1.0, -1.0};
	const double *values = p->shape == EMF_TABLE ? p->table : trapezoid;
	int n = p->shape == EMF_TABLE ? p->n_table : 6;
	for (int k = 0; k < n; k++)
		plant.table[k] = values[k];
	plant.table[n] = values[0];
	/* V and W have their corners a third of a turn on: a whole number of steps, or not */
	plant.substeps = n % 3 == 0 ? 1 : 3;
	plant.sectors = n * plant.substeps;
	plant.first_rad = p->shape == EMF_TABLE ? 0.0 : 0.5 * SIXTH_RAD;
	plant.step_rad = TURN_RAD / plant.sectors;
	plant.bases = p->third_harmonic != 0.0 ? 4 : 2;
	plant.sine = p->shape == EMF_SINE;
	plant.smooth = plant.sine || plant.bases > 2;
	plant.basis0[0] = 1.0;
	plant.basis0[2] = 1.0;
	plant.emf_sector = INT64_MIN;
	plant.p.table = 0;
}

static void straight(int sector)
{
	for (int x = 0; x < 3; x++) {
		int q = sector - x * (plant.sectors / 3);
		q += q < 0 ? plant.sectors : 0;
		int k = q / plant.substeps, sub = q % plant.substeps;
		double rise = plant.table[k + 1] - plant.table[k];
		plant.emf[x][0] = plant.p.k_v_s[x] * (plant.table[k] + rise * sub / plant.substeps);
		plant.emf[x][1] = plant.p.k_v_s[x] * (rise / (plant.substeps * plant.step_rad));
	}
}

static void renew(void)
{
	const plant_state *s = &plant.s;
	const plant_params *p = &plant.p;
	int sine = plant.sine;
	int sector = (int)(s->sector % plant.sectors);
	sector += sector < 0 ? plant.sectors : 0;
	if (!sine && plant.emf_sector != s->sector)
		straight(sector);
	plant.emf_sector = s->sector;
	plant.emf_angle = s->in_sector_rad;
	if (!plant.smooth)
		return;
	double theta = plant.first_rad + plant.step_rad * sector + s->in_sector_rad, c, si;
	if (sine) {
		sine_cosine(theta, &si, &c);
		for (int x = 0; x < 3; x++) {
			double lag = x == 0 ? 0.0 : x == 1 ? HALF_SQRT3 : -HALF_SQRT3, along = x == 0 ? 1.0 : -0.5;
			plant.emf[x][0] = p->k_v_s[x] * (si * along - c * lag);
			plant.emf[x][1] = p->k_v_s[x] * (c * along + si * lag);
		}
	}
	if (plant.bases > 2) {
		sine_cosine(3.0 * theta, &si, &c);
		for (int x = 0; x < 3; x++) {
			plant.emf[x][2] = p->k_v_s[x] * p->third_harmonic * si;
			plant.emf[x][3] = p->k_v_s[x] * p->third_harmonic * c;
		}
	}
}

void shape_update(void)
{
	const plant_state *s = &plant.s;
	plant.basis0[1] = plant.sine ? 0.0 : s->in_sector_rad;
	if (plant.emf_sector != s->sector || (plant.smooth && plant.emf_angle != s->in_sector_rad))
		renew();
}

void shape_emf(double e_v[3])
{
	shape_update();
	/* The first basis is 1 and the second the angle, which was written just now: taken from the state,
	 * no load waits for that store. */
	if (!plant.smooth) {
		for (int x = 0; x < 3; x++)
			e_v[x] = plant.s.w_rad_s * (plant.emf[x][0] + plant.emf[x][1] * plant.s.in_sector_rad);
		return;
	}
	for (int x = 0; x < 3; x++) {
		double sum = 0.0;
		for (int b = 0; b < plant.bases; b++)
			sum += plant.emf[x][b] * plant.basis0[b];
		e_v[x] = plant.s.w_rad_s * sum;
	}
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
