/*
 * chopping.c - low FETs that code chops by their PORT bits: what a leg is told over a whole period.
 *
 * A carrier of a timer says by its COM bits that a leg is chopped. PORT bits say only on and off, so the leg whose
 * low FET has gone off stays low until the period must be over, as long as a high FET of another leg is on and no
 * other low one: the current that this step has built up still flows, through the high FET and a diode. Code is not
 * punctual to a cycle, so that a period may last an eighth longer or shorter than [bridge] f_pwm_hz says.
 */
#include "part.h"

enum { EARLY_OR_LATE = 8 };
/* The next time on begins a period; one runs since `start`; the next time on may be in the midst of one. */
enum { BEGINS, RUNS, AMIDST };

static int64_t longest(void)
{
	return config->pins->chop_cycles + config->pins->chop_cycles / EARLY_OR_LATE;
}

static int64_t shortest(void)
{
	return config->pins->chop_cycles - config->pins->chop_cycles / EARLY_OR_LATE;
}

int64_t chopping_next(void)
{
	const chopping *c = &part.chopping;
	if (c->low)
		return c->steady ? NEVER : c->on_at + longest();
	return c->last ? c->off_at + longest() : NEVER;
}

/* After a change of FETs, high or low, the first time on may be the rest of a period: it counts from the second on. */
static void goes_on(uint8_t low, int64_t cycle, place who)
{
	chopping *c = &part.chopping;
	int64_t lasted = cycle - c->start;
	if (low != c->last || c->phase == AMIDST) {
		c->last = low;
		c->phase = BEGINS;
		return;
	}
	if (c->phase == RUNS && lasted < shortest())
		return; /* off more than once in a period */
	if (c->phase == RUNS && lasted <= longest())
		pins_duty((uint8_t)((c->on_cycles * 255 + lasted / 2) / lasted), who);
	c->phase = RUNS;
	c->start = cycle;
	c->on_cycles = 0;
}

static void note(uint8_t low, int64_t cycle, place who)
{
	chopping *c = &part.chopping;
	if (low == c->low)
		return;
	if (c->low) {
		c->on_cycles += cycle - c->on_at;
		c->off_at = cycle;
		c->steady = 0;
	}
	if (low) {
		goes_on(low, cycle, who);
		c->on_at = cycle;
	}
	c->low = low;
}

void chopping_hold(uint8_t told[3], const uint8_t by_port[3], int64_t cycle, place who)
{
	chopping *c = &part.chopping;
	uint8_t low = 0, lows = 0, high = 0;
	for (uint8_t x = 0; x < 3; x++) {
		high |= told[x] == PORT_HIGH;
		lows += told[x] == PORT_LOW;
		if (told[x] == PORT_LOW && by_port[x])
			low = (uint8_t)(x + 1);
	}
	note(high && lows == 1 ? low : 0, cycle, who);
	if (!high)
		c->phase = AMIDST;
	if (chopping_next() <= cycle) {
		c->phase = BEGINS;
		if (c->low) {
			c->steady = 1;
			pins_duty(255, who);
		} else {
			c->last = 0;
		}
	}
	if (c->last && high && lows == 0 && told[c->last - 1] == PORT_OPEN)
		told[c->last - 1] = PORT_LOW;
}
