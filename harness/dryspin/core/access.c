/*
 * access.c - what the checked build's firmware does to its variables, and who could have come between.
 *
 * The checked build is compiled with -fsanitize=thread and linked without its run-time library; the
 * hooks below take its place. Each instruction at each variable leaves one row: who ran it, and which
 * handlers were enabled meanwhile. That a handler did come between is not needed: whether it could
 * have is judged afterwards, from the rows alone. Rows are kept outside the run's state, so they add up
 * over runs. A plain build never comes here. The hooks are weak, so that firmware may bring its own.
 */
#define _GNU_SOURCE
#include "controller.h"
#include <string.h>
#include <sys/mman.h>

#define ROOM (1U << 15)

extern unsigned char fw_data_begin[], fw_data_end[], fw_bss_begin[], fw_bss_end[];
extern unsigned char fw_noinit_begin[], fw_noinit_end[];
extern char __ehdr_start[] __attribute__((visibility("hidden")));
extern char _end[] __attribute__((visibility("hidden")));

uint32_t access_enables[32];
int access_watched;

static core_access *table;
static uint32_t rows;
static int full;
static uintptr_t base, low, span;

static uintptr_t first_of_three(const void *a, const void *b, const void *c)
{
	uintptr_t x = (uintptr_t)a, y = (uintptr_t)b, z = (uintptr_t)c;
	x = x < y ? x : y;
	return x < z ? x : z;
}

static uintptr_t last_of_three(const void *a, const void *b, const void *c)
{
	uintptr_t x = (uintptr_t)a, y = (uintptr_t)b, z = (uintptr_t)c;
	x = x > y ? x : y;
	return x > z ? x : z;
}

