/*
 * median.h - the median of the last three servo pulses: one that noise has cut short or run together
 * with the next, but that still looks good, asks for nothing.
 */
#ifndef MEDIAN_H
#define MEDIAN_H

#include <stdint.h>

/* As if the last pulses had all been this wide. */
void median_fill(uint16_t width_ticks);

/* One more pulse; returns the median of it and the two before. */
uint16_t median_next(uint16_t width_ticks);

#endif
