/*
 * widths.c - arithmetic that is right where int has 32 bits, and wrong on the part, where it has 16.
 *
 * A comment `FAULT kind: text` stands on the line of each fault. One case a run: the first byte of the
 * store says which. The first four overflow int, which C leaves undefined; the others wrap or differ
 * rightly, so only what leaves the firmware shows it.
 */
#include "drive_port.h"

static volatile int16_t way = 300;
static volatile uint8_t places = 15;
static volatile int16_t e0 = 20000, e1 = 20000;
static volatile uint16_t counts = 60000;
static volatile uint16_t scale = 6000;
static volatile uint8_t low = 200;

struct entry { uint8_t kind; uint16_t value; };

int main(void)
{
	long big = 0;

	switch (port_store_read(0U)) {
	case 1U:
		big = way * way;               /* FAULT int width: integer overflow: 300 * 300 does not fit 'int' */
		break;
	case 2U:
		big = 1 << places << 1;        /* FAULT int width: shift of */
		break;
	case 3U:
		big = (e0 + e1) / 2;           /* FAULT int width: integer overflow: 20000 + 20000 does not fit 'int' */
		break;
	case 4U:
		big = low << 8;                /* FAULT int width: shift of 200 by 8 places does not fit 'int' */
		break;
	case 5U:
		big = (counts + scale) >> 9;
		port_duty((uint8_t)big);       /* FAULT int width: duty becomes */
		break;
	case 6U:
		port_store_write(1U, (uint8_t)sizeof(struct entry)); /* FAULT int width: store becomes */
		break;
	case 7U:
		if (counts - scale > 0 && (unsigned)counts * 2U > 65535U)
			port_mark(40U);
		port_mark(41U);                /* FAULT int width: mark becomes 41 */
		break;
	default:
		big = (int32_t)way * way / 300;
		port_duty((uint8_t)(big & 0xFF));
		break;
	}
	port_mark((uint8_t)(big >> 8));
	for (;;) {
		port_interrupts_off();
		port_idle();
	}
}
