/*
 * timer.c - the 16-bit timer: ticks of 8 cycles, two compares, wrap.
 *
 * A match sets its flag whether or not its interrupt is on. A compare value the count already has,
 * or has passed, matches after the wrap only.
 *
 * The part moves 16 bits in two halves; the high one goes through a byte that all registers of the
 * timer share (data sheet, "Accessing 16-bit registers").
 */
#include "controller.h"

#define TICK 8
#define WRAP (65536 * TICK)

uint16_t timer_count(int64_t cycle)
{
	return (uint16_t)((cycle - ctl.timer_zero) / TICK);
}

static int64_t match_after(uint16_t at, int64_t cycle)
{
	int64_t since = cycle - ctl.timer_zero;
	int64_t match = since - since % WRAP + (int64_t)at * TICK;
	return ctl.timer_zero + (match > since ? match : match + WRAP);
}

void timer_reset(void)
{
	ctl.timer_zero = ctl.now;
	ctl.next_wrap = ctl.now + WRAP;
	for (int k = 0; k < 2; k++) {
		ctl.compare[k] = 0;
		ctl.next_match[k] = match_after(0, ctl.now);
	}
}

/* A handler that runs meanwhile and touches any register of the timer leaves its own byte behind. The
 * handler is taken to fall between the halves wherever in the access it comes: the worse case. */
uint16_t timer_in_halves(uint16_t value, int64_t cycles)
{
	ctl.shared_high = (uint8_t)(value >> 8);
	clock_spend(cycles);
	return (uint16_t)((unsigned)ctl.shared_high << 8 | (value & 0xFFU));
}

void timer_set_compare(int which, uint16_t at)
{
	/* a tick already begun is a count already reached */
	int64_t begun = ctl.now - (ctl.now - ctl.timer_zero) % TICK;
	ctl.compare[which] = at;
	ctl.next_match[which] = match_after(at, begun);
}

int64_t timer_next(void)
{
	int64_t a = ctl.next_match[0], b = ctl.next_match[1], c = ctl.next_wrap;
	a = a < b ? a : b;
	return a < c ? a : c;
}

void timer_at(int64_t cycle)
{
	for (int k = 0; k < 2; k++) {
		if (ctl.next_match[k] > cycle)
			continue;
		ctl.next_match[k] += WRAP;
		ctl.irq_pending |= 1U << (IRQ_COMPARE_A + k);
	}
	if (ctl.next_wrap <= cycle) {
		ctl.next_wrap += WRAP;
		ctl.irq_pending |= 1U << IRQ_WRAP;
	}
}
