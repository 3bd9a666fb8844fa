/*
 * pins.c - ports, compare outputs, and what hangs on the pins: gates behind their level shifters, marks.
 *
 * A pin is driven where its DDR bit is set: by the compare output while COM connects it, else by its PORT bit
 * (section "Alternate Port Functions"). A pin that is not driven leaves a gate to its pull-down or pull-up: off.
 * Writing ones to PIN turns PORT bits over (section "Toggling the Pin").
 */
#include "part.h"
#include <string.h>

enum { NO_PIN = 255 };

static const uint8_t of_output[3][2] = {{22, 21}, {1, 2}, {3, 19}}; /* PD6 PD5; PB1 PB2; PB3 PD3 */

int output_pin(int which, int k)
{
	return of_output[which][k];
}

int pin_is_gate(int pin)
{
	for (int x = 0; x < 3; x++)
		if (config->pins->high[x] == pin || config->pins->low[x] == pin)
			return 1;
	return 0;
}

/* Compare output connected to this pin: timer * 2 + channel, or -1. */
static int connected(int pin)
{
	for (int w = 0; w < 3; w++)
		for (int k = 0; k < 2; k++)
			if (of_output[w][k] == pin && part.timer[w].com[k] != 0)
				return 2 * w + k;
	return -1;
}

static int is_driven(int pin)
{
	return part.direction[pin >> 3] >> (pin & 7) & 1;
}

/* Level of a driven pin. */
static int driven_level(int pin)
{
	int output = connected(pin);
	return output >= 0 ? timer_output(output / 2, output % 2) : part.port[pin >> 3] >> (pin & 7) & 1;
}

uint8_t pins_level(int pin)
{
	const core_pins *p = config->pins;
	if (is_driven(pin))
		return (uint8_t)driven_level(pin);
	if (p->throttle == pin)
		return ctl.throttle_level;
	if (p->steady[pin] != CORE_FLOATING)
		return p->steady[pin];
	/* pulled up by its PORT bit; floating: taken as low */
	return part.port[pin >> 3] >> (pin & 7) & 1;
}

/* "The corresponding PIN register bit will always read as zero when this bit is set" (DIDR0, DIDR1). */
static unsigned without_buffer(int port)
{
	if (port == 1)
		return dryspin_registers[DIDR0] & 0x3FU;
	return port == 2 ? (dryspin_registers[DIDR1] & 3U) << 6 : 0;
}

static unsigned levels(int port)
{
	unsigned level = 0;
	for (int bit = 0; bit < 8; bit++)
		level |= (unsigned)pins_level(8 * port + bit) << bit;
	return level;
}

uint8_t pins_read(int port)
{
	timers_replan();
	return (uint8_t)(levels(port) & ~without_buffer(port));
}

void pins_write(uint8_t at, uint8_t value)
{
	int port = (at - PINB) / 3;
	unsigned before = levels(port), changed;
	switch ((at - PINB) % 3) {
	case 0:
		part.port[port] ^= value;
		break;
	case 1:
		part.direction[port] = value;
		break;
	default:
		part.port[port] = value;
	}
	dryspin_registers[PORTB + 3 * port] = part.port[port];
	timers_replan();
	pins_update(ctl.now, part.who);
	/* "the interrupt will trigger even if the ... pins are configured as outputs" (External Interrupts) */
	changed = before ^ levels(port);
	for (int bit = 0; bit < 8; bit++)
		if (changed >> bit & 1)
			input_changed(8 * port + bit, (int)(levels(port) >> bit & 1));
}

/* ---- gates ------------------------------------------------------------------------------------- */

static int gate_pin(int g)
{
	return g < 3 ? config->pins->high[g] : config->pins->low[g - 3];
}

static int is_told_on(int g)
{
	int pin = gate_pin(g), active = g < 3 ? config->pins->high_active : config->pins->low_active;
	return is_driven(pin) && driven_level(pin) == active;
}

static int has_carrier(int g)
{
	int output = connected(gate_pin(g));
	return is_driven(gate_pin(g)) && output >= 0 && timer_is_pwm(output / 2);
}

static uint8_t command(int x)
{
	if (has_carrier(x))
		return PORT_CHOPPED;
	if (is_told_on(x))
		return PORT_HIGH;
	if (has_carrier(x + 3)) {
		if (!config->pins->chops_low)
			part_refuse("the low FET of leg %d is chopped; [bridge] chopping is not \"low side\"", x);
		return PORT_LOW; /* the leg is told low, as a chopped one is told high; its gate follows the carrier */
	}
	return is_told_on(x + 3) ? PORT_LOW : PORT_OPEN;
}

void pins_duty(uint8_t counts, place who)
{
	if (counts == part.duty)
		return;
	part.duty = counts;
	record(SIGNAL_DUTY, counts, ctl.now, who.pc, who.caller);
}

