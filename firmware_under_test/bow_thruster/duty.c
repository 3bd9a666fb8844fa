/*
 * duty.c - see duty.h.
 */
#include "duty.h"

#include "drive_port.h"
#include "settings.h"

typedef struct {
	uint16_t interval_ticks; /* at least */
	uint8_t duty;
} duty_row;

static volatile uint8_t duty; /* the handler that catches a turning rotor sets it, too */
static uint32_t changed_ticks;

void duty_set(uint8_t wanted)
{
	uint8_t were_on = port_interrupts_off();

	duty = wanted;
	port_duty(wanted);
	port_interrupts_restore(were_on);
}

void duty_by(int8_t change)
{
	uint8_t were_on = port_interrupts_off();

	duty_set((uint8_t)(duty + change));
	port_interrupts_restore(were_on);
}

uint8_t duty_now(void)
{
	return duty;
}

/*
 * A long pause, as between two runs, must not be made up for by a jump: the time that has gone by
 * counts for 16 counts at most.
 */
void duty_towards(uint8_t wanted, uint32_t now_ticks)
{
	uint8_t before = duty;
	uint8_t now = before;
	uint8_t were_on;
	uint8_t k;

	for (k = 0U; k < 16U && now != wanted; k++) {
		uint32_t every = (now < wanted) ? DUTY_UP_EVERY_TICKS : DUTY_DOWN_EVERY_TICKS;

		if (now_ticks - changed_ticks < every)
			break;
		changed_ticks += every;
		now = (now < wanted) ? (uint8_t)(now + 1U) : (uint8_t)(now - 1U);
	}
	if (k == 16U || now == wanted)
		changed_ticks = now_ticks;
	if (now == before)
		return;
	/* What a handler has set meanwhile stands. */
	were_on = port_interrupts_off();
	if (duty == before)
		duty_set(now);
	port_interrupts_restore(were_on);
}

/*
 * Duty whose mean voltage is no higher than the EMF of a rotor at that speed, on the highest supply
 * meant, 255 (2 E + 0.6 V) / 12.6 V, but never below the slowest. A rotor is caught with little push; a
 * lower supply costs some counts of slew.
 */
static const duty_row matched[] = {
	{1000U, DUTY_SLOWEST},
	{700U, 70U},
	{500U, 94U},
	{400U, 127U},
	{300U, 156U},
	{250U, 204U},
};

uint8_t duty_matched(uint16_t interval_ticks)
{
	uint8_t k;

	for (k = 0U; k < (uint8_t)(sizeof matched / sizeof matched[0]); k++) {
		if (interval_ticks >= matched[k].interval_ticks)
			return matched[k].duty;
	}
	return matched[k - 1U].duty;
}

/*
 * The current is (D V - 2 E) / (2 R) with 2 E = 9.5 mV s times the shaft's speed. Each row keeps it
 * below some 35 A on 12.6 V with 0.195 ohm in all, should the rotor be held at that speed.
 */
static const duty_row limits[] = {
	{2400U, 100U}, /* below 1190 rpm, 1.1 V */
	{1600U, 120U}, /* 1790 rpm, 1.7 V */
	{1000U, 150U}, /* 2860 rpm, 2.7 V */
	{700U, 190U},  /* 4080 rpm, 3.9 V */
	{500U, 225U},  /* 5710 rpm, 5.5 V */
};

uint8_t duty_limit(uint16_t interval_ticks)
{
	uint8_t k;

	if (interval_ticks < OVERSPEED_TICKS) {
		uint8_t now = duty;

		return (now > DUTY_SLOWEST) ? (uint8_t)(now - 1U) : DUTY_SLOWEST;
	}
	for (k = 0U; k < (uint8_t)(sizeof limits / sizeof limits[0]); k++) {
		if (interval_ticks >= limits[k].interval_ticks)
			return limits[k].duty;
	}
	return DUTY_FULL;
}
