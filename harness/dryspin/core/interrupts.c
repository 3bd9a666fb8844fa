/*
 * interrupts.c - serving handlers as calls on the firmware's stack, lowest vector first.
 */
#include "controller.h"

#define ENTRY_CYCLES 7 /* 4 to respond, 3 for the jump in the vector table */
#define RETURN_CYCLES 4

void on_throttle_edge(void);
void on_compare_a(void);
void on_compare_b(void);
void on_wrap(void);
void on_converter_done(void);
void on_comparator_edge(void);

static const struct { void (*handler)(void); uint8_t vector; } table[IRQ_COUNT] = {
	[IRQ_CAPTURE] = {on_throttle_edge, 11},   [IRQ_COMPARE_A] = {on_compare_a, 12},
	[IRQ_COMPARE_B] = {on_compare_b, 13},     [IRQ_WRAP] = {on_wrap, 14},
	[IRQ_CONVERTER] = {on_converter_done, 22}, [IRQ_COMPARATOR] = {on_comparator_edge, 24},
};

void interrupts_serve(void)
{
	uint8_t due = ctl.irq_enabled & ctl.irq_pending;
	int k = 0;
	while (!(due & (1U << k)))
		k++;
	interrupts_run(k);
}

void interrupts_run(int k)
{
	uint8_t interrupted = ctl.context;
	ctl.irq_pending &= (uint8_t)~(1U << k);
	ctl.irq_on = 0;
	ctl.context = table[k].vector;
	ctl.handlers++;
	record(SIGNAL_HANDLER, table[k].vector, ctl.now, 0, 0);
	clock_spend(ENTRY_CYCLES);
	table[k].handler();
	clock_spend(RETURN_CYCLES);
	record(SIGNAL_HANDLER, 0, ctl.now, 0, 0);
	ctl.context = interrupted;
	ctl.irq_on = 1;
	ctl.handlers_run++;
}
