/*
 * segment.h - inside the plant: the linear circuit of a conduction mode, the series of a segment.
 */
#ifndef DRYSPIN_SEGMENT_H
#define DRYSPIN_SEGMENT_H

#include "plant.h"

enum plant_mode {
	MODE_OPEN,
	MODE_FET_HIGH,
	MODE_FET_LOW,
	MODE_DIODE_HIGH,
	MODE_DIODE_LOW,
	MODE_CUT_HIGH, /* broken lead, the terminal at the bus */
	MODE_CUT_LOW,  /* broken lead, the terminal at ground */
	MODES
};

static inline int conducts(uint8_t mode)
{
	return mode >= MODE_FET_HIGH && mode <= MODE_DIODE_LOW;
}

static inline int is_diode(uint8_t mode)
{
	return mode == MODE_DIODE_HIGH || mode == MODE_DIODE_LOW;
}

/* Coefficients of a series at most. A decay over three time constants needs 20 for 1e-7. */
#define ORDERS 26
/* Of the speed, as far as angle and EMF notice. */
#define SPEED_ORDERS 5
/* Functions of the angle that make up the EMF's shapes, see shape.c. */
#define BASES 4

/*
 * One conduction mode. j: loop currents, none, one (j0 into leg `first`, out of the other) or two (into
 * U and V); y = (j0, j1, v_c); i_x = of_loop[x] . j. V0: source, A: auxiliary current.
 *
 *   V    = bus . y + v*           v* = from_source V0 + from_aux A
 *   dj/dt  = a y + in_v v* + in_drop - g e
 *   dv_c/dt = a[2] y + (feed (V0 - v*) - A)/C
 *   v_x  = t y + t_v v* + t_drop + t_e e        terminal, and the same for the comparator's input
 */
typedef struct {
	int loops, first;
	double a[3][3], g[2][3], in_v[2], in_drop[2];
	double bus[3], from_source, from_aux, feed, out[2];
	double of_loop[3][2];
	double t[3][3], t_v[3], t_drop[3], t_e[3][3];
	double d[3][3], d_v[3], d_drop[3], d_e[3][3];
} plant_circuit;

/* A quantity as a combination of the segment's series. */
typedef struct { double j0, j1, v, constant, e[BASES]; } row;

/* The segment: coefficients of powers of s = t/h, 0 <= s <= 1. */
typedef struct {
	double t0_s, h_s, limit_s;
	double s_end;                 /* where the first event lies */
	const plant_circuit *circuit;
	int n;                        /* coefficients in use */
	double j0[ORDERS], j1[ORDERS], v[ORDERS];
	double w[ORDERS], angle[ORDERS];   /* speed; angle past the sector's border */
	double basis[BASES][ORDERS];       /* functions of the angle */
	double turning[BASES][ORDERS];     /* basis x speed: EMF is linear in these */
	double end[5];                     /* j0, j1, v, w, angle at s = 1 */
	double reach_j0, reach_j1, reach_v, reach_w, reach_angle, reach_turning[BASES];
	double v_star, aux_a;
	int way;                      /* sign of the slip through the water, for the propeller */
	double noise_v;               /* comparator noise, held over its cell */
	int star, star_leg;           /* nothing conducts: what holds the star point, see terminals.c */
	double sense[3][ORDERS];      /* filtered lines */
	uint8_t event, leg;
} plant_segment;

typedef struct {
	plant_params p;
	plant_input in;
	plant_state s;
	plant_segment q;
	plant_energy energy;
	plant_history history;
	const plant_circuit *circuit; /* of the present mode, as of plant_refresh_bus */
	double seen_supply_v;         /* what that took the source for */
	int32_t seen_unplugged;
	double h_cap_s, first_rad, step_rad;
	double table[1024 + 1];
	int32_t sectors, substeps;    /* corners in a turn; per step of the table */
	int32_t bases;                /* in use */
	int32_t sine, smooth;         /* the first two are cos and sin; any are */
	int32_t metered, plain_sense; /* plain: no filter, no clamp */
	int32_t any_broken;
	/* EMF by basis, k_x times shape: valid for the sector (and, with smooth bases, the angle) below */
	double emf[3][BASES], basis0[BASES];
	int64_t emf_sector;
	double emf_angle;
} plant_t;

extern plant_t plant;

