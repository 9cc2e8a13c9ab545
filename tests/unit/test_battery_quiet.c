/* How often battery-cluster fires where nothing is wrong: fleets of quiet sites from a
 * generator with a fixed seed, judged by the rule's own pass over all accounts. Fleets in
 * which anything fires must stay within the nominal false-discovery rate of 0.05 (where all
 * is quiet, that rate is the share of such fleets: Benjamini, Hochberg 1995), give or take
 * the chance of so many runs: four standard errors of a binomial share. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "rules/battery_fleet.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))
#define NOMINAL 0.05
#define LOOKBACK 180	/* days: of a longer cover the rule sees these */
#define WINDOW 14	/* days */

enum { SITES = 30, RUNS = 400, ONSETS = 1024 };

/* Years from cell to cell: the prior's three, and cells that it is wrong about. */
static const double years[] = { 1, 3, 7 };

struct town {
	struct summary   summary[SITES * ONSETS];
	struct candidate candidate[SITES];
	char             name[ONSETS][24];
	struct fleet     fleet;
	double           at[ONSETS];
};

static double
uniform(uint64_t *s)
{
	*s ^= *s << 13;
	*s ^= *s >> 7;
	*s ^= *s << 17;
	return ((double)(*s >> 11) + 0.5) / 9007199254740992.0;
}

/* A Poisson process over `days`, `mean` onsets in all; how many. */
static long
onsets(uint64_t *seed, double mean, double days, double at[ONSETS])
{
	long n = 0;

	for (double t = -log(uniform(seed)) * days / mean; t < days && n < ONSETS;
	     t += -log(uniform(seed)) * days / mean)
		at[n++] = t;
	return n;
}

static void
note(struct town *t, const char *account, const char *key, double day, double a, double b)
{
	t->summary[t->fleet.n_summary++] = (struct summary){ .account = account, .key = key,
		.at = (int64_t)(day * DAY), .a = a, .b = b };
}

static void
begin(struct town *t)
{
	t->fleet = (struct fleet){ .summary = t->summary, .candidate = t->candidate,
		.n_account = SITES };
}

/* One site with onsets at t->at, as battery_cluster.c tells it. */
static void
add_site(struct town *t, long n, double devices, double days)
{
	double exposure = devices * days;
	long most = 0;

	note(t, "A", "exposure:?", 0, exposure, days);
	for (long lo = 0, hi = 0; hi < n; hi++) {
		note(t, "A", "onset:?", t->at[hi], 1, 0);
		while (t->at[hi] - t->at[lo] > WINDOW)
			lo++;
		most = hi - lo + 1 > most ? hi - lo + 1 : most;
	}
	if (n >= 2)
		t->candidate[t->fleet.n_candidate++] = (struct candidate){ .account = "A",
			.subject = "site", .number = { [N_CROWD] = (double)most,
			[N_DEVICE_DAYS] = exposure, [N_DAYS] = days,
			[N_ONSETS] = (double)n, [N_DUE] = (double)n, [N_WINDOW] = WINDOW } };
}

static long
fired(struct town *t)
{
	struct findings out = { 0 };
	long n = 0;

	battery_fleet_judge(&t->fleet, &out);
	for (size_t i = 0; i < t->fleet.n_candidate; i++)
		n += t->candidate[i].fires;
	n += (long)out.n;
	findings_release(&out);
	return n;
}

static void
within(const char *what, double devices, double days, double life, long bad)
{
	double share = (double)bad / RUNS, most = NOMINAL + 4 * sqrt(NOMINAL * (1 - NOMINAL) / RUNS);

	if (share > most)
		fail_msg("%s: %g devices, %g days, a cell each %g years: %g of the fleets fire, at "
		    "most %g", what, devices, days, life, share, most);
}

static void
quiet_sites(void **state)
{
	static const double devices[] = { 20, 40, 60 }, days[] = { 40, 365 };
	struct town *t = calloc(1, sizeof *t);
	uint64_t seed = 20261001;
	long all = 0, sites = 0;

	(void)state;
	assert_non_null(t);
	for (size_t i = 0; i < COUNT(devices) * COUNT(days) * COUNT(years); i++) {
		double n = devices[i % 3], d = fmin(days[i / 3 % 2], LOOKBACK), life = years[i / 6];
		long bad = 0;

		for (int r = 0; r < RUNS; r++) {
			long any;

			begin(t);
			for (int k = 0; k < SITES; k++)
				add_site(t, onsets(&seed, n * d / life / 365.25, d, t->at), n, d);
			any = fired(t);
			bad += any > 0;
			all += any;
			sites += SITES;
		}
		within("quiet sites", n, days[i / 3 % 2], life, bad);
	}
	/* Of single quiet sites far fewer fire, but not none: the rule is not merely mute. */
	assert_true((double)all / (double)sites < 0.004);
	assert_true(all > 0);
	free(t);
}

static void
quiet_types(void **state)
{
	static const double devices[] = { 100, 400, 2000 }, days[] = { 46, 365 };
	struct town *t = calloc(1, sizeof *t);
	uint64_t seed = 20261002;

	(void)state;
	assert_non_null(t);
	for (size_t i = 0; i < COUNT(devices) * COUNT(days) * COUNT(years); i++) {
		double n = devices[i % 3], d = fmin(days[i / 3 % 2], LOOKBACK), life = years[i / 6];
		long bad = 0;

		for (int r = 0; r < RUNS; r++) {
			long k = onsets(&seed, n * d / life / 365.25, d, t->at);

			begin(t);
			note(t, "A", "exposure:AA", 0, n * d, d);
			for (long m = 0; m < k; m++) {
				snprintf(t->name[m], sizeof t->name[m], "B%ld", m);
				note(t, t->name[m], "onset:AA", t->at[m], 1, 0);
			}
			bad += fired(t) > 0;
		}
		within("quiet cell type", n, days[i / 3 % 2], life, bad);
	}
	free(t);
}

/* What must be found: so many of a site's devices within nine days, among quiet sites. */
static void
power(void **state)
{
	static const struct { double devices, days; long crowd; double least; } row[] = {
		{ 20, 40, 4, 0.95 }, { 40, 40, 5, 0.95 }, { 60, 40, 6, 0.95 },
		{ 20, 365, 4, 0.9 }, { 40, 365, 5, 0.9 }, { 60, 365, 6, 0.9 },
	};
	struct town *t = calloc(1, sizeof *t);
	uint64_t seed = 20261003;

	(void)state;
	assert_non_null(t);
	for (size_t i = 0; i < COUNT(row); i++) {
		double d = fmin(row[i].days, LOOKBACK);
		long found = 0;

		for (int r = 0; r < RUNS; r++) {
			struct findings out = { 0 };

			begin(t);
			for (long k = 0; k < row[i].crowd; k++)
				t->at[k] = 20 + 9.0 * (double)k / (double)row[i].crowd;
			add_site(t, row[i].crowd, row[i].devices, d);
			for (int k = 1; k < SITES; k++)
				add_site(t, onsets(&seed, row[i].devices * d / 7 / 365.25, d, t->at),
				    row[i].devices, d);
			battery_fleet_judge(&t->fleet, &out);
			found += t->candidate[0].fires;
			findings_release(&out);
		}
		if ((double)found < row[i].least * RUNS)
			fail_msg("%ld of %g devices in %g days: found in %ld of %d", row[i].crowd,
			    row[i].devices, row[i].days, found, RUNS);
	}
	free(t);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(quiet_sites),
		cmocka_unit_test(quiet_types),
		cmocka_unit_test(power),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
