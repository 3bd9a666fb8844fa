/* util/atomic.h - blocks that no handler comes into, left with the interrupts as they were or as named. */
#ifndef DRYSPIN_UTIL_ATOMIC_H
#define DRYSPIN_UTIL_ATOMIC_H

#include <avr/interrupt.h>
#include <avr/io.h>

static inline uint8_t dryspin_enter_off(void)
{
	cli();
	return 1;
}

static inline uint8_t dryspin_enter_on(void)
{
	sei();
	return 1;
}

static inline void dryspin_restore(const uint8_t *status)
{
	SREG = *status;
}

static inline void dryspin_leave_on(const uint8_t *unused)
{
	(void)unused;
	sei();
}

static inline void dryspin_leave_off(const uint8_t *unused)
{
	(void)unused;
	cli();
}

#define DRYSPIN_LEAVE(how, value) uint8_t dryspin_status __attribute__((cleanup(how))) = (value)

#define ATOMIC_RESTORESTATE DRYSPIN_LEAVE(dryspin_restore, SREG)
#define ATOMIC_FORCEON DRYSPIN_LEAVE(dryspin_leave_on, 0)
#define NONATOMIC_RESTORESTATE DRYSPIN_LEAVE(dryspin_restore, SREG)
#define NONATOMIC_FORCEOFF DRYSPIN_LEAVE(dryspin_leave_off, 0)

#define ATOMIC_BLOCK(how) for (how, dryspin_once = dryspin_enter_off(); dryspin_once; dryspin_once = 0)
#define NONATOMIC_BLOCK(how) for (how, dryspin_once = dryspin_enter_on(); dryspin_once; dryspin_once = 0)

#endif
