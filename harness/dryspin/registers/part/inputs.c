/*
 * inputs.c - the throttle pin: its level, pin-change and external interrupts, and the capture unit of timer 1.
 *
 * The capture unit sits behind two cycles of synchroniser and, with ICNC1, a canceller that wants four equal
 * samples and adds four cycles (DS40001906C p. 165). An unread capture is overwritten. Changing the edge sets
 * the flag, of which the data sheet says only that it must be cleared by software: the worse case.
 *
 * With ACIC it listens to the comparator instead, "directly connected to the input capture front-end logic"
 * (register ACSR): before the synchroniser that ACO has. Choosing another source may capture (8025I p. 121).
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
	return part.timer[1].top_from != TOP_CAPTURE;
}

static int64_t delay(void)
{
	return SYNCHRONISER + (cancels() ? CANCELLER : 0);
}

static int64_t sooner(int64_t a, int64_t b)
{
	return a < b ? a : b;
}

void capture_reset(void)
{
	part.from_comparator = part.edge_in = part.edge_out = 0;
}

/* When the oldest edge of the comparator has come through to the capture unit. */
static int64_t edge_through(void)
{
	return part.edge_in == part.edge_out ? NEVER : part.edge[part.edge_out % EDGES].cycle + delay();
}

int64_t capture_next(void)
{
	int64_t pin = edge_cycle(ctl.throttle_at), unit = edge_cycle(ctl.capture_at);
	int64_t next = sooner(pin, unit == NEVER ? NEVER : unit + delay());
	if (!part.from_comparator)
		return next;
	return sooner(sooner(next, edge_through()), comparator_next());
}

static void set_flag(int vector)
{
	ctl.irq_pending |= BIT(vector);
}

void input_changed(int pin, int level)
{
	uint8_t mask = dryspin_registers[PCMSK0 + (pin >> 3)];
	/* the flag is set where the change is enabled, whether or not its interrupt is */
	if (mask & BIT(pin & 7))
		set_flag(CHANGE_VECTOR + (pin >> 3));
	for (int k = 0; k < 2; k++) {
		uint8_t sense = dryspin_registers[EICRA] >> (2 * k) & 3;
		if (pin == EXTERNAL_PIN + k && (sense == 1 || (sense == 2 && !level) || (sense == 3 && level)))
			set_flag(EXTERNAL_VECTOR + k);
	}
}

static void capture_edge(int is_wanted, int64_t cycle)
{
	if (!is_wanted || !captures())
		return;
	timer_capture_count(cycle);
	set_flag(CAPTURE_VECTOR);
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
	if (config->pins->throttle == CAPTURE_PIN && !part.from_comparator)
		capture_edge(rising == wanted, cycle);
}

/* The comparator's next levels, ACO one cycle behind what the capture unit sees: 1 below the neutral. */
static void follow_comparator(int64_t cycle)
{
	for (uint32_t k = ctl.pipe_out; k != ctl.pipe_in && ctl.pipe[k % PIPE_SIZE].cycle <= cycle; k++) {
		uint8_t level = !ctl.pipe[k % PIPE_SIZE].level;
		if (level == part.edge_level)
			continue;
		part.edge_level = level;
		if (cancels() && part.edge_in != part.edge_out &&
		    ctl.pipe[k % PIPE_SIZE].cycle - 1 - part.edge[(part.edge_in - 1) % EDGES].cycle < CANCELLER) {
			part.edge_in--; /* it went back within four samples: neither edge is one */
			continue;
		}
		part.edge[part.edge_in % EDGES].cycle = ctl.pipe[k % PIPE_SIZE].cycle - 1;
		part.edge[part.edge_in++ % EDGES].level = level;
		if ((uint8_t)(part.edge_in - part.edge_out) > EDGES)
			part.edge_out++; /* cannot be: they are cycles apart, and six cycles late at most */
	}
}

static void capture_comparator(int64_t cycle)
{
	int wanted = (dryspin_registers[TCCR1B] & BIT(ICES1)) != 0;
	follow_comparator(cycle);
	while (edge_through() <= cycle)
		capture_edge(part.edge[part.edge_out++ % EDGES].level == wanted, cycle);
}

void capture_from_comparator(int on)
{
	if (on == part.from_comparator)
		return;
	part.from_comparator = (uint8_t)on;
	part.edge_in = part.edge_out = 0;
	part.edge_level = !ctl.sense_above;
	/* "changing trigger source can trigger a capture": the worse case */
	capture_edge(1, ctl.now);
	part_look_again();
}

void capture_at(int64_t cycle)
{
	if (edge_cycle(ctl.throttle_at) <= cycle) {
		ctl.throttle_level = (ctl.throttle_at & 1) == 0;
		ctl.throttle_at++;
		record(SIGNAL_THROTTLE, ctl.throttle_level, cycle, 0, 0);
		if (config->pins->throttle != CORE_NO_PIN)
			input_changed(config->pins->throttle, ctl.throttle_level);
	}
	if (part.from_comparator)
		capture_comparator(cycle);
	int64_t edge = edge_cycle(ctl.capture_at);
	if (edge != NEVER && edge + delay() <= cycle)
		capture(cycle);
}
