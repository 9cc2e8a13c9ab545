#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "rules/battery.h"
#include "rules/battery_due.h"
#include "rules/battery_fleet.h"
#include "rules/stats.h"
#include "tests/unit/help_view.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

extern const struct rule rule_battery_cluster;

/* The state of zone 1's cell after the rows, by 2026-10-20. */
static void
states(void **state)
{
	static const char *const name[] = { "good", "low", "marginal", "watched" };
	static const struct { const char *rows, *want; uint32_t flips; size_t onsets; } row[] = {
		{ "2026-10-01 check-in zone=1\n", "good", 0, 0 },
		{ "2026-10-01 low-battery zone=1\n", "low", 0, 1 },
		{ "2026-10-01 low-battery zone=1 times=9 every=4h\n", "low", 0, 1 },
		/* A status report keeps it low, and is no onset. */
		{ "2026-10-01 low-battery zone=1 marks=still\n", "low", 0, 0 },
		{ "2026-10-01 low-battery zone=1\n2026-10-02 low-battery zone=1 marks=still\n", "low", 0,
		  1 },
		/* Restored without a sign of work: marginal, for ever. */
		{ "2026-06-01 low-battery zone=1\n2026-06-02 battery-restore zone=1\n", "marginal", 0, 1 },
		{ "2026-06-01 low-battery zone=1\n2026-06-02 battery-restore zone=1\n"
		  "2026-06-03 low-battery zone=1\n2026-06-04 battery-restore zone=1\n", "marginal", 1, 1 },
		{ "2026-06-01 low-battery zone=1\n2026-06-02 battery-restore zone=1\n"
		  "2026-06-03 low-battery zone=1\n", "low", 1, 1 },
		/* A plain restore that can only mean the battery. */
		{ "2026-06-01 low-battery zone=1\n2026-06-02 restore zone=1\n", "marginal", 0, 1 },
		/* With work: 30 min on either side, not a second more. */
		{ "2026-10-01T12:00:00 low-battery zone=1\n2026-10-02T12:00:00 battery-restore zone=1\n"
		  "2026-10-02T12:30:00 tamper zone=1\n", "good", 0, 1 },
		{ "2026-10-01T12:00:00 low-battery zone=1\n2026-10-02T12:00:00 battery-restore zone=1\n"
		  "2026-10-02T12:30:01 tamper zone=1\n", "marginal", 0, 1 },
		{ "2026-10-01T12:00:00 low-battery zone=1\n2026-10-02T11:30:00 tamper zone=1\n"
		  "2026-10-02T12:00:00 battery-restore zone=1\n", "good", 0, 1 },
		{ "2026-10-01T12:00:00 low-battery zone=1\n2026-10-02T11:29:59 tamper zone=1\n"
		  "2026-10-02T12:00:00 battery-restore zone=1\n", "marginal", 0, 1 },
		/* Another device's tamper says nothing; work on the panel does. */
		{ "2026-10-01T12:00:00 low-battery zone=1\n2026-10-02T12:00:00 battery-restore zone=1\n"
		  "2026-10-02T12:10:00 tamper zone=2\n", "marginal", 0, 1 },
		{ "2026-10-01T12:00:00 low-battery zone=1\n2026-10-02T12:00:00 battery-restore zone=1\n"
		  "2026-10-02T12:10:00 program-entry\n", "good", 0, 1 },
		{ "2026-10-01T12:00:00 low-battery zone=1\n2026-10-02T12:00:00 battery-restore zone=1\n"
		  "2026-10-02T12:10:00 walk-test-begin\n", "good", 0, 1 },
		{ "2026-10-01T12:00:00 low-battery zone=1\n2026-10-02T12:00:00 battery-restore zone=1\n"
		  "service 2026-10-02T12:10:00 what=cells\n", "good", 0, 1 },
		{ "2026-10-01T12:00:00 low-battery zone=1\n2026-10-02T12:00:00 battery-restore zone=1\n"
		  "2026-10-03 check-in zone=2\nservice 2026-10-02T12:10:00 what=cells zone=2\n",
		  "marginal", 0, 1 },
		/* Proven after 14 days of cover, not a second less. */
		{ "2026-10-01T12:00:00 low-battery zone=1\n2026-10-06T00:00:00 cell-replaced zone=1\n",
		  "good", 0, 1 },
		{ "2026-10-01T12:00:00 low-battery zone=1\n2026-10-06T00:00:01 cell-replaced zone=1\n",
		  "watched", 0, 1 },
		/* Low again within them: it was no good. After them: the next life. */
		{ "2026-10-01 low-battery zone=1\n2026-10-02 cell-replaced zone=1\n"
		  "2026-10-10 low-battery zone=1\n", "low", 1, 1 },
		{ "2026-08-01 low-battery zone=1\n2026-08-02 cell-replaced zone=1\n"
		  "2026-10-10 low-battery zone=1\n", "low", 0, 2 },
		/* The roster's date: newer than the low; the same day only with a restore. */
		{ "roster zone=1 installed=2026-10-02\n2026-10-01T12:00:00 low-battery zone=1\n", "good",
		  0, 1 },
		{ "roster zone=1 installed=2026-10-01\n2026-10-01T12:00:00 low-battery zone=1\n", "low", 0,
		  1 },
		{ "roster zone=1 installed=2026-10-01\n2026-10-01T12:00:00 low-battery zone=1\n"
		  "2026-10-01T16:00:00 battery-restore zone=1\n", "good", 0, 1 },
		{ "roster zone=1 installed=2026-09-30\n2026-10-01T12:00:00 low-battery zone=1\n"
		  "2026-10-01T16:00:00 battery-restore zone=1\n", "marginal", 0, 1 },
		/* A good word before any low says nothing; a new cell without a low is no onset. */
		{ "2026-10-01 battery-restore zone=1\n", "good", 0, 0 },
		{ "2026-10-01 cell-replaced zone=1\n", "good", 0, 0 },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		struct arena a = { 0 };
		struct batteries b;
		struct view v;
		int32_t d;

		help_view(&v, arena_fmt(&a, "account A1\ncover 2026-05-01 2026-10-20\n%s", row[i].rows));
		batteries_find(&v, &b);
		d = view_device_find(&v, "1", "", NO_TIME);
		assert_true(d >= 0);
		if (strcmp(name[b.device[d].state], row[i].want) != 0 || b.device[d].flips != row[i].flips
		    || b.n_onset != row[i].onsets)
			fail_msg("%s\ngot %s, %u flips, %zu onsets", row[i].rows, name[b.device[d].state],
			    b.device[d].flips, b.n_onset);
		view_release(&v);
		arena_release(&a);
	}
}

