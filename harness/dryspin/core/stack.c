/*
 * stack.c - the firmware's own stack, and the way out when the firmware faults on it.
 *
 * Switching saves the six registers the calling convention preserves and swaps stack pointers:
 * a few nanoseconds. A fault inside the firmware is caught on an alternate signal stack; the
 * handler edits the saved context so that execution goes on in the host, as if the firmware had
 * yielded. A fault anywhere else goes to whoever handled it before.
 */
#define _GNU_SOURCE
#include "controller.h"
#include <elf.h>
#include <signal.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/syscall.h>
#include <time.h>
#include <ucontext.h>
#include <unistd.h>

#if !defined(__x86_64__) || !defined(__linux__)
#error "the rig runs on Linux x86-64; use a container or subsystem of that kind elsewhere"
#endif

#define STACK_BYTES (256 * 1024)
#define GUARD_BYTES (64 * 1024)
#define ALTERNATE_BYTES (64 * 1024)
/* The wall clock looks this often whether virtual time has moved; it judges no result, it only
 * ends loops that the compiler left without a hook. */
#define LOOK_MS 100
#define LOOKS_TO_HANG 5

void core_switch(void **save_sp, void *load_sp);
extern char core_switch_tail[];
__asm__(".text\n"
        ".globl core_switch\n.hidden core_switch\n.type core_switch,@function\n"
        ".globl core_switch_tail\n.hidden core_switch_tail\n"
        "core_switch:\n"
        "	push %rbp\n	push %rbx\n	push %r12\n	push %r13\n	push %r14\n	push %r15\n"
        "	mov %rsp,(%rdi)\n	mov %rsi,%rsp\n"
        "core_switch_tail:\n"
        "	pop %r15\n	pop %r14\n	pop %r13\n	pop %r12\n	pop %rbx\n	pop %rbp\n"
        "	pop %rcx\n	jmp *%rcx\n"
        ".size core_switch,.-core_switch\n");

static unsigned char *stack_memory;
static void *firmware_sp, *host_sp;
static volatile int in_firmware;
static volatile int reason;
static core_fault_report fault;
static volatile int64_t seen_now, seen_budget, seen_events;
static volatile int looks;
static const int caught[] = {SIGSEGV, SIGBUS, SIGFPE, SIGILL, SIGTRAP, SIGABRT};
static struct sigaction before[6], before_timer;

core_fault_report *core_fault(void)
{
	return &fault;
}

static int on_firmware_stack(uintptr_t sp)
{
	uintptr_t low = (uintptr_t)stack_memory;
	return in_firmware && sp >= low && sp < low + GUARD_BYTES + STACK_BYTES;
}

int stack_holds(const void *at, size_t bytes)
{
	uintptr_t low = (uintptr_t)stack_memory + GUARD_BYTES, here = (uintptr_t)at;
	return here >= low && here + bytes <= low + STACK_BYTES;
}

const void *stack_live(size_t *bytes)
{
	*bytes = (size_t)(stack_memory + GUARD_BYTES + STACK_BYTES - (unsigned char *)firmware_sp);
	return firmware_sp;
}

void stack_put(const void *live, size_t bytes)
{
	firmware_sp = stack_memory + GUARD_BYTES + STACK_BYTES - bytes;
	memcpy(firmware_sp, live, bytes);
}

int32_t stack_chain(const void *frame, uint32_t *chain, int32_t room)
{
	int32_t depth = 0;
	void *const *at = frame;
	while (depth < room && ((uintptr_t)at & 7U) == 0 && stack_holds(at, 16)) {
		uintptr_t back = (uintptr_t)at[1] - core_text_base();
		void *const *outer = at[0];
		if (back == 0 || back > UINT32_MAX)
			break;
		chain[depth++] = (uint32_t)back;
		if (outer <= at)
			break;
		at = outer;
	}
	return depth;
}

static int in_library(uintptr_t pc)
{
	uintptr_t base = core_text_base();
	const Elf64_Ehdr *header = (const void *)base;
	const Elf64_Phdr *part = (const void *)(base + header->e_phoff);
	for (int k = 0; k < header->e_phnum; k++)
		if (part[k].p_type == PT_LOAD && (part[k].p_flags & PF_X) && pc - base - part[k].p_vaddr < part[k].p_memsz)
			return 1;
	return 0;
}

static void describe(int number, uint32_t pc)
{
	fault.signal_number = number;
	fault.cycle = ctl.now;
	fault.context = ctl.context;
	fault.stack_overflow = 0;
	fault.port_calls = ctl.port_calls;
	fault.pc = pc;
	fault.caller = 0;
	fault.depth = 0;
}

/* pc as a return address: that of the faulting instruction, or, after a call through a wild
 * pointer, the one that the call has just pushed. */
static void describe_fault(const ucontext_t *u, int number, const void *address)
{
	uintptr_t base = core_text_base(), rip = (uintptr_t)u->uc_mcontext.gregs[REG_RIP];
	uintptr_t frame = (uintptr_t)u->uc_mcontext.gregs[REG_RBP], sp = (uintptr_t)u->uc_mcontext.gregs[REG_RSP];
	if (in_library(rip))
		describe(number, (uint32_t)(rip - base) + 1U);
	else
		describe(number, stack_holds((void *)sp, 8) ? (uint32_t)(*(uintptr_t *)sp - base) : 0U);
	if (stack_holds((void *)frame, 16))
		fault.caller = (uint32_t)(*(uintptr_t *)(frame + 8) - base);
	fault.depth = stack_chain((void *)frame, fault.chain, (int32_t)(sizeof fault.chain / sizeof fault.chain[0]));
	uintptr_t at = (uintptr_t)address, low = (uintptr_t)stack_memory;
	fault.stack_overflow = at >= low && at < low + GUARD_BYTES;
}

