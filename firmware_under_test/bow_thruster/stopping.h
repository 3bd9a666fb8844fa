/*
 * stopping.h - bring the rotor to rest and make sure that it is.
 */
#ifndef STOPPING_H
#define STOPPING_H

#include <stdint.h>

/* The rotor may turn at any speed: brake first. */
void stopping_begin(void);

/* The rotor was at rest when last looked at, legs open: look again. */
void stopping_check(void);

/* The beat; returns 1 once the rotor is at rest (legs open). */
uint8_t stopping_beat(void);

#endif
