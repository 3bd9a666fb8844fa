/*
 * target_ticks.h - the 16-bit timer: ticks, two compares, capture of the throttle.
 *
 * Normal mode, prescaler 8: a tick of 0.5 us at 16 MHz.
 *
 * All 16-bit registers of the timer share one byte, TEMP: a write goes high byte first, a read low
 * byte first, and a handler that touches any of them between the halves spoils both (DS40002011A
 * p. 164, "Accessing 16-bit Registers"). avr-gcc takes the halves in that order; the lock keeps
 * handlers out. The seam asks its callers for it as well; three cycles more are cheap against a
 * moment that is wrong by 256 ticks once in a week.
 *
 * Flags are cleared by writing one, and writing zero leaves the others alone: a plain write of one bit.
 */
#ifndef TARGET_TICKS_H
#define TARGET_TICKS_H

/* Capture with noise canceller: four equal samples, four cycles later (DS40001906C p. 165). */
#define TARGET_TICK_CLOCK ((uint8_t)(_BV(ICNC1) | _BV(CS11)))

static inline uint16_t target_read16(volatile uint16_t *reg)
{
	uint8_t status = target_lock();
	uint16_t value = *reg;

	target_unlock(status);
	return value;
}

static inline void target_write16(volatile uint16_t *reg, uint16_t value)
{
	uint8_t status = target_lock();

	*reg = value;
	target_unlock(status);
}

static inline void target_timer_interrupt(uint8_t bit, uint8_t on)
{
	target_change(&TIMSK1, bit, (on != 0U) ? bit : 0U);
}

static inline uint16_t port_ticks(void)
{
	return target_read16(&TCNT1);
}

static inline void port_compare_a(uint16_t at_ticks)
{
	target_write16(&OCR1A, at_ticks);
}

static inline void port_compare_b(uint16_t at_ticks)
{
	target_write16(&OCR1B, at_ticks);
}

static inline void port_compare_a_interrupt(uint8_t on)
{
	target_timer_interrupt(_BV(OCIE1A), on);
}

static inline void port_compare_b_interrupt(uint8_t on)
{
	target_timer_interrupt(_BV(OCIE1B), on);
}

static inline void port_compare_a_clear(void)
{
	TIFR1 = _BV(OCF1A);
}

static inline void port_compare_b_clear(void)
{
	TIFR1 = _BV(OCF1B);
}

static inline void port_wrap_interrupt(uint8_t on)
{
	target_timer_interrupt(_BV(TOIE1), on);
}

static inline uint8_t port_wrap_flag(void)
{
	return (uint8_t)((TIFR1 & _BV(TOV1)) != 0U);
}

/* ---- throttle --------------------------------------------------------------------------- */

/* "After a change of the edge, the Input Capture Flag (ICF1) must be cleared by software" (section
 * "Using the Input Capture Unit"): changing it may itself set the flag. */
static inline void port_throttle_edge(uint8_t edge)
{
	uint8_t status = target_lock();

	TCCR1B = (edge == PORT_RISING) ? (uint8_t)(TARGET_TICK_CLOCK | _BV(ICES1)) : TARGET_TICK_CLOCK;
	TIFR1 = _BV(ICF1);
	target_unlock(status);
}

static inline uint16_t port_throttle_ticks(void)
{
	return target_read16(&ICR1);
}

static inline void port_throttle_interrupt(uint8_t on)
{
	target_timer_interrupt(_BV(ICIE1), on);
}

static inline uint8_t port_throttle_level(void)
{
	return (uint8_t)((PINB & _BV(PB0)) != 0U);
}

#endif
