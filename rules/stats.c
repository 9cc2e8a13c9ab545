#include "rules/stats.h"

#include <assert.h>
#include <float.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include "daemon/base/arena.h"

double
stats_pmf(long k, double mu)
{
	int sign;

	if (k < 0 || mu <= 0)
		return k == 0;
	return exp((double)k * log(mu) - mu - lgamma_r((double)k + 1, &sign));
}

/* Both sums walk away from the peak at mu: terms only get smaller. */
static double
sum_up(long k, double mu)
{
	double term = stats_pmf(k, mu), sum = 0;

	for (double i = (double)k; term > sum * (DBL_EPSILON / 4); i++) {
		sum += term;
		term *= mu / (i + 1);
	}
	return sum;
}

static double
sum_down(long k, double mu)
{
	double term = stats_pmf(k, mu), sum = 0;

	for (double i = (double)k; i >= 0 && term > sum * (DBL_EPSILON / 4); i--) {
		sum += term;
		term *= i / mu;
	}
	return sum;
}

double
stats_cdf(long k, double mu)
{
	return (double)k < mu ? fmin(1, sum_down(k, mu)) : 1 - stats_tail(k + 1, mu);
}

double
stats_tail(long k, double mu)
{
	return (double)k > mu ? fmin(1, sum_up(k, mu)) : 1 - stats_cdf(k - 1, mu);
}

/* Chance of no k in any window over two and over three windows (Naus 1982), for k > mu: never
 * near 0 there (above 0.09 and 0.018, where k is large and mu just below it). */
static double
quiet_two(long k, double mu)
{
	double f = stats_cdf(k - 1, mu), p = stats_pmf(k, mu);

	return f * f - (double)(k - 1) * p * stats_pmf(k - 2, mu)
	    - ((double)(k - 1) - mu) * p * stats_cdf(k - 3, mu);
}

static double
quiet_three(long k, double mu)
{
	double n = (double)k, f = stats_cdf(k - 1, mu), p = stats_pmf(k, mu);
	double a1, a2, a3 = 0, a4 = 0;

	a1 = 2 * p * f * ((n - 1) * stats_cdf(k - 2, mu) - mu * stats_cdf(k - 3, mu));
	a2 = 0.5 * p * p * ((n - 1) * (n - 2) * stats_cdf(k - 3, mu)
	    - 2 * (n - 2) * mu * stats_cdf(k - 4, mu) + mu * mu * stats_cdf(k - 5, mu));
	for (long r = 1; r < k; r++) {
		double g = stats_cdf(r - 1, mu), q = stats_pmf(2 * k - r, mu);

		a3 += q * g * g;
		if (r > 1)
			a4 += q * stats_pmf(r, mu) * ((double)(r - 1) * stats_cdf(r - 2, mu)
			    - mu * stats_cdf(r - 3, mu));
	}
	return f * f * f - a1 + a2 + a3 - a4;
}

static double
clip(double p)
{
	return p > 0 ? fmin(p, 1) : 0;	/* a NaN becomes 0 only after the callers' checks */
}

double
stats_scan(long k, double mu, double windows)
{
	double lead, q2, p;

	if (k == 1)
		return -expm1(-mu * windows);
	if (windows <= 1)
		return stats_tail(k, mu * windows);
	if ((double)k <= mu)
		return 1;	/* the mean window holds as many; the formula is not made for it */
	q2 = quiet_two(k, mu);
	if (windows <= 2) {
		double q1 = stats_cdf(k - 1, mu);

		p = 1 - q1 * pow(q2 / q1, windows - 1);
	} else {
		p = 1 - q2 * pow(fmin(1, quiet_three(k, mu) / q2), windows - 2);
	}
	lead = stats_tail(k, mu) + (windows - 1) * ((double)k - mu) * stats_pmf(k, mu);
	return clip(lead < 1e-9 ? lead : p);
}

double
stats_scan_fixed(long k, long n, double w)
{
	double at, above = 0, term, x = (double)n;
	int sign;

	assert(w > 0 && w <= 1);
	if (k <= 1)
		return n >= k ? 1 : 0;
	if (k > n)
		return 0;
	if (w >= 1)
		return 1;
	if (k == 2)
		return (x - 1) * w < 1 ? 1 - pow(1 - (x - 1) * w, x) : 1;
	term = exp(lgamma_r(x + 1, &sign) - lgamma_r((double)k + 1, &sign)
	    - lgamma_r(x - (double)k + 1, &sign) + (double)k * log(w)
	    + (x - (double)k) * log1p(-w));
	at = term;
	for (long i = k; i <= n; i++) {
		above += term;
		term *= (double)(n - i) / (double)(i + 1) * w / (1 - w);
	}
	return clip(((double)k / w - x - 1) * at + 2 * above);
}

static const double *
order_values(const void *a)
{
	return *(const double *const *)a;
}

static int
by_value(const void *a, const void *b)
{
	double x = *order_values(a), y = *order_values(b);

	return x < y ? -1 : x > y;
}

void
stats_adjust(const double *p, size_t n, double *adjusted)
{
	const double **order = x_calloc(n, sizeof *order);
	double least = 1;

	for (size_t i = 0; i < n; i++)
		order[i] = p + i;
	qsort(order, n, sizeof *order, by_value);
	for (size_t i = n; i-- > 0;) {
		least = fmin(least, *order[i] * (double)n / (double)(i + 1));
		adjusted[order[i] - p] = least;
	}
	free(order);
}

static int
by_number(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return x < y ? -1 : x > y;
}

double
stats_median(double *x, size_t n)
{
	assert(n > 0);
	qsort(x, n, sizeof *x, by_number);
	return n % 2 ? x[n / 2] : (x[n / 2 - 1] + x[n / 2]) / 2;
}

size_t
stats_median_rank(size_t n)
{
	double left = 0, term = exp(-(double)n * log(2));	/* P(Bin(n, 1/2) = r - 1) */
	size_t r = 0;

	for (;; r++) {
		left += term;
		if (2 * left > 0.05)
			return r;
		term *= (double)(n - r) / (double)(r + 1);
	}
}

void
stats_trend(const double *t, const double *x, size_t n, double *slope, double *p)
{
	double *all = x_calloc(n * n / 2 + 1, sizeof *all);
	double s = 0, m = (double)n, var = m * (m - 1) * (2 * m + 5);
	size_t pairs = 0;

	for (size_t i = 0; i < n; i++) {
		double equal = 0;
		bool first = true;

		for (size_t k = 0; k < n; k++) {
			equal += x[k] == x[i];
			first &= x[k] != x[i] || k >= i;
			if (k >= i || !(t[i] > t[k]))
				continue;
			s += (x[i] > x[k]) - (x[i] < x[k]);
			all[pairs++] = (x[i] - x[k]) / (t[i] - t[k]);
		}
		if (first)
			var -= equal * (equal - 1) * (2 * equal + 5);
	}
	*slope = pairs ? stats_median(all, pairs) : 0;
	*p = var > 0 && s != 0 ? erfc((fabs(s) - 1) / sqrt(var / 18) / sqrt(2)) : 1;
	free(all);
}
