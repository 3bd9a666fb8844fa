/*
 * drive_port.h - the seam of the same name on a part of the ATmega168 class, as register access.
 *
 * Control sources include "drive_port.h" and are compiled untouched: this folder comes first on the
 * include path, the seam's own header second. Words and contracts are the seam's; the bodies stand in
 * the files included below. Which pin, timer and vector does what stands in pin_plan.md,
 * beside the seam.
 *
 * Clauses are those of the ATmega48/88/168 data sheet, Atmel 2545, and of its kin with the same text
 * (8025, 8161, 8271, DS40002011A). A clause given by its section only was written from memory.
 */
#ifndef TARGET_DRIVE_PORT_H
#define TARGET_DRIVE_PORT_H

#include <avr/interrupt.h>
#include <avr/io.h>

/*
 * A declaration without `static` that follows one with it keeps the internal linkage (C11 6.2.2 p. 5):
 * so the seam's own prototypes, read next, become those of inline functions, and the compiler holds
 * both against each other. A function of the seam that is missing here is missed by the linker.
 */
static inline void port_leg(uint8_t leg, uint8_t state);
static inline void port_all_open(void);
static inline void port_duty(uint8_t counts);
static inline void port_carriers_start(uint8_t which);
static inline void port_sense_select(uint8_t leg);
static inline void port_sense_edge(uint8_t edge);
static inline uint8_t port_sense_above(void);
static inline uint8_t port_sense_flag(void);
static inline void port_sense_clear(void);
static inline void port_sense_interrupt(uint8_t on);
static inline uint16_t port_ticks(void);
static inline void port_compare_a(uint16_t at_ticks);
static inline void port_compare_b(uint16_t at_ticks);
static inline void port_compare_a_interrupt(uint8_t on);
static inline void port_compare_b_interrupt(uint8_t on);
static inline void port_compare_a_clear(void);
static inline void port_compare_b_clear(void);
static inline void port_wrap_interrupt(uint8_t on);
static inline uint8_t port_wrap_flag(void);
static inline void port_throttle_edge(uint8_t edge);
static inline uint16_t port_throttle_ticks(void);
static inline void port_throttle_interrupt(uint8_t on);
static inline uint8_t port_throttle_level(void);
static inline uint8_t port_store_read(uint16_t at);
static inline void port_store_write(uint16_t at, uint8_t value);
static inline uint8_t port_store_busy(void);
static inline void port_watchdog_on(uint8_t doublings);
static inline void port_watchdog_feed(void);
static inline void port_watchdog_off(void);
static inline void port_convert_bus(void);
static inline uint8_t port_convert_busy(void);
static inline uint16_t port_converted(void);
static inline void port_convert_interrupt(uint8_t on);
static inline void port_convert_off(void);
static inline void port_over_current_interrupt(uint8_t on);
static inline uint8_t port_over_current(void);
static inline uint8_t port_interrupts_off(void);
static inline void port_interrupts_restore(uint8_t were_on);
static inline void port_idle(void);
static inline uint8_t port_reset_cause(void);
static inline void port_mark(uint8_t code);

#include_next "drive_port.h"

#include "target_lock.h"

#include "target_legs.h"
#include "target_sense.h"
#include "target_store.h"
#include "target_system.h"
#include "target_ticks.h"

/*
 * The seam's handlers are the vectors themselves: no call in between, and only the registers a
 * handler uses are saved. `signal` leaves interrupts off until its reti, so that none nests.
 */
#define PORT_VECTOR_NAME(vector) PORT_VECTOR_TEXT(vector)
#define PORT_VECTOR_TEXT(vector) #vector
#define PORT_HANDLER(vector) __asm__(PORT_VECTOR_NAME(vector)) __attribute__((signal, used, externally_visible))

void on_over_current(void) PORT_HANDLER(INT0_vect);
void on_throttle_edge(void) PORT_HANDLER(TIMER1_CAPT_vect);
void on_compare_a(void) PORT_HANDLER(TIMER1_COMPA_vect);
void on_compare_b(void) PORT_HANDLER(TIMER1_COMPB_vect);
void on_wrap(void) PORT_HANDLER(TIMER1_OVF_vect);
void on_converter_done(void) PORT_HANDLER(ADC_vect);
void on_comparator_edge(void) PORT_HANDLER(ANALOG_COMP_vect);

/* Nothing is left to save for a caller that never gets control back. */
int main(void) __attribute__((OS_main));

#endif
