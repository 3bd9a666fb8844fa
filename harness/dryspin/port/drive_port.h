/*
 * drive_port.h - the seam between control logic and the controller's hardware.
 *
 * Control logic includes this file and nothing else of the hardware. On the rig the functions
 * below are the virtual controller; on the part they are register access (`static inline`, same
 * names, same meaning). How they follow from the pins, timers and vectors of the part stands in
 * pin_plan.md beside this file.
 *
 * Conventions
 *   - "cost" is CPU cycles charged on the rig for one call, an estimate of the register access on
 *     the part; the effect takes place when the cost has passed.
 *   - "any" context: main line and handlers. "main": main line only.
 *   - A tick is 8 CPU cycles (0.5 us at 16 MHz). Tick counts are uint16_t and wrap from 65535 to 0
 *     (every 32.768 ms at 16 MHz): compare moments by the sign of (int16_t)(a - b), which holds
 *     for distances below 32768 ticks.
 *   - Nothing here blocks except port_idle().
 */
#ifndef DRIVE_PORT_H
#define DRIVE_PORT_H

#include <stdint.h>

/* ---- legs ------------------------------------------------------------------------------- */

#define PORT_U 0U
#define PORT_V 1U
#define PORT_W 2U

#define PORT_OPEN 0U    /* both FETs off */
#define PORT_LOW 1U     /* low FET on */
#define PORT_HIGH 2U    /* high FET on */
#define PORT_CHOPPED 3U /* high FET follows the carrier, low FET off (one-sided chopping) */

/*
 * Put one leg (PORT_U..PORT_W) into one state. Acts at once, also in the middle of a carrier
 * period, so a leg that becomes chopped may begin with a short pulse. The port inserts no dead
 * time: going from PORT_HIGH or PORT_CHOPPED to PORT_LOW, or back, is the caller's to space.
 *
 * Where the drive has a gate driver with one input a leg (complementary chopping), the low FET of a
 * chopped leg is on where the high one is off, also at duty 0 and before the carriers start, and the
 * driver keeps its dead time between the two by itself.
 * Context: any. Cost: 6 cycles.
 */
void port_leg(uint8_t leg, uint8_t state);

/* All six FETs off, in one go. Context: any. Cost: 6 cycles. */
void port_all_open(void);

/*
 * Share of the carrier period for which chopped legs are high: counts / 255. 0 keeps them low
 * (off), 255 high. Taken over when both carriers next reach the top of their count, which is the
 * middle of the off-time. Context: any. Cost: 8 cycles (three compare registers).
 */
void port_duty(uint8_t counts);

/*
 * Start the carriers: bit 0 the one of leg U, bit 1 the one of legs V and W. Both bits in one call
 * start them in phase; two calls leave them apart by the cycles between. Each carrier starts at
 * the bottom of its count; before that, a chopped leg stays off. Context: main, once.
 * Cost: 10 cycles.
 */
void port_carriers_start(uint8_t which);

/* ---- sense: the phase comparator ------------------------------------------------------- */

#define PORT_FALLS_BELOW 0U
#define PORT_RISES_ABOVE 1U

/*
 * Lead one phase (PORT_U..PORT_W) to the comparator, which sets it against the resistor-made
 * neutral. The change may itself be seen as an edge and set the flag. The answer lags by the
 * comparator's delay and the synchroniser: about 0.6 us. Context: any. Cost: 4 cycles.
 */
void port_sense_select(uint8_t leg);

/*
 * Which edge sets the flag: PORT_RISES_ABOVE or PORT_FALLS_BELOW. Changing it may set the flag.
 * Context: any. Cost: 4 cycles.
 */
void port_sense_edge(uint8_t edge);

/* 1 while the selected phase is above the neutral, else 0. Context: any. Cost: 3 cycles. */
uint8_t port_sense_above(void);

/*
 * 1 if an edge has set the flag since it was last cleared. Edges set it whether or not the
 * interrupt is on; it survives port_sense_select(). Context: any. Cost: 3 cycles.
 */
uint8_t port_sense_flag(void);

/* Clear the flag. Context: any. Cost: 2 cycles. */
void port_sense_clear(void);

/*
 * 1: call on_comparator_edge() when the flag is set (at once, if it is set already); 0: do not.
 * Entering the handler clears the flag. Context: any. Cost: 2 cycles.
 */
void port_sense_interrupt(uint8_t on);

/* ---- time: the 16-bit timer ------------------------------------------------------------- */

