#include "rules/stats.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <cmocka.h>

#define COUNT(a) (sizeof(a) / sizeof *(a))

static void
near(double got, double want, double tolerance, const char *what)
{
	if (!(fabs(got - want) <= tolerance))
		fail_msg("%s: got %.12g, want %.12g +- %.3g", what, got, want, tolerance);
}

static void
poisson(void **state)
{
	/* P(X >= 6; 1) "about 0.0006" is published with the worked example of a police
	 * department's yearly scan; the digits of all rows are exact sums. */
	static const struct { long k; double mu, tail; } row[] = {
		{ 6, 1, 0.0005941848 },
		{ 3, 1, 0.0803013971 },
		{ 5, 2.5, 0.1088219811 },
		{ 10, 3, 0.0011024881 },
		{ 1, 0.1, 0.0951625820 },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		near(stats_tail(row[i].k, row[i].mu), row[i].tail, 5e-11, "tail");
		near(stats_cdf(row[i].k - 1, row[i].mu), 1 - row[i].tail, 5e-11, "cdf");
	}
	/* 260 disjoint weeks: "over 15 %" (same example). */
	near(stats_tail(6, 1) * 260, 0.1545, 5e-5, "260 weeks");

	near(stats_pmf(0, 0), 1, 0, "pmf(0;0)");
	near(stats_pmf(1, 0), 0, 0, "pmf(1;0)");
	near(stats_pmf(-1, 2), 0, 0, "pmf(-1)");
	near(stats_pmf(-1, 0), 0, 0, "pmf(-1;0)");
	near(stats_cdf(-1, 2), 0, 0, "cdf(-1)");
	near(stats_cdf(-1, 0), 0, 0, "cdf(-1;0)");
	near(stats_cdf(0, 0), 1, 0, "cdf(0;0)");
	near(stats_cdf(1, 0), 1, 0, "cdf(1;0)");
	near(stats_tail(-1, 2), 1, 0, "tail(-1)");
	near(stats_tail(0, 2), 1, 0, "tail(0)");
	near(stats_tail(0, 0), 1, 0, "tail(0;0)");
	near(stats_tail(1, 0), 0, 0, "tail(1;0)");
	near(stats_cdf(0, 1), exp(-1), 1e-15, "cdf(0;1)");

	/* A complement would give 0 here: P(X >= 20; 0.01) is nearly its first term. */
	near(stats_tail(20, 0.01) / (exp(-0.01) * 1e-40 / 2432902008176640000.0), 1, 1e-3,
	    "far tail keeps its digits");
	/* Both sides of the peak add up, also for large means. */
	for (long k = 0; k < 1200; k += 7)
		near(stats_cdf(k, 500) + stats_tail(k + 1, 500), 1, 1e-12, "sum");
	near(stats_cdf(500, 500), 0.5118904, 1e-6, "the median of a large mean");
}

static void
naus(void **state)
{
	/* Digits computed from the published formula; the simulations had 1-2 million runs.
	 * Inputs 260/1/6: public criminology toolkit ("close to 50 %"); 208/0.6/6: Aberdein,
	 * Spiegelhalter 2013; the rest own choice. The first row is the toolkit's exponent
	 * L-1, which is one window more in ours. */
	static const struct { double windows, mu; long k; double p, tolerance, simulated; } row[] = {
		{ 261, 1, 6, 0.486903872, 5e-10, 0.4849 },
		{ 260, 1, 6, 0.485586648, 5e-10, 0.4849 },
		{ 208, 0.6, 6, 0.039023106, 5e-10, 0.0389 },
		{ 10, 1, 5, 0.110027, 5e-7, 0.1095 },
		{ 10, 0.5, 4, 0.050740, 5e-7, 0.0506 },
		{ 30, 0.1, 3, 0.012767, 5e-7, 0.0128 },
		{ 52, 0.25, 4, 0.024104, 5e-7, 0.0242 },
		{ 12, 2, 8, 0.056764, 5e-7, 0.0568 },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		double p = stats_scan(row[i].k, row[i].mu, row[i].windows);

		near(p, row[i].p, row[i].tolerance, "Naus");
		near(p, row[i].simulated, 0.0025, "simulation");
	}
}

