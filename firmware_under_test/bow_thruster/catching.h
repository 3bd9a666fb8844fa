/*
 * catching.h - joins a rotor that turns already, legs open: its crossings are followed without driving
 * until they have proved their order and their rate.
 */
#ifndef CATCHING_H
#define CATCHING_H

#include <stdint.h>

#define CATCHING_ON 0U
#define CATCHING_FAILED 1U /* it turns the other way, too slowly, or nobody can tell */
#define CATCHING_DONE 2U   /* steps may begin: catching_step(), catching_wait_ticks() */

/* Longest time between two calls of catching_crossing(); no rotor fast enough takes longer. */
#define CATCHING_PATIENCE_TICKS 14000U

/* Watch for the crossings of a rotor that turns in `direction`. Interrupts off. */
void catching_begin(uint8_t direction);

/* A crossing taken at `at_ticks`, CROSSING_SEEN or CROSSING_PAST. Interrupts off. */
uint8_t catching_crossing(uint16_t at_ticks, uint8_t how);

/* The pattern that the last crossing belongs to. */
uint8_t catching_step(void);

/* From the last crossing to the next step. */
int16_t catching_wait_ticks(void);

#endif
