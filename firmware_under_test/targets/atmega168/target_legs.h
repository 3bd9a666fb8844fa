/*
 * target_legs.h - six FETs on three compare outputs and three plain pins.
 *
 * High FETs: U on OC0B = PD5, V on OC2A = PB3, W on OC2B = PD3. Low FETs: PD4, PB1, PB2. A pin
 * follows its compare output while its COM bits are set, else its PORT bit (section "Compare Match
 * Output Unit"); the PORT bit of a chopped leg stays 0, so that disconnecting turns it off. On reset
 * all pins float at once, without a clock (8025I p. 46); pull-downs hold the FETs off.
 *
 * Low FETs and PORT bits lie in reach of sbi and cbi, which change one bit in one instruction.
 */
#ifndef TARGET_LEGS_H
#define TARGET_LEGS_H

#define TARGET_HIGH_U PD5
#define TARGET_HIGH_V PB3
#define TARGET_HIGH_W PD3
#define TARGET_LOW_U PD4
#define TARGET_LOW_V PB1
#define TARGET_LOW_W PB2

/* Both FETs of one leg, in an order that opens one before the other closes. */
static inline __attribute__((always_inline)) void
target_leg(volatile uint8_t *carrier, uint8_t connect, volatile uint8_t *high_port, uint8_t high,
           volatile uint8_t *low_port, uint8_t low, uint8_t state)
{
	if (state != PORT_LOW)
		*low_port = (uint8_t)(*low_port & (uint8_t)~low);
	if (state == PORT_HIGH)
		*high_port = (uint8_t)(*high_port | high);
	else
		*high_port = (uint8_t)(*high_port & (uint8_t)~high);
	target_change(carrier, connect, (state == PORT_CHOPPED) ? connect : 0U);
	if (state == PORT_LOW)
		*low_port = (uint8_t)(*low_port | low);
}

static inline void port_leg(uint8_t leg, uint8_t state)
{
	if (leg == PORT_U)
		target_leg(&TCCR0A, _BV(COM0B1), &PORTD, _BV(TARGET_HIGH_U), &PORTD, _BV(TARGET_LOW_U), state);
	else if (leg == PORT_V)
		target_leg(&TCCR2A, _BV(COM2A1), &PORTB, _BV(TARGET_HIGH_V), &PORTB, _BV(TARGET_LOW_V), state);
	else
		target_leg(&TCCR2A, _BV(COM2B1), &PORTD, _BV(TARGET_HIGH_W), &PORTB, _BV(TARGET_LOW_W), state);
}

static inline void port_all_open(void)
{
	uint8_t status = target_lock();

	PORTD = (uint8_t)(PORTD & (uint8_t)~(_BV(TARGET_HIGH_U) | _BV(TARGET_HIGH_W) | _BV(TARGET_LOW_U)));
	TCCR0A = (uint8_t)(TCCR0A & (uint8_t)~_BV(COM0B1));
	TCCR2A = (uint8_t)(TCCR2A & (uint8_t)~(_BV(COM2A1) | _BV(COM2B1)));
	PORTB = (uint8_t)(PORTB & (uint8_t)~(_BV(TARGET_HIGH_V) | _BV(TARGET_LOW_V) | _BV(TARGET_LOW_W)));
	target_unlock(status);
}

/*
 * Phase-correct PWM takes a compare value over at TOP; 0 is continuously low, 255 continuously high
 * (section "Phase Correct PWM Mode"). Before the start the timers are in normal mode, where a compare
 * value holds at once.
 */
static inline void port_duty(uint8_t counts)
{
	OCR0B = counts;
	OCR2A = counts;
	OCR2B = counts;
}

/*
 * TSM keeps the prescalers in reset and the timers halted until both are set up (section
 * "Timer/Counter Prescaler", GTCCR). Should a timer without prescaling run on regardless, the
 * carriers are the two cycles apart that lie between the writes of TCCR0B and TCCR2B. Timer 1 shares
 * timer 0's prescaler and stands still for these few cycles, once.
 */
static inline void port_carriers_start(uint8_t which)
{
	uint8_t status = target_lock();

	GTCCR = _BV(TSM) | _BV(PSRASY) | _BV(PSRSYNC);
	if ((which & 1U) != 0U) {
		TCCR0A = (uint8_t)(TCCR0A | _BV(WGM00));
		TCNT0 = 0U;
	}
	if ((which & 2U) != 0U) {
		TCCR2A = (uint8_t)(TCCR2A | _BV(WGM20));
		TCNT2 = 0U;
	}
	if (which == 3U) {
		TCCR0B = _BV(CS00);
		TCCR2B = _BV(CS20);
	} else if (which == 1U) {
		TCCR0B = _BV(CS00);
	} else if (which == 2U) {
		TCCR2B = _BV(CS20);
	}
	GTCCR = 0U;
	target_unlock(status);
}

#endif
