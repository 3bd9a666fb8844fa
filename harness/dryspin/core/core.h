/*
 * core.h - the rig as its host sees it: start, run, collect.
 *
 * The virtual controller and the plant share one library with the firmware. The firmware's main()
 * runs on a stack of its own; core_run() resumes it and comes back with a reason when the host has
 * something to do. One run at a time per loaded library.
 */
#ifndef DRYSPIN_CORE_H
#define DRYSPIN_CORE_H

#include <stdint.h>
#include "plant.h"

/* cdef begin */
enum core_reason {
	CORE_DONE = 0,          /* virtual time has reached the end of the run */
	CORE_EDGES_FULL = 1,    /* take core_edges away, set their count to 0, run on */
	CORE_STATES_FULL = 2,   /* the same for core_states */
	CORE_PLAN = 3,          /* outside plant: plan up to core_outside.limit_s */
	CORE_COMMIT = 4,        /* outside plant: go to core_outside.limit_s */
	CORE_CRASHED = 5,       /* a signal on the firmware's stack; core_fault tells */
	CORE_HUNG = 6,          /* virtual time stands still; core_fault tells */
	CORE_OVERFLOWED = 7,    /* more comparator edges in flight than the model holds */
	CORE_RETURNED = 8,      /* main() has returned; core_fault tells when */
	CORE_STALLED = 9,       /* the plant does not leave one moment: a defect of the model */
	CORE_CALLED = 10,       /* the function of core_call has returned */
	CORE_RESTARTED = 11,    /* the controller was reset during a core_call, which is lost by it */
	CORE_ESCAPED = 12,      /* a quantity of the plant has left its bounds: plant_escaped tells */
	CORE_PAUSED = 13,       /* the moment of core_pause has come; run on, or take a checkpoint */
	CORE_REFUSED = 14,      /* registers: what the rig does not model; core_fault tells */
	CORE_ILLEGAL = 15       /* registers: what no part or wiring gives a meaning to; core_fault tells */
};

enum core_signal {
	SIGNAL_GATE = 0,        /* + leg; bit 0 high FET, bit 1 low FET */
	SIGNAL_LEG = 3,         /* + leg; PORT_OPEN.. as commanded */
	SIGNAL_DUTY = 6,
	SIGNAL_SENSE_LEG = 7,
	SIGNAL_SENSE_EDGE = 8,
	SIGNAL_SENSE_IRQ = 9,
	SIGNAL_COMPARATOR = 10, /* as software sees it */
	SIGNAL_HANDLER = 11,    /* vector number on entry, 0 on return */
	SIGNAL_THROTTLE = 12,
	SIGNAL_MARK = 13,
	SIGNAL_RESET = 14,
	SIGNAL_STORE = 15,      /* a write begins: address << 8 | value */
	SIGNAL_STORE_BUSY = 16,
	SIGNAL_CONVERTER = 17,  /* the ADC is on, the comparator blind */
	SIGNAL_WATCHDOG = 18,   /* its time-out in ms, 0 = off */
	SIGNAL_SERIAL = 19,     /* a byte on its way out of the serial output */
	SIGNAL_OVER_CURRENT = 20, /* 1: the board's current limit pulls its pin; where one is fitted */
	SIGNAL_REGISTER = 21    /* of builds that are compared: the firmware writes one, address << 16 | value */
};

/* One change of one signal. pc and caller are offsets into the library's text: the return address
 * of the port call that acted and that of the function it stands in; 0 where hardware acted. */
typedef struct {
	int64_t cycle;
	uint32_t pc, caller;
	int32_t value;
	uint8_t signal, context; /* context: vector number of the running handler, 0 = main line */
	uint16_t unused;
} core_edge;

/* The plant at the end of a segment. theta is electrical and unwrapped. */
typedef struct {
	double t_s, theta_rad;
	float i_u_a, i_v_a, w_rad_s, v_bus_v;
} core_sample;

/* A trace: linear between points, constant outside. n == 0: absent. */
typedef struct { const double *t_s, *value; int32_t n, at; } core_trace;

/* The source is off the bus from..to (cycles); at_once: and the controller's supply with it. */
typedef struct { int64_t from, to; int32_t at_once; } core_outage;