static const char *
judged(struct arena *a, const char *rows)
{
	return help_judge(a, arena_fmt(a, "account A1\ncover 2026-05-01 2026-10-20\n%s", rows),
	    "battery-cluster");
}

static void
windows(void **state)
{
	struct arena a = { 0 };

	(void)state;
	/* Both ends of the 14 days count, and one second more does not. */
	assert_non_null(strstr(judged(&a, "2026-09-01T00:00:00 low-battery zone=1\n"
	    "2026-09-08T00:00:00 low-battery zone=2\n2026-09-15T00:00:00 low-battery zone=3\n"),
	    "measure crowd 3"));
	assert_null(strstr(judged(&a, "2026-09-01T00:00:00 low-battery zone=1\n"
	    "2026-09-08T00:00:00 low-battery zone=2\n2026-09-15T00:00:01 low-battery zone=3\n"
	    "setting battery-cluster.fdr=0.5\n"), "measure crowd 3"));
	/* A shorter window in the settings. */
	assert_null(strstr(judged(&a, "setting battery-cluster.window=7\n"
	    "setting battery-cluster.fdr=0.5\n2026-09-01 low-battery zone=1\n"
	    "2026-09-08 low-battery zone=2\n2026-09-15 low-battery zone=3\n"), "measure crowd 3"));
	/* What went low before the lookback is listed, and does not count. */
	assert_non_null(strstr(judged(&a, "setting battery-cluster.lookback=60\n"
	    "2026-06-01 low-battery zone=4\n2026-09-01 low-battery zone=1\n"
	    "2026-09-02 low-battery zone=2\n2026-09-03 low-battery zone=3\n"), "measure cells_due 4"));
	/* Gone devices neither count nor are due. */
	assert_null(strstr(judged(&a, "setting battery-cluster.fdr=0.5\n"
	    "2026-09-01 low-battery zone=1 serial=A1\n2026-09-02 low-battery zone=2 serial=A2\n"
	    "2026-09-03 low-battery zone=3 serial=A3\n2026-09-04 unlearn zone=3 serial=A3\n"),
	    "measure crowd 3"));
	arena_release(&a);
}

