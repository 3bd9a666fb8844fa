/*
 * median.c - see median.h. Three and not more: each frame further back is as long a delay at the
 * stick, 25 ms with the slowest transmitter.
 */
#include "median.h"

static uint16_t last_ticks;
static uint16_t before_last_ticks;

void median_fill(uint16_t width_ticks)
{
	last_ticks = width_ticks;
	before_last_ticks = width_ticks;
}

uint16_t median_next(uint16_t width_ticks)
{
	uint16_t low = (last_ticks < before_last_ticks) ? last_ticks : before_last_ticks;
	uint16_t high = (last_ticks < before_last_ticks) ? before_last_ticks : last_ticks;

	before_last_ticks = last_ticks;
	last_ticks = width_ticks;
	if (width_ticks < low)
		return low;
	return (width_ticks > high) ? high : width_ticks;
}
