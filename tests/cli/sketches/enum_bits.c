/*
 * tug thruster v3, forwards only. mega168 @ 16 MHz
 *
 *   AH = PD3   BH = PD4   CH = PD5      (high side drivers)
 *   AL = PD0   BL = PD1   CL = PD2      (low side)
 *   PB0  receiver      PB5  LED         A0..A2 motor leads through 33k/10k
 *   AIN0 star point made of three resistors
 *
 * PWM is done in software from timer 2, on the high side.
 */
#define F_CPU 16000000UL
#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdint.h>
#include <util/delay.h>

enum { AL = 0, BL, CL, AH, BH, CH };
enum { LED = 5, RX_PULSE = 0 };

#define M(b) (1 << (b))
#define ALL_GATES (M(AH) | M(BH) | M(CH) | M(AL) | M(BL) | M(CL))

static const uint8_t high_of[6] = { M(AH), M(AH), M(BH), M(BH), M(CH), M(CH) };
static const uint8_t low_of[6]  = { M(BL), M(CL), M(CL), M(AL), M(AL), M(BL) };
static const uint8_t open_of[6] = { 2, 1, 0, 2, 1, 0 };

static volatile uint8_t high_now, duty = 0;      /* duty: 0..159 */
static volatile uint16_t pulse, ms_since;

/* start of a period */
ISR(TIMER2_COMPA_vect)
{
	PORTD |= high_now;
}

/* end of the on time */
ISR(TIMER2_COMPB_vect)
{
	PORTD &= ~(M(AH) | M(BH) | M(CH));
}

ISR(TIMER1_CAPT_vect)
{
	static uint16_t rise;
	uint16_t t = ICR1;

	if (TCCR1B & (1 << ICES1)) {
		rise = t;
		TCCR1B &= ~(1 << ICES1);
	} else {
		uint16_t w = t - rise;
		TCCR1B |= (1 << ICES1);
		if (w > 1700 && w < 4400) {          /* 850 .. 2200 us */
			pulse = w;
			ms_since = 0;
		}
	}
	TIFR1 = 1 << ICF1;
}

ISR(TIMER0_COMPA_vect)
{
	if (ms_since < 1000) ms_since++;
}

static uint16_t stick(void)
{
	uint16_t w;

	cli();
	w = ms_since > 100 ? 0 : pulse;
	sei();
	return w;
}

#define IDLE_TICKS 2280          /* 1140 us */

static void off(void)
{
	high_now = 0;
	PORTD &= ~ALL_GATES;
}

static void step_to(uint8_t s)
{
	high_now = 0;
	PORTD &= ~ALL_GATES;
	_delay_us(2);
	PORTD |= low_of[s];
	high_now = high_of[s];
	ADMUX = open_of[s];
}

static uint8_t crossed(uint8_t s)
{
	uint8_t votes = 0, k;

	for (k = 0; k < 5; k++)
		if (!(ACSR & (1 << ACO))) votes++;
	return (votes >= 3) == (s & 1);
}

static void wait_ticks(uint16_t n)
{
	uint16_t t0 = TCNT1;

	while ((uint16_t)(TCNT1 - t0) < n) ;
}

static uint8_t spin_up(uint8_t *step)
{
	uint16_t t = 24000;
	uint8_t s = 2, good = 0, k;

	duty = 20; OCR2B = duty;
	step_to(s); _delay_ms(200);
	s = 3; step_to(s); _delay_ms(250);
	duty = 38; OCR2B = duty;
	for (k = 0; k < 140; k++) {
		uint16_t t0;
		uint8_t before = 0, after = 0;

		s = s == 5 ? 0 : s + 1;
		step_to(s);
		t0 = TCNT1;
		while ((uint16_t)(TCNT1 - t0) < t) {
			if ((uint16_t)(TCNT1 - t0) < t / 3) continue;
			if (!crossed(s)) before = 1; else if (before) after = 1;
		}
		good = after ? good + 1 : 0;
		if (t > 2200) t -= t / 12; else if (good >= 6) { *step = s; return 1; }
	}
	return 0;
}

static void closed_loop(uint8_t s)
{
	uint16_t span = 2000, last = TCNT1;
	uint8_t missed = 0;

	for (;;) {
		uint16_t t0, now, w = stick();
		uint8_t want;

		if (w <= IDLE_TICKS) return;
		want = 38 + (w - IDLE_TICKS) / 14;
		if (want > 150) want = 150;
		if (duty < want) duty++; else if (duty > want) duty--;
		OCR2B = duty;
		s = s == 5 ? 0 : s + 1;
		step_to(s);
		t0 = TCNT1;
		while ((uint16_t)(TCNT1 - t0) < span / 3) ;
		while (!crossed(s))
			if ((uint16_t)(TCNT1 - t0) > 2 * span) { if (++missed > 6) return; break; }
		now = TCNT1;
		if ((uint16_t)(now - t0) <= 2 * span) missed = 0;
		span = (3 * span + (uint16_t)(now - last)) / 4;
		last = now;
		wait_ticks(span / 2 > 40 ? span / 2 - 40 : 1);
	}
}

int main(void)
{
	uint8_t s = 0, n = 0;

	DDRD = ALL_GATES;
	DDRB = 1 << LED;
	PORTD = 0;
	ADCSRA = 0;
	ADCSRB = 1 << ACME;
	TCCR1B = (1 << ICES1) | (1 << CS11);         /* 0.5 us */
	TIMSK1 = 1 << ICIE1;
	TCCR2A = 1 << WGM21;                         /* 16 MHz / 8 / 160 = 12.5 kHz */
	TCCR2B = 1 << CS21;
	OCR2A = 159;
	OCR2B = 20;
	TIMSK2 = (1 << OCIE2A) | (1 << OCIE2B);
	TCCR0A = 1 << WGM01;
	TCCR0B = (1 << CS01) | (1 << CS00);
	OCR0A = 249;
	TIMSK0 = 1 << OCIE0A;
	sei();

	while (n < 25) {                             /* stick down for half a second */
		_delay_ms(20);
		n = (stick() && stick() <= IDLE_TICKS) ? n + 1 : 0;
	}
	for (;;) {
		PORTB ^= 1 << LED;
		if (stick() > IDLE_TICKS + 40) {
			if (spin_up(&s)) closed_loop(s);
			off();
			_delay_ms(500);
		}
		_delay_ms(20);
	}
}
