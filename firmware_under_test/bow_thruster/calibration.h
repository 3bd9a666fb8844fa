/*
 * calibration.h - learning the stick's range: stick up at power-on, then held up, in the middle, down.
 */
#ifndef CALIBRATION_H
#define CALIBRATION_H

#include <stdint.h>

#include "range.h"
#include "throttle.h"

/* What a call has led to. */
#define CALIBRATION_NO_NEWS 0U
#define CALIBRATION_BEGINS 1U
#define CALIBRATION_POSITION 2U /* one more position is learnt */
#define CALIBRATION_STORED 3U
#define CALIBRATION_ENDS 4U /* given up, the range is what it was */

/* Once, after a reset with this cause. */
void calibration_allow(uint8_t reset_cause);

/* Every pulse while off or calibrating. */
uint8_t calibration_pulse(const throttle_pulse *pulse);

/* 1: calibration_beat() is to be called at every beat, with the legs left open and no tone played. */
uint8_t calibration_wants_beats(void);

uint8_t calibration_beat(void);

/* Leave, unless the store is being written to, which is over soon. */
uint8_t calibration_abandon(void);

/* What was learnt; after CALIBRATION_STORED. */
const stick_range *calibration_range(void);

#endif
