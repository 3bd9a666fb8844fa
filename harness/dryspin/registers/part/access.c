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

enum { BIT_REACH = 0x40, IO_REACH = 0x60, CHECKS_A_BLOCK = 1000 };
enum { BLOCK_CYCLES = 6 }; /* of a block whose cycles are not counted by the block, on the whole */

uint32_t caller_of(void *const *frame)
{
	void *const *outer = frame[0];
	return stack_holds(outer, 2 * sizeof *outer) ? (uint32_t)((uintptr_t)outer[1] - core_text_base()) : 0U;
}

void part_look_again(void)
{
	ctl.horizon = 0;
}

static void end_run(int reason, const char *what, int32_t number) __attribute__((noreturn));
static void end_run(int reason, const char *what, int32_t number)
{
	core_fault_report *fault = core_fault();
	snprintf(fault->what, sizeof fault->what, what, number);
	fault->cycle = ctl.now;
	fault->context = ctl.context;
	fault->pc = part.who.pc;
	fault->caller = part.who.caller;
	fault->stack_overflow = fault->depth = 0;
	for (;;)
		stack_yield(reason);
}

void part_refuse(const char *what, int32_t number)
{
	end_run(CORE_REFUSED, what, number);
}

void part_object(const char *what, int32_t number)
{
	int one_at_most = (part.sensed_phases & (part.sensed_phases - 1)) == 0;
	end_run(one_at_most ? CORE_REFUSED : CORE_ILLEGAL, what, number);
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
	uint32_t before = ctl.irq_enabled;
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
	access_enables[context_bit()] |= ctl.irq_enabled & ~before;
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
	unsigned kind = ACCESS_WRITE | ACCESS_VOLATILE;
	uint8_t changed = dryspin_registers[at] ^ part.before[0];
	int in_place = part.pending_width == 1 && part.last_read == at;
	int divided = in_place && (changed & (changed - 1)) != 0;
	if (access_watched)
		access_register(at, part.pending_width, in_place && !divided ? kind | ACCESS_UNDIVIDED : kind, part.who.pc);
	if (divided)
		divide(at);
	part.last_read = NOTHING;
	apply(at, part.pending_width);
}

/* The instruction behind sei comes before any handler: what is owed passes after it. */
static void pay(void)
{
	int64_t budget = ctl.hang_budget;
	part_settle();
	if (part.sei_shadow)
		return;
	clock_pay();
	if (!ctl.irq_on)
		ctl.hang_budget = budget; /* time alone ends no loop that nothing interrupts */
}

void part_code(uint32_t pc)
{
	if (ctl.block_cycles == BY_TABLE) {
		pay();
		clock_note(core_text_base() + pc);
	}
}

static int64_t cost_of(uint8_t at)
{
	return at < IO_REACH ? 1 : 2;
}

