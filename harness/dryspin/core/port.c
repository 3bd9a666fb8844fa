/*
 * port.c - the functions of drive_port.h on the virtual controller: charge the cost, then act.
 */
#include "controller.h"

#define HERE ((uint32_t)((uintptr_t)__builtin_return_address(0) - core_text_base()))
/* What the part's object code takes since the last hook or port call has passed when the port is called. */
#define CODE_BEFORE clock_code((uintptr_t)__builtin_return_address(0))
#define CALLER caller_of(__builtin_frame_address(0))

/* Return address of the function that made the port call: the firmware keeps frame pointers. */
static uint32_t caller_of(void *const *frame)
{
	void *const *outer = frame[0];
	return stack_holds(outer, 2 * sizeof *outer) ? (uint32_t)((uintptr_t)outer[1] - core_text_base()) : 0U;
}

/* Something ahead has changed: look again at the next port call. */
static void look_again(void)
{
	ctl.horizon = LOOK_AGAIN;
}

/* Of plant and carriers alone. */
static void look_at_legs(void)
{
	ctl.plan_valid = 0;
	if (ctl.horizon > ASK)
		ctl.horizon = ASK;
}

/* A handler that is due runs at the next port call. */
static void serve_soon(void)
{
	if (interrupts_due() && ctl.horizon > ASK)
		ctl.horizon = ASK;
}

static void set_bit(uint32_t *mask, int bit, uint8_t on)
{
	*mask = on ? *mask | (1U << bit) : *mask & ~(1U << bit);
	serve_soon();
}

static void set_interrupt(int bit, uint8_t on)
{
	if (on)
		access_enables[context_bit()] |= 1U << bit;
	set_bit(&ctl.irq_enabled, bit, on);
}

void port_leg(uint8_t leg, uint8_t state)
{
	CODE_BEFORE;
	uint32_t pc = HERE, caller = CALLER;
	clock_spend(6);
	legs_command(leg % 3, state & 3U, pc, caller);
	legs_drive(ctl.now, pc, caller);
	carriers_replan();
	look_at_legs();
}

void port_all_open(void)
{
	CODE_BEFORE;
	uint32_t pc = HERE, caller = CALLER;
	clock_spend(6);
	for (int x = 0; x < 3; x++)
		legs_command(x, PORT_OPEN, pc, caller);
	legs_drive(ctl.now, pc, caller);
	carriers_replan();
	look_at_legs();
}

void port_duty(uint8_t counts)
{
	CODE_BEFORE;
	uint32_t pc = HERE, caller = CALLER;
	clock_spend(8);
	record(SIGNAL_DUTY, counts, ctl.now, pc, caller);
	carriers_duty(counts);
	look_at_legs();
}

void port_carriers_start(uint8_t which)
{
	CODE_BEFORE;
	clock_spend(10);
	for (int k = 0; k < 2; k++)
		if (which & (1U << k))
			carrier_start(k, ctl.now);
	legs_drive(ctl.now, HERE, CALLER);
	ctl.plan_valid = 0;
	look_again();
}

void port_sense_select(uint8_t leg)
{
	CODE_BEFORE;
	uint32_t pc = HERE, caller = CALLER;
	clock_spend(4);
	if (leg % 3 != ctl.sense_leg) {
		ctl.sense_leg = leg % 3;
		record(SIGNAL_SENSE_LEG, ctl.sense_leg, ctl.now, pc, caller);
		bench_set_sense(ctl.sense_leg);
		look_at_legs();
	}
}

void port_sense_edge(uint8_t edge)
{
	CODE_BEFORE;
	uint32_t pc = HERE, caller = CALLER;
	clock_spend(4);
	if ((edge & 1U) != ctl.sense_edge)
		record(SIGNAL_SENSE_EDGE, edge & 1U, ctl.now, pc, caller);
	comparator_select_edge(edge & 1U);
	serve_soon();
}

uint8_t port_sense_above(void)
{
	CODE_BEFORE;
	clock_spend(3);
	return ctl.sense_above;
}

uint8_t port_sense_flag(void)
{
	CODE_BEFORE;
	clock_spend(3);
	return (ctl.irq_pending >> IRQ_COMPARATOR) & 1U;
}

void port_sense_clear(void)
{
	CODE_BEFORE;
	clock_spend(2);
	set_bit(&ctl.irq_pending, IRQ_COMPARATOR, 0);
}

void port_sense_interrupt(uint8_t on)
{
	CODE_BEFORE;
	uint32_t pc = HERE, caller = CALLER;
	clock_spend(2);
	if (((ctl.irq_enabled >> IRQ_COMPARATOR) & 1U) != (on != 0))
		record(SIGNAL_SENSE_IRQ, on != 0, ctl.now, pc, caller);
	set_interrupt(IRQ_COMPARATOR, on);
}

uint16_t port_ticks(void)
{
	CODE_BEFORE;
	return timer_in_halves(timer_count(ctl.now + 4), 4);
}

void port_compare_a(uint16_t at_ticks)
{
	CODE_BEFORE;
	timer_set_compare(0, timer_in_halves(at_ticks, 4));
	look_again();
}

