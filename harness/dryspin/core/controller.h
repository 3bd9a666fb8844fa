/*
 * controller.h - state of the virtual controller, and what its files ask of each other.
 *
 * Everything that belongs to a run stands in `ctl` (and in `plant`); what belongs to the host, the
 * buffers of the recording and the stacks, stands outside it.
 */
#ifndef DRYSPIN_CONTROLLER_H
#define DRYSPIN_CONTROLLER_H

#include "core.h"
#include "segment.h"
#include "drive_port.h"
#include <stddef.h>

#define NEVER INT64_MAX
/* In `horizon`: ask at the next port call; and of all sources, not of plant and carriers alone. */
#define ASK INT64_C(1)
#define LOOK_AGAIN INT64_C(0)

/* Basic blocks of plain code without a port call before the firmware is said to hang: far beyond
 * any honest computation, a fraction of a second of the host. */
#define HANG_BLOCKS INT64_C(20000000)

/* Interrupts by vector, counted from 0 (reset): the lowest bit is served first. */
enum {
	IRQ_OVER_CURRENT = 1,
	IRQ_CAPTURE = 10,
	IRQ_COMPARE_A = 11,
	IRQ_COMPARE_B = 12,
	IRQ_WRAP = 13,
	IRQ_CONVERTER = 21,
	IRQ_COMPARATOR = 23,
	IRQ_COUNT = 26
};

/* Comparator edges on their way to the software: the delay holds a few, noise a few more. */
#define PIPE_SIZE 256

#define BY_TABLE INT64_C(-1)
#define OWED_PER_CYCLE 16

#define STORE_BYTES ((int32_t)PORT_STORE_BYTES)

typedef struct {
	int64_t started;      /* cycle at which the count stood at bottom; NEVER = stopped */
	int64_t bottom;       /* another such cycle, not long ago */
	uint8_t compare, next_compare;
	int64_t next_edge;    /* next change of the compare output, or take-over at top */
} carrier;

/* A stretch with interrupts off: since a call that returns to pc, or, 0, since the handler of that vector began. */
typedef struct { int64_t cycles; uint32_t pc; uint8_t vector; } off_span;

typedef struct {
	int64_t now;          /* CPU time in cycles */
	int64_t horizon;      /* the next cycle at which something other than code happens; LOOK_AGAIN */
	int64_t rare_cycle;   /* the same without plant and carriers, looked up when horizon says so */
	int64_t hang_budget;  /* basic blocks left before time must have moved */
	int64_t block_cycles; /* BY_TABLE: config->code_costs */
	int64_t owed;         /* by code that has run since the last hook or port call, in sixteenths of a cycle */
	double s_per_cycle;

	uint8_t irq_on;       /* global enable */
	int64_t off_since;    /* NEVER: it has not been on since the reset, and nothing can be late */
	off_span off;         /* what turned it off; cycles: not yet known */
	uint32_t irq_enabled, irq_pending;
	uint8_t context;      /* vector number of the running handler */
	uint32_t handlers_run;
	uintptr_t slept_on;   /* frame of the port call in which the main line sleeps; 0: awake */

	carrier carrier[2];
	uint8_t leg[3];       /* as commanded */
	uint8_t gate[3];      /* as driven */
	uint8_t wanted[3];    /* as it will be driven once the driver's dead time is over */
	int64_t turn_on[3];   /* cycle of that */

	int64_t timer_zero;   /* cycle at which the tick count was 0 */
	uint8_t shared_high;  /* byte through which every 16-bit register of the timer goes */
	uint16_t compare[2];
	int64_t next_match[2], next_wrap;

	int32_t throttle_at, capture_at, reset_at, endless_at;
	uint8_t endless;      /* code goes round and round until the next reset */
	uint8_t throttle_level, throttle_edge;
	uint16_t captured;

	uint8_t sense_leg, sense_edge, sense_above;
	struct { int64_t cycle; uint8_t level; } pipe[PIPE_SIZE];
	uint32_t pipe_in, pipe_out;

	int64_t plan_cycle;   /* first cycle not before the end of the plant's plan */
	double plan_end_s;
	int64_t replay_cycle; /* next edge of a replay; NEVER where the firmware runs */
	int64_t input_cycle;  /* next breakpoint of a scenario trace */
	int64_t input_again;  /* when the traces must be read again: there, or at once while one slopes */
	uint8_t reset_cause, next_cause;
	uint8_t held;         /* in reset for want of supply */
	uint8_t forgotten;    /* the supply has been so low that the next start is a power-on */
	int64_t dead_until;   /* a power cut lasts until then */
	int32_t outage_at;

	uint8_t store[STORE_BYTES], unsteady[STORE_BYTES]; /* unsteady: bits that read at random */
	int64_t store_started, store_done;                 /* NEVER: no write under way */
	uint64_t store_reads;
	uint16_t store_at;
	uint8_t store_value;

	int64_t watchdog_bites; /* NEVER: off */
	uint8_t watchdog_doublings;

	uint8_t converter_on;
	int64_t converter_sample, converter_done;
	uint16_t sampled, converted;

	uint8_t limiter_over, limiter_pulls;       /* the current is above the limit; the pin says so */
	int64_t limiter_look, limiter_change;      /* next look at the current; the pin follows then */

	uint8_t outside;      /* the host advances the plant now */
	uint8_t plan_valid;
	int64_t still;        /* plant segments in a row in which no time passed */
	int64_t segments, events, port_calls, handlers;
} controller;

