/*
 * hangs.c - loops without end. One case a run: the first byte of the store says which.
 *
 * A comment `FAULT kind: text` stands on the line of each loop.
 */
#include "drive_port.h"

static volatile uint8_t never;
static volatile uint16_t turns;
static volatile uint8_t which;

void on_compare_b(void)
{
	never = 1U;
}

void on_compare_a(void)
{
	if (which == 4U)
		while (never == 0U) { }    /* FAULT hang: in the handler of vector 12 */
}

int main(void)
{
	which = port_store_read(0U);
	port_compare_a(1000U);
	port_compare_b(2000U);
	port_compare_a_interrupt(1U);
	port_compare_b_interrupt(1U);
	if (which == 1U)
		for (;;) { }               /* FAULT hang: in the main line */
	if (which == 2U)
		while (never == 0U) { }    /* FAULT hang: in the main line */
	if (which == 3U)
		for (;;) turns++;          /* FAULT hang: in the main line */
	for (;;) {
		port_interrupts_off();
		port_idle();
	}
}
