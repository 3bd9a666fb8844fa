/*
 * target_lock.h - a few instructions that no handler comes between.
 *
 * Registers without a set and a clear of their own (above I/O address 0x1F, where sbi and cbi do not
 * reach: section "Register Summary") are read, changed and written back; a handler in between would
 * see its own change undone. Inside a handler interrupts are off already and stay so.
 */
#ifndef TARGET_LOCK_H
#define TARGET_LOCK_H

#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdint.h>

/* Interrupts off; the status register as it was. */
static inline uint8_t target_lock(void)
{
	uint8_t status = SREG;

	cli();
	return status;
}

/* The compiler must not move an access to memory out of the lock. */
static inline void target_unlock(uint8_t status)
{
	__asm__ volatile("" ::: "memory");
	SREG = status;
}

/* Bits of `clear` to 0, then bits of `set` to 1, seen by everybody as one change. */
static inline void target_change(volatile uint8_t *reg, uint8_t clear, uint8_t set)
{
	uint8_t status = target_lock();

	*reg = (uint8_t)((*reg & (uint8_t)~clear) | set);
	target_unlock(status);
}

#endif
