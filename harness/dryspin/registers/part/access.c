/*
 * access.c - from a load or store of the firmware to a read or write of a register, in order, at its cycle.
 *
 * The compiler calls a hook before every access to memory. A read is answered there: the register file is
 * filled in before the load. A written value is not known there, as the store comes after the hook; the
 * write takes effect at the next hook of any kind, before that lets time pass: at the cycle of the store.
 *
 * Costs: registers in reach of in and out 1 cycle, those beyond (lds, sts) 2, each byte of a pair as much.
 * A read and a write of the same register below 0x40 with nothing between and at most one bit changed are
 * one sbi or cbi, which no handler divides (instruction set manual); any other change in place is divided
 * by a handler that is due, and undoes what that did to the register.
 */
#include "part.h"
#include <stdio.h>
#include <string.h>

volatile uint8_t dryspin_registers[256] __attribute__((aligned(16)));
part_state part;

enum { BIT_REACH = 0x40, IO_REACH = 0x60 };

uint32_t caller_of(void *const *frame)
{
	void *const *outer = frame[0];
	return stack_holds(outer, 2 * sizeof *outer) ? (uint32_t)((uintptr_t)outer[1] - core_text_base()) : 0U;
}

void part_look_again(void)
{
	ctl.horizon = 0;
}

void part_refuse(const char *what, int32_t number)
{
	core_fault_report *fault = core_fault();
	snprintf(fault->what, sizeof fault->what, what, number);
	fault->cycle = ctl.now;
	fault->context = ctl.context;
	fault->pc = part.who.pc;
	fault->caller = part.who.caller;
	for (;;)
		stack_yield(CORE_REFUSED);
}

/* Everything that falls due happens, handlers excepted. */
static void spend_undivided(int64_t cycles)
{
	uint8_t was_on = ctl.irq_on;
	ctl.irq_on = 0;
	clock_spend(cycles);
	ctl.irq_on = was_on;
	part_look_again();
}

void part_spend(int64_t cycles)
{
	if (part.sei_shadow) {
		/* "the instruction following SEI will be executed before any pending interrupts" */
		part.sei_shadow = 0;
		spend_undivided(cycles);
	} else {
		clock_spend(cycles);
	}
}

static void apply(uint8_t at, uint8_t width)
{
	uint8_t low = dryspin_registers[at];
	if (width == 2 && is_timer_pair(at)) {
		uint8_t high = part.shared_taken == 2 ? part.shared_high : dryspin_registers[at + 1];
		part.shared_high = high;
		part.shared_taken = 1;
		timer_write_pair(at, (uint16_t)(low | high << 8));
	} else {
		if (width == 2) /* high byte first */
			part_write((uint8_t)(at + 1), dryspin_registers[at + 1], part.before[1]);
		part_write(at, low, part.before[0]);
	}
	part_look_again();
}

/* Handlers that are due come between the read and the write of a change in place. */
static void divide(uint8_t at)
{
	uint8_t value = dryspin_registers[at];
	place who = part.who;
	dryspin_registers[at] = part.before[0];
	clock_catch_up();
	dryspin_registers[at] = value;
	part.who = who;
}

void part_settle(void)
{
	uint8_t at = part.pending;
	if (at == NOTHING)
		return;
	part.pending = NOTHING;
	if (part.pending_width == 1 && part.last_read == at) {
		uint8_t changed = dryspin_registers[at] ^ part.before[0];
		if ((changed & (changed - 1)) != 0)
			divide(at);
	}
	part.last_read = NOTHING;
	apply(at, part.pending_width);
}

static int64_t cost_of(uint8_t at)
{
	return at < IO_REACH ? 1 : 2;
}

static void read_register(uint8_t at, int width, place who)
{
	part_settle();
	part.who = who;
	if (width == 2 && is_timer_pair(at)) {
		part_spend(cost_of(at));
		uint16_t value = timer_read_pair(at);
		part.shared_high = (uint8_t)(value >> 8);
		part.shared_taken = 1;
		part_spend(cost_of(at)); /* a handler here leaves its own byte behind */
		dryspin_registers[at] = (uint8_t)value;
		dryspin_registers[at + 1] = part.shared_high;
		return;
	}
	for (int k = 0; k < width; k++) {
		part_spend(cost_of(at));
		part.who = who;
		part_read((uint8_t)(at + k));
	}
	part.last_read = width == 1 && at < BIT_REACH ? at : NOTHING;
	part.last_read_cycle = ctl.now;
}

