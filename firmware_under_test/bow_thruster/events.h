/*
 * events.h - what handlers tell the main line.
 */
#ifndef EVENTS_H
#define EVENTS_H

#include <stdint.h>

#define EVENT_PULSE 0x01U   /* a servo pulse has ended, good or bad */
#define EVENT_BEAT 0x02U    /* the beat of commutation_rest() */
#define EVENT_STEP 0x04U    /* the bridge has gone on by one step */
#define EVENT_CAUGHT 0x08U  /* the steps follow the crossings now */
#define EVENT_LOST 0x10U    /* the rotor is lost; the legs are open already */
#define EVENT_HIDDEN 0x20U  /* the winding's current hid a crossing */
#define EVENT_TRIPPED 0x40U /* the board's current limit has acted; EVENT_LOST comes with it */

/* From handlers only. */
void events_post(uint8_t bits);

/* Main line: sleep until something is posted; returns the bits and forgets them. */
uint8_t events_wait(void);

#endif
