// Bow thruster of a model harbour tug, both ways: everything that matters happens in handlers.
// Timer 1 counts half microseconds: captures the stick, times the steps. Timers 0 and 2 chop.
//
// HAZARD: propeller off, motor held down, supply with a current limit, eye protection.

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <util/atomic.h>
#include <util/delay.h>

namespace {

// What the thruster is doing; the register is in reach of one-cycle instructions.
enum class Doing : uint8_t { off = 0, armed = 1, align = 4, ramp = 5, run = 6, coast = 8 };
inline void now_doing(Doing d) { GPIOR0 = static_cast<uint8_t>(d); }
inline bool is_doing(Doing d) { return GPIOR0 == static_cast<uint8_t>(d); }

constexpr uint16_t ticks_us(uint16_t us) { return us * 2; }

constexpr uint8_t ALIGN_DUTY = 28, RAMP_DUTY = 48, RAMP_DUTY_LAST = 82, SLOWEST = 62;
constexpr uint16_t NEUTRAL = ticks_us(1500), DEAD_BAND = ticks_us(44), FULL = ticks_us(400);
constexpr uint8_t HIGHS_D = _BV(PD5) | _BV(PD3), LOW_D = _BV(PD4);
constexpr uint8_t HIGH_B = _BV(PB3), LOWS_B = _BV(PB1) | _BV(PB2);

// high leg, low leg, open leg of each step, forward; U V W are 0 1 2
const uint8_t steps[6][3] PROGMEM = {{0, 1, 2}, {0, 2, 1}, {1, 2, 0}, {1, 0, 2}, {2, 0, 1}, {2, 1, 0}};

volatile uint8_t step, reverse, good, lost, past, settled, ramp_steps, waiting_to_step;
volatile uint16_t interval, crossed_at, stepped_at;
volatile uint16_t width;
volatile uint8_t neutral_pulses, frames_without_pulse;
volatile uint16_t beats_ms;

uint8_t duty_now;

void open_legs()
{
	TCCR0A = _BV(WGM00);
	TCCR2A = _BV(WGM20);
	PORTD &= static_cast<uint8_t>(~LOW_D);
	PORTB &= static_cast<uint8_t>(~LOWS_B);
}

void set_duty(uint8_t counts)
{
	duty_now = counts;
	OCR0B = counts;
	OCR2A = counts;
	OCR2B = counts;
}

void drive(uint8_t s)
{
	const uint8_t high = pgm_read_byte(&steps[s][0]), low = pgm_read_byte(&steps[s][1]);

	open_legs();
	switch (low) {
	case 0: PORTD |= LOW_D; break;
	case 1: PORTB |= _BV(PB1); break;
	default: PORTB |= _BV(PB2); break;
	}
	switch (high) {
	case 0: TCCR0A |= _BV(COM0B1); break;
	case 1: TCCR2A |= _BV(COM2A1); break;
	default: TCCR2A |= _BV(COM2B1); break;
	}
	ADMUX = pgm_read_byte(&steps[s][2]);
}

// Rising above the neutral is the comparator's output falling. Forward, odd steps rise.
void watch_edge()
{
	const bool rises = (step & 1) != reverse;

	ACSR = _BV(ACIS1) | (rises ? 0 : _BV(ACIS0));
}

bool beyond()
{
	const bool rises = (step & 1) != reverse;
	uint8_t above = 0;

	for (uint8_t k = 0; k < 5; k++)
		above += !(ACSR & _BV(ACO));
	return (above >= 3) == rises;
}

void compare_a_in(uint16_t ticks)
{
	OCR1A = TCNT1 + ticks;
	TIFR1 = _BV(OCF1A);
	TIMSK1 |= _BV(OCIE1A);
}

void take_step()
{
	if (reverse)
		step = step == 0 ? 5 : step - 1;
	else
		step = step == 5 ? 0 : step + 1;
	drive(step);
	stepped_at = TCNT1;
	watch_edge();
	OCR1B = stepped_at + interval / 3;
	TIFR1 = _BV(OCF1B);
	TIMSK1 |= _BV(OCIE1B);
	waiting_to_step = 0;
}

void stop_stepping()
{
	TIMSK1 &= static_cast<uint8_t>(~(_BV(OCIE1A) | _BV(OCIE1B)));
	ACSR &= static_cast<uint8_t>(~_BV(ACIE));
	open_legs();
}

} // namespace

// Time for the next step; without a crossing before it, a lost one.
ISR(TIMER1_COMPA_vect)
{
	if (is_doing(Doing::ramp)) {
		// constant acceleration: each step is shorter by 2 / (4 n + 1) of itself
		if (interval > ticks_us(1050))
			interval -= 2UL * interval / (4U * ++ramp_steps + 1);
		if (duty_now < RAMP_DUTY_LAST)
			set_duty(duty_now + 1);
		take_step();
		compare_a_in(interval);
		return;
	}
	if (!waiting_to_step && ++lost > 4) {
		stop_stepping();
		now_doing(Doing::coast);
		return;
	}
	take_step();
	compare_a_in(settled < 24 ? 3 * interval : interval + interval / 2);
}

namespace {

// On the ramp crossings are counted only, until there were enough of them at the ramp's last speed.
bool may_follow()
{
	if (good < 255)
		good++;
	if (!is_doing(Doing::ramp))
		return true;
	if (good < 6 || interval > ticks_us(1150))
		return false;
	now_doing(Doing::run);
	settled = 0;
	return true;
}

} // namespace

