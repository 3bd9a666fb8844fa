/*
 * timing.h - from crossings to the moment of the next step. Arithmetic only, no port.
 */
#ifndef TIMING_H
#define TIMING_H

#include <stdint.h>

/* Begin with a step interval known otherwise and no crossing yet. */
void timing_begin(uint16_t interval_ticks);

/*
 * A crossing could not be seen: the next one has no partner. Either current hid it, or the rotor
 * gains speed and is ahead; the interval is shortened by 1/32, more than any rotor gains in a step,
 * as early steps make a hidden crossing visible and late ones do not.
 */
void timing_hidden(void);

/*
 * A crossing came long before it was looked for, the rotor not being caught yet: likewise, by 1/16.
 */
void timing_ahead(void);

/*
 * A crossing seen at `at_ticks`: returns the ticks from there to the next step, possibly negative.
 */
int16_t timing_crossing(uint16_t at_ticks);

/* 0: the last crossing came less than half or more than twice the interval after the one before. */
uint8_t timing_is_plausible(void);

/* Ticks of a step, smoothed. */
uint16_t timing_interval(void);

#endif
