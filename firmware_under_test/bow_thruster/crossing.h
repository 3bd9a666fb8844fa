/*
 * crossing.h - finds the crossing of the open leg's EMF in one step.
 */
#ifndef CROSSING_H
#define CROSSING_H

#include <stdint.h>

#define CROSSING_SEEN 1U /* the comparator was seen on both sides: the moment is known */
#define CROSSING_PAST 2U /* it was beyond ever since the winding was empty: it came before the moment told */

/* Once, before anything else. */
void crossing_start(void);

/*
 * A step has begun at `at_ticks`, to last about `interval_ticks`: watch its open leg. What is beyond
 * for 9/16 of it, just after the crossing is due, is past. Interrupts off, no crossing being watched for.
 */
void crossing_watch(uint8_t leg, uint8_t edge, uint16_t at_ticks, uint16_t interval_ticks);

/* In place of 9/16 of a step; after crossing_watch(). Interrupts off. */
void crossing_past_after(uint16_t ticks);

/*
 * 1: from the first look to the next call no handler of the stick or of the clock comes between. That must
 * be less than the shortest pulse. After crossing_watch(). Interrupts off.
 */
void crossing_alone(uint8_t wanted);

/* Stop watching. Interrupts off. */
void crossing_ignore(void);

#endif
