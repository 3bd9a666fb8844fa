/*
 * plant.h - the machine on the rig: wye motor, three half-bridges, supply, rotor, sense lines.
 *
 * The compiled, event-driven twin of the plain equations in dryspin/plant/equations.py. Between two
 * events what conducts is fixed and the circuit is linear, so currents, capacitor, speed and angle are
 * power series in time (series.c): nothing is stepped. `plant_plan` finds how far the present mode
 * carries and what ends it, `plant_commit` goes there, or to any earlier moment if something else
 * happens first.
 *
 * Signs: phase currents flow into the motor, w > 0 turns U, V, W, angles are electrical. Triples are
 * in the order U, V, W.
 */
#ifndef DRYSPIN_PLANT_H
#define DRYSPIN_PLANT_H

#include <stdint.h>

/* cdef begin */
enum plant_emf { EMF_TRAPEZOID, EMF_SINE, EMF_TABLE };

/* Fixed for a run. SI units; per-phase values. */
typedef struct {
	double k_v_s[3];     /* peak phase EMF per mechanical rad/s; torque = sum(k f i) */
	double r_ohm[3];     /* phase resistance, without the FET */
	double l_h[3];       /* self less common mutual inductance */
	double m_h[3];       /* deviation of the mutual inductances UV, VW, WU from the common one */
	double third_harmonic; /* h sin(3 theta) on top of the EMF's shape */
	double j_kg_m2;      /* rotor and propeller */
	double b_nm_s;       /* viscous friction */
	double coulomb_nm;   /* Coulomb friction */
	double breakaway_nm; /* torque beyond which a rotor at rest moves, at least the Coulomb friction */
	double kq_nm_s2;     /* propeller: torque = kq (w - w_water)|w - w_water| */
	double r_on_ohm;     /* FET on-resistance */
	double r_diode_ohm;  /* slope of a body diode */
	double v_f_v;        /* body diode forward drop */
	double r_supply_ohm; /* between source and bus */
	double c_bus_f;      /* bus capacitor */
	double esr_ohm;      /* in series with it */
	double i_aux_a;      /* what controller and regulator draw from the bus, while it exceeds 1 V */
	double offset_v;     /* comparator offset, referred to the motor terminal */
	double sense_tau_s;  /* RC low-pass of the sense lines and of the neutral made from them; 0 = none */
	double pin_clamp_v;  /* a line stays below, referred to the terminal; infinite = none */
	double h_max_s;      /* longest segment */
	const double *table; /* EMF_TABLE: f of U at equal steps over a turn from 0 on */
	int32_t n_table;     /* 3 .. 1024 */
	int32_t shape;       /* plant_emf */
	int32_t pole_pairs;
	int32_t sinks;       /* 1: the source takes current back */
	int32_t stiff;       /* 1: the bus is an ideal source */
	int32_t fixed_speed; /* 1: the rotor keeps its speed */
	int32_t broken[3];   /* 1: the lead is off */
} plant_params;

/* Imposed from outside, constant over a segment. */
typedef struct {
	double v_supply_v, load_factor, load_nm, water_rad_s, noise_v;
	double w_driven_rad_s, w_driven_slope; /* used while `driven` */
	int32_t driven;
	int32_t unplugged;   /* 1: the source is off the bus */
	uint32_t noise_seed;
	double shift_v;      /* noise of a moment, given from outside: added to the comparator's offset */
} plant_input;

typedef struct {
	double t_s;
	double i_a[3];
	double v_bus_v;       /* what the bridge sees */
	double v_c_v;         /* inside the capacitor; differs by the drop over its series resistance */
	double w_rad_s;
	double sense_v[3];    /* behind the filters of the sense lines, where there are filters */
	double in_sector_rad; /* electrical angle past the sector's lower border */
	int64_t sector;       /* counted from the EMF's first corner */
	uint8_t gate[3];      /* bit 0 high FET, bit 1 low FET */
	uint8_t mode[3];      /* plant_mode of each leg */
	uint8_t sense;        /* leg led to the comparator, 0..2 */
	uint8_t level;        /* comparator input: 1 = phase above neutral */
	uint8_t supply_on;    /* the source conducts */
	uint8_t aux_on;       /* controller and regulator draw current */
	int8_t moving;        /* sign of the speed, for friction; 0: held at rest, or driven */
	uint8_t relevel;      /* something discrete happened: read the level anew */
	uint32_t guard_hits;  /* times the progress guard was needed */
	double blocked_until_s[3]; /* a leg whose diode reverted at once stays open until then */
} plant_state;

