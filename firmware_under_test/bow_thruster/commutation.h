/*
 * commutation.h - what compare A stands for: a beat while the bridge rests or holds, steps by the
 * clock, steps by the crossings, pulses of a tone, patience with a rotor to be caught.
 */
#ifndef COMMUTATION_H
#define COMMUTATION_H

#include <stdint.h>

/* Once, before anything else. */
void commutation_start(void);

/* No steps; EVENT_BEAT every `beat_ticks`. The bridge is left as it is. */
void commutation_rest(uint16_t beat_ticks);

/*
 * Steps in `direction` after pattern `from` by the clock of ramp.h, listening for crossings. Posts
 * EVENT_CAUGHT when the steps follow the crossings, EVENT_LOST (legs open) when the ramp ends
 * without.
 */
void commutation_ramp(uint8_t from, uint8_t direction);

/*
 * Legs open: steps in `direction` as soon as the rotor is seen to turn that way, fast enough, with the
 * duty that its EMF holds up. Posts EVENT_CAUGHT, or EVENT_LOST.
 */
void commutation_catch(uint8_t direction);

/*
 * Short the windings, then EVENT_BEAT every millisecond. While the steps follow the crossings, the
 * short waits for the next one, and comes in two parts, to keep its current down.
 */
void commutation_brake(void);

/*
 * Play the tone that tone_begin() made ready, legs open, each pulse by the one before. EVENT_BEAT with
 * every pulse; when the tone is over, every millisecond.
 */
void commutation_tone(void);

uint8_t commutation_tone_is_over(void);

/* For crossing.c: the crossing of this step, taken at `at_ticks`. */
void commutation_crossing(uint16_t at_ticks, uint8_t how);

/* Ticks of a step now, while the steps follow the crossings. */
uint16_t commutation_interval(void);

#endif