/* circuit.c */
void circuit_forget(void);
/* Work out this circuit again, one of those that circuit_of has given. */
void circuit_renew(const plant_circuit *c);
const plant_circuit *circuit_of(const uint8_t mode[3], int feed);
/* Least inductance that currents adding up to zero can meet. */
double circuit_least_inductance(void);

/* shape.c */
void shape_init(void);
/* plant.emf and plant.basis0 for the present angle. */
void shape_update(void);
/* EMF of each phase now. */
void shape_emf(double e_v[3]);

/* conduction.c */
/* How long a leg is left open whose diode reverted at once, or where nothing is consistent. */
#define GUARD_S 20e-9
/* Conduction mode of every leg from gates, currents and voltages. Sets `relevel`. */
void plant_resolve(void);
/* Whether source and auxiliary current flow, and bus voltage, in the present mode. */
void plant_refresh_bus(void);
/* Star point of a machine none of whose legs conducts, with these EMFs. */
double plant_floating_star(const uint8_t mode[3], const double e_v[3], double v_bus_v);
/* Torque that would turn a rotor at rest, for the present currents. */
double plant_rest_torque(void);
/* Sign of the speed that sets in from rest; 0 while friction holds the rotor. */
int8_t plant_direction_from_rest(void);

/* series.c */
/* All series over q->h_s, from the coefficients 0 on; 0 if they do not converge over so long a segment. */
int series_expand(void);
/* The same of a plant that rests, over any length. */
void series_hold(void);
/* Coefficients of a row into c[ORDERS]. */
void row_series(const row *r, double *c);

/* Its value at the start of the segment. */
static inline double row_start(const row *r)
{
	const plant_segment *q = &plant.q;
	double sum = r->constant + r->j0 * q->j0[0] + r->j1 * q->j1[0] + r->v * q->v[0]
	             + r->e[0] * q->turning[0][0] + r->e[1] * q->turning[1][0];
	if (plant.bases > 2)
		sum += r->e[2] * q->turning[2][0] + r->e[3] * q->turning[3][0];
	return sum;
}

/* How far it may stray from that. */
static inline double row_reach(const row *r)
{
	const plant_segment *q = &plant.q;
	double sum = __builtin_fabs(r->j0) * q->reach_j0 + __builtin_fabs(r->j1) * q->reach_j1
	             + __builtin_fabs(r->v) * q->reach_v + __builtin_fabs(r->e[0]) * q->reach_turning[0]
	             + __builtin_fabs(r->e[1]) * q->reach_turning[1];
	if (plant.bases > 2)
		sum += __builtin_fabs(r->e[2]) * q->reach_turning[2] + __builtin_fabs(r->e[3]) * q->reach_turning[3];
	return sum;
}

/* EMF part of a row from weights of the three phases' EMFs. */
static inline void row_emf(row *r, const double weight[3])
{
	for (int b = 0; b < 2; b++)
		r->e[b] = weight[0] * plant.emf[0][b] + weight[1] * plant.emf[1][b] + weight[2] * plant.emf[2][b];
	for (int b = 2; b < BASES; b++)
		r->e[b] = plant.bases > 2 ? weight[0] * plant.emf[0][b] + weight[1] * plant.emf[1][b]
		                                + weight[2] * plant.emf[2][b]
		                          : 0.0;
}

/* events.c: end the segment at s, with this event, if it would last longer. */
void event_cut(double s, uint8_t event, int leg);
/* The same where sign * (r - bound) turns negative. */
void event_find_row(const row *r, double sign, double bound, uint8_t event, int leg);
void event_find(void);

/* terminals.c */
/* Terminal of leg x over the segment. */
void terminal_row(int x, row *r);
/* Nothing conducts: what holds the star point, from now on for one segment; cut where that changes. */
void star_find(void);

/* sense.c */
/* Comparator input now; V at the terminal. */
double sense_now(void);
/* Read the comparator level after a discrete change; 1 if it differs from before. */
int sense_read_level(void);
/* Cut the segment at the comparator's crossing. */
void sense_find(void);
#define NOISE_CELL_PER_S 1e6
/* Largest noise in standard deviations: sqrt(12) of four uniform terms. */
#define NOISE_PEAK 3.4641016151377544

/* roots.c */
/* First s in (0, 1] from which on the series, at least 0 at 0, is negative; above 1 if none. */
double root_first(const double *c, int n);
double series_at(const double *c, int n, double s);

/* energy.c: meter the segment up to s. */
void energy_add(double s);

/* Below this bus voltage the regulator gives nothing and draws nothing. */
#define AUX_FROM_V 1.0

#endif
