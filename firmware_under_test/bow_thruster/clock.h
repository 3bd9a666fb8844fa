/*
 * clock.h - ticks beyond the 16 bits of the timer: 32 bits of 0.5 us, 35 minutes to the wrap.
 */
#ifndef CLOCK_H
#define CLOCK_H

#include <stdint.h>

void clock_start(void);

/* Now. Interrupts off. */
uint32_t clock_now(void);

/* The moment of a capture less than half a wrap ago. Interrupts off. */
uint32_t clock_of_capture(uint16_t ticks);

#endif
