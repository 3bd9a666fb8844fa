/*
 * fingerprint.c - what two states of firmware and controller are told apart by, apart from when they are.
 *
 * The firmware's variables, with its moments turned into ages; where it sleeps, or its whole stack while it does
 * not; the controller's settings, with times from now; the store; roughly, the plant. Left out: what a sleeping
 * main line keeps in registers and on its stack (frames hold words that were never written, of calls before);
 * the phase of the 16-bit timer and of the carriers, currents, small moves of bus and rotor.
 */
#include "controller.h"
#include <math.h>
#include <string.h>

/* Times to come are taken in steps of this: handlers come a few cycles sooner or later. */
#define GRAIN_CYCLES 1024

extern unsigned char fw_data_begin[], fw_data_end[], fw_bss_begin[], fw_bss_end[];
extern unsigned char fw_noinit_begin[], fw_noinit_end[];

typedef struct {
	uint64_t waits_at[2]; /* where it waits: return addresses, of the port call and of the function around it */
	int32_t match[2], watchdog, sector, speed_rad_s, bus_tenths_v;
	uint32_t irq_enabled, irq_pending;
	uint8_t irq_on, context, over_current;
	uint8_t leg[3], gate[3], sense_leg, sense_edge;
	uint8_t throttle_edge, throttle_level, reset_cause, converter_on, held, endless, storing;
	uint8_t store[STORE_BYTES];
} digest_of_controller;

static int32_t ahead(int64_t cycle, int counts)
{
	return counts && cycle != NEVER ? (int32_t)((cycle - ctl.now) / GRAIN_CYCLES) : -1;
}

static void look(digest_of_controller *d)
{
	memset(d, 0, sizeof *d);
	for (int k = 0; k < 2; k++)
		d->match[k] = ahead(ctl.next_match[k], (ctl.irq_enabled >> (IRQ_COMPARE_A + k)) & 1);
	d->watchdog = ahead(ctl.watchdog_bites, 1) / 16;
	d->sector = (int32_t)plant.s.sector;
	d->speed_rad_s = (int32_t)lrint(plant.s.w_rad_s);
	d->bus_tenths_v = (int32_t)lrint(plant.s.v_bus_v * 10.0);
	d->irq_on = ctl.irq_on;
	d->irq_enabled = ctl.irq_enabled;
	d->irq_pending = ctl.irq_pending & ctl.irq_enabled;
	d->context = ctl.context;
	d->over_current = ctl.limiter_pulls;
	memcpy(d->leg, ctl.leg, sizeof d->leg);
	memcpy(d->gate, ctl.gate, sizeof d->gate);
	d->sense_leg = ctl.sense_leg;
	d->sense_edge = ctl.sense_edge;
	d->throttle_edge = ctl.throttle_edge;
	d->throttle_level = ctl.throttle_level;
	d->reset_cause = ctl.reset_cause;
	d->converter_on = ctl.converter_on;
	d->held = ctl.held;
	d->endless = ctl.endless;
	d->storing = ctl.store_done != NEVER;
	memcpy(d->store, ctl.store, sizeof d->store);
}

/* Behind the seam ctl holds all settings, and the timer's zero. */
__attribute__((weak)) int64_t part_fingerprint(unsigned char *into, int64_t room)
{
	(void)into;
	(void)room;
	return 0;
}

__attribute__((weak)) int64_t part_timer_zero(void)
{
	return ctl.timer_zero;
}

/* The moment in the variable as an age, in the copy. */
static void age(const core_moment *m, int64_t grain, const unsigned char *variable, unsigned char *copy)
{
	uint32_t mask = 0xFFFFFFFFU >> (32 - 8 * m->bytes), held = 0;
	memcpy(&held, variable, (size_t)m->bytes);
	int32_t ticks = m->ticks == 0 ? 1 : m->ticks;
	uint32_t now = (uint32_t)((ctl.now - part_timer_zero()) / 8 / ticks);
	int64_t since = m->ticks == 0 ? (int64_t)held : (int64_t)((now - held) & mask) * ticks;
	since = since >= m->within ? m->within : since - since % grain;
	uint32_t told = (uint32_t)(since / ticks);
	memcpy(copy, &told, (size_t)m->bytes);
}

int64_t core_fingerprint(const core_moment *moments, int64_t n, int64_t grain, unsigned char *into,
                         int64_t room)
{
	unsigned char *const begin[] = {fw_data_begin, fw_bss_begin, fw_noinit_begin};
	unsigned char *const end[] = {fw_data_end, fw_bss_end, fw_noinit_end};
	digest_of_controller d;
	size_t live;
	const unsigned char *stack = stack_live(&live);
	int64_t used = 0;
	look(&d);
	if (ctl.slept_on != 0 && ctl.context == 0) {
		const uint64_t *port = (const uint64_t *)ctl.slept_on;
		d.waits_at[0] = port[1];
		d.waits_at[1] = ((const uint64_t *)port[0])[1];
		live = 0;
	}
	for (int r = 0; r < 3; r++) {
		int64_t bytes = end[r] - begin[r];
		if (used + bytes > room)
			return -1;
		memcpy(into + used, begin[r], (size_t)bytes);
		for (int64_t k = 0; k < n; k++) {
			const unsigned char *at = (const unsigned char *)core_text_base() + moments[k].at;
			if (at >= begin[r] && at + moments[k].bytes <= end[r])
				age(&moments[k], grain, at, into + used + (at - begin[r]));
		}
		used += bytes;
	}
	if (used + (int64_t)(live + sizeof d) > room)
		return -1;
	memcpy(into + used, stack, live);
	memcpy(into + used + live, &d, sizeof d);
	used += (int64_t)(live + sizeof d);
	int64_t more = part_fingerprint(into + used, room - used);
	return more < 0 ? -1 : used + more;
}