/* One candidate among fleets of different sizes, numbers worked out here by hand. */
static void
fleet_rate(void **state)
{
	struct candidate c = { .account = "A1", .subject = "site", .number = {
		[N_CROWD] = 3, [N_DEVICE_DAYS] = 1000, [N_DAYS] = 100,
		[N_ONSETS] = 3, [N_DUE] = 3, [N_WINDOW] = 14 } };
	struct summary s[] = {
		{ "battery-cluster", "A1", "exposure:AA", 0, 1000, 100 },
		{ "battery-cluster", "A1", "onset:AA", 1, 1, 0 }, { "battery-cluster", "A1", "onset:AA", 2, 1, 0 },
		{ "battery-cluster", "A1", "onset:AA", 3, 1, 0 },
		{ "battery-cluster", "A2", "exposure:AA", 0, 90000, 100 }, { "battery-cluster", "A2", "onset:CR2", 5, 0, 0 },
	};
	struct findings out = { 0 };
	struct fleet f = { .summary = s, .n_summary = 4, .n_account = 1, .candidate = &c,
		.n_candidate = 1 };
	double prior = 1 / (3 * 365.25), mean;

	(void)state;
	/* Alone: the prior only; its own three onsets do not raise the rate. */
	battery_fleet_judge(&f, &out);
	mean = prior * 10 * 14;
	assert_true(fabs(c.measure[2].value - mean) < 1e-9);
	assert_true(fabs(c.measure[3].value - stats_scan(3, mean, 100.0 / 14) /
	    stats_tail(2, mean * 100 / 14)) < 1e-12);
	assert_true(c.fires);
	/* With a large quiet neighbour the rate falls: 5 and 1 onsets in both exposures. */
	f.n_summary = COUNT(s);
	f.n_account = 2;
	battery_fleet_judge(&f, &out);
	mean = (5 + 1) / (5 / prior + 90000) * 10 * 14;
	assert_true(fabs(c.measure[2].value - mean) < 1e-9);
	assert_true(c.fires);
	/* Two within the window are chance. */
	c.number[N_CROWD] = 2;
	f.n_summary = 4;
	battery_fleet_judge(&f, &out);
	assert_false(c.fires);
	/* No cover at all: silent, and no division by zero. */
	c.number[N_DAYS] = 0;
	c.number[N_DEVICE_DAYS] = 0;
	battery_fleet_judge(&f, &out);
	assert_false(c.fires);
	/* An empty fleet. */
	f = (struct fleet){ 0 };
	battery_fleet_judge(&f, &out);
	findings_release(&out);
}

/* The step-up procedure lets a middling crowd pass alone, and not among many chances. */
static void
fleet_many(void **state)
{
	enum { MANY = 40 };
	struct candidate c[MANY];
	struct findings out = { 0 };
	struct fleet f = { .candidate = c, .n_candidate = 1 };

	(void)state;
	for (int i = 0; i < MANY; i++) {
		c[i] = (struct candidate){ .account = "A", .subject = "site" };
		c[i].number[N_CROWD] = i ? 1 : 3;
		c[i].number[N_DEVICE_DAYS] = 1800;
		c[i].number[N_DAYS] = 180;
		c[i].number[N_WINDOW] = 14;
	}
	battery_fleet_judge(&f, &out);
	assert_true(c[0].fires);
	f.n_candidate = MANY;
	battery_fleet_judge(&f, &out);
	assert_false(c[0].fires);
	assert_false(c[1].fires);
	findings_release(&out);
}

