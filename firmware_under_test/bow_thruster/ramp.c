/*
 * ramp.c - see ramp.h.
 *
 * Constant acceleration a of the field, 7000 electrical rad/s2, 1000 rad/s2 of the shaft: 15 mNm for
 * the inertia, 23 mNm for half as much again, against 57 mNm or more that the ramp's current gives.
 * Step k ends at sqrt(2 k (pi / 3) / a). A table, as the part has no square root to spare.
 *
 * In ticks of 1 us the table would last twice as long, at a quarter of the acceleration. The motor of half the
 * speed per volt has twice the torque per ampere: steps 0.7 times as long, twice that acceleration, leave the
 * start short and the rotor 20 mNm of inertia in 100.
 */
#include "ramp.h"

#include "settings.h"

static const uint16_t table[] = {
	34595U, 14330U, 10996U, 9270U, 8167U, 7383U, 6790U, 6320U, 5936U, 5614U, 5340U, 5102U,
	4893U, 4709U, 4543U, 4394U, 4259U, 4135U, 4022U, 3917U, 3821U, 3731U, 3647U, 3568U,
	3495U, 3426U, 3360U, 3299U, 3240U, 3185U, 3132U, 3082U, 3034U, 2989U, 2945U, 2903U,
	2863U, 2825U, 2788U, 2752U, 2718U, 2685U, 2653U, 2623U, 2593U, 2564U, 2537U, 2510U,
	2484U, 2459U, 2434U, 2410U, 2387U, 2365U, 2343U, 2322U, 2301U, 2281U, 2262U, 2242U,
	2224U, 2206U, 2188U, 2171U, 2154U, 2137U, 2121U, 2105U, 2090U, 2075U, 2060U, 2046U,
	2031U,
};

#define TABLE_LENGTH ((uint8_t)(sizeof table / sizeof table[0]))

static uint8_t place;
static uint8_t extra;

void ramp_begin(void)
{
	place = 0U;
	extra = 0U;
}

/* The last interval is kept for a while: a rotor that swings is late, not lost. */
uint16_t ramp_next(void)
{
	if (place < TABLE_LENGTH) {
		place++;
	} else {
		extra++;
		if (extra > RAMP_EXTRA_STEPS)
			return 0U;
	}
	return ramp_interval();
}

uint16_t ramp_interval(void)
{
#if TICKS_PER_US == 1U
	return (uint16_t)(((uint32_t)table[(place == 0U) ? 0U : place - 1U] * 181U) >> 8);
#else
	return table[(place == 0U) ? 0U : place - 1U];
#endif
}