static void read_register(uint8_t at, int width, place who)
{
	part_code(who.pc);
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
	if (!in_place)
		part_code(who.pc);
	else if (ctl.block_cycles == BY_TABLE)
		clock_note(core_text_base() + who.pc); /* nothing passes inside an sbi; `divide` sees to the rest */
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

/* Memory that is no register: a write before it is in force first, so that what guards it shows. */
static void memory(const void *address, unsigned bytes, unsigned kind, void *where)
{
	if (part.pending != NOTHING)
		part_settle();
	if (ctl.block_cycles == BY_TABLE)
		clock_note((uintptr_t)where);
	if (access_watched)
		access_seen(address, bytes, kind, where);
}

void access_settle(void)
{
	part_settle();
}

static void registers(int at, unsigned bytes, unsigned kind, place who)
{
	if (access_watched)
		access_between();
	if (bytes > 2) {
		part.who = who;
		part_refuse("register 0x%02x is accessed more than two bytes wide", at);
	} else if ((kind & ACCESS_WRITE) != 0) {
		write_register((uint8_t)at, (int)bytes, who);
	} else {
		if (access_watched)
			access_register((uint32_t)at, bytes, ACCESS_VOLATILE, who.pc);
		read_register((uint8_t)at, (int)bytes, who);
	}
}

/* Of structs, and of pairs at an odd address. */
static void ranged(const void *address, size_t bytes, unsigned kind, place who, void *where)
{
	int at = offset_of(address, 1);
	if (at < 0)
		memory(address, (unsigned)bytes, kind, where);
	else
		registers(at, (unsigned)bytes, kind, who);
}

#define HOOK(name, width, kind) \
	void __tsan_##name(void *address); \
	void __tsan_##name(void *address) \
	{ \
		int at = offset_of(address, width); \
		if (at < 0) \
			memory(address, width, kind, __builtin_return_address(0)); \
		else \
			registers(at, width, kind, (place){HERE, CALLER}); \
	}
#define HOOKS_OF(width) \
	HOOK(read##width, width, 0) \
	HOOK(write##width, width, ACCESS_WRITE) \
	HOOK(unaligned_read##width, width, 0) \
	HOOK(unaligned_write##width, width, ACCESS_WRITE) \
	HOOK(volatile_read##width, width, ACCESS_VOLATILE) \
	HOOK(volatile_write##width, width, ACCESS_VOLATILE | ACCESS_WRITE) \
	HOOK(unaligned_volatile_read##width, width, ACCESS_VOLATILE) \
	HOOK(unaligned_volatile_write##width, width, ACCESS_VOLATILE | ACCESS_WRITE)
HOOKS_OF(1)
HOOKS_OF(2)
HOOKS_OF(4)
HOOKS_OF(8)
HOOKS_OF(16)

void __tsan_init(void);
void __tsan_init(void) { }
void __tsan_read_range(void *address, size_t n);
void __tsan_read_range(void *address, size_t n)
{
	ranged(address, n, 0, (place){HERE, CALLER}, __builtin_return_address(0));
}
void __tsan_write_range(void *address, size_t n);
void __tsan_write_range(void *address, size_t n)
{
	ranged(address, n, ACCESS_WRITE, (place){HERE, CALLER}, __builtin_return_address(0));
}
void __tsan_func_entry(void *caller);
void __tsan_func_entry(void *caller) { (void)caller; }
void __tsan_func_exit(void);
void __tsan_func_exit(void) { }
void __tsan_vptr_update(void **at, void *value);
void __tsan_vptr_update(void **at, void *value) { (void)at, (void)value; }
void __tsan_vptr_read(void **at);
void __tsan_vptr_read(void **at) { (void)at; }

/* With interrupts off and no register touched nothing from outside can end a loop, and only the watchdog a
 * program: half a second of it is told as a hang. Waits that are counted in plain code end well before:
 * 65536 rounds of three blocks of six cycles are 74 ms of 16 MHz. */
static const double HANG_S = 0.5;

void access_reset(void)
{
	int64_t cycles = ctl.block_cycles == BY_TABLE ? BLOCK_CYCLES : ctl.block_cycles;
	double blocks = cycles != 0 ? HANG_S * config->f_cpu_hz / (double)cycles : 0.0;
	part.least_budget = HANG_BLOCKS - (int64_t)blocks;
}

static inline __attribute__((always_inline)) void block(uintptr_t pc)
{
	if (ctl.block_cycles == BY_TABLE) {
		/* a block may be free, as in a loop that the part's compiler has removed */
		if (--ctl.hang_budget < (ctl.irq_on ? 0 : part.least_budget))
			stack_hang(pc);
		part.sei_shadow = 0;
		pay();
		clock_note(pc);
	} else if (ctl.block_cycles != 0) {
		if (part.sei_shadow)
			part_spend(ctl.block_cycles);
		else if ((ctl.now += ctl.block_cycles) >= ctl.horizon)
			clock_catch_up();
		if (!ctl.irq_on && --ctl.hang_budget < part.least_budget)
			stack_hang(pc);
	} else if (--ctl.hang_budget <= 0) {
		stack_hang(pc);
	}
}

/* The block hook of register-level builds: what was written before is in force before time passes. */
void dryspin_block(void);
void dryspin_block(void)
{
	if (part.pending != NOTHING)
		part_settle();
	block((uintptr_t)__builtin_return_address(0));
}

/* The hook of blocks that only a check has made: no time, unless code goes round in nothing else. */
void dryspin_check(void);
void dryspin_check(void)
{
	if (part.pending != NOTHING)
		part_settle();
	if (ctl.now != part.checked_at) {
		part.checked_at = ctl.now;
		part.checks = 0;
	} else if (++part.checks > CHECKS_A_BLOCK) {
		block((uintptr_t)__builtin_return_address(0));
	}
}