/* The tick count now. Context: any, with interrupts off if a handler also calls it (the part
 * reads it in two halves through one shared byte). Cost: 4 cycles. */
uint16_t port_ticks(void);

/*
 * Set compare A (B). Its match flag is set when the count next becomes equal to `at_ticks`, and
 * at every wrap after that. A value the count has already reached matches only after a whole wrap.
 * Context: any, interrupts off as for port_ticks(). Cost: 4 cycles.
 */
void port_compare_a(uint16_t at_ticks);
void port_compare_b(uint16_t at_ticks);

/*
 * 1: call on_compare_a() (on_compare_b()) when its match flag is set (at once, if a stale flag is
 * set already); 0: do not. Entering the handler clears the flag. Context: any. Cost: 3 cycles.
 */
void port_compare_a_interrupt(uint8_t on);
void port_compare_b_interrupt(uint8_t on);

/* Clear a match flag. Context: any. Cost: 2 cycles. */
void port_compare_a_clear(void);
void port_compare_b_clear(void);

/*
 * 1: call on_wrap() each time the tick count goes from 65535 to 0. Context: any. Cost: 3 cycles.
 */
void port_wrap_interrupt(uint8_t on);

/* 1 if the count has wrapped and on_wrap() has not yet run. Context: any. Cost: 3 cycles. */
uint8_t port_wrap_flag(void);

/* ---- throttle: the servo-pulse input ---------------------------------------------------- */

#define PORT_FALLING 0U
#define PORT_RISING 1U

/*
 * Which edge of the throttle pin is captured. Changing it clears the capture flag. Context: any.
 * Cost: 4 cycles.
 */
void port_throttle_edge(uint8_t edge);

/*
 * Ticks at the last captured edge (6 cycles after the edge at the pin: synchroniser and noise
 * canceller). Overwritten by the next one. Context: any, interrupts off as for port_ticks().
 * Cost: 4 cycles.
 */
uint16_t port_throttle_ticks(void);

/* 1: call on_throttle_edge() for each captured edge; 0: do not. Context: any. Cost: 3 cycles. */
void port_throttle_interrupt(uint8_t on);

/* Level of the throttle pin, 0 or 1. Context: any. Cost: 2 cycles. */
uint8_t port_throttle_level(void);

/* ---- store: the byte store (EEPROM) ------------------------------------------------------ */

#define PORT_STORE_BYTES 512U

/* The byte at `at`; 0xFF where never written. Not while a write is under way: the part cannot read
 * then, and the byte being written comes back. Context: main. Cost: 6 cycles (the CPU is halted for 4
 * of them). */
uint8_t port_store_read(uint16_t at);

/*
 * Begin to write one byte; the write goes on by itself for some 3.3 ms. Two unlock steps must
 * follow each other within four cycles: if a handler runs between them, nothing is written and
 * nothing tells, so call it with interrupts off. Ignored while a write is under way. A reset lets
 * the write finish, a power cut leaves the byte old, new or neither. Context: main. Cost: 10 cycles.
 */
void port_store_write(uint16_t at, uint8_t value);

/* 1 while a write is under way. Context: main. Cost: 2 cycles. */
uint8_t port_store_busy(void);

/* ---- watchdog --------------------------------------------------------------------------- */

/*
 * Reset the controller unless fed within 16 ms doubled `doublings` times (0..9). Its oscillator is
 * its own, good to 10 %. After a reset by it, it is on at 16 ms until turned off. Context: main.
 * Cost: 6 cycles.
 */
void port_watchdog_on(uint8_t doublings);

/* Begin the time anew. Context: any. Cost: 1 cycle. */
void port_watchdog_feed(void);

/* Context: main. Cost: 6 cycles. */
void port_watchdog_off(void);

/* ---- conversions: the bus voltage ------------------------------------------------------- */

/*
 * Turn the ADC on and convert the bus voltage behind its divider. Until port_convert_off() the
 * comparator is blind (the multiplexer is not its own any more) and every phase reads as below the
 * neutral. The first conversion takes 200 us at 16 MHz, further ones 104 us. Context: any.
 * Cost: 4 cycles.
 */
void port_convert_bus(void);

/* 1 while a conversion is under way. Context: any. Cost: 3 cycles. */
uint8_t port_convert_busy(void);

/* Result of the last conversion, 0..1023 of the controller's supply. Context: any, interrupts off
 * as for port_ticks(). Cost: 4 cycles. */
