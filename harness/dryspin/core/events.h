/*
 * events.h - what ends a planned segment early; shared by the files that plan one.
 */
#ifndef DRYSPIN_EVENTS_H
#define DRYSPIN_EVENTS_H

#include "plant.h"

/* End the planned segment at t, with this event, if it would last longer. */
void event_cut(double t, uint8_t event, int leg);

/* Current of leg x at t after the segment's start, and the slope there for a current i. */
double event_current(int x, double t);
double event_current_slope(int x, double t, double i);

/* Cut the segment where the named thing happens first. */
void event_find_diode_off(int x);
void event_find_clamp(int x);
void event_find_rectification(void);
void event_find_noise_cell(void);
void event_find_crossing(void);

#endif
