/*
 * host.c - starting a run, resuming it, and reset.
 *
 * A reset opens every FET at once, without a clock (data sheet, "Reset and interrupt handling": the
 * ports return to their initial state when a reset source goes active); main() begins again after
 * the start-up time, with .data and .bss as after loading. Rotor, supply and .noinit go on.
 */
#include "controller.h"
#include <stdlib.h>
#include <string.h>

#define CORE_RESET 100
/* Start-up time with a crystal, longest fuse setting: 65 ms. */
#define START_UP_S 0.065
/* How often a controller held in reset looks whether its supply has come back. */
#define HOLD_LOOK_S 1e-4

extern unsigned char fw_data_begin[], fw_data_end[], fw_bss_begin[], fw_bss_end[];
extern unsigned char fw_noinit_begin[], fw_noinit_end[];
extern const char __ehdr_start[];
int fw_main(void);

static core_outside_plant outside_plant;
static unsigned char *loaded_data;
static void (*called)(void *); /* in the place of main(); 0: main() itself */
static void *call_argument;

uintptr_t core_text_base(void)
{
	return (uintptr_t)__ehdr_start;
}

core_outside_plant *core_outside(void)
{
	return &outside_plant;
}

int64_t core_now(void)
{
	return ctl.now;
}

int64_t core_count(int which)
{
	const int64_t count[8] = {ctl.segments,          ctl.events,        ctl.port_calls,   ctl.handlers,
	                          plant.s.guard_hits,    longest_off.cycles, longest_off.pc, longest_off.vector};
	return which >= 0 && which < 8 ? count[which] : -1;
}

static void sleep_until(int64_t cycle)
{
	ctl.now = cycle;
	clock_catch_up();
}

/* Until the supply suffices, and the start-up time after that, the peripherals stand in their
 * initial state: what happens at the pins meanwhile leaves no flag and no capture. */
static void enter(void)
{
	clock_catch_up();
	while (supply_holds())
		sleep_until(ctl.now + (int64_t)(HOLD_LOOK_S * config->f_cpu_hz));
	/* the supply was so low that its return is a power-on, whatever had stopped the part */
	if (ctl.forgotten && ctl.next_cause != PORT_RESET_POWER_ON) {
		ctl.next_cause = PORT_RESET_POWER_ON;
		record(SIGNAL_RESET, PORT_RESET_POWER_ON, ctl.now, 0, 0);
	}
	ctl.held = 0;
	sleep_until(ctl.now + (int64_t)(START_UP_S * config->f_cpu_hz));
	ctl.reset_cause = ctl.forgotten ? PORT_RESET_POWER_ON : ctl.next_cause;
	if (ctl.forgotten)
		memset(fw_noinit_begin, 0xA5, (size_t)(fw_noinit_end - fw_noinit_begin));
	ctl.forgotten = 0;
	timer_reset();
	if (ctl.reset_cause == PORT_RESET_WATCHDOG)
		watchdog_on(0);
	ctl.irq_pending = 0;
	ctl.captured = 0;
	ctl.port_calls = 0;
	ctl.horizon = LOOK_AGAIN;
	while (called) {
		called(call_argument);
		stack_yield(CORE_CALLED);
	}
	fw_main();
	stack_returned();
}

static void restore_memory(void)
{
	size_t data_bytes = (size_t)(fw_data_end - fw_data_begin);
	if (!loaded_data) {
		loaded_data = malloc(data_bytes + 1);
		memcpy(loaded_data, fw_data_begin, data_bytes);
	}
	memcpy(fw_data_begin, loaded_data, data_bytes);
	memset(fw_bss_begin, 0, (size_t)(fw_bss_end - fw_bss_begin));
}

static void reset_controller(void)
{
	interrupts_reset();
	ctl.irq_enabled = ctl.irq_pending = 0;
	ctl.endless = 0;
	ctl.context = 0;
	ctl.slept_on = 0;
	ctl.sense_leg = 0;
	carriers_reset();
	timer_reset();
	capture_reset();
	converter_reset();
	comparator_reset();
	watchdog_off();
	ctl.plan_valid = 0;
	ctl.horizon = LOOK_AGAIN;
	ctl.hang_budget = HANG_BLOCKS;
	ctl.owed = 0;
	restore_memory();
	stack_prepare(enter);
}

