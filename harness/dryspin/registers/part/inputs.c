/*
 * inputs.c - the throttle pin: its level, pin-change and external interrupts, and the capture unit of timer 1.
 *
 * The capture unit sits behind two cycles of synchroniser and, with ICNC1, a canceller that wants four equal
 * samples and adds four cycles (DS40001906C p. 165). An unread capture is overwritten. Changing the edge sets
 * the flag, of which the data sheet says only that it must be cleared by software: the worse case.
 */
#include "part.h"

enum { CAPTURE_PIN = 0, SYNCHRONISER = 2, CANCELLER = 4, CAPTURE_VECTOR = 10, EXTERNAL_VECTOR = 1, CHANGE_VECTOR = 3 };
enum { EXTERNAL_PIN = 18 }; /* INT0 = PD2, INT1 = PD3 */

static int64_t edge_cycle(int32_t k)
{
	return k < config->n_throttle ? config->throttle_cycle[k] : NEVER;
}

static int cancels(void)
{
	return (dryspin_registers[TCCR1B] & BIT(ICNC1)) != 0;
}

static int captures(void)
{
	return config->pins->throttle == CAPTURE_PIN && part.timer[1].top_from != TOP_CAPTURE;
}

void capture_reset(void)
{
}

int64_t capture_next(void)
{
	int64_t pin = edge_cycle(ctl.throttle_at), unit = edge_cycle(ctl.capture_at);
	unit = unit == NEVER ? NEVER : unit + SYNCHRONISER + (cancels() ? CANCELLER : 0);
	return pin < unit ? pin : unit;
}

static void set_flag(int vector)
{
	ctl.irq_pending |= BIT(vector);
}

void input_changed(int pin, int level, int64_t cycle)
{
	uint8_t mask = dryspin_registers[PCMSK0 + (pin >> 3)];
	(void)cycle;
	/* the flag is set where the change is enabled, whether or not its interrupt is */
	if (mask & BIT(pin & 7))
		set_flag(CHANGE_VECTOR + (pin >> 3));
	for (int k = 0; k < 2; k++) {
		uint8_t sense = dryspin_registers[EICRA] >> (2 * k) & 3;
		if (pin == EXTERNAL_PIN + k && (sense == 1 || (sense == 2 && !level) || (sense == 3 && level)))
			set_flag(EXTERNAL_VECTOR + k);
	}
}

static void capture(int64_t cycle)
{
	int64_t edge = edge_cycle(ctl.capture_at);
	int rising = (ctl.capture_at & 1) == 0;
	int wanted = (dryspin_registers[TCCR1B] & BIT(ICES1)) != 0;
	ctl.capture_at++;
	if (cancels() && edge_cycle(ctl.capture_at) - edge < CANCELLER) {
		ctl.capture_at++; /* the level went back: neither edge is one */
		return;
	}
	if (!captures() || rising != wanted)
		return;
	timer_capture_count(cycle);
	set_flag(CAPTURE_VECTOR);
}

void capture_at(int64_t cycle)
{
	if (edge_cycle(ctl.throttle_at) <= cycle) {
		ctl.throttle_level = (ctl.throttle_at & 1) == 0;
		ctl.throttle_at++;
		record(SIGNAL_THROTTLE, ctl.throttle_level, cycle, 0, 0);
		if (config->pins->throttle != CORE_NO_PIN)
			input_changed(config->pins->throttle, ctl.throttle_level, cycle);
	}
	int64_t edge = edge_cycle(ctl.capture_at);
	if (edge != NEVER && edge + SYNCHRONISER + (cancels() ? CANCELLER : 0) <= cycle)
		capture(cycle);
}
