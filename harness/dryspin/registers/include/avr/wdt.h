/*
 * avr/wdt.h - data sheet, section "Timed Sequences for Changing the Configuration of the Watchdog Timer":
 * WDCE and WDE together, the new value within four cycles, no handler in between.
 */
#ifndef DRYSPIN_AVR_WDT_H
#define DRYSPIN_AVR_WDT_H

#include <avr/io.h>
#include <dryspin/calls.h>

#define WDTO_15MS 0
#define WDTO_30MS 1
#define WDTO_60MS 2
#define WDTO_120MS 3
#define WDTO_250MS 4
#define WDTO_500MS 5
#define WDTO_1S 6
#define WDTO_2S 7
#define WDTO_4S 8
#define WDTO_8S 9

#define wdt_reset() dryspin_wdr()

static inline void dryspin_watchdog(uint8_t wanted)
{
	uint8_t status = SREG;

	dryspin_cli();
	dryspin_wdr();
	WDTCSR = (uint8_t)(_BV(WDCE) | _BV(WDE));
	WDTCSR = wanted;
	SREG = status;
}

static inline void wdt_enable(uint8_t timeout)
{
	dryspin_watchdog((uint8_t)(_BV(WDE) | (timeout & 7) | ((timeout & 8) ? _BV(WDP3) : 0)));
}

static inline void wdt_disable(void)
{
	dryspin_watchdog(0);
}

#endif
