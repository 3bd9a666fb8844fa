/*
 * bridge.h - the three legs, never with both FETs of one leg on, nor without the dead time between.
 *
 * To be called with interrupts off: a handler between two legs would see half a pattern.
 */
#ifndef BRIDGE_H
#define BRIDGE_H

#include <stdint.h>

#include "calls.h"

/* All legs open, and the dead time waited for, so that any pattern may follow. */
SELDOM void bridge_open(void);

/* One of the six patterns; legs that stay as they are, are left alone. */
SELDOM void bridge_drive(uint8_t step);

/*
 * The same in a run of steps: `step` is a neighbour of the pattern before, if that was one of the six.
 * `edge`: how the EMF of its open leg crosses, see steps_edge().
 */
APART void bridge_step(uint8_t step, uint8_t edge);

/* Of pattern `step` both driven legs low: two windings are shorted, the third is open. */
SELDOM void bridge_brake_pair(uint8_t step);

/*
 * From all legs open to all legs open: a pulse of current into leg `from`, out of leg `to`, `ticks`
 * long. The next one must not come before the dead time is over.
 */
void bridge_pulse(uint8_t from, uint8_t to, uint16_t ticks);

/* All low FETs on: the windings are shorted and brake the rotor. */
SELDOM void bridge_brake(void);

#endif
