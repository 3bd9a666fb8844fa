/*
 * store.c - the byte store (EEPROM): writes that take time, that can fail silently, and that a
 * power cut can leave half-done.
 *
 * A write erases the byte (all bits 1), then programs it. Between the two unlock steps lie at most
 * four cycles; a handler served there makes the write silently not happen. A reset lets a write
 * under way finish; power cut at that moment leaves the byte as it was, partly erased, erased,
 * partly programmed or new, and in the partial states some bits may read differently every time.
 * While a write is under way the address cannot be changed and a read does not happen, so that the
 * data register still holds the byte being written.
 */
#include "controller.h"
#include <string.h>

/* 26 368 cycles of the calibrated oscillator at 8 MHz: typically 3.3 ms. */
#define WRITE_S (26368.0 / 8e6)

static uint64_t mixed(uint64_t z)
{
	z = (z ^ (z >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
	z = (z ^ (z >> 27)) * UINT64_C(0x94D049BB133111EB);
	return z ^ (z >> 31);
}

void store_start(void)
{
	memset(ctl.store, 0xFF, sizeof ctl.store);
	memset(ctl.unsteady, 0, sizeof ctl.unsteady);
	for (int32_t k = 0; k < config->n_store && k < STORE_BYTES; k++)
		ctl.store[k] = config->store[k];
	ctl.store_done = NEVER;
}

uint8_t store_read(uint16_t at)
{
	if (ctl.store_done != NEVER)
		return ctl.store_value;
	uint8_t wavering = ctl.unsteady[at % STORE_BYTES];
	if (!wavering)
		return ctl.store[at % STORE_BYTES];
	uint64_t noise = mixed(config->noise_seed + ++ctl.store_reads * UINT64_C(0x9E3779B97F4A7C15));
	return (uint8_t)(ctl.store[at % STORE_BYTES] ^ (wavering & noise));
}

void store_write(uint16_t at, uint8_t value, uint32_t pc, uint32_t caller)
{
	if (ctl.store_done != NEVER)
		return;
	ctl.store_at = (uint16_t)(at % STORE_BYTES);
	ctl.store_value = value;
	ctl.store_started = ctl.now;
	ctl.store_done = ctl.now + (int64_t)(WRITE_S * config->f_cpu_hz);
	record(SIGNAL_STORE, ctl.store_at << 8 | value, ctl.now, pc, caller);
	record(SIGNAL_STORE_BUSY, 1, ctl.now, pc, caller);
}

int64_t store_next(void)
{
	return ctl.store_done;
}

void store_finish(int64_t cycle)
{
	ctl.store[ctl.store_at] = ctl.store_value;
	ctl.unsteady[ctl.store_at] = 0;
	ctl.store_done = NEVER;
	record(SIGNAL_STORE_BUSY, 0, cycle, 0, 0);
}

/* What the cell holds after power has gone at this share of the write. */
void store_power_lost(int64_t cycle)
{
	if (ctl.store_done == NEVER)
		return;
	double share = (double)(cycle - ctl.store_started) / (double)(ctl.store_done - ctl.store_started);
	uint64_t chance = mixed(config->noise_seed ^ (uint64_t)cycle * UINT64_C(0x9E3779B97F4A7C15));
	uint8_t *cell = &ctl.store[ctl.store_at];
	uint8_t target = share < 0.5 ? 0xFF : ctl.store_value;
	uint8_t from = share < 0.5 ? *cell : 0xFF;
	if (share < 0.05) {
		target = from;
	} else if (!(share >= 0.45 && share < 0.55) && share < 0.95) {
		uint8_t moved = (uint8_t)chance; /* the bits that have got there */
		uint8_t differ = from ^ target;
		target = (uint8_t)((from & ~moved) | (target & moved));
		if (chance & 0x100U)
			ctl.unsteady[ctl.store_at] = (uint8_t)(differ & (chance >> 16));
	} else if (share < 0.55) {
		target = 0xFF;
	}
	*cell = target;
	ctl.store_done = NEVER;
	ctl.horizon = LOOK_AGAIN;
	record(SIGNAL_STORE_BUSY, 0, cycle, 0, 0);
}

const uint8_t *core_store(void)
{
	return ctl.store;
}
