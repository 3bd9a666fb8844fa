/*
 * undefined.c - what C leaves undefined, once each; and 16-bit arithmetic that is the host's only.
 *
 * A comment `FAULT kind: text` stands on the line of each fault.
 */
#include <stdbool.h>
#include <stddef.h>

#include "drive_port.h"

static volatile int32_t largest = INT32_MAX;
static volatile int32_t smallest = INT32_MIN;
static volatile int32_t negative = -1;
static volatile uint8_t places = 40;
static volatile uint16_t wide = 65535;
static volatile int32_t minus_one = -1;
static volatile uint8_t index_read = 12;
static volatile uint8_t index_write = 10;
static volatile uint8_t raw_bool = 2;
static volatile int32_t result;
static uint8_t table[10] = {1, 2, 3};
static uint8_t other[10] = {1, 2, 3};
static uint32_t words[3];
static volatile uint8_t past = 10;
static volatile uint8_t across = 9;

static void overflow(void)
{
	result = largest + 1;        /* FAULT undefined: integer overflow: 2147483647 + 1 does not fit 'int */
	result = smallest - 1;       /* FAULT undefined: integer overflow: -2147483648 */
	result = largest * 2;        /* FAULT undefined: integer overflow: 2147483647 * 2 does not fit 'int */
	result = -smallest;          /* FAULT undefined: integer overflow: -(-2147483648) does not fit 'int */
	result = smallest / minus_one; /* FAULT crash: ; undefined: integer overflow: -2147483648 / -1 */
}

static void shift(void)
{
	result = (int32_t)(1U << places); /* FAULT undefined: shift of 1 by 40 places, 'unsigned int' has 32 */
	result = negative << 2;           /* FAULT undefined: shift of the negative value -1 */
	result = wide * wide;             /* FAULT undefined: integer overflow: 65535 * 65535 does not fit 'int */
}

static uint8_t at(const uint8_t *bytes, uint8_t k)
{
	return bytes[k];                  /* FAULT out of bounds: read of 1 bytes, 0 bytes past the end of other */
}

static void bounds(void)
{
	uint16_t *pair;

	result = table[index_read];       /* FAULT undefined: index 12 is out of bounds of 'uint8_t; out of bounds: */
	table[index_write] = 3;           /* FAULT undefined: index 10 is out of bounds of 'uint8_t; out of bounds: */
	result = at(other, past);
	pair = (uint16_t *)(void *)(other + across);
	result = *pair; /* FAULT undefined: read through a pointer 1 bytes off the alignment; out of bounds: */
	words[0] = 1U;
}

static void values(void)
{
	bool flag;
	*(volatile uint8_t *)&flag = raw_bool;
	result = flag;                    /* FAULT undefined: read of the value 2, which is none of '_Bool */
}

int main(void)
{
	shift();
	bounds();
	values();
	overflow();
	for (;;) {
		port_interrupts_off();
		port_idle();
	}
}
