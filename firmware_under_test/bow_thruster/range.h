/*
 * range.h - the stick's range: what a transmitter sends with the stick down, in the middle and up.
 */
#ifndef RANGE_H
#define RANGE_H

#include <stdint.h>

typedef struct {
	uint16_t low_ticks;
	uint16_t neutral_ticks;
	uint16_t high_ticks;
} stick_range;

/* The range of a transmitter that keeps to the standard. */
stick_range range_standard(void);

/* 1: both ends are as far from neutral as any transmitter's, in the right order. */
uint8_t range_is_sane(const stick_range *range);

#endif