static void commands(int64_t cycle, place who)
{
	uint8_t told[3], by_port[3];
	for (int x = 0; x < 3; x++)
		told[x] = command(x);
	if (config->pins->chops_low) {
		for (int x = 0; x < 3; x++)
			by_port[x] = (uint8_t)!has_carrier(x + 3);
		chopping_hold(told, by_port, cycle, who);
	}
	for (int x = 0; x < 3; x++) {
		uint8_t state = told[x];
		if (state == ctl.leg[x])
			continue;
		ctl.leg[x] = state;
		record((uint8_t)(SIGNAL_LEG + x), state, cycle, who.pc, who.caller);
		int output = connected(gate_pin(state == PORT_LOW ? x + 3 : x));
		if (output >= 0 && timer_is_pwm(output / 2) && state != PORT_OPEN)
			pins_duty(timer_duty(output / 2, output % 2), who);
	}
}

static int32_t shifter_delay(uint8_t on)
{
	return on ? config->pins->on_delay_cycles : config->pins->off_delay_cycles;
}

/* A gate changes at this cycle: told to be without delay, or by what has been on its way to it. */
static int any_changes(int64_t cycle, const uint8_t told[6])
{
	for (int g = 0; g < 6; g++) {
		if (told[g] != part.driven[g] && shifter_delay(told[g]) == 0)
			return 1;
		if (part.flight_out[g] != part.flight_in[g] && part.flight[g][part.flight_out[g] % FLIGHTS].cycle <= cycle)
			return 1;
	}
	return 0;
}

/* A level shifter delays, and swallows nothing. */
static void launch(int g, uint8_t on, int64_t cycle)
{
	int32_t delay = shifter_delay(on);
	uint8_t slot = part.flight_in[g]++ % FLIGHTS;
	if ((uint8_t)(part.flight_in[g] - part.flight_out[g]) > FLIGHTS)
		part_refuse("gate %d changes faster than its level shifter can follow", g);
	part.flight[g][slot].cycle = cycle + delay;
	part.flight[g][slot].on = on;
}

static void land(int64_t cycle, uint8_t gate[3])
{
	for (int g = 0; g < 6; g++)
		while (part.flight_out[g] != part.flight_in[g] && part.flight[g][part.flight_out[g] % FLIGHTS].cycle <= cycle) {
			uint8_t bit = g < 3 ? 1 : 2, on = part.flight[g][part.flight_out[g]++ % FLIGHTS].on;
			gate[g % 3] = (uint8_t)(on ? gate[g % 3] | bit : gate[g % 3] & ~bit);
		}
}

static void drive(int64_t cycle, const uint8_t gate[3], place who)
{
	if (memcmp(gate, ctl.gate, 3) == 0)
		return;
	for (int x = 0; x < 3; x++) {
		if (gate[x] == ctl.gate[x])
			continue;
		ctl.gate[x] = gate[x];
		record((uint8_t)(SIGNAL_GATE + x), gate[x], cycle, who.pc, who.caller);
	}
	bench_set_gates();
}

static void marks(int64_t cycle, place who)
{
	const core_pins *p = config->pins;
	for (int k = 0; k < p->n_mark; k++) {
		uint8_t level = (uint8_t)(is_driven(p->mark_pin[k]) && driven_level(p->mark_pin[k]));
		if (level == part.marked[k])
			continue;
		part.marked[k] = level;
		record(SIGNAL_MARK, level ? p->mark_high[k] : p->mark_low[k], cycle, who.pc, who.caller);
	}
}

void pins_update(int64_t cycle, place who)
{
	uint8_t gate[3], told[6];
	for (int g = 0; g < 6; g++)
		told[g] = (uint8_t)is_told_on(g);
	/* The plant may find the supply gone on its way to this cycle, and that reset never returns here: it must
	 * find gates and what is in flight to them as they were. */
	if (any_changes(cycle, told))
		bench_reach(cycle);
	commands(cycle, who);
	for (int g = 0; g < 6; g++) {
		if (told[g] == part.driven[g])
			continue;
		part.driven[g] = told[g];
		launch(g, told[g], cycle);
	}
	memcpy(gate, ctl.gate, sizeof gate);
	land(cycle, gate);
	drive(cycle, gate, who);
	marks(cycle, who);
	timers_tell_next();
}

/* "I/O ports ... immediately reset to their initial state when a reset source goes active" (7810C p. 44). */
void legs_release(int64_t cycle)
{
	memset(part.port, 0, sizeof part.port);
	memset(part.direction, 0, sizeof part.direction);
	memset(part.marked, 0, sizeof part.marked);
	part.chopping = (chopping){0};
	pins_update(cycle, (place){0, 0});
}
