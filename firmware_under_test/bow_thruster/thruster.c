/*
 * thruster.c - the main line: what the thruster does, from what is asked and what happens.
 *
 *   OFF --rite--> ARMED --demand--> STOPPING --at rest--> STARTING --caught--> RUNNING
 *
 * Any other demand than the one being obeyed goes through STOPPING, so that the bridge never drives
 * against a turning rotor; one that turns as asked for is caught from there and RUNNING at once. A lost
 * rotor cools down and is caught, or stopped and started again, TRIES times at most. A lost transmitter opens the legs in whatever state and leads back to OFF. CALIBRATING lies
 * beside OFF, and leads back to it.
 */
#include <stdint.h>

#include "arming.h"
#include "bridge.h"
#include "calibration.h"
#include "clock.h"
#include "commutation.h"
#include "drive_port.h"
#include "duty.h"
#include "events.h"
#include "median.h"
#include "pack.h"
#include "range.h"
#include "record.h"
#include "settings.h"
#include "start.h"
#include "steps.h"
#include "stopping.h"
#include "throttle.h"
#include "tone.h"
#include "voice.h"

typedef enum { OFF, CALIBRATING, ARMED, STOPPING, STARTING, RUNNING, COOLING, GIVEN_UP } thruster_state;

static thruster_state state;
static throttle_demand demand;
static uint8_t turning; /* direction being started or run */
static uint8_t tries;
static uint8_t trips; /* of the board's current limit since the demand last changed its direction */
static uint32_t state_ticks;
static uint32_t good_pulse_ticks;
static uint32_t said_ticks; /* when a tone was last asked for, or a state entered that has none */
static uint8_t rest_mark;   /* of the state the legs rest in */

static uint32_t now_ticks(void)
{
	uint8_t were_on = port_interrupts_off();
	uint32_t now = clock_now();

	port_interrupts_restore(were_on);
	return now;
}

static void enter(thruster_state next)
{
	state = next;
	state_ticks = now_ticks();
	said_ticks = state_ticks;
}

static uint8_t in_state_for(uint16_t ms)
{
	return (uint8_t)(now_ticks() - state_ticks >= (uint32_t)ms * TICKS_PER_MS);
}

/* Legs open, nothing under way. Steps end first: one more would drive the bridge again. */
static void rest(thruster_state next, uint8_t mark)
{
	uint8_t were_on;

	voice_hush();
	were_on = port_interrupts_off();
	commutation_rest(TICKS_PER_MS);
	bridge_open();
	port_mark(mark);
	port_interrupts_restore(were_on);
	rest_mark = mark;
	enter(next);
}

static void say(uint8_t tone)
{
	pack_leave();
	voice_say(tone, rest_mark);
	said_ticks = now_ticks();
}

static void stop(void)
{
	voice_hush();
	stopping_begin();
	enter(STOPPING);
}

static void look(uint8_t was_at_rest)
{
	pack_leave();
	voice_hush();
	stopping_check(was_at_rest);
	enter(STOPPING);
}

static void start(void)
{
	turning = demand.direction;
	tries++;
	start_begin(turning, tries);
	enter(STARTING);
}

static void disarm(void)
{
	arming_restart();
	demand.direction = 0U;
	demand.duty = 0U;
	rest(OFF, PORT_MARK_OFF);
}

static void leave_calibration(uint8_t mark, uint8_t tone)
{
	port_mark(mark);
	arming_restart();
	rest(OFF, PORT_MARK_OFF);
	say(tone);
}

static void calibrate(uint8_t news)
{
	switch (news) {
	case CALIBRATION_BEGINS:
		rest(CALIBRATING, PORT_MARK_CALIBRATING);
		say(TONE_CALIBRATING);
		break;
	case CALIBRATION_POSITION:
		say(TONE_CALIBRATING);
		break;
	case CALIBRATION_STORED:
		throttle_range(calibration_range());
		leave_calibration(PORT_MARK_STORED, TONE_STORED);
		break;
	case CALIBRATION_ENDS:
		leave_calibration(PORT_MARK_NOT_STORED, TONE_NOT_STORED);
		break;
	default:
		break;
	}
}

static void lose_signal(void)
{
	if (state == CALIBRATING)
		calibrate(calibration_abandon());
	else if (state != OFF)
		disarm();
}

static void take_pulse(void)
{
	throttle_pulse pulse = throttle_last();
	uint8_t direction_before = demand.direction;

	if (pulse.good != 0U)
		good_pulse_ticks = pulse.end_ticks;
	if (state == OFF || state == CALIBRATING)
		calibrate(calibration_pulse(&pulse));
	if (state == OFF && arming_pulse(&pulse) != 0U) {
		tries = 0U;
		median_fill(pulse.width_ticks);
		rest(ARMED, PORT_MARK_ARMED);
		say(TONE_READY);
		return;
	}
	if (state == OFF || state == CALIBRATING || pulse.good == 0U)
		return;
	demand = throttle_map(median_next(pulse.width_ticks), demand);
	if (demand.direction != direction_before) {
		tries = 0U;
		trips = 0U;
	}
}

