/*
 * timing.c - see timing.h.
 *
 * An offset of the comparator makes rising crossings early by some angle and falling ones late by
 * the same, or the other way about. With c0, c1, c2 the last crossings, newest first, the interval
 *
 *     T = (c0 - c2) / 2
 *
 * and the middle of the last two, gone on by one and a half intervals,
 *
 *     step = (c0 + c1) / 2 + T / 2 + T / 2 = c0 - ((c0 - c1) - T) / 2 + T / 2
 *
 * hold no offset at all. Under acceleration T and the middle are late by less than one interval's
 * change, which the limits of the duty's slew keep below a few degrees.
 */
#include "timing.h"

#include "settings.h"

static uint16_t interval;
static uint16_t last_at;
static uint16_t last_gap;
static uint8_t known; /* how many of last_at and last_gap hold: 0, 1, 2 */
static uint8_t plausible;

void timing_begin(uint16_t interval_ticks)
{
	interval = interval_ticks;
	known = 0U;
}

void timing_hidden(void)
{
	interval = (uint16_t)(interval - (interval >> 5));
	known = 0U;
}

void timing_ahead(void)
{
	interval = (uint16_t)(interval - (interval >> 4));
	known = 0U;
}

uint16_t timing_interval(void)
{
	return interval;
}

uint8_t timing_is_plausible(void)
{
	return plausible;
}

int16_t timing_crossing(uint16_t at_ticks)
{
	uint16_t gap = (uint16_t)(at_ticks - last_at);
	int16_t shift = 0;

	plausible = 1U;
	last_at = at_ticks;
	if (known == 0U) {
		known = 1U;
	} else {
		if (gap < (interval >> 1) || gap > (uint16_t)(interval << 1)) {
			plausible = 0U;
			known = 1U;
		} else if (known == 1U) {
			interval = (uint16_t)((interval >> 1) + (gap >> 1));
			known = 2U;
		} else {
			interval = (uint16_t)((gap >> 1) + (last_gap >> 1));
			shift = (int16_t)((int16_t)(gap - interval) / 2);
		}
		last_gap = gap;
	}
	return (int16_t)((int16_t)(interval >> 1) - shift - (int16_t)LATENCY_TICKS);
}