/* One seeded run of a Poisson process over `span` windows: does one window hold k? */
static double
uniform(uint64_t *s)
{
	*s ^= *s << 13;
	*s ^= *s >> 7;
	*s ^= *s << 17;
	return ((double)(*s >> 11) + 0.5) / 9007199254740992.0;
}

static int
crowded(uint64_t *seed, long k, double mu, double span)
{
	double at[4096];
	long n = 0;

	for (double t = -log(uniform(seed)) / mu; t < span && n < 4096;
	     t += -log(uniform(seed)) / mu) {
		at[n++] = t;
		if (n >= k && at[n - 1] - at[n - k] <= 1)
			return 1;
	}
	return 0;
}

static void
naus_simulated(void **state)
{
	/* Chances between 0.01 and 0.8, whole and broken spans, also one under two windows. */
	static const struct { long k; double mu, span; } row[] = {
		{ 2, 0.1, 13 }, { 2, 0.05, 2 }, { 2, 0.3, 1.5 }, { 3, 0.128, 12.9 },
		{ 3, 0.4, 26.1 }, { 4, 0.6, 2.4 }, { 5, 1, 8 }, { 6, 2, 1.3 }, { 1, 0.02, 9.5 },
	};
	enum { RUNS = 60000 };
	uint64_t seed = 20261001;

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		double p = stats_scan(row[i].k, row[i].mu, row[i].span), share;
		long hits = 0;

		for (int r = 0; r < RUNS; r++)
			hits += crowded(&seed, row[i].k, row[i].mu, row[i].span);
		share = (double)hits / RUNS;
		/* Four standard errors, and 0.002 for the approximation itself. */
		near(share, p, 4 * sqrt(p * (1 - p) / RUNS) + 0.002, "simulated share");
	}
}

static void
naus_limits(void **state)
{
	(void)state;
	near(stats_scan(0, 1, 5), 1, 0, "k = 0");
	near(stats_scan(0, 0, 5), 1, 0, "k = 0 of no events at all");
	near(stats_scan(1, 0, 5), 0, 0, "k = 1 of no events at all");
	near(stats_scan(3, 0, 5), 0, 0, "no events at all");
	near(stats_scan(3, 1, 0), 0, 0, "no span");
	near(stats_scan(1, 0.2, 10), 1 - exp(-2), 1e-15, "k = 1 is any event");
	near(stats_scan(1, 3, 2), 1 - exp(-6), 1e-15, "k = 1 under the mean");
	near(stats_scan(2, 0.2, 1), stats_tail(2, 0.2), 1e-15, "one window is the plain tail");
	near(stats_scan(2, 0.2, 0.5), stats_tail(2, 0.1), 1e-15, "half a window");
	/* k = 2 over two windows by hand: e^(-2mu) (1 + 2mu + mu^2/2) is the quiet chance. */
	near(stats_scan(2, 0.2, 2), 1 - exp(-0.4) * (1 + 0.4 + 0.02), 1e-12, "k = 2, L = 2");
	/* No step at one and two windows, nor where the leading term takes over. */
	near(stats_scan(4, 0.5, 1.000001), stats_scan(4, 0.5, 1), 1e-7, "just over one");
	near(stats_scan(4, 0.5, 2.000001), stats_scan(4, 0.5, 2), 1e-7, "just over two");
	for (double mu = 1e-4; mu < 1e-2; mu *= 1.05) {
		double lead = stats_tail(4, mu) + 12 * (4 - mu) * stats_pmf(4, mu);

		near(stats_scan(4, mu, 13) / lead, 1, 5e-5, "small means");
	}
	assert_true(stats_scan(9, 1e-9, 26) > 0);
	assert_true(stats_scan(2, 1e-200, 26) >= 0);
	near(stats_scan(5, 50, 26), 1, 0, "k under the mean");
	/* The chance of quiet is smallest next to the mean: there it has to stay one. */
	for (long k = 2; k < 400; k++) {
		double mu = nextafter((double)k, 0), two = stats_scan(k, mu, 2);

		assert_true(two > 0.5 && two < 1 && stats_scan(k, mu, 3) > two &&
		    stats_scan(k, mu, 3) < 0.99);
	}
	for (long k = 1; k < 60; k++) {
		double more = stats_scan(k, 8, 20), less = stats_scan(k + 1, 8, 20);

		assert_true(more >= 0 && more <= 1);
		assert_true(less <= more);
	}
	assert_true(stats_scan(3, 0.2, 30) > stats_scan(3, 0.2, 20));
	assert_true(stats_scan(3, 0.3, 20) > stats_scan(3, 0.2, 20));
}

