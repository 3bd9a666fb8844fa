/*
 * vectors.c - handlers by vector, lowest first (section "Interrupts"): 4 cycles to respond, 3 for the jump in
 * the vector table, 4 to return (8271H section 7.7.1). Flags are cleared on entry, except the one that says how
 * things stand: transmit buffer empty.
 */
#include "part.h"
#include "timers.h"

enum { ENTRY_CYCLES = 7, RETURN_CYCLES = 4, VECTORS = 26, DEEPEST = 64 };
enum { EMPTY_VECTOR = 19 };

extern void (*const dryspin_vectors[VECTORS])(void); /* made by the build, 0 where there is no handler */

void vectors_watch(void)
{
	int empty = part.waiting < 0 && (dryspin_registers[UCSR0B] & BIT(TXEN0));
	ctl.irq_pending = (ctl.irq_pending & ~BIT(EMPTY_VECTOR)) | (empty ? BIT(EMPTY_VECTOR) : 0);
	part_look_again();
}

void interrupts_serve(void)
{
	interrupts_run(__builtin_ctz(ctl.irq_enabled & ctl.irq_pending));
}

void interrupts_run(int k)
{
	uint8_t interrupted = ctl.context;
	uint8_t taken = part.last_read;
	ctl.irq_pending &= ~BIT(k);
	vectors_watch();
	timers_replan();
	if (dryspin_vectors[k] == 0)
		part_object("the interrupt of vector %d is on and has no handler: the part would start again from "
		            "address 0, its registers as they stand", k + 1);
	if (ctl.context == 0)
		part.depth = 0;
	if (++part.depth > DEEPEST)
		part_object("the handler of vector %d is entered again and again before it ends: something in it turns "
		            "interrupts on", k + 1);
	ctl.context = (uint8_t)(k + 1);
	interrupts_set(0, 0);
	ctl.handlers++;
	record(SIGNAL_HANDLER, ctl.context, ctl.now, 0, 0);
	clock_spend(ENTRY_CYCLES);
	int64_t owed = ctl.owed; /* by what was interrupted, which goes on afterwards */
	ctl.owed = 0;
	dryspin_vectors[k]();
	part_settle();
	clock_pay();
	ctl.owed = owed;
	clock_spend(RETURN_CYCLES);
	record(SIGNAL_HANDLER, interrupted, ctl.now, 0, 0);
	part.depth--;
	part.last_read = taken;
	ctl.context = interrupted;
	interrupts_set(1, 0);
	ctl.handlers_run++;
}