extern controller ctl;
extern const core_config *config;

/* clock.c */
/* The host wants to have a look from this cycle on; NEVER: not. A host's setting, no state of the run. */
extern int64_t pause_cycle, pause_asleep_cycle;
void clock_pause(void);
void clock_catch_up(void);
/* Sleep with interrupts on until a handler has run. */
void clock_sleep(void);
/* The main line does nothing until then; what falls due meanwhile happens, handlers included. */
void clock_wait(int64_t until);
/* Code takes this long; whatever falls due meanwhile happens, handlers included. */
static inline void clock_spend(int64_t cycles)
{
	ctl.port_calls++;
	ctl.hang_budget = HANG_BLOCKS;
	if ((ctl.now += cycles) >= ctl.horizon)
		clock_catch_up();
}

/* With code_costs: let what is owed pass; owe the code behind this return address; first that, then this. */
void clock_pay(void);
void clock_note(uintptr_t pc);
void clock_owe(uintptr_t pc);
static inline void clock_code(uintptr_t pc)
{
	if (ctl.block_cycles == BY_TABLE)
		clock_owe(pc);
}

/* bench.c: the plant seen from the controller */
void bench_at_plan_end(void);
/* Bring the plant exactly to this cycle. */
void bench_reach(int64_t cycle);
void bench_plan(void);
void bench_set_gates(void);
void bench_set_sense(uint8_t leg);
void bench_read_inputs(int64_t cycle);
/* The config is another one from now on, the same up to the end of the plan. */
void bench_new_course(void);

/* carriers.c */
void carriers_reset(void);
void carrier_start(int which, int64_t cycle);
void carriers_duty(uint8_t counts);
void carriers_at(int64_t cycle);
uint8_t carrier_output(int leg, int64_t cycle);
void carriers_replan(void);

/* legs.c */
void legs_command(int leg, uint8_t state, uint32_t pc, uint32_t caller);
void legs_drive(int64_t cycle, uint32_t pc, uint32_t caller);
/* On reset: all FETs off, at once and without a clock. */
void legs_release(int64_t cycle);
/* Cycle at which a driver's dead time is over; NEVER if none runs. */
int64_t legs_next(void);

/* Next cycle at which a carrier, or the driver behind it, changes something. */
static inline int64_t carriers_next(void)
{
	int64_t a = ctl.carrier[0].next_edge, b = ctl.carrier[1].next_edge, next = a < b ? a : b;
	if (config->driver_dead_cycles == 0)
		return next;
	int64_t leg = legs_next();
	return leg < next ? leg : next;
}

/* timer.c */
void timer_reset(void);
uint16_t timer_count(int64_t cycle);
void timer_set_compare(int which, uint16_t at);
/* Spend `cycles` on moving this value from or to the timer; what arrives. */
uint16_t timer_in_halves(uint16_t value, int64_t cycles);
int64_t timer_next(void);
void timer_at(int64_t cycle);

/* capture.c */
void capture_reset(void);
int64_t capture_next(void);
void capture_at(int64_t cycle);

/* comparator.c */
void comparator_reset(void);
void comparator_input(uint8_t level, double t_s);
int64_t comparator_next(void);
void comparator_at(int64_t cycle);
void comparator_select_edge(uint8_t edge);
/* The ADC has been turned on or off: the comparator's input is another one. */
void comparator_blinded(void);

