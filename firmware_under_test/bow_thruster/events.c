/*
 * events.c - see events.h.
 */
#include "events.h"

#include "drive_port.h"

static volatile uint8_t posted;

void events_post(uint8_t bits)
{
	posted = (uint8_t)(posted | bits);
}

/* Looking and falling asleep must be one act, else an event between the two waits for the next. */
uint8_t events_wait(void)
{
	uint8_t bits;

	(void)port_interrupts_off();
	while (posted == 0U) {
		port_idle();
		(void)port_interrupts_off();
	}
	bits = posted;
	posted = 0U;
	port_interrupts_restore(1U);
	return bits;
}
