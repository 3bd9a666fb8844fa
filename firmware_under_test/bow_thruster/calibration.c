/*
 * calibration.c - see calibration.h.
 *
 *   WATCHING --stick up long enough--> ASKED --rotor at rest--> LEARNING --three positions-->
 *   LEARNT --rotor at rest--> WRITING --read back--> SHUT
 *
 * After any other reset than power-on, after any pulse with the stick not up, and once it is over,
 * the way in is SHUT until the next power-on: a captain at sea who holds full ahead must never find
 * himself calibrating.
 */
#include "calibration.h"

#include "commutation.h"
#include "drive_port.h"
#include "record.h"
#include "settings.h"
#include "standstill.h"

#define SHUT 0U
#define WATCHING 1U
#define ASKED 2U
#define LEARNING 3U
#define LEARNT 4U
#define WRITING 5U

static uint8_t stage;
static uint8_t listening;
static uint8_t up_count; /* pulses with the stick up, in a row */
static uint32_t up_from_ticks;
static uint32_t last_end_ticks;

static uint8_t held_count; /* pulses in a row within STILL_TICKS */
static uint32_t held_from_ticks;
static uint16_t held_least_ticks;
static uint16_t held_most_ticks;

static uint8_t positions; /* how many are learnt */
static stick_range learnt;

void calibration_allow(uint8_t reset_cause)
{
	stage = (reset_cause == PORT_RESET_POWER_ON) ? WATCHING : SHUT;
}

/* The beat is quick only as long as somebody listens. */
static void to_stage(uint8_t next)
{
	if (listening != 0U)
		commutation_rest(TICKS_PER_MS);
	listening = 0U;
	stage = next;
}

static uint8_t end(void)
{
	to_stage(SHUT);
	return CALIBRATION_ENDS;
}

/* A stick that moves on begins a new hold with the pulse that showed it. */
static void hold(const throttle_pulse *pulse)
{
	uint16_t width_ticks = pulse->width_ticks;
	uint16_t least = (width_ticks < held_least_ticks) ? width_ticks : held_least_ticks;
	uint16_t most = (width_ticks > held_most_ticks) ? width_ticks : held_most_ticks;

	if (held_count == 0U || (uint16_t)(most - least) > STILL_TICKS) {
		held_count = 0U;
		held_from_ticks = pulse->end_ticks;
		least = width_ticks;
		most = width_ticks;
	}
	held_least_ticks = least;
	held_most_ticks = most;
	if (held_count < HOLD_PULSES)
		held_count++;
}

static uint8_t is_elsewhere(uint16_t width_ticks, uint16_t before_ticks)
{
	uint16_t apart = (uint16_t)((width_ticks > before_ticks) ? width_ticks - before_ticks
	                                                         : before_ticks - width_ticks);

	return (uint8_t)(apart >= MOVED_TICKS);
}

/*
 * A position counts when it is held still, the first one up, the others away from the one before: a
 * hand that shifts a little must not teach the same position twice. Whether all three make a range is
 * looked at when they are complete.
 */
static uint8_t learn(uint32_t now_ticks)
{
	uint16_t width_ticks = (uint16_t)(held_least_ticks + (uint16_t)(held_most_ticks - held_least_ticks) / 2U);

	if (held_count < HOLD_PULSES || now_ticks - held_from_ticks < HOLD_LASTS_TICKS)
		return CALIBRATION_NO_NEWS;
	if (positions == 0U) {
		if (held_least_ticks <= STICK_UP_TICKS)
			return CALIBRATION_NO_NEWS;
		learnt.high_ticks = width_ticks;
	} else if (positions == 1U) {
		if (is_elsewhere(width_ticks, learnt.high_ticks) == 0U)
			return CALIBRATION_NO_NEWS;
		learnt.neutral_ticks = width_ticks;
	} else {
		if (is_elsewhere(width_ticks, learnt.neutral_ticks) == 0U)
			return CALIBRATION_NO_NEWS;
		learnt.low_ticks = width_ticks;
	}
	positions++;
	held_count = 0U;
	if (positions < 3U)
		return CALIBRATION_POSITION;
	if (range_is_sane(&learnt) == 0U)
		return end();
	to_stage(LEARNT);
	return CALIBRATION_POSITION;
}

/* Only a run of good pulses from the first one on opens the way in. */
static void watch(const throttle_pulse *pulse)
{
	uint8_t missing = (uint8_t)(up_count != 0U && pulse->end_ticks - last_end_ticks > FRAME_LONGEST_TICKS);

	last_end_ticks = pulse->end_ticks;
	if (pulse->good == 0U || missing != 0U || pulse->width_ticks <= STICK_UP_TICKS) {
		to_stage(SHUT);
		return;
	}
	hold(pulse);
	if (up_count == 0U)
		up_from_ticks = pulse->end_ticks;
	if (up_count < STICK_UP_PULSES)
		up_count++;
	if (up_count >= STICK_UP_PULSES && pulse->end_ticks - up_from_ticks >= STICK_UP_LASTS_TICKS &&
	    stage == WATCHING)
		stage = ASKED;
}

uint8_t calibration_pulse(const throttle_pulse *pulse)
{
	if (stage == WATCHING || stage == ASKED) {
		watch(pulse);
	} else if (stage == LEARNING) {
		if (pulse->good == 0U) {
			held_count = 0U;
			return CALIBRATION_NO_NEWS;
		}
		hold(pulse);
		return learn(pulse->end_ticks);
	}
	return CALIBRATION_NO_NEWS;
}

uint8_t calibration_wants_beats(void)
{
	return (uint8_t)(stage == ASKED || stage == LEARNT || stage == WRITING);
}

static uint8_t at_rest(void)
{
	if (stage == ASKED) {
		to_stage(LEARNING);
		return CALIBRATION_BEGINS;
	}
	if (stage == LEARNT) {
		stage = WRITING;
		record_write_begin(&learnt);
	}
	standstill_begin();
	return CALIBRATION_NO_NEWS;
}

static uint8_t write(void)
{
	uint8_t answer = record_write();

	if (answer == RECORD_WRITING)
		return CALIBRATION_NO_NEWS;
	if (answer == RECORD_FAILED)
		return end();
	to_stage(SHUT);
	return CALIBRATION_STORED;
}

/* Water may begin to turn the rotor at any time, so it is listened to all along the writing. */
uint8_t calibration_beat(void)
{
	uint8_t answer;

	if (listening == 0U) {
		commutation_rest(LISTEN_EVERY_TICKS);
		standstill_begin();
		listening = 1U;
		return CALIBRATION_NO_NEWS;
	}
	answer = standstill_look();
	if (answer == STANDSTILL_STILL)
		return at_rest();
	if (answer == STANDSTILL_TURNING) {
		if (stage == WRITING)
			return end();
		standstill_begin();
	}
	return (stage == WRITING) ? write() : CALIBRATION_NO_NEWS;
}

uint8_t calibration_abandon(void)
{
	return (stage == WRITING) ? CALIBRATION_NO_NEWS : end();
}

const stick_range *calibration_range(void)
{
	return &learnt;
}