/* store.c */
void store_start(void);
uint8_t store_read(uint16_t at);
void store_write(uint16_t at, uint8_t value, uint32_t pc, uint32_t caller);
int64_t store_next(void);
void store_finish(int64_t cycle);
void store_power_lost(int64_t cycle);

/* watchdog.c */
void watchdog_on(uint8_t doublings);
void watchdog_feed(void);
void watchdog_off(void);

/* converter.c */
void converter_reset(void);
void converter_start(uint32_t pc, uint32_t caller);
void converter_off(uint32_t pc, uint32_t caller);
int64_t converter_next(void);
void converter_at(int64_t cycle);

/* limiter.c */
void limiter_start(void);
/* The plant has gone on, or its gates have changed. */
void limiter_watch(void);
int64_t limiter_next(void);
void limiter_at(int64_t cycle);

/* supply.c */
double supply_vcc(void);
int supply_out(int64_t cycle);
int64_t supply_next_edge(int64_t cycle);
int64_t supply_next_cut(void);
void supply_cut(int64_t cycle);
int supply_holds(void);
void supply_watch(void);

/* mask.c */
/* For who measures, no state of the run. */
extern off_span longest_off;
void interrupts_set(uint8_t on, uint32_t pc);
void interrupts_reset(void);

/* interrupts.c */
void interrupts_serve(void);
/* Run one handler now, as if its flag had just been set. */
void interrupts_run(int k);
static inline int interrupts_due(void)
{
	return ctl.irq_on && (ctl.irq_enabled & ctl.irq_pending) != 0;
}

/* Bit of the code that runs: of a handler in vector order, 31 for the main line. */
static inline int context_bit(void)
{
	return ctl.context ? ctl.context - 1 : 31;
}

/* checkpoint.c */
typedef struct { void *at; size_t bytes; } region;
enum { PART_REGIONS = 2 };
/* What a run keeps besides ctl and plant where the part is behind its registers; how many. */
int part_regions(region r[PART_REGIONS]);

/* fingerprint.c */
/* What its state is told apart by, apart from when it is: bytes written, -1 where `room` is too small. */
int64_t part_fingerprint(unsigned char *into, int64_t room);
/* Cycle at which the 16-bit timer stood at 0, give or take whole turns. */
int64_t part_timer_zero(void);

/* access.c */
/* Interrupts that the code of each context has turned on. */
extern uint32_t access_enables[32];
/* The host looks at a checked build's accesses: where not, nobody need call the two below. */
extern int access_watched;
/* The firmware is about to access memory, from the instruction that returns to `where`. */
void access_seen(const void *address, size_t bytes, unsigned kind, void *where);
/* It is about to do something else: an access torn on purpose ends. */
void access_between(void);
/* The same at a register of the part, by its data address; pc as an offset. */
void access_register(uint32_t at, unsigned bytes, unsigned kind, uint32_t pc);
/* What the firmware has stored, and not yet had its effect, has it now. */
void access_settle(void);

/* undefined.c */
void undefined_forget(void);

/* trace.c */
void record(uint8_t signal, int32_t value, int64_t cycle, uint32_t pc, uint32_t caller);
void record_state(void);
double trace_value(core_trace *trace, double t_s, double absent, double *slope);
/* First cycle after this one at which the trace has a point; NEVER if none. */
int64_t trace_next(const core_trace *trace, int64_t cycle);

/* stack.c */
void stack_prepare(void (*entry)(void));
int stack_resume(void);
void stack_yield(int reason);
void stack_hang(uintptr_t pc);
/* main() has returned: never resumes. */
void stack_returned(void) __attribute__((noreturn));
/* What is on the firmware's stack while it has yielded; and putting such bytes back. */
const void *stack_live(size_t *bytes);
void stack_put(const void *live, size_t bytes);
/* 1 if these bytes lie on the firmware's stack. */
int stack_holds(const void *at, size_t bytes);
/* Return addresses of the frames from this one outwards, as offsets; how many. */
int32_t stack_chain(const void *frame, uint32_t *chain, int32_t room);

/* host.c */
/* The controller is reset at this cycle; does not come back on the firmware's stack. */
void host_reset_request(int64_t cycle, uint8_t cause);

#endif
