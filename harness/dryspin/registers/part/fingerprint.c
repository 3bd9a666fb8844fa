/*
 * fingerprint.c - what two states of the part are told apart by, apart from when they are: its settings, the
 * pins, which matches are to come and roughly when. Left out, as behind the seam: where counters stand, and what
 * only says how the last conversion or capture went; handlers keep what they read in variables.
 */
#include "part.h"
#include <string.h>

enum { GRAIN_CYCLES = 1024, CYCLES_PER_TICK = 8 };

static const uint8_t settings[] = {
	TCCR0A, TCCR0B, TCCR1A, TCCR1B, TCCR2A, TCCR2B, TIMSK0, TIMSK1, TIMSK2, EICRA, EIMSK, PCICR, PCMSK0, PCMSK1,
	PCMSK2, SMCR, MCUCR, MCUSR, WDTCSR, ADMUX, ADCSRB, DIDR0, DIDR1, GPIOR0, GPIOR1, GPIOR2, UCSR0B,
};

typedef struct {
	int32_t match[2], chopped_until;
	uint8_t setting[sizeof settings], port[3], direction[3], driven[6], marked[CORE_MARK_PINS];
	uint8_t duty[2][2], minus, sensed_phases, reset_flags, sending, from_comparator;
	uint8_t chopped[4], chopped_duty;
} digest_of_part;

int64_t part_timer_zero(void)
{
	const timer *t = &part.timer[1];
	return t->at - (int64_t)t->count * CYCLES_PER_TICK;
}

/* Cycles from now to a match of timer 1 whose interrupt is on, in grains; -1: none. */
static int32_t match(int channel)
{
	const timer *t = &part.timer[1];
	uint16_t now = (uint16_t)((ctl.now - part_timer_zero()) / CYCLES_PER_TICK);
	if (!(dryspin_registers[TIMSK1] >> (OCIE1A + channel) & 1) || t->divider == 0)
		return -1;
	return (int32_t)((uint16_t)(t->compare[channel] - now) * (int64_t)t->divider / GRAIN_CYCLES);
}

int64_t part_fingerprint(unsigned char *into, int64_t room)
{
	digest_of_part d;
	if (room < (int64_t)sizeof d)
		return -1;
	memset(&d, 0, sizeof d);
	for (int k = 0; k < 2; k++) {
		d.match[k] = match(k);
		for (int c = 0; c < 2; c++)
			d.duty[k][c] = (uint8_t)part.timer[2 * k].compare[c];
	}
	for (size_t k = 0; k < sizeof settings; k++)
		d.setting[k] = dryspin_registers[settings[k]];
	memcpy(d.port, part.port, sizeof d.port);
	memcpy(d.direction, part.direction, sizeof d.direction);
	memcpy(d.driven, part.driven, sizeof d.driven);
	memcpy(d.marked, part.marked, sizeof d.marked);
	d.minus = part.minus;
	d.sensed_phases = part.sensed_phases;
	d.reset_flags = part.reset_flags;
	d.sending = part.waiting >= 0;
	d.from_comparator = part.from_comparator;
	d.chopped_until = chopping_next() == NEVER ? -1 : (int32_t)((chopping_next() - ctl.now) / GRAIN_CYCLES);
	memcpy(d.chopped, (uint8_t[]){part.chopping.low, part.chopping.last, part.chopping.phase, part.chopping.steady}, 4);
	d.chopped_duty = config->pins->chops_low ? part.duty : 0; /* measured: in no register */
	memcpy(into, &d, sizeof d);
	return sizeof d;
}
