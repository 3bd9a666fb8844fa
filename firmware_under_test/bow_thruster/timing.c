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
 *
 * With FOLLOWS_ACCELERATION that change, d a step, is taken off: T holds for the moment of c1, so the middle is
 * early by d / 4 and the half interval that follows, a quarter of an interval behind c0, is 5/4 d shorter:
 * together 7/8 d, here d. T holds no offset, so neither does its change from crossing to crossing; of that
 * a quarter of the news is believed, as PWM dates crossings by its on-times.
 */
#include "timing.h"

#include "settings.h"

/* Share of a step, 60 degrees; 16 bits hold the product for steps of up to 1.5 ms. */
#define ADVANCE_Q8 ((ADVANCE_DEG * 256U + 30U) / 60U)

_Static_assert(ADVANCE_DEG <= 20U, "more than 20 degrees hide the next crossing");

static uint16_t interval;
static uint16_t last_at;
static uint16_t last_gap;
static uint8_t known; /* how many of last_at and last_gap hold: 0, 1, 2 */
static uint8_t plausible;
#if FOLLOWS_ACCELERATION
static int16_t change_q2; /* of the interval from step to step, in quarters of a tick */
#endif

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

#if FOLLOWS_ACCELERATION
/* No rotor changes its interval by an eighth within a step. */
static int16_t change(uint16_t new_interval)
{
	int16_t most_q2 = (int16_t)(new_interval >> 1);

	change_q2 = (int16_t)(change_q2 + (int16_t)(new_interval - interval) - change_q2 / 4);
	if (change_q2 > most_q2)
		change_q2 = most_q2;
	if (change_q2 < -most_q2)
		change_q2 = (int16_t)-most_q2;
	return (int16_t)(change_q2 / 4);
}
#endif

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
#if FOLLOWS_ACCELERATION
			change_q2 = 0;
#endif
		} else {
			uint16_t mean = (uint16_t)((gap >> 1) + (last_gap >> 1));

			shift = (int16_t)((int16_t)(gap - mean) / 2);
#if FOLLOWS_ACCELERATION
			shift = (int16_t)(shift - change(mean));
#endif
			interval = mean;
		}
		last_gap = gap;
	}
#if ADVANCE_DEG
	shift = (int16_t)(shift + (int16_t)((uint16_t)((interval >> 2) * ADVANCE_Q8) >> 6));
#endif
	return (int16_t)((int16_t)(interval >> 1) - shift - (int16_t)LATENCY_TICKS);
}
