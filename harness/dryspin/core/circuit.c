/*
 * circuit.c - the linear circuit of each conduction mode, worked out when first met and kept.
 *
 * For the legs that conduct, with u_x = a_x V + drop_x - (R_x + r_x) i_x - e_x, a_x = 1 at the bus:
 *
 *   sum over y of L_xy di_y/dt + v_n = u_x        sum of i_x = 0
 *   two legs:   di/dt = (u_x - u_y)/(L_x + L_y - 2 M)
 *   three legs: the differences to W, a 2 x 2 system for di_u/dt and di_v/dt
 *   V = v_c + ESR (feed (V0 - V) - i_out)         i_out = A + sum of a_x i_x, feed = 1/Rb or 0
 *
 * An open leg shows e_z plus the star point plus what the others' currents induce in it:
 * v_z = e_z + sum of b_y u_y, b_x + b_y = 1.
 */
#include "segment.h"
#include <math.h>
#include <string.h>

static plant_circuit circuits[2 * MODES * MODES * MODES];
static uint8_t known[2 * MODES * MODES * MODES];

void circuit_forget(void)
{
	memset(known, 0, sizeof known);
}

static double mutual(int x, int y)
{
	/* UV, VW, WU */
	int pair = (x + y == 1) ? 0 : (x + y == 3) ? 1 : 2;
	return plant.p.m_h[pair];
}

double circuit_least_inductance(void)
{
	const double *l = plant.p.l_h, *m = plant.p.m_h;
	/* on the orthonormal basis (1,-1,0)/sqrt 2, (1,1,-2)/sqrt 6 of the currents that add up to zero */
	double a = (l[0] + l[1] - 2.0 * m[0]) / 2.0;
	double c = (l[0] + l[1] + 2.0 * m[0] + 4.0 * l[2] - 4.0 * m[2] - 4.0 * m[1]) / 6.0;
	double b = (l[0] - l[1] - 2.0 * m[2] + 2.0 * m[1]) / sqrt(12.0);
	return 0.5 * (a + c) - sqrt(0.25 * (a - c) * (a - c) + b * b);
}

typedef struct { double rail, drop, r; } element;

static element element_of(uint8_t mode)
{
	const plant_params *p = &plant.p;
	switch (mode) {
	case MODE_FET_HIGH: return (element){1.0, 0.0, p->r_on_ohm};
	case MODE_FET_LOW: return (element){0.0, 0.0, p->r_on_ohm};
	case MODE_DIODE_HIGH: return (element){1.0, p->v_f_v, p->r_diode_ohm};
	case MODE_DIODE_LOW: return (element){0.0, -p->v_f_v, p->r_diode_ohm};
	case MODE_CUT_HIGH: return (element){1.0, 0.0, 0.0};
	default: return (element){0.0, 0.0, 0.0};
	}
}

/* Loops, g and the weights of u behind an open leg. */
static void solve_star(plant_circuit *c, const int leg[3], int n, double behind[3])
{
	const double *l = plant.p.l_h;
	if (n == 1)
		behind[leg[0]] = 1.0;
	if (n == 2) {
		int x = leg[0], y = leg[1], open = 3 - x - y;
		double m = mutual(x, y), g = 1.0 / (l[x] + l[y] - 2.0 * m);
		double induced = (mutual(open, x) - mutual(open, y)) * g;
		c->loops = 1;
		c->first = x;
		c->of_loop[x][0] = 1.0;
		c->of_loop[y][0] = -1.0;
		c->g[0][x] = g;
		c->g[0][y] = -g;
		behind[x] = (l[y] - m) * g + induced;
		behind[y] = (l[x] - m) * g - induced;
	}
	if (n == 3) {
		double uw = mutual(2, 0), vw = mutual(1, 2);
		double q00 = l[0] + l[2] - 2.0 * uw, q11 = l[1] + l[2] - 2.0 * vw;
		double q01 = mutual(0, 1) - uw - vw + l[2];
		double by = 1.0 / (q00 * q11 - q01 * q01);
		c->loops = 2;
		c->of_loop[0][0] = c->of_loop[1][1] = 1.0;
		c->of_loop[2][0] = c->of_loop[2][1] = -1.0;
		c->g[0][0] = q11 * by;
		c->g[0][1] = c->g[1][0] = -q01 * by;
		c->g[1][1] = q00 * by;
		c->g[0][2] = -(c->g[0][0] + c->g[0][1]);
		c->g[1][2] = -(c->g[1][0] + c->g[1][1]);
	}
}

