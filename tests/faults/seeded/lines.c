/*
 * lines.c - accesses in statements of several lines, in the main line and in the handler.
 *
 * A comment `FAULT kind: variable` stands on the line to be shown, `AGAINST variable` on the handler's.
 */
#include "drive_port.h"

struct pair {
	uint16_t a;
	uint16_t b;
};

#define COPY(to, from)                                                                                       \
	do {                                                                                                 \
		(to) = (from);                                                                               \
	} while (0)

static volatile uint16_t width = 1U;
static volatile uint16_t ticks = 2U;
static volatile uint16_t count;
static volatile uint16_t total;
static volatile uint16_t level = 4U;
static volatile uint16_t speed = 4U;
static volatile uint8_t flags;
static volatile uint8_t mode;
static volatile uint16_t age;
static volatile uint16_t through;
static volatile uint16_t copied;
static volatile uint8_t tested;
static volatile struct pair last;
static volatile uint16_t result;
static volatile uint16_t *const pointer = &through;

static uint16_t added(uint16_t a, uint16_t b, uint16_t c)
{
	return (uint16_t)(a + b + c);
}

void on_wrap(void)
{
	width = /* AGAINST width */
	    (uint16_t)(port_ticks()
	               + 1U);
	if (level != 77U
	    && tested < 200U) {
		ticks = added(1U, /* AGAINST ticks */
		              2U,
		              3U);
	}
	count++;           /* AGAINST count */
	total++;           /* AGAINST total */
	level = 1U;        /* AGAINST level */
	speed = 3U;        /* AGAINST speed */
	flags |= 1U;       /* AGAINST flags */
	mode = 1U;         /* AGAINST mode */
	age = 5U;          /* AGAINST age */
	through = 3U;      /* AGAINST through */
	copied = /* AGAINST copied */
	    port_ticks() > 5U
	        ? 3U /* copied is not written here, whatever the compiler says */
	        : 4U;
	tested++;
	last = (struct pair){ /* AGAINST last */
	    1U,
	    2U,
	};
}

static void expressions(uint16_t k)
{
	result = (uint16_t)(k
	                    + width /* FAULT torn read: width */
	                    + 1U);
	result = added(k,
	               ticks, /* FAULT torn read: ticks */
	               k);
	if (k > 200U
	    || level > 3U /* FAULT torn read: level */
	    || k == 3U) {
		result = 1U;
	}
	result = k > 3U
	             ? speed /* FAULT torn read: speed */
	             : 3U;
	age = (uint16_t)( /* FAULT torn write: age */
	    port_ticks()
	    + 7U);
	struct pair copy = {
	    last.a, /* FAULT torn read: last.a */
	    last.b, /* FAULT torn read: last.b */
	};

	result = copy.a;
	COPY(result, copied); /* FAULT torn read: copied */
	result = (uint16_t)(k +
	                    *pointer); /* FAULT torn read: through */
}

static void updates(uint16_t k)
{
	count = /* FAULT lost update: count */
	    (uint16_t)(count
	               + 1U);
	total /* FAULT lost update: total */
	    += added(
	        1U, 2U,
	        k);
	flags = /* FAULT lost update: flags */
	    (uint8_t)(flags
	              | 4U);
	mode /* FAULT lost update: mode */
	    &= (uint8_t)~(
	        2U);
}

/* Two statements: what is tested is not put back. */
static void tests(void)
{
	if (tested
	    > 3U)
		tested = 0U;
	else
		result = 1U;
}

int main(void)
{
	uint16_t k;

	port_wrap_interrupt(1);
	port_interrupts_restore(1);
	for (k = 0; k < 400U; k++) {
		expressions(k);
		updates(k);
		tests();
	}
	for (;;) {
		(void)port_interrupts_off();
		port_idle();
	}
}
