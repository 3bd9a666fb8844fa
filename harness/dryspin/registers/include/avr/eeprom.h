/*
 * avr/eeprom.h - the byte store by functions; data sheet, section "EEPROM Data Memory".
 *
 * A variable marked EEMEM gives an address of the store, as it does on the part, and its initialiser what the
 * programmer has written there (0 without one, as in the file for the programmer); bytes that a scenario
 * gives go before. Without such variables the store is erased, 0xFF. Words go low byte first.
 */
#ifndef DRYSPIN_AVR_EEPROM_H
#define DRYSPIN_AVR_EEPROM_H

#include <avr/io.h>
#include <dryspin/calls.h>
#include <stddef.h>

#define EEMEM __attribute__((section("dryspin_eeprom")))

extern uint8_t __start_dryspin_eeprom[] __attribute__((weak, visibility("hidden")));
extern uint8_t __stop_dryspin_eeprom[] __attribute__((weak, visibility("hidden")));

#define eeprom_is_ready() bit_is_clear(EECR, EEPE)
#define eeprom_busy_wait() do { } while (!eeprom_is_ready())

static inline uint16_t dryspin_store_address(const void *at)
{
	/* wider than an address of the part: its widths are had on this machine, too */
	uint64_t place = (uint64_t)at, first = (uint64_t)__start_dryspin_eeprom;

	if (first != 0U && place >= first && place < (uint64_t)__stop_dryspin_eeprom)
		place -= first;
	return (uint16_t)place;
}

static inline uint8_t dryspin_store_read(uint16_t at)
{
	eeprom_busy_wait();
	EEAR = at;
	EECR |= (uint8_t)_BV(EERE);
	return EEDR;
}

static inline void dryspin_store_write(uint16_t at, uint8_t value)
{
	uint8_t status;

	eeprom_busy_wait();
	EEAR = at;
	EEDR = value;
	status = SREG;
	dryspin_cli();
	EECR |= (uint8_t)_BV(EEMPE);
	EECR |= (uint8_t)_BV(EEPE);
	SREG = status;
}

static inline uint8_t eeprom_read_byte(const uint8_t *at)
{
	return dryspin_store_read(dryspin_store_address(at));
}

static inline void eeprom_write_byte(uint8_t *at, uint8_t value)
{
	dryspin_store_write(dryspin_store_address(at), value);
}

static inline void eeprom_update_byte(uint8_t *at, uint8_t value)
{
	if (eeprom_read_byte(at) != value)
		eeprom_write_byte(at, value);
}

static inline uint16_t eeprom_read_word(const uint16_t *at)
{
	uint16_t first = dryspin_store_address(at), low = dryspin_store_read(first);

	return (uint16_t)(low | dryspin_store_read((uint16_t)(first + 1U)) << 8);
}

static inline void eeprom_write_word(uint16_t *at, uint16_t value)
{
	uint16_t first = dryspin_store_address(at);

	dryspin_store_write(first, (uint8_t)value);
	dryspin_store_write((uint16_t)(first + 1U), (uint8_t)(value >> 8));
}

static inline void eeprom_update_word(uint16_t *at, uint16_t value)
{
	if (eeprom_read_word(at) != value)
		eeprom_write_word(at, value);
}

static inline void eeprom_read_block(void *to, const void *from, size_t n)
{
	uint16_t first = dryspin_store_address(from);

	for (size_t k = 0; k < n; k++)
		((uint8_t *)to)[k] = dryspin_store_read((uint16_t)(first + k));
}

static inline void eeprom_write_block(const void *from, void *to, size_t n)
{
	uint16_t first = dryspin_store_address(to);

	for (size_t k = 0; k < n; k++)
		dryspin_store_write((uint16_t)(first + k), ((const uint8_t *)from)[k]);
}

static inline void eeprom_update_block(const void *from, void *to, size_t n)
{
	uint16_t first = dryspin_store_address(to);

	for (size_t k = 0; k < n; k++)
		if (dryspin_store_read((uint16_t)(first + k)) != ((const uint8_t *)from)[k])
			dryspin_store_write((uint16_t)(first + k), ((const uint8_t *)from)[k]);
}

#endif
