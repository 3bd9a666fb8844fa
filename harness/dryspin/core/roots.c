/*
 * roots.c - the first root of a power series on (0, 1], found with certainty.
 *
 * On [0, 1] a series c0 + c1 s + ... is at least c0 + sum of min(c_n, 0), and its slope at most
 * c1 + sum of max(n c_n, 0). Where the first bound is above zero there is no root; where the slope
 * cannot change sign the end value tells whether there is one, and Newton's method finds it; else the
 * interval is halved by shifting the series (Taylor). So a series that dips below zero and comes back
 * is seen, and of several roots the first is taken.
 */
#include "segment.h"
#include <math.h>

#define HALVINGS 24
#define NONE 2.0
/* Far below the bands of all events, whatever the unit. */
#define NEGLIGIBLE 1e-10

double series_at(const double *c, int n, double s)
{
	double sum = c[n - 1];
	for (int k = n - 2; k >= 0; k--)
		sum = sum * s + c[k];
	return sum;
}

static double at_end(const double *c, int n)
{
	double sum = c[n - 1];
	for (int k = n - 2; k >= 0; k--)
		sum += c[k];
	return sum;
}

/* A falling series with its root in (0, 1]: Newton, kept inside what is known of the root. It begins where
 * the parabola with the same two ends and the same first slope has its root. */
static double falling_root(const double *c, int n, double end)
{
	double low = 0.0, high = 1.0;
	double bend = end - c[0] - c[1], under = c[1] * c[1] - 4.0 * bend * c[0];
	double s = under > 0.0 && c[1] < 0.0 ? 2.0 * c[0] / (sqrt(under) - c[1]) : c[0] / (c[0] - end);
	for (int k = 0; k < 60; k++) {
		double value = c[n - 1], slope = 0.0;
		for (int m = n - 2; m >= 0; m--) {
			slope = slope * s + value;
			value = value * s + c[m];
		}
		if (value > 0.0)
			low = s;
		else
			high = s;
		double next = s - value / slope;
		/* converging quadratically, the error left is of the order of the square of this step */
		if (fabs(next - s) <= 1e-6)
			return next < low ? low : next > high ? high : next;
		s = next > low && next < high ? next : 0.5 * (low + high);
	}
	return high;
}

static double first_in(const double *c, int n, int halvings)
{
	double lowest = c[0], steepest = c[1], flattest = c[1];
	for (int k = 1; k < n; k++)
		lowest += c[k] < 0.0 ? c[k] : 0.0;
	if (lowest >= 0.0)
		return NONE;
	for (int k = 2; k < n; k++) {
		double slope = k * c[k];
		steepest += slope < 0.0 ? slope : 0.0;
		flattest += slope > 0.0 ? slope : 0.0;
	}
	if (steepest >= 0.0)
		return NONE;
	if (flattest <= 0.0 || halvings == 0) {
		double end = at_end(c, n);
		return end < 0.0 ? falling_root(c, n, end) : NONE;
	}
	double half[ORDERS];
	double by = 1.0;
	for (int k = 0; k < n; k++, by *= 0.5)
		half[k] = c[k] * by;
	double s = first_in(half, n, halvings - 1);
	if (s <= 1.0)
		return 0.5 * s;
	for (int k = 0; k < n - 1; k++)
		for (int m = n - 2; m >= k; m--)
			half[m] += half[m + 1];
	if (half[0] < 0.0)
		return 0.5;
	s = first_in(half, n, halvings - 1);
	return s <= 1.0 ? 0.5 + 0.5 * s : NONE;
}

double root_first(const double *c, int n)
{
	if (c[0] < 0.0)
		return 0.0;
	/* what begins at zero and leaves it upwards has no root there */
	while (n > 1 && c[0] == 0.0) {
		c++;
		n--;
	}
	if (c[0] < 0.0)
		return 0.0;
	while (n > 2 && fabs(c[n - 1]) < NEGLIGIBLE)
		n--;
	return n > 1 ? first_in(c, n, HALVINGS) : NONE;
}
