/*
 * voice.c - see voice.h. The windings of a turning rotor are not pulsed: the pulses would add to its
 * EMF, and a tone heard then would say that the thruster stands.
 */
#include "voice.h"

#include "bridge.h"
#include "commutation.h"
#include "drive_port.h"
#include "settings.h"
#include "standstill.h"
#include "tone.h"

#define SILENT 0U
#define LISTENING 1U
#define SOUNDING 2U

#define NO_TONE 0U

static uint8_t stage;
static uint8_t tone;  /* being waited for or played */
static uint8_t after; /* to be played after it, or NO_TONE */
static uint8_t mark;

static void listen(uint8_t next)
{
	tone = next;
	stage = LISTENING;
	commutation_rest(LISTEN_EVERY_TICKS);
	standstill_begin();
}

void voice_say(uint8_t wanted, uint8_t state_mark)
{
	mark = state_mark;
	if (stage == SILENT)
		listen(wanted);
	else
		after = wanted;
}

static void sound(void)
{
	stage = SOUNDING;
	port_mark(PORT_MARK_TONE);
	port_mark(tone);
	tone_begin(tone);
	commutation_tone();
}

void voice_beat(void)
{
	if (stage == LISTENING) {
		uint8_t answer = standstill_look();

		if (answer == STANDSTILL_TURNING)
			standstill_begin();
		else if (answer == STANDSTILL_STILL)
			sound();
	} else if (stage == SOUNDING && commutation_tone_is_over() != 0U) {
		port_mark(mark);
		stage = SILENT;
		if (after != NO_TONE) {
			listen(after);
			after = NO_TONE;
		}
	}
}

uint8_t voice_is_silent(void)
{
	return (uint8_t)(stage == SILENT);
}

void voice_hush(void)
{
	uint8_t were_on;

	after = NO_TONE;
	if (stage == SILENT)
		return;
	were_on = port_interrupts_off();
	commutation_rest(TICKS_PER_MS);
	bridge_open();
	port_interrupts_restore(were_on);
	if (stage == SOUNDING)
		port_mark(mark);
	stage = SILENT;
}
