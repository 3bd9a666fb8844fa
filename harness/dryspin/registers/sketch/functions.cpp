/*
 * functions.cpp - what sketches call, and the main() around setup() and loop().
 */
#include "sketch.h"
#include <util/delay.h>

struct port { volatile uint8_t *in, *direction, *out; };

static const struct port PORT_B = {&PINB, &DDRB, &PORTB};
static const struct port PORT_C = {&PINC, &DDRC, &PORTC};
static const struct port PORT_D = {&PIND, &DDRD, &PORTD};

static const uint8_t CLOCK_DIVIDER = 64;
static const uint32_t TICKS_PER_OVERFLOW = 256;
static const uint32_t US_PER_TICK = CLOCK_DIVIDER / (F_CPU / 1000000UL);
static const uint32_t US_PER_OVERFLOW = US_PER_TICK * TICKS_PER_OVERFLOW;

static volatile uint32_t overflows, whole_ms;
static uint16_t part_us;
static void (*handlers[2])(void);
static uint32_t seed = 1;

static const struct port *port_of(uint8_t pin)
{
	return pin < 8 ? &PORT_D : pin < 14 ? &PORT_B : &PORT_C;
}

static uint8_t mask_of(uint8_t pin)
{
	return (uint8_t)(1U << (pin < 8 ? pin : pin < 14 ? pin - 8 : pin - 14));
}

/* The control register and COM bit of a pin's compare output; 0 where it has none. */
static volatile uint8_t *output_of(uint8_t pin, uint8_t *com)
{
	switch (pin) {
	case 3: *com = _BV(COM2B1); return &TCCR2A;
	case 5: *com = _BV(COM0B1); return &TCCR0A;
	case 6: *com = _BV(COM0A1); return &TCCR0A;
	case 9: *com = _BV(COM1A1); return &TCCR1A;
	case 10: *com = _BV(COM1B1); return &TCCR1A;
	case 11: *com = _BV(COM2A1); return &TCCR2A;
	default: return 0;
	}
}

ISR(TIMER0_OVF_vect)
{
	overflows++;
	whole_ms += US_PER_OVERFLOW / 1000;
	part_us = (uint16_t)(part_us + US_PER_OVERFLOW % 1000);
	if (part_us >= 1000) {
		part_us = (uint16_t)(part_us - 1000);
		whole_ms++;
	}
}

#ifdef DRYSPIN_APART
#define HANDLER used
#else
#define HANDLER signal, used /* the part's own compiler: registers saved, reti */
#endif

/* Weak: a sketch may have handlers of its own for these. */
extern "C" void INT0_vect(void) __attribute__((HANDLER, weak));
extern "C" void INT0_vect(void) { if (handlers[0]) handlers[0](); }
extern "C" void INT1_vect(void) __attribute__((HANDLER, weak));
extern "C" void INT1_vect(void) { if (handlers[1]) handlers[1](); }

void pinMode(uint8_t pin, uint8_t mode)
{
	const struct port *p = port_of(pin);
	uint8_t status = SREG, mask = mask_of(pin);

	cli();
	if (mode == OUTPUT) {
		*p->direction |= mask;
	} else {
		*p->direction &= (uint8_t)~mask;
		if (mode == INPUT_PULLUP)
			*p->out |= mask;
		else
			*p->out &= (uint8_t)~mask;
	}
	SREG = status;
}

static void disconnect(uint8_t pin)
{
	uint8_t com = 0;
	volatile uint8_t *control = output_of(pin, &com);

	if (control)
		*control &= (uint8_t)~com;
}

void digitalWrite(uint8_t pin, uint8_t level)
{
	const struct port *p = port_of(pin);
	uint8_t status, mask = mask_of(pin);

	disconnect(pin);
	status = SREG;
	cli();
	if (level)
		*p->out |= mask;
	else
		*p->out &= (uint8_t)~mask;
	SREG = status;
}

int digitalRead(uint8_t pin)
{
	disconnect(pin);
	return (*port_of(pin)->in & mask_of(pin)) != 0;
}

