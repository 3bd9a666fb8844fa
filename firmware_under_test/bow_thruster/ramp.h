/*
 * ramp.h - the step intervals of a start by the clock.
 */
#ifndef RAMP_H
#define RAMP_H

#include <stdint.h>

void ramp_begin(void);

/* Ticks of the next step, 0 when the ramp is over. */
uint16_t ramp_next(void);

/* Ticks of the step under way. */
uint16_t ramp_interval(void);

#endif
