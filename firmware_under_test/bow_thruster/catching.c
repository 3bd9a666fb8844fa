/*
 * catching.c - see catching.h.
 *
 * A leg whose crossing comes next is before its crossing now, if the rotor turns the way it is
 * believed to. The other way round the same leg has just crossed, and would do so again in 300
 * degrees only: the first look tells. Legs are open, no winding's current can hide a crossing.
 */
#include "catching.h"

#include "crossing.h"
#include "drive_port.h"
#include "settings.h"
#include "steps.h"
#include "timing.h"

static uint8_t direction;
static uint8_t step;
static uint8_t seen; /* crossings in a row */
static uint16_t last_at;
static int16_t wait_ticks;

static void watch(uint16_t interval_ticks, uint16_t past_ticks)
{
	crossing_watch(steps_open_leg(step), steps_edge(step, direction), port_ticks(), interval_ticks);
	crossing_past_after(past_ticks);
}

/* The first crossing may be almost a turn away. */
void catching_begin(uint8_t turning)
{
	direction = turning;
	step = 0U;
	seen = 0U;
	watch(CATCH_LOOK_TICKS, CATCHING_PATIENCE_TICKS);
}

/* 1: the crossings up to this one are those of a turning rotor. */
static uint8_t is_plausible(uint16_t at_ticks)
{
	uint16_t gap = (uint16_t)(at_ticks - last_at);

	if (seen == 2U) {
		if (gap > HANDOVER_TICKS)
			return 0U;
		timing_begin(gap);
	}
	if (seen < 2U)
		return 1U;
	wait_ticks = timing_crossing(at_ticks);
	return timing_is_plausible();
}

uint8_t catching_crossing(uint16_t at_ticks, uint8_t how)
{
	seen++;
	if (how == CROSSING_PAST || is_plausible(at_ticks) == 0U)
		return CATCHING_FAILED;
	last_at = at_ticks;
	if (seen >= CATCH_STREAK)
		return (timing_interval() <= HANDOVER_TICKS) ? CATCHING_DONE : CATCHING_FAILED;
	step = steps_next(step, direction);
	watch((seen == 1U) ? CATCH_NEXT_TICKS : timing_interval(), 0U);
	return CATCHING_ON;
}

uint8_t catching_step(void)
{
	return step;
}

int16_t catching_wait_ticks(void)
{
	return wait_ticks;
}