void host_reset_request(int64_t cycle, uint8_t cause)
{
	ctl.next_cause = cause;
	ctl.now = cycle;
	ctl.context = 0;
	record(SIGNAL_RESET, cause, cycle, 0, 0);
	if (ctl.converter_on)
		record(SIGNAL_CONVERTER, 0, cycle, 0, 0);
	ctl.converter_on = 0;
	legs_release(cycle);
	if (ctl.sense_leg != 0)
		record(SIGNAL_SENSE_LEG, 0, cycle, 0, 0);
	bench_set_sense(0);
	if (ctl.sense_above != plant.s.level)
		record(SIGNAL_COMPARATOR, plant.s.level, cycle, 0, 0);
	if (ctl.sense_edge != 0)
		record(SIGNAL_SENSE_EDGE, 0, cycle, 0, 0);
	if (ctl.irq_enabled & (1U << IRQ_COMPARATOR))
		record(SIGNAL_SENSE_IRQ, 0, cycle, 0, 0);
	record(SIGNAL_DUTY, 0, cycle, 0, 0);
	record(SIGNAL_MARK, PORT_MARK_OFF, cycle, 0, 0);
	stack_yield(CORE_RESET);
}

void core_start(const core_config *c)
{
	config = c;
	pause_cycle = pause_asleep_cycle = NEVER;
	called = 0;
	memset(&ctl, 0, sizeof ctl);
	memset(&outside_plant, 0, sizeof outside_plant);
	undefined_forget();
	longest_off = (off_span){0, 0, 0};
	ctl.replay_cycle = NEVER;
	ctl.s_per_cycle = 1.0 / c->f_cpu_hz;
	ctl.block_cycles = c->code_costs ? BY_TABLE : c->block_cycles;
	plant_init(&c->plant, c->rest_rad, 0.0, c->supply_v.n > 0 ? c->supply_v.value[0] : 0.0);
	plant_meter(c->account_energy);
	bench_read_inputs(0);
	store_start();
	ctl.forgotten = 1;
	ctl.next_cause = PORT_RESET_POWER_ON;
	for (int x = 0; x < 3; x++)
		record((uint8_t)(SIGNAL_GATE + x), 0, 0, 0, 0);
	for (int x = 0; x < 3; x++)
		record((uint8_t)(SIGNAL_LEG + x), PORT_OPEN, 0, 0, 0);
	record(SIGNAL_DUTY, 0, 0, 0, 0);
	record(SIGNAL_SENSE_LEG, 0, 0, 0, 0);
	record(SIGNAL_SENSE_EDGE, 0, 0, 0, 0);
	record(SIGNAL_SENSE_IRQ, 0, 0, 0, 0);
	record(SIGNAL_COMPARATOR, plant.s.level, 0, 0, 0);
	record(SIGNAL_THROTTLE, 0, 0, 0, 0);
	record(SIGNAL_MARK, PORT_MARK_OFF, 0, 0, 0);
	record(SIGNAL_RESET, PORT_RESET_POWER_ON, 0, 0, 0);
	record(SIGNAL_STORE_BUSY, 0, 0, 0, 0);
	record(SIGNAL_CONVERTER, 0, 0, 0, 0);
	record(SIGNAL_WATCHDOG, 0, 0, 0, 0);
	limiter_start();
	ctl.watchdog_bites = NEVER;
	record_state();
	reset_controller();
}

int core_run(void)
{
	for (;;) {
		int why = stack_resume();
		if (why != CORE_RESET)
			return why;
		if (called)
			return CORE_RESTARTED;
		reset_controller();
	}
}

int core_call(void (*function)(void *), void *argument)
{
	called = function;
	call_argument = argument;
	ctl.hang_budget = HANG_BLOCKS;
	return core_run();
}

void core_wait(void *cycle)
{
	clock_wait(*(const int64_t *)cycle);
}
