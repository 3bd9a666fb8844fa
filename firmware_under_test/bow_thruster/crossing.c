/*
 * crossing.c - see crossing.h.
 *
 * After a step the leg that was opened carries on its current through a diode for
 * 3 L I / (V + 2 E) seconds. All that time its terminal is at the rail that lies beyond the
 * crossing, so the comparator says what it will say after the crossing. Compare B ends that
 * blanking; from then on the leg is looked at until it is seen before its crossing, when the
 * comparator's interrupt is left to find the moment, or until it is too late to be blanking.
 */
#include "crossing.h"

#include "commutation.h"
#include "drive_port.h"
#include "settings.h"

static uint8_t beyond_level; /* comparator after the crossing */
static uint8_t votes;
static uint8_t alone; /* what can wait, waits */
static uint8_t watching;
static uint8_t before_seen;
static uint16_t step_at;
static uint16_t past_after;
static uint16_t again_ticks;

/* The majority of looks 0.5 us apart. */
static uint8_t is_beyond(void)
{
	uint8_t looks = votes;
	uint8_t above = 0U;
	uint8_t k;

	for (k = 0U; k < looks; k++) {
		above = (uint8_t)(above + port_sense_above());
		(void)port_ticks();
	}
	above = (uint8_t)((uint8_t)(above << 1) > looks);
	return (uint8_t)(above == beyond_level);
}

static void look_at(uint16_t ticks)
{
	port_compare_b(ticks);
	port_compare_b_clear();
}

static uint16_t at_least(uint16_t ticks, uint16_t least)
{
	return (ticks < least) ? least : ticks;
}

/* Compare B matches at every wrap as well: its handler looks only while a crossing is watched for. */
void crossing_start(void)
{
	port_compare_b_interrupt(1U);
}

/*
 * 5/16 of a step, 19 of its 60 degrees: the crossing is due at 30. A quarter of a short one, 15 degrees, as the
 * stick's handler may come before that look and make it 6 degrees later.
 */
static uint16_t blanking(uint16_t interval_ticks)
{
	uint16_t quarter = (uint16_t)(interval_ticks >> 2);

	return (interval_ticks < SHORT_STEP_TICKS) ? quarter : (uint16_t)(quarter + (quarter >> 2));
}

/* The comparator's flag may be stale from the leg before; it is cleared when blanking ends. */
void crossing_watch(uint8_t leg, uint8_t edge, uint16_t at_ticks, uint16_t interval_ticks)
{
	uint16_t sixteenth = (uint16_t)(interval_ticks >> 4);

	port_sense_select(leg);
	port_sense_edge(edge);
	beyond_level = (uint8_t)((edge == PORT_RISES_ABOVE) ? 1U : 0U);
	before_seen = 0U;
	watching = 1U;
	step_at = at_ticks;
	look_at((uint16_t)(at_ticks + at_least(blanking(interval_ticks), LOOK_SHORTEST_TICKS)));
	past_after = (uint16_t)((interval_ticks >> 1) + sixteenth);
	again_ticks = at_least((uint16_t)(sixteenth >> 1), LOOK_SHORTEST_TICKS);
	/* noise matters while the EMF is small, time while the step is short */
	votes = (interval_ticks >= 1024U) ? 11U : ((interval_ticks >= 512U) ? 7U : 3U);
}

void crossing_past_after(uint16_t ticks)
{
	past_after = ticks;
}

static void stop(void)
{
	watching = 0U;
	port_sense_interrupt(0U);
}

void crossing_alone(uint8_t wanted)
{
	alone = wanted;
	port_throttle_interrupt(1U);
	port_wrap_interrupt(1U);
}

void crossing_ignore(void)
{
	stop();
	if (alone != 0U)
		crossing_alone(0U);
}

static void take(uint16_t at_ticks, uint8_t how)
{
	stop();
	commutation_crossing(at_ticks, how);
}

/* The flag is cleared before looking: an edge after the look then still calls the handler. */
void on_compare_b(void)
{
	uint16_t now = port_ticks();
	uint8_t beyond;

	if (watching == 0U)
		return;
	port_sense_clear();
	beyond = is_beyond();
	if (alone != 0U) {
		port_throttle_interrupt(0U);
		port_wrap_interrupt(0U);
	}
	if (beyond == 0U) {
		before_seen = 1U;
		port_sense_interrupt(1U);
	} else if (before_seen != 0U) {
		take(now, CROSSING_SEEN);
	} else if ((uint16_t)(now - step_at) >= past_after) {
		take((uint16_t)(step_at + past_after), CROSSING_PAST);
	} else {
		look_at((uint16_t)(port_ticks() + again_ticks));
	}
}

/*
 * The edge may be one of noise. Then look again a little later as well: if noise hides the true
 * edge behind this one, no further edge may come.
 */
void on_comparator_edge(void)
{
	uint16_t now = port_ticks();

	if (is_beyond() != 0U)
		take(now, CROSSING_SEEN);
	else
		look_at((uint16_t)(port_ticks() + again_ticks));
}
