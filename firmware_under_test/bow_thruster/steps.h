/*
 * steps.h - the six patterns of the bridge and their order.
 *
 * With the EMF of U flat from 30 to 150 electrical degrees and V, W lagging by 120 and 240, pattern
 * n turns the rotor forwards best from 30 + 60 n to 90 + 60 n degrees. The same patterns in falling
 * order turn it backwards.
 */
#ifndef STEPS_H
#define STEPS_H

#include <stdint.h>

#define STEPS 6U
#define LEGS 3U

#define FORWARD 1U
#define REVERSE 2U

/* State (PORT_OPEN, PORT_LOW or PORT_CHOPPED) of each leg in pattern `step`. */
const uint8_t *steps_pattern(uint8_t step);

/* The pattern after `step` when turning in `direction`. */
uint8_t steps_next(uint8_t step, uint8_t direction);

/* The leg that carries no current, whose EMF is seen. */
uint8_t steps_open_leg(uint8_t step);

/* PORT_RISES_ABOVE or PORT_FALLS_BELOW: how the EMF of the open leg crosses in mid-step. */
uint8_t steps_edge(uint8_t step, uint8_t direction);

#endif
