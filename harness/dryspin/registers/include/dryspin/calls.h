/*
 * dryspin/calls.h - what a handful of instructions becomes on the virtual part: they are calls, as they
 * touch no register that the compiler would announce.
 */
#ifndef DRYSPIN_CALLS_H
#define DRYSPIN_CALLS_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

void dryspin_cli(void);   /* 1 cycle */
void dryspin_sei(void);   /* 1 cycle; the next access comes before any handler */
void dryspin_sleep(void); /* as SMCR says */
void dryspin_wdr(void);   /* 1 cycle */
void dryspin_nop(void);   /* 1 cycle */
/* A busy wait of so many cycles; handlers served meanwhile make it longer. */
void dryspin_delay(int64_t cycles);

#ifdef __cplusplus
}
#endif

#endif
