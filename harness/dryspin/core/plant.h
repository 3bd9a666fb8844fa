/*
 * plant.h - the machine on the rig: wye motor, three half-bridges, supply, rotor.
 *
 * The compiled, event-driven twin of the plain equations in dryspin/plant/equations.py. Between two
 * events the conduction mode is fixed and the phase currents have a closed form, so nothing is
 * stepped: `plant_plan` finds how far the present mode carries and what ends it, `plant_commit`
 * goes there, or to any earlier moment if something else happens first.
 *
 * Signs: phase currents flow into the motor, w > 0 turns U, V, W, angles are electrical.
 * Sector n spans [30 + 60 n, 90 + 60 n) degrees; in it exactly one phase's EMF ramps.
 */
#ifndef DRYSPIN_PLANT_H
#define DRYSPIN_PLANT_H

#include <stdint.h>

/* cdef begin */
/* Fixed for a run. SI units; per-phase values; all legs and phases alike. */
typedef struct {
	double k_v_s;        /* peak phase EMF per mechanical rad/s; torque = k sum(f i) */
	double r_ohm;        /* phase resistance, without the FET */
	double l_h;          /* phase inductance less mutual */
	double j_kg_m2;      /* rotor and propeller */
	double b_nm_s;       /* viscous friction */
	double coulomb_nm;   /* Coulomb friction, also what holds the rotor at rest */
	double kq_nm_s2;     /* propeller: torque = kq w |w| */
	double r_on_ohm;     /* FET on-resistance, and slope of its body diode */
	double v_f_v;        /* body diode forward drop */
	double r_supply_ohm; /* between source and bus capacitor */
	double c_bus_f;      /* bus capacitor */
	double i_aux_a;      /* what controller and regulator draw from the bus, while it exceeds 1 V */
	double offset_v;     /* comparator offset, referred to the motor terminal */
	double h_max_s;      /* longest segment */
	int32_t pole_pairs;
	int32_t sinks;       /* 1: the source takes current back */
	int32_t stiff;       /* 1: the bus is an ideal source */
	int32_t fixed_speed; /* 1: the rotor keeps its speed */
} plant_params;

/* Imposed from outside, constant over a segment. */
typedef struct {
	double v_supply_v, load_factor, load_nm, noise_v;
	double w_driven_rad_s, w_driven_slope; /* used while `driven` */
	int32_t driven;
	int32_t unplugged;   /* 1: the source is off the bus */
	uint32_t noise_seed;
} plant_input;

typedef struct {
	double t_s;
	double i_a[3];
	double v_bus_v;
	double w_rad_s;
	double in_sector_rad; /* electrical angle past the sector's lower border */
	int64_t sector;
	uint8_t gate[3];      /* bit 0 high FET, bit 1 low FET */
	uint8_t mode[3];      /* plant_mode of each leg */
	uint8_t sense;        /* leg led to the comparator, 0..2 */
	uint8_t level;        /* comparator input: 1 = phase above neutral */
	uint8_t supply_on;    /* the source conducts */
	uint8_t stuck;        /* held at rest by friction */
	uint8_t relevel;      /* something discrete happened: read the level anew */
	uint32_t guard_hits;  /* times the progress guard was needed */
	double blocked_until_s[3]; /* a leg whose diode reverted at once stays open until then */
} plant_state;
/* cdef end */

#define SECTOR_RAD 1.0471975511965976 /* 60 degrees */

/* The comparator's level is kept until its input is this far past equality: an open phase at rest
 * stands at exactly zero, and rounding is not an edge. */
#define LEVEL_V 1e-7

enum plant_mode { MODE_OPEN, MODE_FET_HIGH, MODE_FET_LOW, MODE_DIODE_HIGH, MODE_DIODE_LOW };

enum plant_event {
	EVENT_NONE,
	EVENT_DIODE_OFF,
	EVENT_CLAMP,
	EVENT_BORDER,
	EVENT_CROSSING,
	EVENT_SUPPLY,
	EVENT_BREAKAWAY,
	EVENT_STOP
};

/* One segment: mode fixed, EMF and bus affine in time. Index = leg. */
typedef struct {
	double t_end_s, h_s;
	double g0_v[3], g1_v_s[3];   /* drive of each conducting leg: u - e - vn = g0 + g1 t */
	double e0_v[3], e1_v_s[3];   /* EMF */
	double f0[3], f1_s[3];       /* EMF shape */
	double vn0_v, vn1_v_s;       /* star point */
	double mean0_v, mean1_v_s;   /* mean of the terminals: the resistor-made neutral */
	double v0_v, v1_v_s;         /* bus */
	double al_rad_s2;            /* rotor acceleration at the start */
	double noise_v;              /* comparator noise, held over its cell */
	uint8_t event, leg;
} plant_plan_t;

typedef struct {
	plant_params p;
	plant_input in;
	plant_state s;
	plant_plan_t plan;
	double tau_s, inv_tau, inv_l, tau_bus_s, h_cap_s;
} plant_t;

#pragma GCC visibility push(default)
/* cdef begin */
/* Rotor at theta_rad (electrical), no current unless set afterwards, all gates off. */
void plant_init(const plant_params *p, double theta_rad, double w_rad_s, double v_bus_v);
/* Replace the gates of the legs (bit 0 high FET, bit 1 low FET); the plant must be at that moment. */
void plant_set_gates(uint8_t u, uint8_t v, uint8_t w);
/* Lead another leg to the comparator. */
void plant_set_sense(uint8_t leg);
/* Go on to to_s, or to the first edge at the comparator input: returns 1 there, 0 at to_s. */
int plant_advance(double to_s);
/* Comparator noise at t_s, V at the terminal: a function of (seed, time) alone, held for 1 us. */
double plant_noise(double t_s);
/* Terminal voltages now; v_v[3]. */
void plant_terminals(double *v_v);
plant_state *plant_access(void);
plant_input *plant_access_input(void);
/* cdef end */
#pragma GCC visibility pop

extern plant_t plant;

/* Plan the segment from the present state to limit_s at most. */
void plant_plan(double limit_s);

/* Go to t_s, at most plan.t_end_s. Returns 1 if the comparator input changed level there. */
int plant_commit(double t_s);

/* Read the comparator level after a discrete change; 1 if it differs from before. */
int plant_read_level(void);

#define NOISE_CELL_PER_S 1e6
/* Largest noise in standard deviations: sqrt(12) of four uniform terms. */
#define NOISE_PEAK 3.4641016151377544

/* Conduction mode of every leg from gates, currents and voltages. Sets `relevel`. */
void plant_resolve(void);

/* EMF shape per phase and its slope by electrical angle, at the present angle. */
void plant_shape(double f[3], double slope[3]);

/* Star point for a given mode, EMF and bus: see conduction.c. */
double plant_star_point(const uint8_t mode[3], const double e_v[3], double v_bus_v);

/* Torque for currents i at t after the planned segment's start. */
double plant_torque(const double i_a[3], double t);

/* Below this bus voltage the regulator gives nothing and draws nothing. */
#define AUX_FROM_V 1.0
double plant_aux_current(void);

/* Rail part of a leg's terminal voltage: v = u - r_on i. */
double plant_rail(uint8_t mode, double v_bus_v);

#endif