/* Continue in the host, as after a switch. */
static void leave(ucontext_t *u, int why)
{
	reason = why;
	in_firmware = 0;
	u->uc_mcontext.gregs[REG_RSP] = (greg_t)host_sp;
	u->uc_mcontext.gregs[REG_RIP] = (greg_t)core_switch_tail;
}

static void on_fault(int number, siginfo_t *info, void *context)
{
	ucontext_t *u = context;
	if (on_firmware_stack((uintptr_t)u->uc_mcontext.gregs[REG_RSP])) {
		describe_fault(u, number, info->si_addr);
		leave(u, CORE_CRASHED);
		return;
	}
	for (size_t k = 0; k < sizeof caught / sizeof caught[0]; k++) {
		if (caught[k] != number)
			continue;
		if ((before[k].sa_flags & SA_SIGINFO) != 0)
			before[k].sa_sigaction(number, info, context);
		else
			sigaction(number, &before[k], 0); /* returning faults again, there */
	}
}

static void on_look(int number, siginfo_t *info, void *context)
{
	ucontext_t *u = context;
	(void)info;
	if (!on_firmware_stack((uintptr_t)u->uc_mcontext.gregs[REG_RSP]))
		return;
	/* events: a long sleep is caught up with at one value of the clock */
	if (ctl.now != seen_now || ctl.hang_budget != seen_budget || ctl.events != seen_events) {
		seen_now = ctl.now;
		seen_events = ctl.events;
		seen_budget = ctl.hang_budget;
		looks = 0;
	} else if (++looks >= LOOKS_TO_HANG) {
		describe_fault(u, number, 0);
		leave(u, CORE_HUNG);
	}
}

static void look_at_clock(int on, timer_t *timer)
{
	if (!on) {
		timer_delete(*timer);
		sigaction(SIGVTALRM, &before_timer, 0);
		return;
	}
	struct sigaction act = {.sa_sigaction = on_look, .sa_flags = SA_SIGINFO | SA_ONSTACK | SA_RESTART};
	sigaction(SIGVTALRM, &act, &before_timer);
	struct sigevent event = {.sigev_notify = SIGEV_THREAD_ID, .sigev_signo = SIGVTALRM};
	event._sigev_un._tid = (pid_t)syscall(SYS_gettid);
	timer_create(CLOCK_MONOTONIC, &event, timer);
	struct itimerspec every = {{0, LOOK_MS * 1000000L}, {0, LOOK_MS * 1000000L}};
	timer_settime(*timer, 0, &every, 0);
}

void stack_prepare(void (*entry)(void))
{
	if (!stack_memory) {
		stack_memory = mmap(0, GUARD_BYTES + STACK_BYTES, PROT_READ | PROT_WRITE,
		                    MAP_PRIVATE | MAP_ANONYMOUS | MAP_NORESERVE, -1, 0);
		mprotect(stack_memory, GUARD_BYTES, PROT_NONE);
	}
	void **sp = (void **)(void *)(stack_memory + GUARD_BYTES + STACK_BYTES - 64);
	*--sp = 0;              /* the entry function sees the alignment of a call */
	*--sp = (void *)entry;
	for (int k = 0; k < 6; k++)
		*--sp = 0;
	firmware_sp = sp;
}

int stack_resume(void)
{
	static unsigned char alternate[ALTERNATE_BYTES];
	stack_t mine = {.ss_sp = alternate, .ss_size = sizeof alternate}, was;
	struct sigaction act = {.sa_sigaction = on_fault, .sa_flags = SA_SIGINFO | SA_ONSTACK | SA_NODEFER};
	timer_t timer;
	sigaltstack(&mine, &was);
	for (size_t k = 0; k < sizeof caught / sizeof caught[0]; k++)
		sigaction(caught[k], &act, &before[k]);
	looks = 0;
	look_at_clock(1, &timer);
	in_firmware = 1;
	core_switch(&host_sp, firmware_sp);
	in_firmware = 0;
	look_at_clock(0, &timer);
	for (size_t k = 0; k < sizeof caught / sizeof caught[0]; k++)
		sigaction(caught[k], &before[k], 0);
	was.ss_flags &= SS_DISABLE;
	sigaltstack(&was, 0);
	return reason;
}

void stack_yield(int why)
{
	if (!in_firmware)
		return;
	reason = why;
	core_switch(&firmware_sp, host_sp);
}

/* Called by the compiler's coverage hook when no port call has come for very many blocks. */
void stack_hang(uintptr_t pc)
{
	if (!in_firmware) /* a constructor that the compiler adds runs before any run */
		return;
	describe(0, (uint32_t)(pc - core_text_base()));
	void *const *frame = __builtin_frame_address(0); /* its caller is the hook; the firmware called that */
	fault.depth = stack_chain(frame[0], fault.chain, (int32_t)(sizeof fault.chain / sizeof fault.chain[0]));
	for (;;)
		stack_yield(CORE_HUNG);
}

void stack_returned(void)
{
	describe(0, 0);
	for (;;)
		stack_yield(CORE_RETURNED);
}
