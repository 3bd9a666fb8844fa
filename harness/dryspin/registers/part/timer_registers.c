/*
 * timer_registers.c - the timers' registers: what a write makes of a timer, what a read gives.
 *
 * 16-bit registers go through one shared byte: write the high half first, read the low half first ("Accessing
 * 16-bit Registers"). An access of both halves in one C expression is taken in that order.
 */
#include "part.h"
#include "timers.h"

/* Timer 0 and 2, by WGM2:0 (table "Waveform Generation Mode Bit Description"). */
static void set_mode_8(timer *t, int wgm)
{
	static const uint8_t kind[8] = {NORMAL, PHASE, CLEAR_ON_MATCH, FAST, RESERVED, PHASE, RESERVED, FAST};
	t->kind = kind[wgm];
	t->top_from = wgm == 2 || wgm == 5 || wgm == 7 ? TOP_COMPARE_A : TOP_FIXED;
	t->fixed_top = t->max = 0xFF;
}

/* Timer 1, by WGM13:0. */
static void set_mode_16(timer *t, int wgm)
{
	static const uint8_t kind[16] = {NORMAL, PHASE, PHASE, PHASE, CLEAR_ON_MATCH, FAST, FAST, FAST,
	                                 PHASE_FREQUENCY, PHASE_FREQUENCY, PHASE, PHASE,
	                                 CLEAR_ON_MATCH, RESERVED, FAST, FAST};
	static const uint8_t from[16] = {TOP_FIXED, TOP_FIXED, TOP_FIXED, TOP_FIXED, TOP_COMPARE_A, TOP_FIXED,
	                                 TOP_FIXED, TOP_FIXED, TOP_CAPTURE, TOP_COMPARE_A, TOP_CAPTURE,
	                                 TOP_COMPARE_A, TOP_CAPTURE, TOP_FIXED, TOP_CAPTURE, TOP_COMPARE_A};
	static const uint16_t bits[4] = {0xFFFF, 0xFF, 0x1FF, 0x3FF};
	t->kind = kind[wgm];
	t->top_from = from[wgm];
	t->fixed_top = bits[wgm & 3];
	t->max = 0xFFFF;
}

static void set_clock(int which, int cs)
{
	static const int32_t shared[8] = {0, 1, 8, 64, 256, 1024, -1, -1};
	static const int32_t second[8] = {0, 1, 8, 32, 64, 128, 256, 1024};
	timer *t = &part.timer[which];
	int32_t divider = which == 2 ? second[cs] : shared[cs];
	if (divider < 0)
		part_refuse("timer %d counts edges at a pin, which the rig does not model", which);
	if (divider == t->divider)
		return;
	t->divider = divider;
	if (divider != 0) {
		int64_t zero = part.prescaler_zero[which == 2];
		t->at = ctl.now - (ctl.now - zero) % divider;
	}
}

static void check_mode(int which)
{
	const timer *t = &part.timer[which];
	if (!runs(t))
		return;
	if (t->kind == RESERVED)
		part_object("timer %d runs in a mode that is reserved (WGM bits)", which);
	for (int k = 0; k < 2; k++)
		if (is_pwm(t) && t->com[k] == 1)
			part_refuse("timer %d: COM = 1 with PWM is not modelled; use 2 or 3", which);
}

static void changed(int which)
{
	timer *t = &part.timer[which];
	if (!is_pwm(t))
		timer_take_over(t);
	if (!is_dual(t))
		t->down = 0;
	check_mode(which);
	timer_plan(which);
	pins_update(ctl.now, part.who);
	ctl.plan_valid = 0;
}

static void write_count(int which, uint16_t value)
{
	timer *t = &part.timer[which];
	t->count = value;
	t->blocked = 1; /* "will block any compare match that occurs in the next timer clock cycle" */
	if (value >= timer_top(t) && is_dual(t))
		t->down = value == timer_top(t);
}

static void write_compare(int which, int k, uint16_t value)
{
	timer *t = &part.timer[which];
	t->written[k] = value;
	if (!runs(t) && is_pwm(t))
		t->compare[k] = value; /* no tick at which it could be taken over is on its way */
	if (t->com[k] != 0 && is_pwm(t) && pin_is_gate(output_pin(which, k)))
		pins_duty(timer_duty(which, k), part.who);
}

static void force(int which, uint8_t value)
{
	if ((value & (BIT(FOC0A) | BIT(FOC0B))) == 0 || timer_is_pwm(which))
		return;
	for (int k = 0; k < 2; k++) {
		timer *t = &part.timer[which];
		if ((value & BIT(k == 0 ? FOC0A : FOC0B)) != 0 && t->com[k] != 0)
			t->latch[k] = t->com[k] == 1 ? !t->latch[k] : t->com[k] == 3;
	}
}

int is_timer_register(uint8_t at)
{
	return (at >= TIFR0 && at <= TIFR2) || (at >= GTCCR && at <= OCR0B) || (at >= TIMSK0 && at <= TIMSK2) ||
	       (at >= TCCR1A && at <= OCR1BH && at != TCCR1C + 1) || (at >= TCCR2A && at <= OCR2B);
}

int is_timer_pair(uint8_t at)
{
	return at == TCNT1 || at == ICR1 || at == OCR1A || at == OCR1B;
}

static void write_flags(int which, uint8_t value)
{
	uint32_t clear = 0;
	clear |= value & BIT(TOV0) ? BIT(wrap_vector[which]) : 0;
	clear |= value & BIT(OCF0A) ? BIT(match_vector[which][0]) : 0;
	clear |= value & BIT(OCF0B) ? BIT(match_vector[which][1]) : 0;
	clear |= which == 1 && (value & BIT(ICF1)) ? BIT(CAPTURE_VECTOR) : 0;
	ctl.irq_pending &= ~clear;
}

