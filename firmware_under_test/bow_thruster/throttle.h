/*
 * throttle.h - servo pulses, and what they ask for.
 */
#ifndef THROTTLE_H
#define THROTTLE_H

#include <stdint.h>

#include "range.h"

typedef struct {
	uint32_t end_ticks;   /* clock at the falling edge */
	uint16_t width_ticks; /* meaningful if good */
	uint8_t good;         /* 1: inside the widths of a transmitter */
} throttle_pulse;

typedef struct {
	uint8_t direction; /* 0 neutral, else FORWARD or REVERSE */
	uint8_t duty;      /* counts of 255; 0 at neutral */
} throttle_demand;

void throttle_start(void);

/* The last pulse that ended. Call once for each EVENT_PULSE. */
throttle_pulse throttle_last(void);

/* The stick's range from now on; a sane one. */
void throttle_range(const stick_range *range);

/* 1: a good pulse of this width is inside the dead band. */
uint8_t throttle_is_neutral(uint16_t width_ticks);

/* What a good pulse of this width asks for, the last demand being `before` (hysteresis). */
throttle_demand throttle_map(uint16_t width_ticks, throttle_demand before);

#endif
