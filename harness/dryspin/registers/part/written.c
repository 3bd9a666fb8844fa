/*
 * written.c - of builds that are made to be compared: every write to a register in the recording, and the
 * branches before a moment.
 *
 * Such a build calls these before the store, where what the register makes of the value is told by other
 * signals, and before each branch on a condition.
 */
#include "part.h"

static void tell(const volatile void *address, size_t width, int32_t value, place who)
{
	uintptr_t at = (uintptr_t)address - (uintptr_t)dryspin_registers;
	if (at < sizeof dryspin_registers - width)
		record(SIGNAL_REGISTER, (int32_t)at << 16 | value, ctl.now, who.pc, who.caller);
}

void dryspin_wrote_byte(const volatile uint8_t *at, uint8_t value);
void dryspin_wrote_byte(const volatile uint8_t *at, uint8_t value)
{
	tell(at, sizeof value, value, (place){HERE, CALLER});
}

void dryspin_wrote_pair(const volatile uint16_t *at, uint16_t value);
void dryspin_wrote_pair(const volatile uint16_t *at, uint16_t value)
{
	tell(at, sizeof value, value, (place){HERE, CALLER});
}

enum { BRANCHES = 4096 }; /* from where two runs part to the write that shows it are some dozens */
static core_branch last[BRANCHES];
static int64_t come_to, until = -1;

void core_branches_until(int64_t cycle)
{
	come_to = 0;
	until = cycle;
}

int32_t core_branches(core_branch *into, int32_t room)
{
	int64_t first = come_to > BRANCHES ? come_to - BRANCHES : 0;
	for (int64_t k = first; k < come_to && k - first < room; k++)
		into[k - first] = last[k % BRANCHES];
	return (int32_t)(come_to - first);
}

void dryspin_branch(uint8_t held);
void dryspin_branch(uint8_t held)
{
	if (ctl.now <= until)
		last[come_to++ % BRANCHES] = (core_branch){ctl.now, HERE, held};
}
