/*
 * duty.h - the duty: towards what is asked, no faster than the rotor follows, no higher than its
 * EMF allows.
 */
#ifndef DUTY_H
#define DUTY_H

#include <stdint.h>

/* At once, with no slew. */
void duty_set(uint8_t duty);

/* The same, by so many counts. */
void duty_by(int8_t change);

/* Counts of 255. */
uint8_t duty_now(void);

/* Go towards `wanted` as far as the time since the last change allows. `now_ticks`: the clock. */
void duty_towards(uint8_t wanted, uint32_t now_ticks);

/* Duty that neither drives nor brakes a rotor with steps of this length. */
uint8_t duty_matched(uint16_t interval_ticks);

/* Highest duty that keeps the current down at a step of this length; above the highest speed, less
 * than now. */
uint8_t duty_limit(uint16_t interval_ticks);

#endif
