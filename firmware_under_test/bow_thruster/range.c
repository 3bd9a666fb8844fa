/*
 * range.c - see range.h. A range too narrow leaves nothing between dead band and full; one too wide
 * would put full beyond what any transmitter sends.
 */
#include "range.h"

#include "settings.h"

stick_range range_standard(void)
{
	stick_range standard;

	standard.low_ticks = PULSE_NEUTRAL_TICKS - FULL_TICKS;
	standard.neutral_ticks = PULSE_NEUTRAL_TICKS;
	standard.high_ticks = PULSE_NEUTRAL_TICKS + FULL_TICKS;
	return standard;
}

static uint8_t is_span(uint16_t from_ticks, uint16_t to_ticks)
{
	return (uint8_t)(to_ticks > from_ticks && (uint16_t)(to_ticks - from_ticks) >= SPAN_SHORTEST_TICKS &&
	                 (uint16_t)(to_ticks - from_ticks) <= SPAN_LONGEST_TICKS);
}

uint8_t range_is_sane(const stick_range *range)
{
	return (uint8_t)(range->low_ticks >= PULSE_SHORTEST_TICKS && range->high_ticks <= PULSE_LONGEST_TICKS &&
	                 is_span(range->low_ticks, range->neutral_ticks) != 0U &&
	                 is_span(range->neutral_ticks, range->high_ticks) != 0U);
}
