/*
 * races.c - main line and handlers that share variables wrongly, and, at the end, rightly.
 *
 * A comment `FAULT kind: variable` stands on the line of each fault, several of one line apart by `;`.
 * Compare A matches every wrap of the ticks and the throttle edge comes every 20 ms; the main line is
 * woken by both.
 */
#include <string.h>

#include "drive_port.h"

typedef struct {
	uint16_t width;
	uint8_t good;
} pulse;

typedef struct {
	uint8_t low : 4;
	uint8_t high : 4;
} halves;

static volatile uint16_t width_ticks;
static volatile uint32_t age_ticks;
static volatile uint16_t wanted;
static volatile pulse last;
static volatile uint16_t samples[4];
static uint16_t copied[2];
static volatile uint8_t *volatile cursor;
static volatile int count;
static volatile uint16_t shared_code;

static volatile uint8_t events;
static volatile uint8_t waiting;
static volatile halves both;

static uint8_t seen;
static uint8_t asked;
static uint8_t lent;

static uint8_t buffer[4];
static volatile uint8_t ready;
static volatile uint16_t guarded;
static uint8_t private_to_handlers;

static volatile uint16_t result;

static void set_code(uint16_t value)
{
	shared_code = value; /* FAULT torn write: shared_code */
}

void on_compare_a(void)
{
	width_ticks = (uint16_t)(width_ticks + 3U);
	age_ticks += 70000U;
	if (wanted > 400U)
		events |= 1U;
	last.width = width_ticks;
	last.good ^= 1U;
	samples[width_ticks & 3U] = width_ticks;
	copied[0] = width_ticks;
	copied[1] = width_ticks;
	cursor = buffer + 1;
	count++;
	set_code(7U);
	events |= 2U;
	waiting++;
	both.high = (uint8_t)((both.high + 1U) & 15U);
	seen = 1U;
	if (asked != 0U)
		private_to_handlers++;
	lent++;
	guarded = width_ticks;
	ready = 1U;
}

void on_throttle_edge(void)
{
	private_to_handlers++;
	buffer[0] = 4U;
}

static void race(void)
{
	uint16_t local[2];

	result = width_ticks;                   /* FAULT torn read: width_ticks */
	result = (uint16_t)age_ticks;           /* FAULT torn read: age_ticks */
	wanted = 500U;                          /* FAULT torn write: wanted */
	result = last.width;                    /* FAULT torn read: last.width */
	result = samples[2];                    /* FAULT torn read: samples[] */
	memcpy(local, copied, sizeof local);    /* FAULT torn read: copied[]; not volatile: copied[] */
	result = local[1];
	cursor = buffer;                        /* FAULT torn write: cursor */
	result = (uint16_t)count;               /* FAULT torn read: count */
	set_code(9U);
}

static void lose(void)
{
	events &= (uint8_t)~2U;                 /* FAULT lost update: events */
	waiting--;                              /* FAULT lost update: waiting */
	both.low = 3U;                          /* FAULT lost update: both */
}

static void keep(void)
{
	if (seen != 0U)                         /* FAULT not volatile: seen */
		result = 1U;
	asked = 1U;                             /* FAULT not volatile: asked */
	result = lent;                          /* FAULT not volatile: lent */
}

/* What is right: interrupts off, the one interrupt off, single bytes, variables of handlers alone. */
static void behave(void)
{
	uint8_t were_on = port_interrupts_off();

	result = guarded;
	port_interrupts_restore(were_on);
	port_compare_a_interrupt(0U);
	result = (uint16_t)(result + guarded);
	port_compare_a_interrupt(1U);
	if (ready != 0U)
		ready = 0U;
}

int main(void)
{
	port_throttle_interrupt(1U);
	port_compare_a_interrupt(1U);
	for (;;) {
		race();
		lose();
		keep();
		behave();
		port_interrupts_off();
		port_idle();
	}
}
