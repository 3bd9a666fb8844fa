/*
 * tone.c - see tone.h.
 *
 * A note is a train of pulses, its pitch their rate. Pulses come from U to V and from V to U in turn:
 * torque changes its sign from pulse to pulse, and the rotor, pushed by a hundredth of an electrical
 * degree, is pushed back by the next one. Between them all legs are open, far longer than any dead
 * time, and the diodes have emptied the windings after another 20 us.
 *
 * In 20 us the current rises to 7 A at 20 V in two windings of 28 uH; 1600 times a second that is a
 * mean of 0.2 A.
 */
#include "tone.h"

#include "bridge.h"
#include "drive_port.h"
#include "settings.h"

/* 2 MHz / 440 Hz / 2^(n / 12), n semitones above A4: ISO 16, equal temperament. */
#define C6_TICKS 1911U /* n = 15, 1046.50 Hz */
#define D6_TICKS 1703U /* n = 17, 1174.66 Hz */
#define E6_TICKS 1517U /* n = 19, 1318.51 Hz */
#define G6_TICKS 1276U /* n = 22, 1567.98 Hz */

/* At 1 MHz half of them, rounded: 1.5 cents at most. */
#define EVERY(ticks) (((ticks) * TICKS_PER_US + 1U) / 2U)
#define TIMES(ms, ticks) ((uint16_t)(((ms) * (uint32_t)TICKS_PER_MS + (ticks) / 2U) / (ticks)))
#define NOTE(ticks, ms) {EVERY(ticks), TIMES(ms, EVERY(ticks)), 1U}
#define PAUSE(ms) {TICKS_PER_MS, (ms), 0U}
#define END {0U, 0U, 0U}

typedef struct {
	uint16_t every_ticks;
	uint16_t times;
	uint8_t heard;
} note;

static const note ready[] = {NOTE(C6_TICKS, 120U), PAUSE(60U), NOTE(E6_TICKS, 120U), END};
static const note waiting[] = {NOTE(C6_TICKS, 80U), END};
static const note calibrating[] = {NOTE(E6_TICKS, 80U), END};
static const note stored[] = {NOTE(C6_TICKS, 100U), NOTE(E6_TICKS, 100U), NOTE(G6_TICKS, 200U), END};
static const note not_stored[] = {NOTE(E6_TICKS, 100U), PAUSE(60U), NOTE(C6_TICKS, 200U), END};
static const note lost[] = {NOTE(G6_TICKS, 100U), NOTE(E6_TICKS, 100U), NOTE(C6_TICKS, 100U), END};

static const note fault[] = {NOTE(G6_TICKS, 80U), PAUSE(60U), NOTE(G6_TICKS, 80U), PAUSE(60U),
                             NOTE(C6_TICKS, 240U), END};
static const note pack_low[] = {NOTE(D6_TICKS, 200U), PAUSE(100U), NOTE(D6_TICKS, 200U), END};
static const note greeting[] = {NOTE(D6_TICKS, 120U), NOTE(G6_TICKS, 120U), NOTE(E6_TICKS, 120U),
                                NOTE(C6_TICKS, 240U), END};

static const note *const tunes[] = {ready,      waiting, calibrating, stored,  not_stored,
                                    lost,       fault,   pack_low,    greeting};

static const note *playing;
static uint16_t times_left;
static uint8_t from = PORT_U; /* kept from tone to tone, so that no pair ever comes twice in a row */

void tone_begin(uint8_t tone)
{
	uint8_t were_on = port_interrupts_off();

	playing = tunes[tone - PORT_MARK_TONE_FIRST];
	times_left = playing->times;
	port_interrupts_restore(were_on);
}

uint16_t tone_next(void)
{
	if (times_left == 0U) {
		playing++;
		times_left = playing->times;
		if (times_left == 0U)
			return 0U;
	}
	times_left--;
	if (playing->heard != 0U) {
		uint8_t to = (from == PORT_U) ? PORT_V : PORT_U;

		bridge_pulse(from, to, TONE_PULSE_TICKS);
		from = to;
	}
	return playing->every_ticks;
}