/* What hangs on which pin of a part that runs at register level. A pin: port (B, C, D: 0, 1, 2) * 8 + bit. */
enum { CORE_NO_PIN = 255, CORE_FLOATING = 255, CORE_MARK_PINS = 8 };
typedef struct {
	uint8_t high[3], low[3];             /* gates of U, V, W; CORE_NO_PIN only for what can never be on */
	uint8_t high_active, low_active;     /* level that turns the FET on */
	uint8_t chops_low;                   /* chopping of low FETs is meant: by carrier, or by code */
	int64_t chop_cycles;                 /* its period */
	int32_t on_delay_cycles, off_delay_cycles; /* of the level shifter */
	uint8_t phase[3], bus, throttle;     /* phase: CORE_NO_PIN where it is not sensed */
	uint8_t steady[24];                  /* level of a pin that never changes, or CORE_FLOATING */
	uint8_t mark_pin[8], mark_low[8], mark_high[8]; /* CORE_MARK_PINS of them */
	int32_t n_mark;
	uint8_t mark_register;               /* writes there are marks; 0 = none */
} core_pins;

typedef struct {
	plant_params plant;
	double rest_rad;             /* electrical angle at power-on */
	double f_cpu_hz;
	double comparator_delay_s;
	int64_t end_cycle;
	int32_t carrier_period;      /* cycles of one carrier period, phase-correct: 510 */
	int32_t driver_dead_cycles;  /* gate driver with one input a leg: its dead time; 0 = one input a FET */
	int32_t block_cycles;        /* charged per basic block of plain code; 0 = none */
	const uint32_t *code_costs;  /* instead: of the code from a hook or port call to the next, in sixteenths of
	                              * a cycle, by its return address; 0: block_cycles holds */
	int64_t code_costs_from, n_code_costs; /* offset into the library of the first of them; how many */
	int32_t vector_in_cycles, vector_out_cycles; /* charged around each handler, besides entry and return */
	int32_t outside_plant;       /* 1: the host advances the plant */
	int32_t account_energy;      /* 1: the plant meters its ports */
	int32_t unrecorded;          /* 1: neither edges nor states are written */
	uint32_t noise_seed;
	core_trace supply_v, load_factor, load_nm, speed_rad_s, water_rad_s, noise_v;
	const int64_t *throttle_cycle; /* edges of the throttle pin, rising first, alternating */
	const int64_t *reset_cycle;
	const int64_t *endless_cycle;  /* the code enters an endless loop, interrupts off */
	const core_outage *outage;     /* in order of time, not overlapping */
	const uint8_t *store;          /* contents of the store at power-on; 0xFF beyond them */
	int32_t n_throttle, n_reset, n_endless, n_outage, n_store;
	double v_controller_v, regulator_drop_v, brown_out_v, bus_divider;
	double over_current_a, over_current_filter_s; /* of the board's current limit; 0 A: none is fitted */
	const core_pins *pins;       /* registers only */
	int64_t take_over_cycle;     /* from this cycle on the host advances the plant; <0: never */
} core_config;

typedef struct { core_edge *edge; int64_t n, room; } core_edge_buffer;
typedef struct { core_sample *sample; int64_t n, room; } core_sample_buffer;

/* Between core and host when the plant is outside: in gates and sense, out the rest. */
typedef struct {
	double limit_s;
	uint8_t gate[3], sense;
	double t_end_s;              /* after CORE_PLAN: where the plan ends */
	int32_t changed, level;      /* after CORE_COMMIT: level changed there; the level now */
} core_outside_plant;

typedef struct {
	int32_t signal_number;
	int64_t cycle;
	uint32_t pc, caller;
	int32_t context;
	int32_t stack_overflow;      /* 1: the bad address lies just beyond the firmware's stack */
	int64_t port_calls;          /* since the last reset */
	int32_t depth;               /* of chain: return addresses, the innermost call first */
	uint32_t chain[16];
	char what[200];              /* CORE_REFUSED, CORE_ILLEGAL: what */
} core_fault_report;

/* A variable of the firmware that holds a moment, or a span of time: offset from core_text_base, 1, 2 or 4 bytes.
 * ticks: how many ticks of the timer it counts in, 1, or 65536 for a count of wraps; 0 for a span, in ticks.
 * From an age, or span, of `within` ticks on, all are one; 0: none matters. */
typedef struct { int64_t at, within; int32_t bytes, ticks; } core_moment;
/* Of the checked build: one instruction of the firmware at one of its variables, however often. */
enum core_access_kind { ACCESS_WRITE = 1, ACCESS_VOLATILE = 2, ACCESS_STRAY = 4, ACCESS_REGISTER = 8, ACCESS_UNDIVIDED = 16 };

typedef struct {
	int64_t cycle;               /* of the first time */
	uint32_t pc, at;             /* offsets into the library: return address, first byte; stray: at is 0 */
	uint32_t by;                 /* who: bit of each handler in vector order, bit 31 the main line */
	uint32_t under;              /* handlers that were enabled then, interrupts on */
	uint16_t bytes;
	uint8_t kind;                /* bits of core_access_kind; stray: neither variable nor stack nor constant;
	                              * register: at is its data address; undivided: one instruction with the read */
	uint8_t unused[5];
} core_access;