uint16_t port_converted(void);

/* 1: call on_converter_done() when a conversion ends; 0: do not. Context: any. Cost: 2 cycles. */
void port_convert_interrupt(uint8_t on);

/* Turn the ADC off: the comparator sees the selected phase again. Context: any. Cost: 2 cycles. */
void port_convert_off(void);

/* ---- over-current: the board's current limit --------------------------------------------- */

/*
 * 1: call on_over_current() each time the board's current limit begins to pull its pin (at once, if it has
 * begun since the handler was last entered); 0: do not. On a board without one the pin never moves.
 * Context: any. Cost: 2 cycles.
 */
void port_over_current_interrupt(uint8_t on);

/* 1 while the current limit pulls. Context: any. Cost: 2 cycles. */
uint8_t port_over_current(void);

/* ---- interrupts, idle, reset ------------------------------------------------------------ */

/* Interrupts off; returns whether they were on (1) or off (0). Context: any. Cost: 2 cycles. */
uint8_t port_interrupts_off(void);

/* Interrupts back to what port_interrupts_off() returned. Context: any. Cost: 2 cycles. */
void port_interrupts_restore(uint8_t were_on);

/*
 * Turn interrupts on and sleep, in one go, until at least one handler has run; returns with
 * interrupts on. Call it with interrupts off, after looking for work, and no wake-up is lost.
 * Context: main. Cost: 2 cycles, the sleep, and 4 more to wake.
 */
void port_idle(void);

#define PORT_RESET_POWER_ON 1U
#define PORT_RESET_EXTERNAL 2U
#define PORT_RESET_BROWN_OUT 4U
#define PORT_RESET_WATCHDOG 8U

/*
 * Why the controller last started: one PORT_RESET_ bit. A reset opens every leg at once, starts
 * main() anew with .data and .bss as after loading, and keeps a section named .noinit.
 * Context: any. Cost: 1 cycle.
 */
uint8_t port_reset_cause(void);

/* ---- marks: what the firmware says it is doing ------------------------------------------- */

#define PORT_MARK_OFF 0U          /* legs open, not armed */
#define PORT_MARK_ARMED 1U        /* legs open, armed, nothing asked */
#define PORT_MARK_TONE 2U         /* windings pulsed to be heard */
#define PORT_MARK_PRECHARGE 3U    /* low FETs on to charge the bootstrap capacitors */
#define PORT_MARK_ALIGN 4U        /* one fixed pair of windings driven to turn the rotor to it */
#define PORT_MARK_RAMP 5U         /* steps by the clock, rotor position unknown */
#define PORT_MARK_RUN 6U          /* steps follow the crossings */
#define PORT_MARK_BRAKE 7U        /* windings shorted by the low (or high) FETs */
#define PORT_MARK_COAST 8U        /* legs open, rotor may turn, looking for its speed */
#define PORT_MARK_GIVEN_UP 9U     /* legs open after a failed start, until the next demand */
#define PORT_MARK_CALIBRATING 10U /* legs open, learning the stick's range */
#define PORT_MARK_CROSSING 16U    /* a crossing is taken as real, at this moment */
#define PORT_MARK_STORED 17U      /* a range just learnt is complete in the store, and read back */
#define PORT_MARK_NOT_STORED 18U  /* learning given up; the range is what it was */
#define PORT_MARK_TONE_FIRST 32U  /* 32..63: the tone of that number, named in drive.toml, begins */

/*
 * State a fact for the recording; the target may route it to a spare pin, or to nothing. A code
 * below 16 begins a state that lasts until the next such code, others are moments; during a tone the
 * state is PORT_MARK_TONE, and the state before it is marked again afterwards. What is marked
 * is a promise that the monitors hold the signals to. Context: any. Cost: 2 cycles.
 */
void port_mark(uint8_t code);

/* ---- handlers: the firmware defines all of them but the first ---------------------------- */

/*
 * Called with interrupts off, one at a time, in the part's vector order when several are due:
 * over-current, throttle, compare A, compare B, wrap, conversion, comparator. Entry costs 7 cycles,
 * return 4. on_over_current() may be left out where its interrupt is never turned on.
 */
void on_over_current(void);
void on_throttle_edge(void);
void on_compare_a(void);
void on_compare_b(void);
void on_wrap(void);
void on_converter_done(void);
void on_comparator_edge(void);

/* Never returns; started with interrupts off, all legs open, no carrier running. */
int main(void);

#endif
