/*
 * instructions.c - instructions that touch no register: interrupts on and off, sleep, watchdog, waits.
 */
#include "part.h"
#include <dryspin/calls.h>

/* A loop without a block of its own: time goes to the next event, and on. In a handler that nothing
 * interrupts no event ends it, only a reset; in the main line it is how a program stops for good. */
void dryspin_endless(void);
void dryspin_endless(void)
{
	part_settle();
	if (ctl.context != 0 && !ctl.irq_on && ctl.watchdog_bites == NEVER)
		stack_hang((uintptr_t)__builtin_return_address(0));
	for (;;)
		clock_wait(ctl.horizon > ctl.now ? ctl.horizon : ctl.now + 1);
}

static void instruction(place who)
{
	part_code(who.pc);
	part_settle();
	part.last_read = NOTHING;
	part.who = who;
	part_spend(1);
}

void dryspin_cli(void)
{
	instruction((place){HERE, CALLER});
	interrupts_set(0, part.who.pc);
}

void dryspin_sei(void)
{
	instruction((place){HERE, CALLER});
	part.sei_shadow = !ctl.irq_on;
	interrupts_set(1, part.who.pc);
	part_look_again();
}

void dryspin_nop(void)
{
	instruction((place){HERE, CALLER});
}

void dryspin_wdr(void)
{
	instruction((place){HERE, CALLER});
	watchdog_feed();
	part_look_again();
}

/* Data sheet, section "Idle Mode". */
void dryspin_sleep(void)
{
	uint8_t mode;
	part_code(HERE);
	part_settle();
	part.who = (place){HERE, CALLER};
	mode = dryspin_registers[SMCR];
	if (!(mode & BIT(SE)))
		part_refuse("sleep with SE of SMCR clear: the part would go on at once", 0);
	if ((mode & (BIT(SM0) | BIT(SM1) | BIT(SM2))) != 0)
		part_refuse("sleep mode SM = %d stops clocks, which the rig does not model; use idle", mode >> SM0 & 7);
	ctl.now += 1;
	part.sei_shadow = 0;
	if (!ctl.irq_on) {
		/* nothing but a reset wakes it */
		ctl.endless = 1;
		clock_catch_up();
	}
	ctl.slept_on = (uintptr_t)__builtin_frame_address(0);
	clock_sleep();
	ctl.slept_on = 0;
	part_spend(4);
}

void dryspin_delay(int64_t cycles)
{
	part_code(HERE);
	part_settle();
	part.last_read = NOTHING;
	part.who = (place){HERE, CALLER};
	while (cycles > 0) {
		int64_t ahead = ctl.horizon - ctl.now;
		int64_t step = ahead < 1 ? 1 : ahead < cycles ? ahead : cycles;
		cycles -= step;
		part_spend(step);
	}
}
