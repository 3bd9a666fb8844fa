/*
 * crossing.h - finds the crossing of the open leg's EMF in one step.
 */
#ifndef CROSSING_H
#define CROSSING_H

#include <stdint.h>

#define CROSSING_SEEN 1U /* the comparator was seen on both sides: the moment is known */
#define CROSSING_PAST 2U /* it was beyond ever since the winding was empty: it came earlier */

/*
 * A step has begun at `at_ticks`, to last about `interval_ticks`: watch its open leg. What is beyond
 * for `past_ticks` is past.
 */
void crossing_watch(uint8_t leg, uint8_t edge, uint16_t at_ticks, uint16_t interval_ticks,
                    uint16_t past_ticks);

/* Stop watching. Interrupts off. */
void crossing_ignore(void);

/* Majority of `votes` looks of 0.5 us. 1: above the neutral. */
uint8_t crossing_above(uint8_t votes);

#endif