static void
fixed(void **state)
{
	/* Exact rational values worked out for these inputs; 8;19,1/5 is a book's example
	 * (0.376, from memory), where the formula is known to lie a little above. */
	static const struct { long k, n; double w, p, tolerance; } row[] = {
		{ 3, 3, 1.0 / 5, 13.0 / 125, 1e-12 },
		{ 5, 5, 1.0 / 2, 3.0 / 16, 1e-12 },
		{ 3, 4, 1.0 / 10, 487.0 / 5000, 1e-12 },
		{ 4, 6, 1.0 / 6, 7187.0 / 46656, 1e-12 },
		{ 4, 7, 3.0 / 10, 12042.0 / 15625, 1e-12 },
		{ 3, 5, 1.0 / 4, 47.0 / 64, 1e-12 },
		{ 5, 8, 1.0 / 5, 65474.0 / 390625, 1e-12 },
		{ 4, 8, 1.0 / 10, 11908.0 / 78125, 1e-12 },
		{ 5, 10, 1.0 / 10, 957863.0 / 15625000, 1e-12 },
		{ 8, 19, 1.0 / 5, 0.378969776, 5e-10 },
		{ 2, 5, 1.0 / 20, 0.67232, 1e-12 },	/* the exact formula, not 0.773954 */
	};

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++)
		near(stats_scan_fixed(row[i].k, row[i].n, row[i].w), row[i].p, row[i].tolerance,
		    "Wallenstein, Neff");
	near(stats_scan_fixed(8, 19, 0.2), 0.3754, 0.004, "simulation of the book's example");
	near(stats_scan_fixed(0, 3, 0.1), 1, 0, "k = 0");
	near(stats_scan_fixed(1, 0, 0.1), 0, 0, "nothing fell");
	near(stats_scan_fixed(1, 1, 0.1), 1, 0, "k = 1");
	near(stats_scan_fixed(3, 2, 0.1), 0, 0, "k > n");
	near(stats_scan_fixed(3, 2, 1), 0, 0, "k > n, window is the span");
	near(stats_scan_fixed(3, 3, 1), 1, 0, "window is the span");
	near(stats_scan_fixed(2, 40, 0.5), 1, 0, "k = 2, no room to stay apart");
	near(stats_scan_fixed(3, 100, 0.3), 1, 0, "clipped");
}

static void
fixed_agrees_with_naus(void **state)
{
	/* Given the mean, the number that falls is Poisson: the conditional chances, weighed,
	 * are the unconditional one. Both formulas come from different papers. */
	(void)state;
	for (double mu = 0.05; mu < 0.4; mu += 0.05) {
		double sum = 0;

		for (long n = 3; n < 60; n++)
			sum += stats_pmf(n, mu * 13) * stats_scan_fixed(3, n, 1.0 / 13);
		near(stats_scan(3, mu, 13) / sum, 1, mu < 0.2 ? 0.02 : 0.1, "two papers, one chance");
	}
}

static void
step_up(void **state)
{
	/* Benjamini and Hochberg's own example: four of fifteen rejected at 0.05. The adjusted
	 * values follow from it by arithmetic. */
	static const double p[15] = { .0001, .0004, .0019, .0095, .0201, .0278, .0298, .0344,
		.0459, .3240, .4262, .5719, .6528, .7590, 1.0 };
	static const double want[15] = { .0015, .0030, .0095, .035625, .0603, .063857, .063857,
		.0645, .0765, .486, .581182, .714875, .753231, .813214, 1 };
	/* Published with the documentation of a statistics library. */
	static const double q[4] = { .01, .04, .03, .005 }, four[4] = { .02, .04, .04, .02 };
	static const double both[2] = { .04, .03 };
	double got[15];
	int rejected = 0;

	(void)state;
	stats_adjust(p, 15, got);
	for (int i = 0; i < 15; i++) {
		near(got[i], want[i], 5e-7, "adjusted");
		rejected += got[i] <= 0.05;
	}
	assert_int_equal(rejected, 4);

	stats_adjust(q, 4, got);
	for (int i = 0; i < 4; i++)
		near(got[i], four[i], 1e-12, "unsorted input");
	stats_adjust(both, 2, got);
	assert_true(got[0] <= 0.05 && got[1] <= 0.05);	/* step-up rejects both */
	stats_adjust(both, 1, got);
	near(got[0], .04, 0, "one alone is not adjusted");
	stats_adjust(both, 0, got);
}

