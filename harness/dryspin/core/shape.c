/*
 * shape.c - the EMF's shape over the angle, and the comparator's noise over time.
 */
#include "plant.h"
#include <math.h>

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
