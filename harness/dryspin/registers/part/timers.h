/* timers.h - what the counting of the timers and their registers share. */
#ifndef DRYSPIN_TIMERS_H
#define DRYSPIN_TIMERS_H

#include "part.h"

/* Vectors, and so bits of ctl.irq_pending, of the matches of A and B and of the overflow. */
static const uint8_t match_vector[3][2] = {{14, 15}, {11, 12}, {7, 8}};
static const uint8_t wrap_vector[3] = {16, 13, 9};
enum { CAPTURE_VECTOR = 10 };

static inline int flag_stands(int vector)
{
	return (ctl.irq_pending >> vector) & 1U;
}

static inline int is_dual(const timer *t)
{
	return t->kind == PHASE || t->kind == PHASE_FREQUENCY;
}

static inline int is_pwm(const timer *t)
{
	return t->kind == FAST || is_dual(t);
}

static inline int runs(const timer *t)
{
	return t->divider != 0 && !t->halted;
}

/* Which timer a register belongs to. */
static inline int timer_of(uint8_t at)
{
	return at >= TCCR2A || at == TIFR2 || at == TIMSK2 ? 2 : at >= TCCR1A || at == TIFR1 || at == TIMSK1;
}

/* Bring the count to this cycle; the ticks in between change nothing else. */
void timer_reach(timer *t, int64_t cycle);
/* Find the next tick that changes more than the count. */
void timer_plan(int which);
/* Compare values as written come into force. */
void timer_take_over(timer *t);

#endif
