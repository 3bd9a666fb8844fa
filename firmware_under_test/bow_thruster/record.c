/*
 * record.c - see record.h.
 *
 * There are two places, and always the one that does not hold the newest record is written to. Its
 * version byte is made void first and comes last, so that whatever a power cut leaves in between is
 * no record: an interrupted writing does not depend on the checksum to be found out. The checksum
 * guards against bytes that age or were never written.
 *
 * A byte whose programming was cut off may read differently each time. It is read several times and
 * must be of one mind: a bit that wavers evenly passes eight readings once in 128 times, and is then
 * still held against the checksum.
 */
#include "record.h"

#include "drive_port.h"

#define PLACES 2U
#define PLACE_BYTES 16U

#define VERSION_AT 0U
#define SEQUENCE_AT 1U
#define LOW_AT 2U
#define NEUTRAL_AT 4U
#define HIGH_AT 6U
#define CHECKSUM_AT 8U
#define RECORD_BYTES 10U

/* Neither erased (0xFF) nor void; most of its bits are programmed, so half a programming is not it. */
#define VERSION 0x01U
#define VERSION_VOID 0x00U

#define READINGS 8U

static uint8_t bytes[RECORD_BYTES];
static uint8_t write_place;
static uint8_t write_count; /* writes begun: the void, the bytes behind it, the version */

static void put(uint8_t at, uint16_t value)
{
	bytes[at] = (uint8_t)(value & 0xFFU);
	bytes[at + 1U] = (uint8_t)(value >> 8);
}

static uint16_t get(uint8_t at)
{
	return (uint16_t)((uint16_t)bytes[at] | ((uint16_t)bytes[at + 1U] << 8));
}

/* CRC of 16 bits, polynomial x^16 + x^12 + x^5 + 1, from all ones, highest bit first. */
static uint16_t checksum(void)
{
	uint16_t sum = 0xFFFFU;
	uint8_t at;
	uint8_t bit;

	for (at = 0U; at < CHECKSUM_AT; at++) {
		sum = (uint16_t)(sum ^ (uint16_t)((uint16_t)bytes[at] << 8));
		for (bit = 0U; bit < 8U; bit++) {
			uint8_t carry = (uint8_t)(sum >> 15);

			sum = (uint16_t)(sum << 1);
			if (carry != 0U)
				sum = (uint16_t)(sum ^ 0x1021U);
		}
	}
	return sum;
}

/* Reads a place into `bytes`; 1 if it holds a record. */
static uint8_t read_place(uint8_t place, stick_range *range)
{
	uint16_t from = (uint16_t)(place * PLACE_BYTES);
	uint8_t at;
	uint8_t k;

	for (at = 0U; at < RECORD_BYTES; at++) {
		bytes[at] = port_store_read((uint16_t)(from + at));
		for (k = 1U; k < READINGS; k++) {
			if (port_store_read((uint16_t)(from + at)) != bytes[at])
				return 0U;
		}
	}
	if (bytes[VERSION_AT] != VERSION || get(CHECKSUM_AT) != checksum())
		return 0U;
	range->low_ticks = get(LOW_AT);
	range->neutral_ticks = get(NEUTRAL_AT);
	range->high_ticks = get(HIGH_AT);
	return range_is_sane(range);
}

/*
 * The place of the newest record, PLACES where there is none. Sequence numbers of two records are
 * neighbours, also where they wrap.
 */
static uint8_t newest(stick_range *range, uint8_t *sequence)
{
	stick_range second;
	uint8_t place = PLACES;

	if (read_place(0U, range) != 0U) {
		place = 0U;
		*sequence = bytes[SEQUENCE_AT];
	}
	if (read_place(1U, &second) != 0U &&
	    (place == PLACES || (uint8_t)(bytes[SEQUENCE_AT] - *sequence) < 0x80U)) {
		place = 1U;
		*sequence = bytes[SEQUENCE_AT];
		*range = second;
	}
	return place;
}

/* A reset lets a write under way finish, which takes 3.3 ms at most. */
uint8_t record_load(stick_range *range)
{
	stick_range found;
	uint8_t sequence = 0U;

	while (port_store_busy() != 0U) {
	}
	if (newest(&found, &sequence) == PLACES)
		return 0U;
	*range = found;
	return 1U;
}

void record_write_begin(const stick_range *range)
{
	stick_range old;
	uint8_t sequence = 0U;
	uint8_t place = newest(&old, &sequence);

	write_place = (uint8_t)((place == 0U) ? 1U : 0U);
	bytes[VERSION_AT] = VERSION;
	bytes[SEQUENCE_AT] = (uint8_t)(sequence + 1U);
	put(LOW_AT, range->low_ticks);
	put(NEUTRAL_AT, range->neutral_ticks);
	put(HIGH_AT, range->high_ticks);
	put(CHECKSUM_AT, checksum());
}

/* With interrupts off: a handler between the two unlock steps would undo the write in silence. */
static void start_byte(uint8_t at, uint8_t value)
{
	uint8_t were_on = port_interrupts_off();

	port_store_write((uint16_t)(write_place * PLACE_BYTES + at), value);
	port_interrupts_restore(were_on);
}

static uint8_t read_back(void)
{
	uint8_t wanted[RECORD_BYTES];
	stick_range range;
	uint8_t at;

	for (at = 0U; at < RECORD_BYTES; at++)
		wanted[at] = bytes[at];
	if (read_place(write_place, &range) == 0U)
		return RECORD_FAILED;
	for (at = 0U; at < RECORD_BYTES; at++) {
		if (wanted[at] != bytes[at])
			return RECORD_FAILED;
	}
	return RECORD_WRITTEN;
}

uint8_t record_write(void)
{
	if (port_store_busy() != 0U)
		return RECORD_WRITING;
	if (write_count == 0U)
		start_byte(VERSION_AT, VERSION_VOID);
	else if (write_count < RECORD_BYTES)
		start_byte(write_count, bytes[write_count]);
	else if (write_count == RECORD_BYTES)
		start_byte(VERSION_AT, VERSION);
	else
		return read_back();
	write_count++;
	return RECORD_WRITING;
}
