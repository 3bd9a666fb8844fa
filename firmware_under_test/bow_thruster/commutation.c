/*
 * commutation.c - see commutation.h. All of it but the beginning runs in handlers.
 */
#include "commutation.h"

#include "bridge.h"
#include "calls.h"
#include "catching.h"
#include "crossing.h"
#include "drive_port.h"
#include "duty.h"
#include "events.h"
#include "ramp.h"
#include "settings.h"
#include "steps.h"
#include "timing.h"
#include "tone.h"

#define CAUGHT 0U
#define FOLLOWING 1U /* steps by the crossings, which have not proved themselves yet */
#define CLOCKED 2U   /* steps by the clock; crossings are counted only */
#define RESTING 3U
#define SHORTING 4U /* two windings are shorted, the third is to come */
#define SOUNDING 5U /* pulses of a tone, legs open in between */
#define CATCHING 6U /* crossings are followed, legs open */

/* A compare value nearer than this may be passed before it is written. */
#define NEAREST_TICKS 4

static volatile uint8_t mode = RESTING;
static uint8_t step; /* the pattern driven now */
static uint8_t next; /* the one after it, */
static uint8_t edge; /* and how the EMF of its open leg crosses */
static uint8_t direction;
static uint8_t crossing_awaited;
static uint8_t brake_asked;
static uint8_t streak;     /* steps in a row with a good crossing */
static uint8_t past_count; /* steps in a row whose crossing came before it could be seen */
static uint16_t step_due;
static uint16_t beat;

static void compare_a_at(uint16_t at_ticks)
{
	port_compare_a(at_ticks);
	port_compare_a_clear();
}

void commutation_start(void)
{
	crossing_start();
	port_compare_a_interrupt(1U);
	port_over_current_interrupt(1U);
}

/* Interrupts off. */
static SELDOM void rest(uint16_t beat_ticks)
{
	mode = RESTING;
	brake_asked = 0U;
	crossing_ignore();
	beat = beat_ticks;
	step_due = (uint16_t)(port_ticks() + beat_ticks);
	compare_a_at(step_due);
}

void commutation_rest(uint16_t beat_ticks)
{
	uint8_t were_on = port_interrupts_off();

	rest(beat_ticks);
	port_interrupts_restore(were_on);
}

/* The legs open at once, in the handler: the main line may be busy for some time. */
static SELDOM void lose(void)
{
	bridge_open();
	rest(TICKS_PER_MS);
	events_post(EVENT_LOST);
}

/*
 * A current that rises beyond all limits of the duty: the rotor is held, or a winding is short. What is
 * under way ends as when a rotor is lost.
 */
void on_over_current(void)
{
	lose();
	events_post(EVENT_TRIPPED);
}

void commutation_brake(void)
{
	uint8_t were_on = port_interrupts_off();

	if (mode == CAUGHT) {
		brake_asked = 1U;
	} else {
		rest(TICKS_PER_MS);
		bridge_brake();
		port_mark(PORT_MARK_BRAKE);
	}
	port_interrupts_restore(were_on);
}

/*
 * At speed the windings are inductances, and a sudden short adds to the alternating current, 24 A
 * here, a direct one as large as the alternating one would have been at that instant. That is
 * nothing where the EMF between two legs is at its top: where the third one crosses. The third
 * winding, whose EMF has its top a quarter of a turn, one and a half steps, later, follows then.
 */
static SELDOM void short_pair(uint16_t at_ticks)
{
	uint16_t interval = timing_interval();

	bridge_brake_pair(step);
	port_mark(PORT_MARK_BRAKE);
	mode = SHORTING;
	step_due = (uint16_t)(at_ticks + interval + (interval >> 1));
	compare_a_at(step_due);
}

static void short_third(void)
{
	bridge_brake();
	rest(TICKS_PER_MS);
}

static void prepare(void)
{
	next = steps_next(step, direction);
	edge = steps_edge(next, direction);
}

