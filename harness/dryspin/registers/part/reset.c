/*
 * reset.c - the part after a reset: initial values of the registers (section "Register Summary").
 */
#include "part.h"

int part_regions(region r[PART_REGIONS])
{
	r[0] = (region){&part, sizeof part};
	r[1] = (region){(void *)(uintptr_t)dryspin_registers, sizeof dryspin_registers};
	return 2;
}

/* Beginning and end of the firmware's store section, 0 without one; made by the build. */
extern const unsigned char *const dryspin_store_image[2];

/* Initialisers of variables in the store, which the programmer writes there; a scenario's bytes go before. */
static void program_store(void)
{
	const unsigned char *from = dryspin_store_image[0], *end = dryspin_store_image[1];
	for (int32_t k = 0; from != 0 && from + k < end && k < STORE_BYTES; k++)
		if (k >= config->n_store)
			ctl.store[k] = from[k];
}

/* Called when a reset source goes active. */
void carriers_reset(void)
{
	if (ctl.now == 0) {
		part = (part_state){0}; /* a run begins; what is in flight to the gates outlives a reset */
		program_store();
	}
	for (int k = 0; k < 256; k++)
		dryspin_registers[k] = 0;
	part.pending = part.last_read = part.sei_shadow = 0;
	part.shared_high = part.shared_taken = 0;
	part.depth = 0;
	part.released = 0;
	part.duty = 0;
	access_reset();
	serial_reset();
	system_reset();
	vectors_watch();
}

/* Called then, and again when the start-up time is over: the program begins, and clocks count from here. */
void timer_reset(void)
{
	timers_reset();
	if (!part.released++)
		return;
	ctl.irq_pending = 0;
	/* the flags of a reset pile up until the firmware clears them, or power comes anew */
	part.reset_flags = ctl.reset_cause == PORT_RESET_POWER_ON ? ctl.reset_cause : part.reset_flags | ctl.reset_cause;
	dryspin_registers[MCUSR] = part.reset_flags;
	if (ctl.reset_cause == PORT_RESET_WATCHDOG)
		dryspin_registers[WDTCSR] = BIT(WDE);
	analog_reset();
	vectors_watch();
}
