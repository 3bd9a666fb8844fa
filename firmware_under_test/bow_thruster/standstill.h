/*
 * standstill.h - does the rotor turn? With all legs open the comparator shows the EMF alone.
 */
#ifndef STANDSTILL_H
#define STANDSTILL_H

#include <stdint.h>

#define STANDSTILL_LISTENING 0U
#define STANDSTILL_TURNING 1U
#define STANDSTILL_STILL 2U /* at rest, or below some 500 rpm, where the offset hides the EMF */

void standstill_begin(void);

/* After STANDSTILL_TURNING, 1: slower than some 400 rpm. */
uint8_t standstill_is_slow(void);

/* One more look; call at the beat. */
uint8_t standstill_look(void);

#endif