void core_accesses_watch(void)
{
	if (!table)
		table = mmap(0, ROOM * sizeof *table, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
	memset(table, 0, ROOM * sizeof *table);
	memset(access_enables, 0, sizeof access_enables);
	rows = 0;
	full = 0;
	access_watched = 1;
	base = core_text_base();
	low = first_of_three(fw_data_begin, fw_bss_begin, fw_noinit_begin);
	span = last_of_three(fw_data_end, fw_bss_end, fw_noinit_end) - low;
}

int32_t core_accesses(core_access *to, int32_t room)
{
	int32_t n = 0;
	for (uint32_t k = 0; table && k < ROOM; k++) {
		if (table[k].bytes == 0)
			continue;
		if (n < room)
			to[n] = table[k];
		n++;
	}
	return full ? -1 : n;
}

uint32_t core_enables(int by)
{
	return access_enables[by & 31];
}

/* An access to be torn, and one that has been: the compiler's load or store follows its hook, so what is
 * left to do is done at the next hook. */
static struct { uint32_t pc; int32_t handler; int64_t from; } wanted;
static struct { unsigned char *at; unsigned bytes; int write; } torn;
static core_tear_report report = {.cycle = -1};

void core_tear(uint32_t pc, int32_t handler, int64_t from_cycle)
{
	wanted.pc = pc;
	wanted.handler = handler;
	wanted.from = from_cycle;
	torn.at = 0;
	report.cycle = -1;
}

core_tear_report *core_torn(void)
{
	return &report;
}

static void tear(uint32_t at, unsigned bytes, unsigned kind)
{
	unsigned char *here = (unsigned char *)(base + at);
	int on = ctl.irq_on && (ctl.irq_enabled >> wanted.handler & 1);
	if (!on || ctl.now < wanted.from || bytes < 2 || bytes > sizeof report.before)
		return;
	wanted.pc = 0;
	report.cycle = ctl.now;
	report.bytes = (int32_t)bytes;
	memcpy(report.before, here, bytes);
	if ((kind & ACCESS_WRITE) == 0) {
		interrupts_run(wanted.handler);
		memcpy(report.after, here, bytes);
		here[0] = report.before[0];
		memcpy(report.between, here, bytes);
	}
	torn.at = here;
	torn.bytes = bytes;
	torn.write = (kind & ACCESS_WRITE) != 0;
}

static void finish_tear(void)
{
	unsigned char *here = torn.at, whole[sizeof report.before];
	torn.at = 0;
	if (!torn.write) {
		memcpy(here, report.after, torn.bytes);
		return;
	}
	memcpy(whole, here, torn.bytes);
	memcpy(here + 1, report.before + 1, torn.bytes - 1);
	memcpy(report.between, here, torn.bytes);
	interrupts_run(wanted.handler);
	memcpy(here + 1, whole + 1, torn.bytes - 1);
	memcpy(report.after, here, torn.bytes);
}

void access_between(void)
{
	if (torn.at)
		finish_tear();
}

static void note(uint32_t at, unsigned bytes, unsigned kind, uintptr_t where)
{
	uint32_t pc = (uint32_t)(where - base);
	access_between();
	if (pc == wanted.pc && (kind & (ACCESS_STRAY | ACCESS_REGISTER)) == 0)
		tear(at, bytes, kind);
	uint32_t who = 1U << context_bit(), under = ctl.irq_on ? ctl.irq_enabled : 0;
	uint32_t k = (pc * 2654435761U ^ at * 2246822519U) >> 17;
	for (;; k = (k + 1) & (ROOM - 1)) {
		core_access *row = &table[k];
		if (row->pc == pc && row->at == at && row->kind == kind) {
			row->by |= who;
			row->under |= under;
			return;
		}
		if (row->bytes == 0) {
			if (rows >= ROOM - ROOM / 8) {
				full = 1;
				return;
			}
			rows++;
			*row = (core_access){ctl.now, pc, at, who, under, (uint16_t)bytes, (uint8_t)kind, {0}};
			return;
		}
	}
}

/* Neither a variable of the firmware nor its stack: constants may be read, all else is a stray pointer.
 * Addresses that are nobody's end in a fault by themselves. */
static void elsewhere(uintptr_t at, unsigned bytes, unsigned kind, uintptr_t where)
{
	if (stack_holds((void *)at, 1))
		return;
	if ((kind & ACCESS_WRITE) == 0 && at - base < low - base)
		return;
	if (at - base < (uintptr_t)_end - base)
		note((uint32_t)(at - base), bytes, kind | ACCESS_STRAY, where);
	else
		note(0, bytes, kind | ACCESS_STRAY, where);
}

void access_seen(const void *address, size_t bytes, unsigned kind, void *where)
{
	uintptr_t at = (uintptr_t)address;
	if (!table || bytes == 0)
		return;
	if (at - low < span)
		note((uint32_t)(at - base), bytes > UINT16_MAX ? UINT16_MAX : (unsigned)bytes, kind, (uintptr_t)where);
	else
		elsewhere(at, bytes > UINT16_MAX ? UINT16_MAX : (unsigned)bytes, kind, (uintptr_t)where);
}

void access_register(uint32_t at, unsigned bytes, unsigned kind, uint32_t pc)
{
	note(at, bytes, kind | ACCESS_REGISTER, base + pc);
}

#define HOOK(name, bytes, kind) \
	__attribute__((weak)) void __tsan_##name(void *at); \
	void __tsan_##name(void *at) \
	{ \
		access_seen(at, bytes, kind, __builtin_return_address(0)); \
	}
#define HOOKS_OF(size) \
	HOOK(read##size, size, 0) \
	HOOK(write##size, size, ACCESS_WRITE) \
	HOOK(unaligned_read##size, size, 0) \
	HOOK(unaligned_write##size, size, ACCESS_WRITE) \
	HOOK(volatile_read##size, size, ACCESS_VOLATILE) \
	HOOK(volatile_write##size, size, ACCESS_VOLATILE | ACCESS_WRITE) \
	HOOK(unaligned_volatile_read##size, size, ACCESS_VOLATILE) \
	HOOK(unaligned_volatile_write##size, size, ACCESS_VOLATILE | ACCESS_WRITE)
HOOKS_OF(1)
HOOKS_OF(2)
HOOKS_OF(4)
HOOKS_OF(8)
HOOKS_OF(16)

#define RANGE_HOOK(name, kind) \
	__attribute__((weak)) void __tsan_##name(void *at, size_t bytes); \
	void __tsan_##name(void *at, size_t bytes) \
	{ \
		access_seen(at, bytes, kind, __builtin_return_address(0)); \
	}
RANGE_HOOK(read_range, 0)
RANGE_HOOK(write_range, ACCESS_WRITE)

__attribute__((weak)) void __tsan_init(void);
void __tsan_init(void)
{
}

__attribute__((weak)) void __tsan_func_entry(void *pc);
void __tsan_func_entry(void *pc)
{
	(void)pc;
}

__attribute__((weak)) void __tsan_func_exit(void);
void __tsan_func_exit(void)
{
}

/* Nothing behind the seam: a port call acts before it returns. */
__attribute__((weak)) void access_settle(void)
{
}

/* Copies and fills by name or by the compiler: the checked build's calls are led here. */
void *access_memcpy(void *to, const void *from, size_t bytes);
void *access_memcpy(void *to, const void *from, size_t bytes)
{
	access_settle();
	access_seen(from, bytes, 0, __builtin_return_address(0));
	access_seen(to, bytes, ACCESS_WRITE, __builtin_return_address(0));
	return memcpy(to, from, bytes);
}

void *access_memmove(void *to, const void *from, size_t bytes);
void *access_memmove(void *to, const void *from, size_t bytes)
{
	access_settle();
	access_seen(from, bytes, 0, __builtin_return_address(0));
	access_seen(to, bytes, ACCESS_WRITE, __builtin_return_address(0));
	return memmove(to, from, bytes);
}

void *access_memset(void *to, int value, size_t bytes);
void *access_memset(void *to, int value, size_t bytes)
{
	access_settle();
	access_seen(to, bytes, ACCESS_WRITE, __builtin_return_address(0));
	return memset(to, value, bytes);
}

/* Newer compilers of the clang family call these where they copy or fill by themselves. */
void *__tsan_memcpy(void *to, const void *from, size_t bytes)
	__attribute__((weak, alias("access_memcpy")));
void *__tsan_memmove(void *to, const void *from, size_t bytes)
	__attribute__((weak, alias("access_memmove")));
void *__tsan_memset(void *to, int value, size_t bytes) __attribute__((weak, alias("access_memset")));

int access_memcmp(const void *a, const void *b, size_t bytes);
int access_memcmp(const void *a, const void *b, size_t bytes)
{
	access_settle();
	access_seen(a, bytes, 0, __builtin_return_address(0));
	access_seen(b, bytes, 0, __builtin_return_address(0));
	return memcmp(a, b, bytes);
}
