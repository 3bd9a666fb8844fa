/*
 * stopping.h - bring the rotor to rest and make sure that it is; or catch it, where it turns as asked for.
 */
#ifndef STOPPING_H
#define STOPPING_H

#include <stdint.h>

/* The rotor may turn at any speed: brake first. */
void stopping_begin(void);

/*
 * Legs open: look at the rotor, and brake it only if it cannot be caught. `was_at_rest`: it was when
 * last looked at.
 */
void stopping_check(uint8_t was_at_rest);

/*
 * The beat, `wanted` being the direction asked for, 0 for none; returns 1 (legs open) once the rotor is
 * at rest, or held almost so against the water, or to be left to the water as nothing is asked for.
 */
uint8_t stopping_beat(uint8_t wanted);

/* EVENT_CAUGHT while stopping: the direction in which the rotor runs; 0 if it is lost again. */
uint8_t stopping_caught(void);

/* EVENT_LOST while stopping: the rotor could not be caught. */
void stopping_not_caught(void);

#endif
