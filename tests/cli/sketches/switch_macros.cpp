// thruster, both directions. Gate drivers on port B and D:
//   U high PB1 (OC1A)   U low PD4
//   V high PB2 (OC1B)   V low PD7
//   W high PB3          W low PC3
#define F_CPU 8000000
#include <avr/io.h>
#include <avr/interrupt.h>
#include <util/delay.h>

#define LOW_PORT  PORTD

#define U_HI_ON   PORTB |= (1 << PB1)
#define U_HI_OFF  PORTB &= ~(1 << PB1)
#define V_HI_ON   PORTB |= (1 << PB2)
#define V_HI_OFF  PORTB &= ~(1 << PB2)
#define W_HI_ON   PORTB |= (1 << PB3)
#define W_HI_OFF  PORTB &= ~(1 << PB3)
#define U_LO_ON   LOW_PORT |= (1 << PD4)
#define U_LO_OFF  LOW_PORT &= ~(1 << PD4)
#define V_LO_ON   LOW_PORT |= (1 << PD7)
#define V_LO_OFF  LOW_PORT &= ~(1 << PD7)
#define W_LO_ON   PORTC |= (1 << PC3)
#define W_LO_OFF  PORTC &= ~(1 << PC3)

constexpr uint8_t BEMF_U = 0, BEMF_V = 1, BEMF_W = 2;   // ADC channels
constexpr uint16_t PWM_TOP = F_CPU / 20000 / 2;         // phase correct, 20 kHz
constexpr int NEUTRAL_US = 1500;

static volatile uint8_t leg;
static volatile bool reverse;
static volatile uint16_t width_us;

static void everything_off()
{
	U_HI_OFF; V_HI_OFF; W_HI_OFF;
	U_LO_OFF; V_LO_OFF; W_LO_OFF;
}

ISR(TIMER1_OVF_vect)
{
	switch (leg) {
	case 1: U_HI_ON; break;
	case 2: V_HI_ON; break;
	case 3: W_HI_ON; break;
	}
}

ISR(TIMER1_COMPA_vect)
{
	U_HI_OFF; V_HI_OFF; W_HI_OFF;
}

// receiver on INT0, measured with timer 0 in 8 us steps
ISR(INT0_vect)
{
	static uint8_t began;

	if (PIND & (1 << PD2)) {
		began = TCNT0;
		return;
	}
	uint16_t us = (uint8_t)(TCNT0 - began) * 8u;
	if (us >= 950 && us <= 2000) width_us = us;
}

static void go(uint8_t s)
{
	leg = 0;
	everything_off();
	_delay_us(2);
	switch (s) {
	case 0: V_LO_ON; leg = 1; ADMUX = BEMF_W; break;
	case 1: W_LO_ON; leg = 1; ADMUX = BEMF_V; break;
	case 2: W_LO_ON; leg = 2; ADMUX = BEMF_U; break;
	case 3: U_LO_ON; leg = 2; ADMUX = BEMF_W; break;
	case 4: U_LO_ON; leg = 3; ADMUX = BEMF_V; break;
	default: V_LO_ON; leg = 3; ADMUX = BEMF_U; break;
	}
}

int main()
{
	DDRB = (1 << PB1) | (1 << PB2) | (1 << PB3);
	DDRC = 1 << PC3;
	DDRD = (1 << PD4) | (1 << PD7);
	everything_off();
	TCCR1A = 0;
	TCCR1B = (1 << WGM13) | (1 << CS10);
	ICR1 = PWM_TOP;
	OCR1A = 20;
	TIMSK1 = (1 << TOIE1) | (1 << OCIE1A);
	TCCR0B = (1 << CS01) | (1 << CS00);
	EICRA = 1 << ISC00;
	EIMSK = 1 << INT0;
	ADCSRA = 0;
	sei();

	uint8_t s = 0;
	for (;;) {
		uint16_t us = width_us;
		reverse = us < NEUTRAL_US;
		if (us && (us > NEUTRAL_US + 60 || us < NEUTRAL_US - 60)) {
			s = reverse ? (s == 0 ? 5 : s - 1) : (s == 5 ? 0 : s + 1);
			go(s);
		} else {
			leg = 0;
			everything_off();
		}
		_delay_ms(4);
	}
}
