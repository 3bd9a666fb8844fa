/*
 * timer_reads.c - what reading a register of the timers gives.
 */
#include "part.h"
#include "timers.h"

uint16_t timer_read_pair(uint8_t at)
{
	timer *t = &part.timer[1];
	timer_reach(t, ctl.now);
	return at == TCNT1 ? t->count : at == ICR1 ? t->icr : t->written[at == OCR1B];
}

static uint8_t read_flags(int which)
{
	uint32_t f = 0;
	f |= flag_stands(wrap_vector[which]) ? BIT(TOV0) : 0;
	f |= flag_stands(match_vector[which][0]) ? BIT(OCF0A) : 0;
	f |= flag_stands(match_vector[which][1]) ? BIT(OCF0B) : 0;
	f |= which == 1 && flag_stands(CAPTURE_VECTOR) ? BIT(ICF1) : 0;
	return (uint8_t)f;
}

uint8_t timer_read(uint8_t at)
{
	timer *t = &part.timer[timer_of(at)];
	switch (at) {
	case TIFR0: case TIFR1: case TIFR2:
		return read_flags(timer_of(at));
	case TCNT0: case TCNT2:
		timer_reach(t, ctl.now);
		return (uint8_t)t->count;
	case OCR0A: case OCR2A:
		return (uint8_t)t->written[0];
	case OCR0B: case OCR2B:
		return (uint8_t)t->written[1];
	case TCNT1L: case ICR1L: case OCR1AL: case OCR1BL: {
		uint16_t value = timer_read_pair(at);
		if (at == TCNT1L || at == ICR1L) { /* "reading the OCR1A/B ... does not involve [the shared byte]" */
			part.shared_high = (uint8_t)(value >> 8);
			part.shared_taken = 1;
		}
		return (uint8_t)value;
	}
	case TCNT1H: case ICR1H:
		return part.shared_high;
	case OCR1AH: case OCR1BH:
		return (uint8_t)(t->written[at == OCR1BH] >> 8);
	default:
		return dryspin_registers[at];
	}
}
