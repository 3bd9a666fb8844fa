/*
 * steps.c - see steps.h. Tables and no arithmetic modulo six, as the part divides in software.
 */
#include "steps.h"

#include "drive_port.h"

static const uint8_t pattern[STEPS][LEGS] = {
	{PORT_CHOPPED, PORT_LOW, PORT_OPEN},
	{PORT_CHOPPED, PORT_OPEN, PORT_LOW},
	{PORT_OPEN, PORT_CHOPPED, PORT_LOW},
	{PORT_LOW, PORT_CHOPPED, PORT_OPEN},
	{PORT_LOW, PORT_OPEN, PORT_CHOPPED},
	{PORT_OPEN, PORT_LOW, PORT_CHOPPED},
};

static const uint8_t open_leg[STEPS] = {PORT_W, PORT_V, PORT_U, PORT_W, PORT_V, PORT_U};

const uint8_t *steps_pattern(uint8_t step)
{
	return pattern[step];
}

uint8_t steps_next(uint8_t step, uint8_t direction)
{
	if (direction == FORWARD)
		return (step == STEPS - 1U) ? 0U : (uint8_t)(step + 1U);
	return (step == 0U) ? (uint8_t)(STEPS - 1U) : (uint8_t)(step - 1U);
}

uint8_t steps_open_leg(uint8_t step)
{
	return open_leg[step];
}

/*
 * Forwards W falls in pattern 0, V rises in pattern 1, and so on in turn. Backwards both the sign
 * of the EMF and the order of the angles change in every pattern, and with them the pattern that
 * belongs to an angle (by three): what is left is the opposite parity.
 */
uint8_t steps_edge(uint8_t step, uint8_t direction)
{
	uint8_t odd = (uint8_t)(step & 1U);
	uint8_t rises = (direction == FORWARD) ? odd : (uint8_t)(odd ^ 1U);

	return (uint8_t)((rises != 0U) ? PORT_RISES_ABOVE : PORT_FALLS_BELOW);
}
