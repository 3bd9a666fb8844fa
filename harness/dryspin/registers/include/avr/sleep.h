/* avr/sleep.h - data sheet, section "Power Management and Sleep Modes"; the rig models idle. */
#ifndef DRYSPIN_AVR_SLEEP_H
#define DRYSPIN_AVR_SLEEP_H

#include <avr/io.h>
#include <dryspin/calls.h>

#define SLEEP_MODE_IDLE 0
#define SLEEP_MODE_ADC _BV(SM0)
#define SLEEP_MODE_PWR_DOWN _BV(SM1)
#define SLEEP_MODE_PWR_SAVE (_BV(SM1) | _BV(SM0))
#define SLEEP_MODE_STANDBY (_BV(SM2) | _BV(SM1))

#define set_sleep_mode(mode) \
	do { SMCR = (uint8_t)((SMCR & ~(_BV(SM0) | _BV(SM1) | _BV(SM2))) | (mode)); } while (0)
#define sleep_enable() do { SMCR |= (uint8_t)_BV(SE); } while (0)
#define sleep_disable() do { SMCR &= (uint8_t)~_BV(SE); } while (0)
#define sleep_cpu() dryspin_sleep()
#define sleep_mode() do { sleep_enable(); sleep_cpu(); sleep_disable(); } while (0)

#endif
