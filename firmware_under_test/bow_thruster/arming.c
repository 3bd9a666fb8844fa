/*
 * arming.c - see arming.h. A stick left off neutral, a bad pulse or a missing frame begins anew:
 * noise that looks like a neutral pulse now and then must never add up to an armed thruster.
 */
#include "arming.h"

#include "settings.h"

static uint8_t run_length;
static uint32_t run_begin_ticks;
static uint32_t run_end_ticks;
static uint32_t frame_ticks;

void arming_restart(void)
{
	run_length = 0U;
}

static uint8_t is_neutral(const throttle_pulse *pulse)
{
	return (uint8_t)(pulse->good != 0U && throttle_is_neutral(pulse->width_ticks) != 0U);
}

/*
 * Transmitters differ in their frame, 2.5 ms to 25 ms, so the run measures it: a gap half as long
 * again as the one before holds a missing frame. For the same reason both pulses and time count.
 */
uint8_t arming_pulse(const throttle_pulse *pulse)
{
	uint32_t gap_ticks = pulse->end_ticks - run_end_ticks;

	if (is_neutral(pulse) == 0U) {
		run_length = 0U;
		return 0U;
	}
	if (gap_ticks > FRAME_LONGEST_TICKS ||
	    (run_length > 1U && gap_ticks > frame_ticks + (frame_ticks >> 1)))
		run_length = 0U;
	if (run_length == 0U)
		run_begin_ticks = pulse->end_ticks;
	frame_ticks = gap_ticks;
	run_end_ticks = pulse->end_ticks;
	if (run_length < ARMING_PULSES)
		run_length++;
	return (uint8_t)(run_length >= ARMING_PULSES && pulse->end_ticks - run_begin_ticks >= ARMING_TICKS);
}
