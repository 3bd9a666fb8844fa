/*
 * checkpoint.c - a run frozen while it has yielded, and set going again from there, as often as wanted.
 *
 * Saved: controller, plant, the firmware's variables and the live part of its stack; some 20 KB. Not saved:
 * the host's buffers and its config, and the circuits that the plant has worked out, which follow from its
 * parameters. Nor is what the C library keeps for the firmware (rand, malloc): the part has no such library.
 * Saved bytes hold addresses, so they mean nothing to another process.
 */
#include "controller.h"
#include <string.h>

extern unsigned char fw_data_begin[], fw_data_end[], fw_bss_begin[], fw_bss_end[];
extern unsigned char fw_noinit_begin[], fw_noinit_end[];

enum { OWN = 5 };

typedef struct { region of[OWN + PART_REGIONS]; int n; } all_regions;

/* Behind the seam: the controller is all there is. */
__attribute__((weak)) int part_regions(region r[PART_REGIONS])
{
	(void)r;
	return 0;
}

static all_regions regions(void)
{
	all_regions all;
	region *r = all.of;
	r[0] = (region){&ctl, sizeof ctl};
	r[1] = (region){&plant, sizeof plant};
	r[2] = (region){fw_data_begin, (size_t)(fw_data_end - fw_data_begin)};
	r[3] = (region){fw_bss_begin, (size_t)(fw_bss_end - fw_bss_begin)};
	r[4] = (region){fw_noinit_begin, (size_t)(fw_noinit_end - fw_noinit_begin)};
	all.n = OWN + part_regions(r + OWN);
	return all;
}

void core_pause(int64_t cycle)
{
	pause_cycle = cycle;
	ctl.horizon = 0;
}

void core_pause_asleep(int64_t cycle)
{
	pause_asleep_cycle = cycle;
	ctl.horizon = 0;
}

int64_t core_settled(void)
{
	return ctl.plan_valid && ctl.plan_cycle > ctl.now ? ctl.plan_cycle : ctl.now;
}

int64_t core_checkpoint_bytes(void)
{
	all_regions r = regions();
	size_t live, sum = sizeof live;
	stack_live(&live);
	for (int k = 0; k < r.n; k++)
		sum += r.of[k].bytes;
	return (int64_t)(sum + live);
}

void core_checkpoint(void *into)
{
	all_regions r = regions();
	size_t live;
	unsigned char *to = into;
	const void *stack = stack_live(&live);
	for (int k = 0; k < r.n; k++) {
		memcpy(to, r.of[k].at, r.of[k].bytes);
		to += r.of[k].bytes;
	}
	memcpy(to, &live, sizeof live);
	memcpy(to + sizeof live, stack, live);
}

void core_continue(const void *from, const core_config *c)
{
	all_regions r = regions();
	size_t live;
	const unsigned char *at = from;
	plant_params before = plant.p;
	for (int k = 0; k < r.n; k++) {
		memcpy(r.of[k].at, at, r.of[k].bytes);
		at += r.of[k].bytes;
	}
	memcpy(&live, at, sizeof live);
	stack_put(at + sizeof live, live);
	if (memcmp(&before, &plant.p, sizeof before) != 0) {
		/* another drive was on the rig meanwhile */
		circuit_forget();
		circuit_renew(plant.circuit);
		circuit_renew(plant.q.circuit);
	}
	config = c;
	pause_cycle = pause_asleep_cycle = NEVER;
	bench_new_course();
}