static void write_register(uint8_t at, int width, place who)
{
	int in_place = part.pending == NOTHING && part.last_read == at && part.last_read_cycle == ctl.now;
	part_settle();
	if (in_place) {
		spend_undivided(1); /* with the read one instruction, as far as is known yet */
	} else {
		part.last_read = NOTHING;
		if (width == 2 && is_timer_pair(at)) {
			part_spend(cost_of(at));
			part.shared_taken = 0; /* the high byte goes first, into the shared one */
		}
		part_spend(cost_of(at));
	}
	if (width == 2 && is_timer_pair(at) && part.shared_taken)
		part.shared_taken = 2; /* between the halves of this write */
	part.before[0] = dryspin_registers[at];
	part.before[1] = dryspin_registers[(uint8_t)(at + 1)];
	part.pending = at;
	part.pending_width = (uint8_t)width;
	part.who = who;
	part_look_again();
}

static int offset_of(const volatile void *address, int width)
{
	uintptr_t at = (uintptr_t)address - (uintptr_t)dryspin_registers;
	return at < sizeof dryspin_registers - (size_t)width ? (int)at : -1;
}

#define HOOK(name, width, access) \
	void name(void *address); \
	void name(void *address) \
	{ \
		int at = offset_of(address, width); \
		if (at >= 0) \
			access((uint8_t)at, width, (place){HERE, CALLER}); \
	}

HOOK(__tsan_read1, 1, read_register)
HOOK(__tsan_read2, 2, read_register)
HOOK(__tsan_write1, 1, write_register)
HOOK(__tsan_write2, 2, write_register)
HOOK(__tsan_volatile_read1, 1, read_register)
HOOK(__tsan_volatile_read2, 2, read_register)
HOOK(__tsan_volatile_write1, 1, write_register)
HOOK(__tsan_volatile_write2, 2, write_register)

/* Wider accesses, and those to other memory that the hooks above let pass, are plain. */
#define PLAIN(name) \
	void name(void *address); \
	void name(void *address) \
	{ \
		if (offset_of(address, 1) >= 0) { \
			part.who = (place){HERE, CALLER}; \
			part_refuse("register 0x%02x is accessed more than two bytes wide", offset_of(address, 1)); \
		} \
	}

PLAIN(__tsan_read4)
PLAIN(__tsan_read8)
PLAIN(__tsan_read16)
PLAIN(__tsan_write4)
PLAIN(__tsan_write8)
PLAIN(__tsan_write16)
PLAIN(__tsan_volatile_read4)
PLAIN(__tsan_volatile_read8)
PLAIN(__tsan_volatile_read16)
PLAIN(__tsan_volatile_write4)
PLAIN(__tsan_volatile_write8)
PLAIN(__tsan_volatile_write16)

#define UNALIGNED(name) \
	void name(void *address); \
	void name(void *address) { (void)address; }

UNALIGNED(__tsan_unaligned_read2)
UNALIGNED(__tsan_unaligned_read4)
UNALIGNED(__tsan_unaligned_read8)
UNALIGNED(__tsan_unaligned_write2)
UNALIGNED(__tsan_unaligned_write4)
UNALIGNED(__tsan_unaligned_write8)

void __tsan_init(void);
void __tsan_init(void) { }
void __tsan_read_range(void *address, size_t n);
void __tsan_read_range(void *address, size_t n) { (void)address, (void)n; }
void __tsan_write_range(void *address, size_t n);
void __tsan_write_range(void *address, size_t n) { (void)address, (void)n; }
void __tsan_func_entry(void *caller);
void __tsan_func_entry(void *caller) { (void)caller; }
void __tsan_func_exit(void);
void __tsan_func_exit(void) { }
void __tsan_vptr_update(void **at, void *value);
void __tsan_vptr_update(void **at, void *value) { (void)at, (void)value; }
void __tsan_vptr_read(void **at);
void __tsan_vptr_read(void **at) { (void)at; }

/* The block hook of register-level builds: what was written before is in force before time passes. */
void dryspin_block(void);
void dryspin_block(void)
{
	if (part.pending != NOTHING)
		part_settle();
	if (ctl.block_cycles != 0) {
		if (part.sei_shadow)
			part_spend(ctl.block_cycles);
		else if ((ctl.now += ctl.block_cycles) >= ctl.horizon)
			clock_catch_up();
	} else if (--ctl.hang_budget <= 0) {
		stack_hang((uintptr_t)__builtin_return_address(0));
	}
}
