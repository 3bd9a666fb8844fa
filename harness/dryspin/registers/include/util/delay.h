/*
 * util/delay.h - busy waits of a constant length.
 *
 * On the part a length that is not known to the compiler turns the wait into floating point and makes it
 * many times as long; here it is an error. F_CPU is the firmware's own belief about its clock.
 */
#ifndef DRYSPIN_UTIL_DELAY_H
#define DRYSPIN_UTIL_DELAY_H

#include <dryspin/calls.h>

#ifndef F_CPU
#error "F_CPU is not defined before util/delay.h: write `F_CPU = 16000000` into [firmware] defines, or #define it"
#endif

#ifdef __cplusplus
extern "C"
#endif
    void dryspin_wait_is_not_constant(void)
        __attribute__((error("the length of a busy wait must be a constant; wait in a loop of constant ones")));

/* Cycles rounded up, as a wait too short is the worse one. */
#define DRYSPIN_CYCLES(length, per_s) ((int64_t)__builtin_ceil((double)(length) * ((double)(F_CPU) / (per_s))))
#define DRYSPIN_WAIT(length, per_s) \
	do { \
		if (!__builtin_constant_p(length)) \
			dryspin_wait_is_not_constant(); \
		dryspin_delay(DRYSPIN_CYCLES(length, per_s)); \
	} while (0)

#define _delay_us(us) DRYSPIN_WAIT(us, 1e6)
#define _delay_ms(ms) DRYSPIN_WAIT(ms, 1e3)
#define __builtin_avr_delay_cycles(cycles) dryspin_delay(cycles)

#endif