/* Nine sites without life safety, each with a low battery in May and one in August. */
static const char *
nine_sites(struct arena *a, const char *text, bool overridden)
{
	for (int k = 1; k <= 9; k++) {
		text = arena_fmt(a, "%saccount B%d\n%scover 2026-05-01 2026-10-20\n", text, k,
		    overridden ? "setting battery-cluster.siblings=61\n" : "");
		for (int zone = 1; zone <= 12; zone++)
			text = arena_fmt(a, "%sroster zone=%d serial=%d%02d kind=contact\n", text, zone, k,
			    zone);
		text = arena_fmt(a, "%s2026-05-%02d low-battery zone=1\n"
		    "2026-08-%02d low-battery zone=2\n", text, 10 + k, 10 + k);
	}
	return text;
}

/* Overrides at other accounts may have changed what a site is compared with: then life safety
 * is compared among itself as well, where three of twelve are beyond chance. */
static void
overrides_elsewhere(void **state)
{
	(void)state;
	for (int with = 0; with < 2; with++) {
		struct arena a = { 0 };
		const char *text = "account A1\ncover 2026-05-01 2026-10-20\n", *got;

		for (int zone = 1; zone <= 12; zone++)
			text = arena_fmt(&a, "%sroster zone=%d kind=smoke cell=CR123A\n", text, zone);
		text = arena_fmt(&a, "%s2026-10-01 low-battery zone=1\n2026-10-07 low-battery zone=2\n"
		    "2026-10-13 low-battery zone=3\n", text);
		got = help_judge(&a, nine_sites(&a, text, with == 1), "battery-cluster");
		if ((strstr(got, "A1 site") != NULL) != (with == 1))
			fail_msg("%s overrides elsewhere:\n%s", with ? "with" : "without", got);
		/* Two apart are no crowd there either. */
		got = help_judge(&a, arena_fmt(&a, "%saccount C1\ncover 2026-05-01 2026-10-20\n"
		    "roster zone=1 kind=smoke\nroster zone=2 kind=smoke\n2026-05-20 low-battery zone=1\n"
		    "2026-08-20 low-battery zone=2\n", nine_sites(&a, "", with == 1)), "battery-cluster");
		assert_string_equal(got, "");
		arena_release(&a);
	}
}

/* Lives are told by age and by how long they were watched: only like ones are one row. */
static void
lives(void **state)
{
	static const struct { const char *key; int64_t n; double from, to; } want[] = {
		{ "lives:CR2", 1, 0, 80 },		/* zone 6, changed on 1 August */
		{ "lived:CR2", 1, 1216, 1247 },		/* zone 1 */
		{ "lived:CR2", 1, 1216, 1277 },		/* zone 2 */
		{ "lives:CR2", 1, 1216, 1308 },		/* zone 6, its old cell: not low when changed */
		{ "lives:CR2", 2, 1216, 1388 },		/* zones 3 and 4 */
		{ "lives:CR2", 1, 1277, 1388 },		/* zone 5, learned on 1 July with its old cell */
	};
	const char *text = "account A1\ncover 2026-05-01 2026-10-20\n";
	struct findings out = { 0 };
	struct arena a = { 0 };
	struct batteries b;
	int32_t device[6];
	struct view v;

	(void)state;
	for (int zone = 1; zone <= 6; zone++)
		text = arena_fmt(&a, "%sroster zone=%d serial=4A000%d installed=2023-01-01 cell=CR2\n",
		    text, zone, zone);
	help_view(&v, arena_fmt(&a, "%s2026-06-01 low-battery zone=1\n2026-07-01 low-battery zone=2\n"
	    "2026-07-01 learn zone=5 serial=4A0005\n2026-08-01 cell-replaced zone=6\n", text));
	batteries_find(&v, &b);
	for (int zone = 1; zone <= 6; zone++)
		device[zone - 1] = view_device_find(&v, arena_fmt(&a, "%d", zone), "", NO_TIME);
	battery_note_lives(&out, &v, &b, device, COUNT(device), "CR2");
	assert_int_equal(out.n_summary, COUNT(want));
	for (size_t i = 0; i < COUNT(want); i++)
		if (strcmp(out.summary[i].key, want[i].key) != 0 || out.summary[i].at != want[i].n ||
		    out.summary[i].a != want[i].from || out.summary[i].b != want[i].to)
			fail_msg("%zu: %s %lld %g %g", i, out.summary[i].key, (long long)out.summary[i].at,
			    out.summary[i].a, out.summary[i].b);
	findings_release(&out);
	view_release(&v);
	arena_release(&a);
}

