/*
 * arming.h - the rite that must be gone through before anything turns: an unbroken run of
 * consecutive good neutral pulses.
 */
#ifndef ARMING_H
#define ARMING_H

#include <stdint.h>

#include "throttle.h"

void arming_restart(void);

/* One more pulse has ended; returns 1 once the run is complete. */
uint8_t arming_pulse(const throttle_pulse *pulse);

#endif
