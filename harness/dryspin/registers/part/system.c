/*
 * system.c - interrupts of pins, byte store, watchdog, sleep, reset flags, status, marks.
 */
#include "part.h"

enum { EXTERNAL_VECTOR = 1, CHANGE_VECTOR = 3, UNLOCKED_CYCLES = 4, READ_HALT = 4, WRITE_HALT = 2 };

static uint32_t changed_bits(uint32_t word, uint32_t mask, uint32_t bits)
{
	return (word & ~mask) | (bits & mask);
}

void system_reset(void)
{
	part.unlocked_until = part.watchdog_until = 0;
}

/* ---- byte store: section "EEPROM Data Memory" --------------------------------------------------- */

static uint16_t store_address(void)
{
	return (uint16_t)(dryspin_registers[EEARL] | (dryspin_registers[EEARH] & 1) << 8);
}

static void write_store_control(uint8_t value)
{
	int busy = ctl.store_done != NEVER, unlocked = ctl.now <= part.unlocked_until;
	if (value & BIT(EERIE))
		part_refuse("the store's own interrupt (EERIE) is not modelled; look at EEPE", 0);
	if (!busy && (value & (BIT(EEPM0) | BIT(EEPM1))))
		part_refuse("erasing and writing the store apart (EEPM = %d) is not modelled", value >> EEPM0 & 3);
	if ((value & BIT(EERE)) && !busy) { /* "neither possible to read ... nor to change the address" while busy */
		dryspin_registers[EEDR] = store_read(store_address());
		part_spend(READ_HALT);
	}
	/* "EEMPE is cleared by hardware after four clock cycles": EEPE must follow within them (8271H p. 23) */
	if ((value & BIT(EEPE)) && !busy && unlocked) {
		store_write(store_address(), dryspin_registers[EEDR], part.who.pc, part.who.caller);
		part.unlocked_until = 0;
		part_spend(WRITE_HALT);
	} else if (value & BIT(EEMPE)) {
		if (!unlocked)
			part.unlocked_until = ctl.now + UNLOCKED_CYCLES;
	}
	dryspin_registers[EECR] = 0;
}

static uint8_t read_store_control(void)
{
	return (uint8_t)((ctl.store_done != NEVER ? BIT(EEPE) : 0) |
	                 (ctl.now <= part.unlocked_until && part.unlocked_until != 0 ? BIT(EEMPE) : 0));
}

/* ---- watchdog: section "Timed Sequences for Changing the Configuration" -------------------------- */

static void write_watchdog(uint8_t value, uint8_t before)
{
	int open = ctl.now <= part.watchdog_until && part.watchdog_until != 0;
	int forced = (dryspin_registers[MCUSR] & BIT(WDRF)) != 0; /* "WDE is overridden by WDRF" */
	uint8_t doublings = (uint8_t)((value & 7) | (value & BIT(WDP3) ? 8 : 0));
	if (value & BIT(WDIE))
		part_refuse("the watchdog's interrupt mode (WDIE) is not modelled; let it reset", 0);
	if ((value & BIT(WDCE)) && (value & BIT(WDE))) {
		part.watchdog_until = ctl.now + UNLOCKED_CYCLES;
		dryspin_registers[WDTCSR] = before | BIT(WDE);
		return;
	}
	if (!open) { /* neither off nor another time without the sequence */
		value = (uint8_t)((before & ~BIT(WDE)) | ((before | value) & BIT(WDE)));
		doublings = (uint8_t)((value & 7) | (value & BIT(WDP3) ? 8 : 0));
	}
	part.watchdog_until = 0;
	if (forced)
		value |= BIT(WDE);
	dryspin_registers[WDTCSR] = value & (uint8_t)~(BIT(WDCE) | BIT(WDIF));
	if (value & BIT(WDE))
		watchdog_on(doublings);
	else
		watchdog_off();
}

/* ---- all of them -------------------------------------------------------------------------------- */

static void write_status(uint8_t value)
{
	interrupts_set((value & BIT(SREG_I)) != 0, part.who.pc);
	part.sei_shadow = 0;
}

static void external_interrupts(void)
{
	uint8_t on = dryspin_registers[EIMSK];
	for (int k = 0; k < 2; k++)
		if ((on & BIT(k)) && (dryspin_registers[EICRA] >> (2 * k) & 3) == 0)
			part_refuse("INT%d by level (ISC = 0) is not modelled; choose an edge in EICRA first", k);
	ctl.irq_enabled = changed_bits(ctl.irq_enabled, 3U << EXTERNAL_VECTOR, (uint32_t)on << EXTERNAL_VECTOR);
}

void system_write(uint8_t at, uint8_t value, uint8_t before)
{
	int store_busy = ctl.store_done != NEVER;
	switch (at) {
	case EIMSK: case EICRA:
		external_interrupts();
		break;
	case EIFR:
		ctl.irq_pending &= ~((uint32_t)(value & 3) << EXTERNAL_VECTOR);
		break;
	case PCICR:
		ctl.irq_enabled = changed_bits(ctl.irq_enabled, 7U << CHANGE_VECTOR, (uint32_t)value << CHANGE_VECTOR);
		break;
	case PCIFR:
		ctl.irq_pending &= ~((uint32_t)(value & 7) << CHANGE_VECTOR);
		break;
	case EECR:
		write_store_control(value);
		break;
	case EEARL: case EEARH: case EEDR:
		if (store_busy)
			dryspin_registers[at] = before;
		break;
	case SREG:
		write_status(value);
		break;
	case WDTCSR:
		write_watchdog(value, before);
		break;
	case MCUSR: /* flags are cleared by writing zeros */
		dryspin_registers[at] = part.reset_flags = value & before;
		break;
	case MCUCR:
		if (value & (BIT(PUD) | BIT(IVSEL)))
			part_refuse("MCUCR = 0x%02x: neither vectors elsewhere nor pull-ups off for all pins are modelled", value);
		break;
	case PRR:
		if (value & (BIT(PRTIM0) | BIT(PRTIM1) | BIT(PRTIM2)))
			part_refuse("PRR = 0x%02x stops timers, which the rig does not model; stop their clocks by CS", value);
		break;
	default: /* SMCR, PCMSK, GPIOR: what is written is what stands */
		break;
	}
	if (at == config->pins->mark_register)
		record(SIGNAL_MARK, value, ctl.now, part.who.pc, part.who.caller);
	part_look_again();
}

uint8_t system_read(uint8_t at)
{
	switch (at) {
	case EIFR:
		return (uint8_t)(ctl.irq_pending >> EXTERNAL_VECTOR & 3);
	case PCIFR:
		return (uint8_t)(ctl.irq_pending >> CHANGE_VECTOR & 7);
	case EECR:
		return read_store_control();
	case EEDR:
		return ctl.store_done != NEVER ? ctl.store_value : dryspin_registers[at];
	case SREG:
		return (uint8_t)((dryspin_registers[at] & ~BIT(SREG_I)) | (ctl.irq_on ? BIT(SREG_I) : 0));
	default:
		return dryspin_registers[at];
	}
}
