/*
 * part.h - the part behind its registers: what takes the place of port.c, carriers.c, legs.c, timer.c,
 * capture.c, converter.c and interrupts.c of the core where firmware is written for registers.
 *
 * Clauses are those of the ATmega48/88/168 data sheet, Atmel 2545, and of its kin with the same text
 * (8025, 8161, 8271, DS40002011A). A clause given by its section only was written from memory.
 */
#ifndef DRYSPIN_PART_H
#define DRYSPIN_PART_H

#include "controller.h"

#define DRYSPIN_ADDRESSES
#include <avr/io.h>

#define BIT(n) (1U << (n))

/* Who acted: offsets of the access and of the function it stands in. */
typedef struct { uint32_t pc, caller; } place;

/* The register file as the firmware sees it: for each register what a read would give, where that does not
 * come from somewhere else. */
extern volatile uint8_t dryspin_registers[256];

enum { NORMAL, CLEAR_ON_MATCH, FAST, PHASE, PHASE_FREQUENCY, RESERVED };
enum { TOP_FIXED, TOP_COMPARE_A, TOP_CAPTURE };

/* One of the three timers. Where it stands: at cycle `at`, a tick, its count became `count`. */
typedef struct {
	uint8_t kind, top_from;
	uint16_t fixed_top, max;
	uint16_t compare[2], written[2], icr; /* compare: in force; written: as the register reads */
	uint8_t com[2], latch[2];             /* latch: output of a match without PWM */
	int32_t divider;                      /* cycles a tick; 0 = no clock */
	uint8_t halted;                       /* its prescaler is held in reset */
	int64_t at;
	uint16_t count;
	uint8_t down;
	uint8_t blocked;                      /* a written count blocks the match of the next tick */
	int64_t next;                         /* next tick that changes more than the count */
} timer;

/* A low FET that is chopped by its PORT bit. A leg is given as 1 2 3, 0 is none. */
typedef struct {
	uint8_t low, last;       /* on under a high FET of another leg; that was so last, within a period */
	uint8_t phase;           /* of the measurement, see there */
	uint8_t steady;          /* on for more than a period */
	int64_t start, on_at, off_at, on_cycles;
} chopping;

enum { FLIGHTS = 16, EDGES = 8 };

typedef struct {
	/* access.c */
	uint8_t pending, pending_width, last_read, sei_shadow;
	uint8_t before[2];       /* of the register about to be written */
	int64_t last_read_cycle;
	place who;
	int64_t checked_at;      /* the last block that a check has made was run then */
	int32_t checks;          /* such blocks since time moved */
	int64_t least_budget;    /* of blocks without a register, while interrupts are off */

	/* timers.c */
	timer timer[3];
	int64_t prescaler_zero[2];
	uint8_t shared_high;     /* byte through which 16-bit registers of timer 1 go */
	uint8_t shared_taken;    /* a handler has used it between the halves of a write */

	/* pins.c: port by port, B, C, D */
	uint8_t port[3], direction[3];
	uint8_t driven[6];       /* gate inputs: high U V W, low U V W; 1 = told to be on */
	struct { int64_t cycle; uint8_t on; } flight[6][FLIGHTS]; /* on their way through the level shifter */
	uint8_t flight_in[6], flight_out[6];
	uint8_t marked[CORE_MARK_PINS];
	uint8_t duty;            /* as recorded last */

	/* chopping.c */
	chopping chopping;

	/* inputs.c */
	uint8_t from_comparator; /* the capture unit listens to the comparator */
	struct { int64_t cycle; uint8_t level; } edge[EDGES]; /* of its output, on their way to the capture unit */
	uint8_t edge_in, edge_out, edge_level;

	/* analog.c */
	uint8_t minus;           /* 0..2 a phase, else a MINUS_ below */
	uint8_t sensed_phases;   /* bit by leg: read as the comparator's input since power-on */
	place selected;          /* what has chosen the comparator's input as it is */
	uint8_t result_locked;
	int64_t sample, done;
	uint8_t channel, first;
	uint16_t sampled, result, result_held;

	/* system.c, vectors.c */
	uint8_t reset_flags;
	uint8_t released;        /* from reset: the program runs */
	int32_t depth;           /* handlers within handlers */
	int64_t unlocked_until, watchdog_until;

	/* serial.c */
	int64_t sent;            /* the shift register is empty then */
	int16_t waiting;         /* byte in the buffer; -1 none */
} part_state;