/* Energy through each port since metering began (J). Each power has its own law and its own
 * integral; none is found by subtraction. Names and signs as in dryspin/plant/energy.py. */
typedef struct {
	double source, supply_ohm, esr, auxiliary, copper, fet, diode;
	double electromechanical, friction, propeller, load;
} plant_energy;

/* The last events: when, what (plant_event), which leg. at counts all of them; newest at (at - 1) % 8. */
typedef struct {
	double t_s[8];
	uint8_t event[8], leg[8];
	uint32_t at;
} plant_history;

enum plant_event {
	EVENT_NONE,
	EVENT_DIODE_OFF,
	EVENT_CLAMP,
	EVENT_BORDER,
	EVENT_CROSSING,
	EVENT_SUPPLY,
	EVENT_BREAKAWAY,
	EVENT_STOP,
	EVENT_AUXILIARY
};

/* Bounds of what is a drive at all, far beyond what any part survives. */
enum plant_quantity { WITHIN_BOUNDS, QUANTITY_CURRENT, QUANTITY_BUS, QUANTITY_SPEED };
/* cdef end */

/* Several things may fall on one moment, but not this many: the plant would never leave it. */
#define STILL_MAX 10000

#define CURRENT_MAX_A 1e5
#define BUS_MAX_V 1e5
#define SPEED_MAX_RAD_S 1e5

/* The comparator's level is kept until its input is this far past equality: an open phase at rest
 * stands at exactly zero, and rounding is not an edge. */
#define LEVEL_V 1e-7

#pragma GCC visibility push(default)
/* cdef begin */
/* Rotor at theta_rad (electrical), no current, all gates off, everything settled. */
void plant_init(const plant_params *p, double theta_rad, double w_rad_s, double v_bus_v);
/* After plant_init: time, currents, capacitor voltage of a drive in motion; filters settled. */
void plant_put(double t_s, const double *i_a, double v_c_v);
/* The filtered sense lines, where there are filters; v_v[3]. */
void plant_put_sense(const double *v_v);
/* Replace the gates of the legs (bit 0 high FET, bit 1 low FET); the plant must be at that moment. */
void plant_set_gates(uint8_t u, uint8_t v, uint8_t w);
/* Lead another leg to the comparator. */
void plant_set_sense(uint8_t leg);
/* Go on to to_s, or to the first edge at the comparator input: returns 1 there, 0 at to_s, and -1
 * where the plant has left its bounds (plant_escaped) or does not leave one moment. */
int plant_advance(double to_s);
/* Which quantity lies outside its bounds, or is no number: a plant_quantity. */
int plant_escaped(void);
/* Comparator noise at t_s, V at the terminal: a function of (seed, time) alone, held for 1 us. */
double plant_noise(double t_s);
/* Terminal voltages now; v_v[3]. */
void plant_terminals(double *v_v);
/* Electrical angle, unwrapped; and setting it. */
double plant_theta(void);
void plant_turn_to(double theta_rad);
/* Meter the energy from now on, or do not (costs about half as much time again). */
void plant_meter(int on);
plant_energy *plant_energy_now(void);
plant_history *plant_history_now(void);
plant_state *plant_access(void);
plant_input *plant_access_input(void);
/* All that decides how the plant goes on: its size in bytes, a copy of it, going back to one. A copy
 * holds in any plant of the same parameters. */
int64_t plant_bytes(void);
void plant_copy(void *to);
void plant_restore(const void *from);
/* cdef end */
#pragma GCC visibility pop

/* Plan the segment from the present state to limit_s at most. */
void plant_plan(double limit_s);

/* Go to t_s, at most the end of the plan. Returns 1 if the comparator input changed level there. */
int plant_commit(double t_s);

/* Where the plan ends. */
double plant_plan_end(void);

#endif