static void write_bus(plant_circuit *c, const element of[3], int feed)
{
	const plant_params *p = &plant.p;
	double esr = p->stiff ? 0.0 : p->esr_ohm;
	c->feed = feed && !p->stiff ? 1.0 / p->r_supply_ohm : 0.0;
	for (int l = 0; l < 2; l++)
		for (int x = 0; x < 3; x++)
			c->out[l] += of[x].rail * c->of_loop[x][l];
	double share = 1.0 / (1.0 + esr * c->feed);
	c->bus[0] = -share * esr * c->out[0];
	c->bus[1] = -share * esr * c->out[1];
	c->bus[2] = share;
	c->from_source = share * esr * c->feed;
	c->from_aux = -share * esr;
	if (p->stiff)
		return;
	for (int k = 0; k < 3; k++)
		c->a[2][k] = -(c->feed * c->bus[k] + (k < 2 ? c->out[k] : 0.0)) / p->c_bus_f;
}

static void write_terminals(plant_circuit *c, const uint8_t mode[3], const element of[3], const double u[3][3],
                            const double behind[3], int n)
{
	for (int x = 0; x < 3; x++) {
		if (mode[x] != MODE_OPEN) {
			for (int k = 0; k < 3; k++)
				c->t[x][k] = of[x].rail * c->bus[k] - (k < 2 ? of[x].r * c->of_loop[x][k] : 0.0);
			c->t_v[x] = of[x].rail;
			c->t_drop[x] = of[x].drop;
			continue;
		}
		c->t_e[x][x] = 1.0;
		for (int y = 0; n > 0 && y < 3; y++) {
			for (int k = 0; k < 3; k++)
				c->t[x][k] += behind[y] * u[y][k];
			c->t_v[x] += behind[y] * of[y].rail;
			c->t_drop[x] += behind[y] * of[y].drop;
			c->t_e[x][y] -= behind[y];
		}
	}
	for (int s = 0; s < 3; s++) {
		for (int x = 0; x < 3; x++) {
			double share = (x == s ? 1.0 : 0.0) - 1.0 / 3.0;
			for (int k = 0; k < 3; k++) {
				c->d[s][k] += share * c->t[x][k];
				c->d_e[s][k] += share * c->t_e[x][k];
			}
			c->d_v[s] += share * c->t_v[x];
			c->d_drop[s] += share * c->t_drop[x];
		}
	}
}

static void write_down(plant_circuit *c, const uint8_t mode[3], int feed)
{
	int leg[3], n = 0;
	double behind[3] = {0.0, 0.0, 0.0}, u[3][3];
	element of[3];
	memset(c, 0, sizeof *c);
	for (int x = 0; x < 3; x++) {
		of[x] = element_of(mode[x]);
		if (conducts(mode[x]))
			leg[n++] = x;
	}
	solve_star(c, leg, n, behind);
	write_bus(c, of, feed);
	for (int x = 0; x < 3; x++)
		for (int k = 0; k < 3; k++)
			u[x][k] = of[x].rail * c->bus[k]
			          - (k < 2 ? (of[x].r + plant.p.r_ohm[x]) * c->of_loop[x][k] : 0.0);
	for (int l = 0; l < c->loops; l++)
		for (int x = 0; x < 3; x++) {
			for (int k = 0; k < 3; k++)
				c->a[l][k] += c->g[l][x] * u[x][k];
			c->in_v[l] += c->g[l][x] * of[x].rail;
			c->in_drop[l] += c->g[l][x] * of[x].drop;
		}
	write_terminals(c, mode, of, u, behind, n);
}

void circuit_renew(const plant_circuit *c)
{
	int k = (int)(c - circuits), legs = k / 2;
	const uint8_t mode[3] = {
		(uint8_t)(legs / (MODES * MODES)), (uint8_t)(legs / MODES % MODES), (uint8_t)(legs % MODES)};
	write_down(&circuits[k], mode, k % 2);
	known[k] = 1;
}

const plant_circuit *circuit_of(const uint8_t mode[3], int feed)
{
	int k = ((mode[0] * MODES + mode[1]) * MODES + mode[2]) * 2 + (feed != 0);
	if (!known[k]) {
		write_down(&circuits[k], mode, feed);
		known[k] = 1;
	}
	return &circuits[k];
}
