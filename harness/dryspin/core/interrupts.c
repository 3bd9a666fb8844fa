/*
 * interrupts.c - serving handlers as calls on the firmware's stack, lowest vector first.
 */
#include "controller.h"

#define ENTRY_CYCLES 7 /* 4 to respond, 3 for the jump in the vector table */
#define RETURN_CYCLES 4

void on_over_current(void) __attribute__((weak)); /* may be left out, and its interrupt off */
void on_throttle_edge(void);
void on_compare_a(void);
void on_compare_b(void);
void on_wrap(void);
void on_converter_done(void);
void on_comparator_edge(void);

static void (*const handlers[IRQ_COUNT])(void) = {
	[IRQ_OVER_CURRENT] = on_over_current,
	[IRQ_CAPTURE] = on_throttle_edge,    [IRQ_COMPARE_A] = on_compare_a,
	[IRQ_COMPARE_B] = on_compare_b,      [IRQ_WRAP] = on_wrap,
	[IRQ_CONVERTER] = on_converter_done, [IRQ_COMPARATOR] = on_comparator_edge,
};

void interrupts_serve(void)
{
	interrupts_run(__builtin_ctz(ctl.irq_enabled & ctl.irq_pending));
}

void interrupts_run(int k)
{
	uint8_t interrupted = ctl.context;
	ctl.irq_pending &= ~(1U << k);
	ctl.context = (uint8_t)(k + 1); /* the data sheet counts from 1 */
	interrupts_set(0, 0);
	ctl.handlers++;
	record(SIGNAL_HANDLER, ctl.context, ctl.now, 0, 0);
	clock_spend(ENTRY_CYCLES + config->vector_in_cycles);
	int64_t owed = ctl.owed; /* by what was interrupted, which goes on afterwards */
	ctl.owed = 0;
	handlers[k]();
	clock_pay();
	ctl.owed = owed;
	clock_spend(RETURN_CYCLES + config->vector_out_cycles);
	record(SIGNAL_HANDLER, 0, ctl.now, 0, 0);
	ctl.context = interrupted;
	interrupts_set(1, 0);
	ctl.handlers_run++;
}
