/*
 * pack.c - see pack.h.
 *
 * A pack at rest recovers by some tenths of a volt a cell within seconds, so one that has been found low stays
 * low. Three results in a row count: a start's dip of the bus, or one disturbed conversion, is none.
 */
#include "pack.h"

#include "drive_port.h"
#include "settings.h"

#define LOW_COUNTS (PACK_CELLS * PACK_LOW_MV_A_CELL / BUS_MV_A_COUNT)
#define EMPTY_COUNTS (PACK_CELLS * PACK_EMPTY_MV_A_CELL / BUS_MV_A_COUNT)

static uint8_t state;

#if PACK_CELLS
static uint8_t worse_seen; /* results in a row below what `state` says */
static uint16_t beats;
static uint8_t converting;

void pack_leave(void)
{
	if (converting != 0U)
		port_convert_off();
	converting = 0U;
}

static void judge(uint16_t counts)
{
	uint8_t seen = PACK_GOOD;

	if (counts < EMPTY_COUNTS)
		seen = PACK_EMPTY;
	else if (counts < LOW_COUNTS)
		seen = PACK_LOW;
	if (seen <= state) {
		worse_seen = 0U;
		return;
	}
	worse_seen++;
	if (worse_seen >= PACK_RESULTS) {
		worse_seen = 0U;
		state = seen;
	}
}

void pack_beat(void)
{
	beats++;
	if (converting != 0U) {
		if (port_convert_busy() == 0U) {
			judge(port_converted());
			pack_leave();
		}
	} else if (beats >= PACK_EVERY_MS) {
		beats = 0U;
		converting = 1U;
		port_convert_bus();
	}
}

#else

void pack_leave(void)
{
}

void pack_beat(void)
{
}

#endif

uint8_t pack_state(void)
{
	return state;
}