void analogWrite(uint8_t pin, int value)
{
	uint8_t com = 0;
	volatile uint8_t *control = output_of(pin, &com);

	pinMode(pin, OUTPUT);
	if (value <= 0 || value >= 255 || !control) {
		digitalWrite(pin, control ? value > 0 : value >= 128);
		return;
	}
	*control |= com;
	switch (pin) {
	case 3: OCR2B = (uint8_t)value; break;
	case 5: OCR0B = (uint8_t)value; break;
	case 6: OCR0A = (uint8_t)value; break;
	case 9: OCR1A = (uint16_t)value; break;
	case 10: OCR1B = (uint16_t)value; break;
	default: OCR2A = (uint8_t)value; break;
	}
}

int analogRead(uint8_t pin)
{
	ADMUX = (uint8_t)(_BV(REFS0) | ((pin >= A0 ? pin - A0 : pin) & 7));
	ADCSRA |= _BV(ADSC);
	while (ADCSRA & _BV(ADSC)) {
	}
	return ADC;
}

uint32_t millis(void)
{
	uint8_t status = SREG;
	uint32_t ms;

	cli();
	ms = whole_ms;
	SREG = status;
	return ms;
}

uint32_t micros(void)
{
	uint8_t status = SREG, ticks;
	uint32_t n;

	cli();
	n = overflows;
	ticks = TCNT0;
	if ((TIFR0 & _BV(TOV0)) && ticks < 255)
		n++; /* it has wrapped, and the handler has not been */
	SREG = status;
	return (n * TICKS_PER_OVERFLOW + ticks) * US_PER_TICK;
}

void delay(uint32_t ms)
{
	uint32_t start = micros();

	while (ms > 0)
		while (ms > 0 && micros() - start >= 1000) {
			ms--;
			start += 1000;
		}
}

void delayMicroseconds(unsigned us)
{
	/* call and set-up take about as long as a microsecond */
	if (us > 1)
		dryspin_delay((int64_t)(us - 1) * (int64_t)(F_CPU / 1000000UL));
}

uint32_t pulseIn(uint8_t pin, uint8_t level, uint32_t timeout_us)
{
	const struct port *p = port_of(pin);
	uint8_t mask = mask_of(pin), wanted = level ? mask : 0;
	uint32_t start = micros(), began;

	while ((*p->in & mask) == wanted)
		if (micros() - start >= timeout_us)
			return 0;
	while ((*p->in & mask) != wanted)
		if (micros() - start >= timeout_us)
			return 0;
	began = micros();
	while ((*p->in & mask) == wanted)
		if (micros() - start >= timeout_us)
			return 0;
	return micros() - began;
}

void attachInterrupt(uint8_t number, void (*handler)(void), int mode)
{
	if (number > 1)
		return;
	handlers[number] = handler;
	EICRA = (uint8_t)((EICRA & ~(3U << (2 * number))) | ((unsigned)mode & 3U) << (2 * number));
	EIMSK |= (uint8_t)(1U << number);
}

void detachInterrupt(uint8_t number)
{
	if (number > 1)
		return;
	EIMSK &= (uint8_t)~(1U << number);
	handlers[number] = 0;
}

long map(long x, long from_low, long from_high, long to_low, long to_high)
{
	return (x - from_low) * (to_high - to_low) / (from_high - from_low) + to_low;
}

void randomSeed(uint32_t value)
{
	seed = value ? value : 1;
}

long random(long end)
{
	/* Park and Miller, Communications of the ACM 31 (1988), p. 1192: minimal standard generator */
	seed = (uint32_t)(seed * UINT64_C(16807) % UINT64_C(2147483647));
	return end > 0 ? (long)(seed % (uint32_t)end) : 0;
}

long random(long begin, long end)
{
	return begin < end ? begin + random(end - begin) : begin;
}

/* ---- the program ------------------------------------------------------------------------------- */

int main(void)
{
	TCCR0A = _BV(WGM01) | _BV(WGM00);
	TCCR0B = _BV(CS01) | _BV(CS00);
	TIMSK0 = _BV(TOIE0);
	TCCR1B = _BV(CS11) | _BV(CS10);
	TCCR1A = _BV(WGM10);
	TCCR2B = _BV(CS22);
	TCCR2A = _BV(WGM20);
	ADCSRA = _BV(ADEN) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
	sei();
	setup();
	for (;;)
		loop();
}
