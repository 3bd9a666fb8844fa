/*
 * record.h - the stick's range in the byte store, so that a power cut at any instant leaves the old
 * range or the new one.
 */
#ifndef RECORD_H
#define RECORD_H

#include <stdint.h>

#include "range.h"

#define RECORD_WRITING 0U
#define RECORD_WRITTEN 1U /* complete, and read back */
#define RECORD_FAILED 2U  /* what was read back is something else; the range before is still there */

/* The newest valid record; returns 0, and leaves `range` alone, where there is none. Main line. */
uint8_t record_load(stick_range *range);

/* Begin to write `range`, once after a reset. Main line. */
void record_write_begin(const stick_range *range);

/* Start the next byte if the store is free; call until the answer is not RECORD_WRITING. */
uint8_t record_write(void);

#endif
