/*
 * registers.c - which unit a register belongs to.
 */
#include "part.h"

static int within(uint8_t at, uint8_t first, uint8_t last)
{
	return at >= first && at <= last;
}

static int is_port(uint8_t at)
{
	return within(at, PINB, PORTD);
}

static int is_analog(uint8_t at)
{
	return at == ACSR || within(at, ADCL, ADMUX) || at == DIDR0 || at == DIDR1;
}

static int is_serial(uint8_t at)
{
	return within(at, UCSR0A, UDR0) && at != UCSR0C + 1;
}

static int is_system(uint8_t at)
{
	switch (at) {
	case PCIFR: case EIFR: case EIMSK: case PCICR: case EICRA: case PCMSK0: case PCMSK1: case PCMSK2:
	case GPIOR0: case GPIOR1: case GPIOR2: case EECR: case EEDR: case EEARL: case EEARH:
	case SMCR: case MCUSR: case MCUCR: case SREG: case WDTCSR: case PRR:
		return 1;
	default:
		return 0;
	}
}

void part_read(uint8_t at)
{
	uint8_t value;
	if (is_port(at))
		value = (at - PINB) % 3 == 0 ? pins_read((at - PINB) / 3) : dryspin_registers[at];
	else if (is_timer_register(at))
		value = timer_read(at);
	else if (is_analog(at))
		value = analog_read(at);
	else if (is_serial(at))
		value = serial_read(at);
	else if (is_system(at))
		value = system_read(at);
	else
		part_refuse("reads data address 0x%02x, where the rig models no register", at);
	dryspin_registers[at] = value;
}

void part_write(uint8_t at, uint8_t value, uint8_t before)
{
	if (is_port(at))
		pins_write(at, value);
	else if (is_timer_register(at))
		timer_write(at, value);
	else if (is_analog(at))
		analog_write(at, value);
	else if (is_serial(at))
		serial_write(at, value);
	else if (is_system(at))
		system_write(at, value, before);
	else
		part_refuse("writes data address 0x%02x, where the rig models no register", at);
}