/* Of the checked build: an access that was torn on purpose. Values are the variable's bytes, low first. */
typedef struct {
	int64_t cycle;               /* when; -1: not yet */
	int32_t bytes;
	uint8_t before[8], between[8], after[8]; /* as it was; what the torn half sees; as it is at the end */
} core_tear_report;

/* Of the checked build: something that C leaves undefined, one row a place. */
typedef struct {
	int64_t cycle;
	uint32_t pc;
	int32_t context, depth;
	uint32_t chain[16];
	char text[164];
} core_undefined;

/* Of builds that are compared: a branch, when it was come to, and the condition it hangs on; of a switch 0. */
typedef struct {
	int64_t cycle;
	uint32_t pc, held;
} core_branch;

/* cdef end */
#pragma GCC visibility push(default)
/* cdef begin */
/* Power-on with rotor at rest. The config and its arrays must outlive the run. */
void core_start(const core_config *config);
/* After core_start: run these edges' gates and sense selection instead of the firmware; they must outlive
 * the run. See replay.c. */
void core_replay(const core_edge *edges, int64_t n);
/* Resume; returns a core_reason. */
int core_run(void);
/* After core_start: run this function in the place of main(), with interrupts as the call before left
 * them. Resume with core_run() until it answers CORE_CALLED; after any other end, core_start anew. */
int core_call(void (*function)(void *), void *argument);
/* To be called by core_call: nothing but time passes, and what falls due, up to *(int64_t *)cycle. */
void core_wait(void *cycle);
/* After core_start: come back with CORE_PAUSED at the first moment from this cycle on at which code may run
 * and nothing is due. Once; does not disturb the run. */
void core_pause(int64_t cycle);
/* The same at the first moment from this cycle on at which the main line sleeps; besides core_pause, whichever
 * comes first. */
void core_pause_asleep(int64_t cycle);
/* After CORE_PAUSED: from this cycle on nothing of the scenario has been looked at. */
int64_t core_settled(void);
/* After CORE_PAUSED: bytes of a checkpoint of this moment; its contents. Valid in this process only. */
int64_t core_checkpoint_bytes(void);
void core_checkpoint(void *into);
/* Stand at the moment of that checkpoint again and go on with this config, which must agree with the one of
 * the checkpoint up to core_settled() and in all that no cycle is given for; it must outlive the run.
 * Buffers are left as they are. See checkpoint.c. */
void core_continue(const void *from, const core_config *config);
/* After CORE_PAUSED: what a state of firmware and controller is told apart by, into at most `room` bytes; how
 * many, or -1 where they are too few. Ages are taken in whole grains of so many ticks. See fingerprint.c. */
int64_t core_fingerprint(const core_moment *moments, int64_t n, int64_t grain, unsigned char *into,
                         int64_t room);
core_edge_buffer *core_edges(void);
core_sample_buffer *core_states(void);
core_outside_plant *core_outside(void);
core_fault_report *core_fault(void);
/* The store's 512 bytes now. */
const uint8_t *core_store(void);
int64_t core_now(void);
/* Counts since core_start: 0 plant segments, 1 events, 2 port calls, 3 handlers, 4 guard hits; 5 cycles of the
 * longest span with interrupts off, once they have been on; who turned them off: 6 its return address, an offset
 * into the library, or 0 where a handler was entered; 7 the vector of that handler, or of the one it was in. */
int64_t core_count(int which);
/* Address that pc and caller are relative to. */
uintptr_t core_text_base(void);
/* Watch accesses from here on, with nothing seen yet. They survive core_start: what is seen adds up. */
void core_accesses_watch(void);
/* What was seen, up to `room` rows; returns how many there are, -1 if they were too many to hold. */
int32_t core_accesses(core_access *rows, int32_t room);
/* Interrupts that a handler (bit in vector order; 31: the main line) has been seen to turn on. */
uint32_t core_enables(int by);
/* Once, from that cycle on: run the handler of that bit between the first byte and the rest of the next access
 * at this return address, if its interrupt is on then. What is read is a mixture; what is written is seen
 * half-written by the handler. pc 0: no more. */
void core_tear(uint32_t pc, int32_t handler, int64_t from_cycle);
core_tear_report *core_torn(void);
/* Rows since core_start; *rows points at the first. */
int32_t core_undefined_rows(const core_undefined **rows);
/* Of builds that are compared, at register level: keep the last branches up to this cycle, from here on. */
void core_branches_until(int64_t cycle);
/* Those kept, the oldest first, up to `room`; how many there are. */
int32_t core_branches(core_branch *into, int32_t room);
/* cdef end */
#pragma GCC visibility pop

#endif