static void
median(void **state)
{
	double odd[] = { 3, 1, 2 }, even[] = { 4, 1, 3, 2 }, one[] = { 7 };

	(void)state;
	near(stats_median(odd, 3), 2, 0, "odd");
	near(stats_median(even, 4), 2.5, 0, "even");
	near(stats_median(one, 1), 7, 0, "one");
}

/* The sign test's ranges for a median, as textbooks list them (from memory: 20 values, the
 * 6th and the 15th; 25, the 8th and the 18th); the others by summing the binomial. */
static void
median_rank(void **state)
{
	static const struct { size_t n, r; } row[] = {
		{ 0, 0 }, { 1, 0 }, { 5, 0 }, { 6, 1 }, { 8, 1 }, { 9, 2 }, { 11, 2 }, { 12, 3 },
		{ 20, 6 }, { 25, 8 }, { 100, 40 }, { 256, 112 },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++)
		if (stats_median_rank(row[i].n) != row[i].r)
			fail_msg("n = %zu: %zu", row[i].n, stats_median_rank(row[i].n));
}

static void
trend(void **state)
{
	static const double t[10] = { 0, 1, 2, 3, 4, 5, 6, 7, 8, 9 };
	static const double up[10] = { 1, 3, 5, 7, 9, 11, 13, 15, 17, 19 };
	static const double outlier[10] = { 1, 3, 5, 7, 900, 11, 13, 15, 17, 19 };
	static const double flat[10] = { 4, 4, 4, 4, 4, 4, 4, 4, 4, 4 };
	static const double ties[10] = { 1, 1, 2, 2, 3, 3, 4, 4, 5, 5 };
	static const double mixed[10] = { 5, 3, 5, 3, 5, 3, 5, 3, 5, 3 };
	static const double same[10] = { 7, 7, 7, 7, 7, 7, 7, 7, 7, 7 };
	double slope, p;

	(void)state;
	/* S = 10, variance 5 4 15 / 18, z = 9 / 4.0825 = 2.2045; worked by hand. */
	stats_trend(t, up, 5, &slope, &p);
	near(slope, 2, 1e-12, "slope of a line");
	near(p, 0.027486, 1e-6, "five in order");
	/* S = 45, variance 10 9 25 / 18 = 125, z = 44 / 11.1803. */
	stats_trend(t, up, 10, &slope, &p);
	near(p, erfc(44 / sqrt(125) / sqrt(2)), 1e-15, "ten in order");
	/* One wild value moves a mean, not this. */
	stats_trend(t, outlier, 10, &slope, &p);
	near(slope, 2, 1e-12, "slope with an outlier");
	assert_true(p < 0.01);
	/* Five pairs of equal values: S = 40, variance (10 9 25 - 5 (2 1 9)) / 18 = 120. */
	stats_trend(t, ties, 10, &slope, &p);
	near(p, erfc(39 / sqrt(120) / sqrt(2)), 1e-15, "ties");
	stats_trend(t, flat, 10, &slope, &p);
	near(slope, 0, 0, "slope of nothing");
	near(p, 1, 0, "nothing changes");
	stats_trend(t, mixed, 10, &slope, &p);
	assert_true(p > 0.3);
	stats_trend(same, up, 10, &slope, &p);	/* all at one time */
	near(slope, 0, 0, "no time passes");
	near(p, 1, 0, "no time passes");
	stats_trend(t, up, 0, &slope, &p);
	near(p, 1, 0, "no values");
	stats_trend(t, up, 1, &slope, &p);
	near(p, 1, 0, "one value");
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(poisson),
		cmocka_unit_test(naus),
		cmocka_unit_test(naus_simulated),
		cmocka_unit_test(naus_limits),
		cmocka_unit_test(fixed),
		cmocka_unit_test(fixed_agrees_with_naus),
		cmocka_unit_test(step_up),
		cmocka_unit_test(median),
		cmocka_unit_test(median_rank),
		cmocka_unit_test(trend),
	};

	return cmocka_run_group_tests_name("stats", tests, NULL, NULL);
}
