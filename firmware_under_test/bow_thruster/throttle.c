/*
 * throttle.c - see throttle.h. The capture register dates both edges, so a handler that comes late
 * costs no accuracy; only pulses shorter than its delay can be missed, and those are noise.
 */
#include "throttle.h"

#include "clock.h"
#include "drive_port.h"
#include "events.h"
#include "settings.h"
#include "steps.h"

static uint8_t awaited_edge;
static uint32_t rise_ticks;
static volatile throttle_pulse last;

static void await(uint8_t edge)
{
	awaited_edge = edge;
	port_throttle_edge(edge);
}

void throttle_start(void)
{
	await(PORT_RISING);
	port_throttle_interrupt(1U);
}

void on_throttle_edge(void)
{
	uint32_t at = clock_of_capture(port_throttle_ticks());
	uint32_t width;

	if (awaited_edge == PORT_RISING) {
		rise_ticks = at;
		await(PORT_FALLING);
		/* low again already: its falling edge went by while the rising one was awaited */
		if (port_throttle_level() == 0U)
			await(PORT_RISING);
		return;
	}
	await(PORT_RISING);
	width = at - rise_ticks;
	last.end_ticks = at;
	last.good = 0U;
	if (width >= PULSE_SHORTEST_TICKS && width <= PULSE_LONGEST_TICKS) {
		last.good = 1U;
		last.width_ticks = (uint16_t)width;
	}
	events_post(EVENT_PULSE);
}

throttle_pulse throttle_last(void)
{
	throttle_pulse copy;
	uint8_t were_on = port_interrupts_off();

	copy.end_ticks = last.end_ticks;
	copy.width_ticks = last.width_ticks;
	copy.good = last.good;
	port_interrupts_restore(were_on);
	return copy;
}

/*
 * Straight line from the slowest duty at the border of the dead band to full. The quotient
 * (DUTY_FULL - DUTY_SLOWEST) / (full - DEAD_BAND) is worked out once for either way, as the part
 * divides in software, kept with 12 bits of fraction and rounded up, so that the last tick before
 * full gives full.
 */
static stick_range stick;
static uint16_t duty_per_tick_q12[2]; /* by direction - FORWARD */

static uint16_t quotient_q12(uint16_t full_ticks)
{
	uint16_t way_ticks = (uint16_t)(full_ticks - DEAD_BAND_TICKS);

	return (uint16_t)((((uint32_t)DUTY_FULL - DUTY_SLOWEST) * 4096U + way_ticks - 1U) / way_ticks);
}

void throttle_range(const stick_range *range)
{
	stick = *range;
	if (BOTH_WAYS == 0U) {
		stick.neutral_ticks = stick.low_ticks;
		duty_per_tick_q12[0] = quotient_q12((uint16_t)(stick.high_ticks - stick.low_ticks));
		return;
	}
	duty_per_tick_q12[0] = quotient_q12((uint16_t)(range->high_ticks - range->neutral_ticks));
	duty_per_tick_q12[REVERSE - FORWARD] =
		quotient_q12((uint16_t)(range->neutral_ticks - range->low_ticks));
}

uint8_t throttle_is_neutral(uint16_t width_ticks)
{
	return (uint8_t)((BOTH_WAYS == 0U || width_ticks >= stick.neutral_ticks - DEAD_BAND_TICKS) &&
	                 width_ticks <= stick.neutral_ticks + DEAD_BAND_TICKS);
}

throttle_demand throttle_map(uint16_t width_ticks, throttle_demand before)
{
	throttle_demand demand = {0U, 0U};
	uint8_t direction = FORWARD;
	uint16_t away;
	uint16_t border = DEAD_BAND_LEAVE_TICKS;
	uint32_t duty;

	if (width_ticks >= stick.neutral_ticks) {
		away = (uint16_t)(width_ticks - stick.neutral_ticks);
	} else if (BOTH_WAYS != 0U) {
		away = (uint16_t)(stick.neutral_ticks - width_ticks);
		direction = REVERSE;
	} else {
		return demand;
	}
	if (before.direction == direction)
		border = DEAD_BAND_TICKS;
	if (away <= border)
		return demand;

	duty = DUTY_SLOWEST;
	duty += ((uint32_t)away - DEAD_BAND_TICKS) * duty_per_tick_q12[direction - FORWARD] >> 12;
	demand.direction = direction;
	demand.duty = (uint8_t)((duty < DUTY_FULL) ? duty : DUTY_FULL);
	return demand;
}
