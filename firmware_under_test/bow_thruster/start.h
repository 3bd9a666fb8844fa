/*
 * start.h - from rest to the clocked ramp.
 */
#ifndef START_H
#define START_H

#include <stdint.h>

void start_begin(uint8_t direction);

/* A millisecond has passed. */
void start_beat(void);

/* A step of the ramp has begun. */
void start_step(void);

#endif