/* What another rule told the fleet is no sibling, whatever a group is called. */
static void
other_rules(void **state)
{
	struct candidate c = { .account = "A1", .subject = "site", .number = {
		[N_CROWD] = 3, [N_DEVICE_DAYS] = 1000, [N_DAYS] = 100,
		[N_ONSETS] = 3, [N_DUE] = 3, [N_WINDOW] = 14 } };
	struct summary s[] = {
		{ "battery-cluster", "A1", "exposure:AA", 0, 1000, 100 },
		{ "power-loss", "A1", "loss:upper\tmill", 1, 1, 0 },
	};
	struct findings out = { 0 };
	struct fleet f = { .summary = s, .n_summary = COUNT(s), .n_account = 1, .candidate = &c,
		.n_candidate = 1 };

	(void)state;
	battery_fleet_judge(&f, &out);
	assert_true(c.fires);
	assert_int_equal(c.n_check, 0);
	findings_release(&out);
}

static void
fleet_types(void **state)
{
	struct arena a = { 0 };
	const char *text = "", *got;

	(void)state;
	/* The crowd must span three accounts; a site's own three lows count as one there. */
	for (int n = 2; n <= 4; n++) {
		for (int lows = 1; lows <= 3; lows += 2) {
			text = "";
			for (int i = 0; i < n; i++)
				text = arena_fmt(&a, "%saccount A%d\ncover 2026-05-01 2026-10-20\n"
				    "setting battery-cluster.prior_years=20\n"
				    "roster zone=1 cell=CR2\nroster zone=2 cell=CR2\n"
				    "roster zone=3 cell=CR2\n2026-10-01 low-battery zone=1\n%s", text, i,
				    lows == 3 ? "2026-10-02 low-battery zone=2\n"
				    "2026-10-03 low-battery zone=3\n" : "");
			got = help_judge(&a, text, "battery-cluster");
			if (n >= 3 && lows == 1)
				assert_non_null(strstr(got, "cell:CR2"));
			if (n == 2)
				assert_null(strstr(got, "cell:CR2"));
			if (n == 3 && lows == 3)
				assert_null(strstr(got, "measure accounts 9"));
		}
	}
	/* Unknown cells are no type. */
	text = "";
	for (int i = 0; i < 3; i++)
		text = arena_fmt(&a, "%saccount A%d\ncover 2026-05-01 2026-10-20\n"
		    "2026-10-01 low-battery zone=1\n2026-10-02 low-battery zone=2\n"
		    "2026-10-03 low-battery zone=3\n", text, i);
	assert_null(strstr(help_judge(&a, text, "battery-cluster"), "cell:"));
	arena_release(&a);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(states),
		cmocka_unit_test(windows),
		cmocka_unit_test(fleet_rate),
		cmocka_unit_test(fleet_many),
		cmocka_unit_test(overrides_elsewhere),
		cmocka_unit_test(lives),
		cmocka_unit_test(other_rules),
		cmocka_unit_test(fleet_types),
	};

	return cmocka_run_group_tests_name("battery_cluster", tests, NULL, NULL);
}