void port_compare_b(uint16_t at_ticks)
{
	CODE_BEFORE;
	timer_set_compare(1, timer_in_halves(at_ticks, 4));
	look_again();
}

void port_compare_a_interrupt(uint8_t on)
{
	CODE_BEFORE;
	clock_spend(3);
	set_interrupt(IRQ_COMPARE_A, on);
}

void port_compare_b_interrupt(uint8_t on)
{
	CODE_BEFORE;
	clock_spend(3);
	set_interrupt(IRQ_COMPARE_B, on);
}

void port_compare_a_clear(void)
{
	CODE_BEFORE;
	clock_spend(2);
	set_bit(&ctl.irq_pending, IRQ_COMPARE_A, 0);
}

void port_compare_b_clear(void)
{
	CODE_BEFORE;
	clock_spend(2);
	set_bit(&ctl.irq_pending, IRQ_COMPARE_B, 0);
}

void port_wrap_interrupt(uint8_t on)
{
	CODE_BEFORE;
	clock_spend(3);
	set_interrupt(IRQ_WRAP, on);
}

uint8_t port_wrap_flag(void)
{
	CODE_BEFORE;
	clock_spend(3);
	return (ctl.irq_pending >> IRQ_WRAP) & 1U;
}

void port_throttle_edge(uint8_t edge)
{
	CODE_BEFORE;
	clock_spend(4);
	ctl.throttle_edge = edge & 1U;
	set_bit(&ctl.irq_pending, IRQ_CAPTURE, 0);
}

uint16_t port_throttle_ticks(void)
{
	CODE_BEFORE;
	return timer_in_halves(ctl.captured, 4);
}

void port_throttle_interrupt(uint8_t on)
{
	CODE_BEFORE;
	clock_spend(3);
	set_interrupt(IRQ_CAPTURE, on);
}

uint8_t port_throttle_level(void)
{
	CODE_BEFORE;
	clock_spend(2);
	return ctl.throttle_level;
}

uint8_t port_interrupts_off(void)
{
	CODE_BEFORE;
	clock_spend(2);
	uint8_t were_on = ctl.irq_on;
	interrupts_set(0, HERE);
	return were_on;
}

void port_interrupts_restore(uint8_t were_on)
{
	CODE_BEFORE;
	clock_spend(2);
	interrupts_set(were_on != 0, HERE);
	serve_soon();
}

void port_idle(void)
{
	CODE_BEFORE;
	clock_spend(2);
	ctl.slept_on = (uintptr_t)__builtin_frame_address(0);
	clock_sleep();
	ctl.slept_on = 0;
	clock_spend(4);
}

uint8_t port_store_read(uint16_t at)
{
	CODE_BEFORE;
	clock_spend(6);
	return store_read(at);
}

void port_store_write(uint16_t at, uint8_t value)
{
	CODE_BEFORE;
	uint32_t pc = HERE, caller = CALLER;
	clock_spend(6);
	int64_t handlers = ctl.handlers;
	clock_spend(4);
	if (handlers == ctl.handlers)
		store_write(at, value, pc, caller);
	look_again();
}

uint8_t port_store_busy(void)
{
	CODE_BEFORE;
	clock_spend(2);
	return ctl.store_done != NEVER;
}

void port_watchdog_on(uint8_t doublings)
{
	CODE_BEFORE;
	clock_spend(6);
	watchdog_on(doublings);
	look_again();
}

void port_watchdog_feed(void)
{
	CODE_BEFORE;
	clock_spend(1);
	watchdog_feed();
	look_again();
}

void port_watchdog_off(void)
{
	CODE_BEFORE;
	clock_spend(6);
	watchdog_off();
	look_again();
}

void port_convert_bus(void)
{
	CODE_BEFORE;
	uint32_t pc = HERE, caller = CALLER;
	clock_spend(4);
	converter_start(pc, caller);
	look_again();
}

uint8_t port_convert_busy(void)
{
	CODE_BEFORE;
	clock_spend(3);
	return ctl.converter_done != NEVER;
}

uint16_t port_converted(void)
{
	CODE_BEFORE;
	clock_spend(4);
	return ctl.converted;
}

void port_convert_interrupt(uint8_t on)
{
	CODE_BEFORE;
	clock_spend(2);
	set_interrupt(IRQ_CONVERTER, on);
}

void port_convert_off(void)
{
	CODE_BEFORE;
	uint32_t pc = HERE, caller = CALLER;
	clock_spend(2);
	converter_off(pc, caller);
	look_again();
}

void port_over_current_interrupt(uint8_t on)
{
	CODE_BEFORE;
	clock_spend(2);
	set_bit(&ctl.irq_enabled, IRQ_OVER_CURRENT, on);
}

uint8_t port_over_current(void)
{
	CODE_BEFORE;
	clock_spend(2);
	return ctl.limiter_pulls;
}

uint8_t port_reset_cause(void)
{
	CODE_BEFORE;
	clock_spend(1);
	return ctl.reset_cause;
}

void port_mark(uint8_t code)
{
	CODE_BEFORE;
	uint32_t pc = HERE, caller = CALLER;
	clock_spend(2);
	record(SIGNAL_MARK, code, ctl.now, pc, caller);
}