// Blanking is over. A phase that is beyond its crossing already may still be carrying current: look again
// for a while, then take the crossing as past and step at once: the rotor is ahead.
ISR(TIMER1_COMPB_vect)
{
	const uint16_t now = TCNT1, patience = settled < 24 ? interval * 7UL / 16 : interval * 9UL / 16;

	TIMSK1 &= static_cast<uint8_t>(~_BV(OCIE1B));
	ACSR |= _BV(ACI);
	if (!beyond()) {
		ACSR |= _BV(ACIE);
		return;
	}
	if (static_cast<uint16_t>(now - stepped_at) < patience) {
		OCR1B = now + (interval / 32 > 20 ? interval / 32 : 20);
		TIFR1 = _BV(OCF1B);
		TIMSK1 |= _BV(OCIE1B);
		return;
	}
	if (!may_follow())
		return;
	crossed_at = now;
	if (++past > 24)
		return;
	interval -= interval / 16;
	waiting_to_step = 1;
	compare_a_in(interval / 16 > 10 ? interval / 16 : 10);
}

ISR(ANALOG_COMP_vect)
{
	const uint16_t now = TCNT1;

	if (!beyond())
		return;
	ACSR &= static_cast<uint8_t>(~_BV(ACIE));
	uint16_t since = now - crossed_at;
	crossed_at = now;
	if (!may_follow())
		return;
	if (since > interval + interval / 2 || since < interval / 2)
		since = interval;
	if (settled < 255)
		settled++;
	lost = 0;
	past = 0;
	interval = (3UL * interval + since) / 4;
	waiting_to_step = 1;
	compare_a_in(interval / 2 > 40 ? interval / 2 - 30 : 10);
}

ISR(TIMER1_CAPT_vect)
{
	static uint16_t rose;

	if (TCCR1B & _BV(ICES1)) {
		rose = ICR1;
		TCCR1B &= static_cast<uint8_t>(~_BV(ICES1));
	} else {
		const uint16_t w = ICR1 - rose;

		TCCR1B |= _BV(ICES1);
		if (w >= ticks_us(800) && w <= ticks_us(2200)) {
			width = w;
			frames_without_pulse = 0;
			if (w > NEUTRAL - DEAD_BAND && w < NEUTRAL + DEAD_BAND) {
				if (neutral_pulses < 255)
					neutral_pulses++;
			} else {
				neutral_pulses = 0;
			}
		} else {
			neutral_pulses = 0;
		}
	}
	TIFR1 = _BV(ICF1);
}

// Every 32.768 ms.
ISR(TIMER1_OVF_vect)
{
	if (frames_without_pulse < 255)
		frames_without_pulse++;
}

namespace {

// Ticks the stick asks for: positive forward.
int16_t demand()
{
	uint16_t w;

	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		w = width;
	}
	const int16_t away = static_cast<int16_t>(w - NEUTRAL);
	if (frames_without_pulse > 3 || (away < static_cast<int16_t>(DEAD_BAND) && away > -static_cast<int16_t>(DEAD_BAND)))
		return 0;
	return away;
}

uint8_t duty_for(int16_t away)
{
	uint16_t size = away < 0 ? -away : away;

	if (size > FULL)
		size = FULL;
	return SLOWEST + (uint32_t)(255 - SLOWEST) * (size - DEAD_BAND) / (FULL - DEAD_BAND);
}

void wait_ms(uint16_t ms)
{
	while (ms--) {
		_delay_ms(1);
		wdt_reset();
	}
}

void start(uint8_t turning)
{
	reverse = turning;
	now_doing(Doing::align);
	set_duty(ALIGN_DUTY);
	step = 2;
	drive(step);
	wait_ms(150);
	step = turning ? 1 : 3;
	drive(step);
	wait_ms(150);
	set_duty(RAMP_DUTY);
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		interval = 23000;
		ramp_steps = 0;
		good = 0;
		lost = 0;
		past = 0;
		now_doing(Doing::ramp);
		take_step();
		compare_a_in(interval + interval / 2);
	}
}

bool beat_over()
{
	static uint16_t last;
	uint16_t now;

	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		now = TCNT1;
	}
	if (static_cast<uint16_t>(now - last) < ticks_us(1000))
		return false;
	last = now;
	return true;
}

} // namespace

int main()
{
	MCUSR = 0;
	wdt_enable(WDTO_120MS);
	DDRB = HIGH_B | LOWS_B;
	DDRD = HIGHS_D | LOW_D;
	PORTB = _BV(PB0);
	DIDR0 = 0x0F;
	DIDR1 = _BV(AIN0D) | _BV(AIN1D);
	ADCSRB = _BV(ACME);
	TCCR0A = _BV(WGM00);
	TCCR0B = _BV(CS00);
	TCCR2A = _BV(WGM20);
	TCCR2B = _BV(CS20);
	TCCR1B = _BV(ICNC1) | _BV(ICES1) | _BV(CS11);
	TIMSK1 = _BV(ICIE1) | _BV(TOIE1);
	set_sleep_mode(SLEEP_MODE_IDLE);
	sei();

	while (neutral_pulses < 25) {
		wdt_reset();
		sleep_mode();
	}
	now_doing(Doing::armed);

	for (;;) {
		wdt_reset();
		const int16_t away = demand();

		if (is_doing(Doing::coast)) {
			wait_ms(500);
			now_doing(Doing::armed);
		} else if (is_doing(Doing::armed)) {
			if (away != 0)
				start(away < 0);
			else
				sleep_mode();
		} else if (away == 0 || (away < 0) != reverse) {
			ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
			{
				stop_stepping();
				now_doing(Doing::coast);
			}
		} else if (is_doing(Doing::run) && beat_over()) {
			const uint8_t wanted = duty_for(away);

			if (duty_now < wanted)
				set_duty(duty_now + 1);
			else if (duty_now > wanted)
				set_duty(duty_now - 1);
		}
	}
}
