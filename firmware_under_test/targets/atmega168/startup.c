/*
 * startup.c - fuses, and what happens between reset and the firmware's main().
 *
 * The C start-up code runs its sections in order: .init2 sets the stack, .init4 fills .data and
 * clears .bss, .init9 calls main (avr-libc manual, "The .initN Sections"). Interrupts are off and all
 * pins float until main.
 */
#include <drive_port.h> /* angle brackets: by the include path, so that the seam is found next */

#include <avr/fuse.h>

/*
 * Crystal of 16 MHz: full swing, which stands the noise of a bridge, and the longest start-up,
 * 16 K clocks and 65 ms, for a supply that rises slowly (section "Full Swing Crystal Oscillator").
 * Brown-out at 4.3 V: 16 MHz needs 3.78 V (8161D, speed grades), which 2.7 V would not watch over. No
 * division of the clock, no clock output, no boot loader. Reset pin and serial programming stay
 * usable; debugWIRE, which would keep clocks running in sleep, stays off.
 */
FUSES = {
	.low = (uint8_t)(FUSE_CKSEL3), /* CKSEL = 0111, SUT = 11 */
	.high = (uint8_t)(FUSE_SPIEN & FUSE_BODLEVEL1 & FUSE_BODLEVEL0), /* BODLEVEL = 100 */
	.extended = EFUSE_DEFAULT,
};

_Static_assert(PORT_RESET_POWER_ON == _BV(PORF) && PORT_RESET_EXTERNAL == _BV(EXTRF) &&
                   PORT_RESET_BROWN_OUT == _BV(BORF) && PORT_RESET_WATCHDOG == _BV(WDRF),
               "the seam's words for a reset are the bits of MCUSR");
_Static_assert(PORT_STORE_BYTES == E2END + 1, "the seam's store is the part's EEPROM");

/*
 * MCUSR is read and cleared before anything else: WDRF keeps the watchdog on, at 16 ms (section
 * "Watchdog Timer", WDTCSR). No flag at all means that no reset brought us here but a wild jump or a
 * vector without a handler, with registers and pins as they were: let the legs go and have the
 * watchdog make a true reset of it.
 */
static void __attribute__((naked, used, section(".init3"))) target_take_reset_cause(void)
{
	GPIOR1 = MCUSR;
	MCUSR = 0U;
	if (GPIOR1 == 0U) {
		cli();
		PORTB = 0U; /* first: a pin let go with its bit set would be pulled up */
		PORTD = 0U;
		DDRB = 0U;
		DDRD = 0U;
		wdt_enable(WDTO_15MS);
		for (;;) {
		}
	}
	wdt_disable();
}

/*
 * Pins, ticks and comparator as pin_plan.md has them. PORT bits of the FETs are 0 since reset, so
 * their pins go from floating to low. Pins kept free have pull-ups: an input that floats draws current
 * (section "Unconnected Pins"); so has the throttle, that a broken lead reads as steady high.
 */
static void __attribute__((naked, used, section(".init7"))) target_set_up(void)
{
	DDRB = _BV(TARGET_HIGH_V) | _BV(TARGET_LOW_V) | _BV(TARGET_LOW_W);
	DDRD = _BV(TARGET_HIGH_U) | _BV(TARGET_HIGH_W) | _BV(TARGET_LOW_U);
	DDRC = _BV(PC5);
	PORTB = _BV(PB0) | _BV(PB4) | _BV(PB5);
	PORTD = _BV(PD0) | _BV(PD1) | _BV(PD2);

	/* inputs between the rails draw current through the digital buffers (DIDR0, DIDR1) */
	DIDR0 = _BV(ADC0D) | _BV(ADC1D) | _BV(ADC2D) | _BV(ADC3D) | _BV(ADC4D);
	DIDR1 = _BV(AIN0D) | _BV(AIN1D);
	ADMUX = TARGET_REFERENCE;
	ADCSRB = _BV(ACME);
	/* the seam's edge after reset is PORT_FALLS_BELOW; ACI as one clears what the change has set */
	ACSR = _BV(ACI) | _BV(ACIS1) | _BV(ACIS0);

	/* INT0 at the falling edge of PD2; what choosing it has set is cleared */
	EICRA = _BV(ISC01);
	EIFR = _BV(INTF0);

	TCCR1B = TARGET_TICK_CLOCK;
}
