/*
 * clock.c - see clock.h.
 */
#include "clock.h"

#include "drive_port.h"

static volatile uint16_t wraps;

void clock_start(void)
{
	port_wrap_interrupt(1U);
}

/*
 * A wrap may be due without its handler having run. Then a small count belongs to the wrap to come
 * and a large one to the wrap still counted.
 */
uint32_t clock_of_capture(uint16_t ticks)
{
	uint16_t high = wraps;

	if (port_wrap_flag() != 0U && ticks < 0x8000U)
		high = (uint16_t)(high + 1U);
	return ((uint32_t)high << 16) | ticks;
}

uint32_t clock_now(void)
{
	return clock_of_capture(port_ticks());
}

void on_wrap(void)
{
	wraps = (uint16_t)(wraps + 1U);
}
