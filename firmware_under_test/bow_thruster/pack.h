/*
 * pack.h - how far the battery pack is down. Looked at only while the legs rest open and nobody listens to the
 * windings: a conversion takes the multiplexer away from the comparator.
 */
#ifndef PACK_H
#define PACK_H

#include <stdint.h>

#define PACK_GOOD 0U
#define PACK_LOW 1U   /* bring the boat home: half of the duty is left */
#define PACK_EMPTY 2U /* no start any more */

/* A beat of a millisecond at rest: begins a conversion every half second, takes the result a beat later. */
void pack_beat(void);

/* The comparator is wanted: a conversion under way is given up. */
void pack_leave(void);

/* PACK_GOOD until something else is seen; what is low does not recover by itself. */
uint8_t pack_state(void);

#endif
