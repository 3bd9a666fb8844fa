/*
 * segment.h - responses of a first-order lag to a drive given as a polynomial of time.
 *
 * With x = t/tau, E = exp(-x):
 *   phi1 = (1 - E)/x, phi2 = (1 - phi1)/x, phi3 = (1/2 - phi2)/x
 *   L di/dt + R i = g0 + g1 t       ->  i(t) = i0 E + (t/L)(g0 phi1 + g1 t phi2)
 * Taylor series from the highest phi down: no cancellation, and R -> 0 needs no special case.
 */
#ifndef DRYSPIN_SEGMENT_H
#define DRYSPIN_SEGMENT_H

/* Truncation below 2e-14 relative for x <= LAG_FAST_X. */
#define LAG_FAST_X 0.25
/* Truncation below 1e-13 relative for x <= LAG_SLOW_X. */
#define LAG_SLOW_X 1.0

typedef struct { double e, phi1, phi2, phi3; } lag;

static inline lag lag_fast(double x)
{
	double p = 1.0 / 39916800.0; /* 1/11! */
	p = 1.0 / 3628800.0 - x * p;
	p = 1.0 / 362880.0 - x * p;
	p = 1.0 / 40320.0 - x * p;
	p = 1.0 / 5040.0 - x * p;
	p = 1.0 / 720.0 - x * p;
	p = 1.0 / 120.0 - x * p;
	p = 1.0 / 24.0 - x * p;
	p = 1.0 / 6.0 - x * p;
	lag r;
	r.phi3 = p;
	r.phi2 = 0.5 - x * p;
	r.phi1 = 1.0 - x * r.phi2;
	r.e = 1.0 - x * r.phi1;
	return r;
}

static inline lag lag_slow(double x)
{
	double p = 0.0;
	/* 1/(k+3)! for k = 14 .. 1 */
	static const double c[14] = {
		1.0 / 355687428096000.0, 1.0 / 20922789888000.0, 1.0 / 1307674368000.0,
		1.0 / 87178291200.0, 1.0 / 6227020800.0, 1.0 / 479001600.0, 1.0 / 39916800.0,
		1.0 / 3628800.0, 1.0 / 362880.0, 1.0 / 40320.0, 1.0 / 5040.0, 1.0 / 720.0,
		1.0 / 120.0, 1.0 / 24.0};
	for (int k = 0; k < 14; k++)
		p = c[k] - x * p;
	lag r;
	r.phi3 = 1.0 / 6.0 - x * p;
	r.phi2 = 0.5 - x * r.phi3;
	r.phi1 = 1.0 - x * r.phi2;
	r.e = 1.0 - x * r.phi1;
	return r;
}

#endif
