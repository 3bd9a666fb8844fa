/*
 * converter.c - the ADC, which shares its multiplexer with the comparator.
 *
 * While it is on, the comparator's minus input is the part's other fixed pin, tied to ground, so
 * the phase reads as below the neutral whatever it does. A conversion takes 13 ADC clocks of 128
 * cycles, the first one after turning on 25; the input is sampled 1.5 (13.5) clocks in.
 */
#include "controller.h"

#define CLOCK 128

void converter_reset(void)
{
	ctl.converter_on = 0;
	ctl.converter_sample = ctl.converter_done = NEVER;
	ctl.converted = 0;
}

void converter_start(uint32_t pc, uint32_t caller)
{
	int first = !ctl.converter_on;
	if (ctl.converter_done != NEVER)
		return;
	ctl.converter_on = 1;
	ctl.converter_sample = ctl.now + (first ? 27 : 3) * CLOCK / 2;
	ctl.converter_done = ctl.now + (first ? 25 : 13) * CLOCK;
	if (first) {
		record(SIGNAL_CONVERTER, 1, ctl.now, pc, caller);
		comparator_blinded();
	}
}

void converter_off(uint32_t pc, uint32_t caller)
{
	if (!ctl.converter_on)
		return;
	ctl.converter_on = 0;
	ctl.converter_sample = ctl.converter_done = NEVER;
	record(SIGNAL_CONVERTER, 0, ctl.now, pc, caller);
	comparator_blinded();
}

int64_t converter_next(void)
{
	return ctl.converter_sample < ctl.converter_done ? ctl.converter_sample : ctl.converter_done;
}

/* Ten bits of the bus voltage behind its divider against the controller's supply. */
void converter_at(int64_t cycle)
{
	if (ctl.converter_sample <= cycle) {
		ctl.converter_sample = NEVER;
		bench_reach(cycle);
		double share = plant.s.v_bus_v * config->bus_divider / supply_vcc();
		ctl.sampled = (uint16_t)(share >= 1.0 ? 1023.0 : share * 1023.0 + 0.5);
	}
	if (ctl.converter_done <= cycle) {
		ctl.converter_done = NEVER;
		ctl.converted = ctl.sampled;
		ctl.irq_pending |= 1U << IRQ_CONVERTER;
	}
}