static void stepped(void)
{
	step = next;
	prepare();
	crossing_awaited = 1U;
	events_post(EVENT_STEP);
}

/* 7/16 of a step, 26 degrees: a rotor that is not caught yet is likely to be ahead, and is believed. */
static SELDOM void believe_early(uint16_t interval_ticks)
{
	crossing_past_after((uint16_t)((interval_ticks >> 1) - (interval_ticks >> 4)));
}

/*
 * The bridge comes first: a step is late by whatever is done before.
 *
 * A crossing is due in the middle of a step; after one and a half steps it is 60 degrees late and
 * the rotor lost. Before it is caught it may have been left behind by half a turn, and is waited for.
 */
static void followed_step(void)
{
	uint16_t now;
	uint16_t interval;
	uint16_t patience;

	bridge_step(next, edge);
	now = port_ticks();
	interval = timing_interval();
	patience = (uint16_t)(interval + (interval >> 1));
	if (mode != CAUGHT)
		patience = (uint16_t)(patience << 1);
	compare_a_at((uint16_t)(now + patience));
	crossing_watch(steps_open_leg(next), edge, now, interval);
	if (mode != CAUGHT)
		believe_early(timing_interval());
	crossing_alone((uint8_t)(mode == CAUGHT && interval < SHORT_STEP_TICKS));
	stepped();
}

static SELDOM void clocked_step(void)
{
	uint16_t interval;

	if (crossing_awaited != 0U)
		streak = 0U;
	interval = ramp_next();
	if (interval == 0U) {
		lose();
		return;
	}
	bridge_step(next, edge);
	crossing_ignore();
	crossing_watch(steps_open_leg(next), edge, port_ticks(), interval);
	believe_early(interval);
	stepped();
	step_due = (uint16_t)(step_due + interval);
	compare_a_at(step_due);
}

void commutation_ramp(uint8_t from, uint8_t turning)
{
	uint8_t were_on = port_interrupts_off();

	step = from;
	direction = turning;
	prepare();
	streak = 0U;
	past_count = 0U;
	mode = CLOCKED;
	ramp_begin();
	step_due = port_ticks();
	clocked_step();
	port_interrupts_restore(were_on);
}

void commutation_catch(uint8_t turning)
{
	uint8_t were_on = port_interrupts_off();

	rest(TICKS_PER_MS);
	direction = turning;
	mode = CATCHING;
	crossing_awaited = 1U;
	catching_begin(turning);
	compare_a_at((uint16_t)(port_ticks() + CATCHING_PATIENCE_TICKS));
	port_interrupts_restore(were_on);
}

void commutation_tone(void)
{
	uint8_t were_on = port_interrupts_off();

	rest(TICKS_PER_MS);
	mode = SOUNDING;
	port_interrupts_restore(were_on);
}

uint8_t commutation_tone_is_over(void)
{
	return (uint8_t)(mode != SOUNDING);
}

static void sound(void)
{
	uint16_t ticks = tone_next();

	if (ticks == 0U) {
		rest(TICKS_PER_MS);
	} else {
		step_due = (uint16_t)(step_due + ticks);
		compare_a_at(step_due);
	}
	events_post(EVENT_BEAT);
}

static SELDOM void no_followed_step(void)
{
	uint8_t now = mode;

	if (now == SOUNDING) {
		sound();
	} else if (now == RESTING) {
		step_due = (uint16_t)(step_due + beat);
		compare_a_at(step_due);
		events_post(EVENT_BEAT);
	} else if (now == CLOCKED) {
		clocked_step();
	} else if (now == SHORTING) {
		short_third();
	} else {
		lose();
	}
}

void on_compare_a(void)
{
	if (mode <= FOLLOWING && crossing_awaited == 0U)
		followed_step();
	else
		no_followed_step();
}

