/*
 * start.h - from rest to the clocked ramp: bootstrap capacitors charged, rotor aligned.
 */
#ifndef START_H
#define START_H

#include <stdint.h>

/* `attempt` counts from 1: the second and every other one after it aligns half a turn away. */
void start_begin(uint8_t direction, uint8_t attempt);

/* A millisecond has passed. */
void start_beat(void);

/* A step of the ramp has begun. */
void start_step(void);

#endif
