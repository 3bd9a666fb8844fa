/* EEPROM.h - the byte store as sketches know it. */
#ifndef DRYSPIN_SKETCH_STORE_H
#define DRYSPIN_SKETCH_STORE_H

#include "sketch.h"
#include <avr/eeprom.h>

class ByteStore {
public:
	uint8_t read(int at) { return eeprom_read_byte((const uint8_t *)(uintptr_t)at); }
	void write(int at, uint8_t value) { eeprom_write_byte((uint8_t *)(uintptr_t)at, value); }
	void update(int at, uint8_t value) { eeprom_update_byte((uint8_t *)(uintptr_t)at, value); }
	uint16_t length(void) { return E2END + 1; }
	template <class T> T &get(int at, T &value)
	{
		eeprom_read_block(&value, (const void *)(uintptr_t)at, sizeof value);
		return value;
	}
	template <class T> const T &put(int at, const T &value)
	{
		eeprom_update_block(&value, (void *)(uintptr_t)at, sizeof value);
		return value;
	}
};

static ByteStore EEPROM __attribute__((unused));

#endif