static void step_in(uint16_t from_ticks, int16_t ticks)
{
	uint16_t at = (uint16_t)(from_ticks + (uint16_t)ticks);
	uint16_t now;

	if (timing_interval() < STEP_SHORTEST_TICKS) {
		lose();
		return;
	}
	now = port_ticks();
	if ((int16_t)(uint16_t)(at - now) < NEAREST_TICKS)
		at = (uint16_t)(now + NEAREST_TICKS);
	compare_a_at(at);
}

/*
 * Crossings are believed when the EMF outweighs the comparator's offset and both kinds of edges
 * have come in turn for a whole electrical turn: a rotor at rest shows the offset's sign only,
 * beyond in every other step and never in those between.
 */
static SELDOM uint8_t may_follow(void)
{
	streak++;
	return (uint8_t)(streak >= HANDOVER_STREAK && ramp_interval() <= HANDOVER_TICKS);
}

/*
 * A rotor dragged by the clock runs ahead of where it pulls best. Stepping as soon as the crossing
 * is known to be past gives it the shorter steps that bring the crossing into sight. A rotor that is
 * caught draws so much current that its decay hides the crossing: the step is made when it was
 * expected, a little early rather than late, and the main line, told so, takes duty back.
 */
static SELDOM void step_after_past(uint16_t at_ticks)
{
	uint16_t interval = timing_interval();

	past_count++;
	if (past_count >= PAST_LIMIT) {
		lose();
	} else if (mode == CAUGHT) {
		port_mark(PORT_MARK_CROSSING);
		events_post(EVENT_HIDDEN);
		timing_hidden();
		step_in(at_ticks, (int16_t)((int16_t)((interval >> 2) + (interval >> 3)) - (int16_t)LATENCY_TICKS));
	} else {
		timing_ahead();
		step_in(at_ticks, (int16_t)(interval >> 4));
	}
}

/* The steps begin as those of any rotor that is caught, with the duty that its EMF holds up. */
static SELDOM void catch(uint16_t at_ticks, uint8_t how)
{
	uint8_t answer = catching_crossing(at_ticks, how);

	if (answer == CATCHING_FAILED) {
		lose();
	} else if (answer == CATCHING_ON) {
		compare_a_at((uint16_t)(at_ticks + CATCHING_PATIENCE_TICKS));
	} else {
		mode = CAUGHT;
		step = catching_step();
		prepare();
		past_count = 0U;
		crossing_awaited = 0U;
		duty_set(duty_matched(timing_interval()));
		port_mark(PORT_MARK_RUN);
		events_post(EVENT_CAUGHT);
		step_in(at_ticks, catching_wait_ticks());
	}
}

void commutation_crossing(uint16_t at_ticks, uint8_t how)
{
	uint8_t before = mode;
	int16_t wait_ticks;

	if (before == CATCHING) {
		catch(at_ticks, how);
		return;
	}
	crossing_awaited = 0U;
	if (brake_asked != 0U) {
		if (how == CROSSING_SEEN)
			port_mark(PORT_MARK_CROSSING);
		short_pair(at_ticks);
		return;
	}
	if (before == CLOCKED) {
		if (may_follow() == 0U)
			return;
		mode = FOLLOWING;
		streak = 0U;
		timing_begin(ramp_interval());
	}
	if (how == CROSSING_PAST) {
		streak = 0U;
		step_after_past(at_ticks);
		return;
	}
	past_count = 0U;
	wait_ticks = timing_crossing(at_ticks);
	if (before == CAUGHT) {
		port_mark(PORT_MARK_CROSSING);
	} else {
		streak = (timing_is_plausible() != 0U) ? (uint8_t)(streak + 1U) : 0U;
		if (streak >= CAUGHT_STREAK) {
			mode = CAUGHT;
			port_mark(PORT_MARK_RUN);
			events_post(EVENT_CAUGHT);
		}
	}
	step_in(at_ticks, wait_ticks);
}

uint16_t commutation_interval(void)
{
	uint16_t interval;
	uint8_t were_on = port_interrupts_off();

	interval = timing_interval();
	port_interrupts_restore(were_on);
	return interval;
}