/* The demand may have changed: leave what no longer serves it. */
static void obey(void)
{
	switch (state) {
	case ARMED:
		if (demand.direction != 0U && pack_state() != PACK_EMPTY)
			look(1U);
		break;
	case STARTING:
	case RUNNING:
		if (demand.direction != turning)
			stop();
		break;
	case COOLING:
	case GIVEN_UP:
		if (demand.direction == 0U)
			stop();
		break;
	default:
		break;
	}
}

static void stopped(void)
{
	if (demand.direction == 0U)
		rest(ARMED, PORT_MARK_ARMED);
	else
		start();
}

/* Tones and calibration share the beat and the listening: never both at once. */
static void rest_beat(void)
{
	if (state == CALIBRATING && in_state_for(CALIBRATION_LONGEST_MS) != 0U)
		calibrate(calibration_abandon());
	if (voice_is_silent() == 0U)
		voice_beat();
	else if (calibration_wants_beats() != 0U)
		calibrate(calibration_beat());
	else if ((state == OFF || state == ARMED) &&
	         now_ticks() - said_ticks >= (uint32_t)WAITING_EVERY_MS * TICKS_PER_MS)
		say((uint8_t)((pack_state() == PACK_GOOD) ? TONE_WAITING : TONE_PACK));
	else if (state == OFF || state == ARMED)
		pack_beat();
}

static void beat(void)
{
	if (state == STOPPING) {
		if (stopping_beat(demand.direction) != 0U)
			stopped();
	} else if (state == STARTING) {
		start_beat();
	} else if (state == COOLING) {
		if (in_state_for(COOL_DOWN_MS) != 0U)
			look(0U);
	} else if (state != RUNNING) {
		rest_beat();
	}
}

static void lost(void)
{
	if (state == STOPPING)
		stopping_not_caught();
	if (state != STARTING && state != RUNNING)
		return;
	if (tries >= TRIES || trips >= TRIPS) {
		rest(GIVEN_UP, PORT_MARK_GIVEN_UP);
		say((uint8_t)((trips >= TRIPS) ? TONE_FAULT : TONE_LOST));
	} else {
		rest(COOLING, PORT_MARK_COAST);
	}
}

/* At the end of a start, or while stopping, and then as good as a try. */
static void caught(void)
{
	uint8_t joined = (state == STOPPING) ? stopping_caught() : 0U;

	if (joined != 0U) {
		turning = joined;
		tries++;
	}
	if (joined != 0U || state == STARTING)
		enter(RUNNING);
}

static void steer_duty(uint8_t crossing_hidden)
{
	uint8_t wanted = demand.duty;
	uint8_t limit = duty_limit(commutation_interval());

	if (crossing_hidden != 0U && duty_now() > DUTY_SLOWEST)
		duty_by(-1);
	if (limit > DUTY_FULL - trips * BACK_OFF_COUNTS)
		limit = (uint8_t)(DUTY_FULL - trips * BACK_OFF_COUNTS);
	if (pack_state() != PACK_GOOD && limit > PACK_LOW_DUTY)
		limit = PACK_LOW_DUTY;
	if (wanted > limit)
		wanted = limit;
	duty_towards(wanted, now_ticks());
	if (tries != 0U && in_state_for(TRIES_FORGIVEN_MS) != 0U)
		tries = 0U;
}

/* The one place that feeds the watchdog: a main line that no longer passes here is stuck. */
static void serve(uint8_t events)
{
	port_watchdog_feed();
	if ((events & EVENT_TRIPPED) != 0U)
		trips++;
	if ((events & EVENT_LOST) != 0U)
		lost();
	if ((events & EVENT_PULSE) != 0U)
		take_pulse();
	if ((events & EVENT_CAUGHT) != 0U)
		caught();
	if (now_ticks() - good_pulse_ticks > PULSE_LOSS_TICKS)
		lose_signal();
	obey();
	if ((events & EVENT_BEAT) != 0U)
		beat();
	if ((events & EVENT_STEP) != 0U && state == STARTING)
		start_step();
	if (state == RUNNING)
		steer_duty(events & EVENT_HIDDEN);
}

static void load_range(void)
{
	stick_range range = range_standard();

	(void)record_load(&range);
	throttle_range(&range);
}

int main(void)
{
	port_watchdog_on(WATCHDOG_DOUBLINGS);
	port_mark(PORT_MARK_OFF);
	port_duty(0U);
	port_carriers_start(3U);
	load_range();
	calibration_allow(port_reset_cause());
	clock_start();
	commutation_start();
	throttle_start();
	rest(OFF, PORT_MARK_OFF);
	if (GREETING != 0U && port_reset_cause() == PORT_RESET_POWER_ON)
		say(TONE_GREETING);
	for (;;)
		serve(events_wait());
}