enum { MINUS_GROUND = 3, MINUS_UNKNOWN = 4 };

extern part_state part;

/* access.c */
enum { NOTHING = 0 }; /* no register: neither pending nor just read */
uint32_t caller_of(void *const *frame);
/* Where the firmware is that called the function this stands in. */
#define HERE ((uint32_t)((uintptr_t)__builtin_return_address(0) - core_text_base()))
#define CALLER caller_of(__builtin_frame_address(0))
void part_settle(void);
/* With code_costs: the code up to this place passes, that behind it is owed. */
void part_code(uint32_t pc);
void part_spend(int64_t cycles);
/* Something the rig does not model, or that cannot go on: ends the run with that text. */
void part_refuse(const char *what, int32_t number) __attribute__((noreturn));
/* A setting that means nothing on the part as it is wired. Before two phases have been sensed it may be the
 * wiring that is told wrongly, and is refused as above; after that the firmware has gone astray. */
void part_object(const char *what, int32_t number) __attribute__((noreturn));
void part_look_again(void);
void access_reset(void);

/* registers.c: effect of a read, that the register file then holds, and of a write */
void part_read(uint8_t at);
void part_write(uint8_t at, uint8_t value, uint8_t before);

/* timers.c */
void timers_reset(void);
void timer_write(uint8_t at, uint8_t value);
uint8_t timer_read(uint8_t at);
void timer_write_pair(uint8_t at, uint16_t value);
uint16_t timer_read_pair(uint8_t at);
int is_timer_register(uint8_t at);
int is_timer_pair(uint8_t at);
int timer_output(int which, int channel);
int timer_is_pwm(int which);
uint8_t timer_duty(int which, int channel);
uint16_t timer_top(const timer *t);
uint16_t timer_capture_count(int64_t cycle);
void timers_tell_next(void);
/* Flags of interrupts have changed: their next setting matters again. */
void timers_replan(void);

/* pins.c */
void pins_reset(int64_t cycle);
void pins_update(int64_t cycle, place who);
uint8_t pins_level(int pin);
void pins_duty(uint8_t counts, place who);
uint8_t pins_read(int port);
void pins_write(uint8_t at, uint8_t value);
int pin_is_gate(int pin);
/* Pin of a compare output: timer 0..2, channel 0 A, 1 B. */
int output_pin(int which, int channel);

/* chopping.c */
/* What each leg is told by its pins becomes what it is told over a period; by_port: its low FET without a carrier. */
void chopping_hold(uint8_t told[3], const uint8_t by_port[3], int64_t cycle, place who);
int64_t chopping_next(void);

/* inputs.c */
void input_changed(int pin, int level);
/* ACIC: the capture unit listens to the comparator's output, or to ICP1. */
void capture_from_comparator(int on);

/* analog.c */
void analog_reset(void);
void analog_write(uint8_t at, uint8_t value);
uint8_t analog_read(uint8_t at);

/* system.c */
void system_reset(void);
void system_write(uint8_t at, uint8_t value, uint8_t before);
uint8_t system_read(uint8_t at);

/* serial.c */
void serial_reset(void);
void serial_write(uint8_t at, uint8_t value);
uint8_t serial_read(uint8_t at);
int64_t serial_next(void);
void serial_at(int64_t cycle);

/* vectors.c */
void vectors_watch(void);

#endif
