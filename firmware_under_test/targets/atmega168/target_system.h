/*
 * target_system.h - watchdog, over-current, interrupts, sleep, cause of reset, marks.
 */
#ifndef TARGET_SYSTEM_H
#define TARGET_SYSTEM_H

#include <avr/sleep.h>
#include <avr/wdt.h>

/*
 * avr-libc keeps the timed sequence: WDCE and WDE together, then the new value within four cycles,
 * interrupts off (section "Timed Sequences for Changing the Configuration of the Watchdog Timer").
 * Its codes count doublings of 16 ms, as the seam does.
 */
static inline void port_watchdog_on(uint8_t doublings)
{
	wdt_enable(doublings);
}

static inline void port_watchdog_feed(void)
{
	wdt_reset();
}

/* WDRF, which would hold the watchdog on, was cleared when the program started. */
static inline void port_watchdog_off(void)
{
	wdt_disable();
}

/* The falling edge has set its flag whether or not the interrupt was on (section "External Interrupts",
 * EIFR); which edge is chosen in startup.c. */
static inline void port_over_current_interrupt(uint8_t on)
{
	if (on != 0U)
		EIMSK = (uint8_t)(EIMSK | _BV(INT0));
	else
		EIMSK = (uint8_t)(EIMSK & (uint8_t)~_BV(INT0));
}

static inline uint8_t port_over_current(void)
{
	return (uint8_t)((PIND & _BV(PD2)) == 0U);
}

static inline uint8_t port_interrupts_off(void)
{
	uint8_t were_on = (uint8_t)((SREG & _BV(SREG_I)) != 0U);

	cli();
	return were_on;
}

static inline void port_interrupts_restore(uint8_t were_on)
{
	if (were_on != 0U)
		sei();
}

/*
 * "The instruction following SEI will be executed before any pending interrupts" (section "Reset and
 * Interrupt Handling"): it is the sleep, and what is pending wakes it. Idle mode keeps timers,
 * comparator and capture alive.
 */
static inline void port_idle(void)
{
	SMCR = (uint8_t)(SLEEP_MODE_IDLE | _BV(SE));
	sei();
	sleep_cpu();
	SMCR = 0U;
}

/*
 * Several sources can have set their flags: a slow rise of the supply passes through the brown-out
 * detector as well. GPIOR1 holds what startup.c found.
 */
static inline uint8_t port_reset_cause(void)
{
	uint8_t flags = GPIOR1;

	if ((flags & _BV(PORF)) != 0U)
		return PORT_RESET_POWER_ON;
	if ((flags & _BV(BORF)) != 0U)
		return PORT_RESET_BROWN_OUT;
	if ((flags & _BV(WDRF)) != 0U)
		return PORT_RESET_WATCHDOG;
	return PORT_RESET_EXTERNAL;
}

/* Every mark turns PC5 over, for an oscilloscope: writing one to a PIN bit does that (section
 * "Toggling the Pin"). Which mark it was stands in GPIOR2, for a debugger and for the rig. */
static inline void port_mark(uint8_t code)
{
	GPIOR2 = code;
	PINC = _BV(PC5);
}

#endif