static void write_mask(int which, uint8_t value)
{
	uint32_t all = BIT(wrap_vector[which]) | BIT(match_vector[which][0]) | BIT(match_vector[which][1]);
	uint32_t on = 0;
	all |= which == 1 ? BIT(CAPTURE_VECTOR) : 0;
	on |= value & BIT(TOIE0) ? BIT(wrap_vector[which]) : 0;
	on |= value & BIT(OCIE0A) ? BIT(match_vector[which][0]) : 0;
	on |= value & BIT(OCIE0B) ? BIT(match_vector[which][1]) : 0;
	on |= which == 1 && (value & BIT(ICIE1)) ? BIT(CAPTURE_VECTOR) : 0;
	ctl.irq_enabled = (ctl.irq_enabled & ~all) | on;
	vectors_watch();
}

static void hold(int which_prescaler, int held)
{
	for (int w = 0; w < 3; w++) {
		timer *t = &part.timer[w];
		if ((w == 2) != which_prescaler)
			continue;
		t->halted = (uint8_t)held;
		t->at = ctl.now;
	}
	part.prescaler_zero[which_prescaler] = ctl.now;
}

/* "Writing the TSM bit to one ... the corresponding prescaler reset signals [are kept] asserted. This ensures
 * that the corresponding Timer/Counters are halted" (section "Timer/Counter Prescaler"). */
static void write_general(uint8_t value)
{
	int keep = (value & BIT(TSM)) != 0;
	for (int p = 0; p < 2; p++) {
		int reset = (value & BIT(p == 0 ? PSRSYNC : PSRASY)) != 0;
		int was_held = part.timer[p == 0 ? 0 : 2].halted;
		if (reset || was_held)
			hold(p, keep && reset);
	}
	dryspin_registers[GTCCR] = keep ? value : 0;
	for (int w = 0; w < 3; w++)
		changed(w);
}

static void bring_up(void)
{
	for (int w = 0; w < 3; w++)
		timer_reach(&part.timer[w], ctl.now);
}

static void write_control(uint8_t at)
{
	int which = timer_of(at);
	timer *t = &part.timer[which];
	uint8_t a = dryspin_registers[which == 0 ? TCCR0A : which == 1 ? TCCR1A : TCCR2A];
	uint8_t b = dryspin_registers[which == 0 ? TCCR0B : which == 1 ? TCCR1B : TCCR2B];
	int was_pwm = is_pwm(t);
	t->com[0] = a >> COM0A0 & 3;
	t->com[1] = a >> COM0B0 & 3;
	if (which == 1)
		set_mode_16(t, (a & 3) | (b >> WGM12 & 3) << 2);
	else
		set_mode_8(t, (a & 3) | (b >> WGM02 & 1) << 2);
	if (!was_pwm && is_pwm(t))
		timer_take_over(t);
	set_clock(which, b & 7);
	changed(which);
}

void timer_write(uint8_t at, uint8_t value)
{
	int which = timer_of(at);
	bring_up();
	switch (at) {
	case TIFR0: case TIFR1: case TIFR2:
		write_flags(which, value);
		break;
	case TIMSK0: case TIMSK1: case TIMSK2:
		write_mask(which, value);
		break;
	case GTCCR:
		write_general(value);
		return;
	case TCCR0A: case TCCR1A: case TCCR2A:
	case TCCR1B:
		write_control(at);
		return;
	case TCCR0B: case TCCR2B:
		dryspin_registers[at] = value & (uint8_t)~(BIT(FOC0A) | BIT(FOC0B));
		write_control(at);
		force(which, value);
		break;
	case TCCR1C:
		dryspin_registers[at] = 0;
		force(which, value);
		break;
	case TCNT0: case TCNT2:
		write_count(which, value);
		break;
	case OCR0A: case OCR2A:
		write_compare(which, 0, value);
		break;
	case OCR0B: case OCR2B:
		write_compare(which, 1, value);
		break;
	case TCNT1H: case ICR1H: case OCR1AH: case OCR1BH:
		part.shared_high = value;
		part.shared_taken = 1;
		return;
	default: /* the low byte of a pair takes the shared one with it */
		timer_write_pair(at, (uint16_t)(value | part.shared_high << 8));
		return;
	}
	changed(which);
}

void timer_write_pair(uint8_t at, uint16_t value)
{
	timer *t = &part.timer[1];
	bring_up();
	if (at == TCNT1)
		write_count(1, value);
	else if (at == OCR1A || at == OCR1B)
		write_compare(1, at == OCR1B, value);
	else if (t->top_from == TOP_CAPTURE)
		t->icr = value; /* "can only be written when using a mode that utilizes [it] for TOP" */
	changed(1);
}

uint16_t timer_capture_count(int64_t cycle)
{
	timer_reach(&part.timer[1], cycle);
	part.timer[1].icr = part.timer[1].count;
	return part.timer[1].icr;
}

void timers_reset(void)
{
	for (int w = 0; w < 3; w++) {
		timer *t = &part.timer[w];
		*t = (timer){.at = ctl.now, .next = NEVER};
		if (w == 1)
			set_mode_16(t, 0);
		else
			set_mode_8(t, 0);
	}
	part.prescaler_zero[0] = part.prescaler_zero[1] = ctl.now;
	timers_tell_next();
}

