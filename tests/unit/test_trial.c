/* test_trial.c - what is asked of a trial, and what it says against today's settings. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <string.h>

#include "daemon/trial.h"
#include "rules/override.h"
#include "tests/unit/help_store.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

static void
sets_are_read_or_refused(void **state)
{
	const struct { const char *text, *setting; double value; const char *wrong; } row[] = {
		{ "chatter.bursts=4", "bursts", 4, NULL },
		{ "Chatter.Bursts=4", "bursts", 4, NULL },
		{ "chatter.window=2m", "window", 120, NULL },	/* in the setting's unit, s */
		{ "chatter.bursts=1", "bursts", 1, NULL },	/* the limits are allowed */
		{ "chatter.bursts=100", "bursts", 100, NULL },
		{ "chatter.bursts=0", NULL, 0, "allowed is 1 to 100" },
		{ "chatter.bursts=101", NULL, 0, "outside the setting's range" },
		{ "chatter.bursts=many", NULL, 0, "not a number" },
		{ "chatter.bursts=", NULL, 0, "not a number" },
		{ "chatter.burst=4", NULL, 0, "no such setting" },
		{ "chater.bursts=4", NULL, 0, "no such rule" },
		{ "nightly.expected=4", NULL, 0, "judge nothing" },
		{ "chatter=4", NULL, 0, "is not RULE.SETTING=VALUE" },
		{ ".bursts=4", NULL, 0, "is not RULE.SETTING=VALUE" },
		{ "chatter.=4", NULL, 0, "is not RULE.SETTING=VALUE" },
		{ "", NULL, 0, "is not RULE.SETTING=VALUE" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		struct trial_set set;
		struct err e;
		int rc = trial_read_set(row[i].text, &set, &e);

		if (row[i].wrong) {
			assert_int_equal(rc, -1);
			assert_int_equal(e.code, ERR_USAGE);
			if (!strstr(e.text, row[i].wrong))
				fail_msg("%s: %s", row[i].text, e.text);
			continue;
		}
		assert_int_equal(rc, 0);
		assert_string_equal(set.rule->id, "chatter");
		assert_string_equal(set.setting->name, row[i].setting);
		assert_true(set.value == row[i].value);
	}
}

static void
sweeps_are_read_or_refused(void **state)
{
	const struct { const char *text; size_t n; double second, last; const char *wrong; } row[] = {
		{ "chatter.bursts=2..8", 7, 3, 8, NULL },
		{ "chatter.bursts=1..40", 40, 2, 40, NULL },	/* 40 values: the most */
		{ "chatter.bursts=1..41", 11, 5, 41, NULL },	/* a tenth of the way */
		{ "chatter.bursts=1..41/1", 0, 0, 0, "more than 40" },
		{ "chatter.bursts=2..8/4", 2, 6, 6, NULL },
		{ "battery-cluster.fdr=0.1..0.4/0.1", 4, 0.2, 0.4, NULL },	/* binary fractions */
		{ "battery-cluster.window=7d..28d/7d", 4, 14, 28, NULL },
		{ "battery-cluster.window=7d..28d/24h", 22, 8, 28, NULL },
		{ "chatter.bursts=2..2", 0, 0, 0, "not above" },
		{ "chatter.bursts=8..2", 0, 0, 0, "not above" },
		{ "chatter.bursts=2..101", 0, 0, 0, "outside" },
		{ "chatter.bursts=0..5", 0, 0, 0, "outside" },
		{ "chatter.bursts=2..8/0", 0, 0, 0, "step" },
		{ "chatter.bursts=2..8/-1", 0, 0, 0, "step" },
		{ "chatter.bursts=2..8/x", 0, 0, 0, "step" },
		{ "chatter.bursts=2..100/0.000000000001", 0, 0, 0, "more than 40" },
		{ "chatter.bursts=5", 0, 0, 0, "FROM..TO" },
		{ "chatter.bursts=..5", 0, 0, 0, "not a number" },
		{ "chatter.bursts=2..", 0, 0, 0, "not a number" },
	};
	struct arena a = { 0 };

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		struct trial_set set;
		const double *value;
		struct err e;
		size_t n;
		int rc = trial_read_sweep(row[i].text, &a, &set, &value, &n, &e);

		if (row[i].wrong) {
			if (rc != -1 || e.code != ERR_USAGE || !strstr(e.text, row[i].wrong))
				fail_msg("%s: %s", row[i].text, rc ? e.text : "taken");
			continue;
		}
		if (rc || n != row[i].n)
			fail_msg("%s: %s, %zu values", row[i].text, rc ? e.text : "taken", rc ? 0 : n);
		assert_float_equal(value[1], row[i].second, 1e-12);
		assert_float_equal(value[n - 1], row[i].last, 1e-12);
	}
	arena_release(&a);
}

static void
narrower_scope_wins(void **state)
{
	const struct { const char *scope; int narrow; enum kind kind; } row[] = {
		{ "", 0, KIND_UNKNOWN }, { "*", 0, KIND_UNKNOWN },
		{ "group=Mill", 1, KIND_UNKNOWN }, { "group=other", -1, KIND_UNKNOWN },
		{ "device=smoke", 2, KIND_SMOKE }, { "ACCOUNT=a1", 3, KIND_UNKNOWN },
		{ "account=A10", -1, KIND_UNKNOWN },
	};
	struct override list[4] = { { "r", "s", 1, KIND_UNKNOWN, 0 }, { "r", "s", 2, KIND_UNKNOWN, 1 },
		{ "r", "s", 3, KIND_UNKNOWN, 3 } };
	const struct override one = { "r", "s", 9, KIND_UNKNOWN, 1 };

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		enum kind kind;

		assert_int_equal(override_reach(span_of(row[i].scope), "A1", "mill", &kind),
		    row[i].narrow);
		if (row[i].narrow >= 0)
			assert_int_equal(kind, row[i].kind);
	}
	assert_int_equal(override_add(list, 3, &one), 4);
	assert_true(list[1].value == 2 && list[2].value == 9 && list[3].value == 3);
}

/* Zone 5 of A1 and of B1 goes off four times in 40 s on three days and on two. */
static void
bursts(struct help *h)
{
	static char rows[8192];
	size_t n = 0;

	for (int day = 1; day <= 3; day++) {
		for (int i = 0; i < 4; i++) {
			for (int b = 0; b < (day == 3 ? 1 : 2); b++)
				n += (size_t)snprintf(rows + n, sizeof rows - n,
				    "%s,2026-10-0%d 12:00:%02d,zone-open,5\n"
				    "%s,2026-10-0%d 12:00:%02d,zone-close,5\n", b ? "B1" : "A1", day, i * 10,
				    b ? "B1" : "A1", day, i * 10 + 5);
		}
	}
	n += (size_t)snprintf(rows + n, sizeof rows - n, "A1,2026-10-05 12:00:00,arm,\n"
	    "B1,2026-10-05 12:00:00,arm,\n");
	assert_true(n < sizeof rows);
	help_take(h, "roster.csv", "account,zone,device\nA1,5,contact\nB1,5,contact\n");
	help_events(h, "events.csv", rows);
	help_judged(h, true);
}

static void
trial_of(struct help *h, const char *text, const char *scope, struct trial *t)
{
	struct trial_set *set = arena_take(&h->arena, sizeof *set);
	struct err e;

	*t = (struct trial){ .set = set, .n_set = 1, .scope = scope };
	if (trial_read_set(text, set, &e) || trial_run(h->s, t, false, &h->arena, &e))
		fail_msg("%s", e.text);
}

static size_t
chatter(void)
{
	size_t i = 0;

	while (strcmp(rule_table[i]->id, "chatter") != 0)
		i++;
	return i;
}

static void
trial_is_held_against_today(void **state)
{
	/* Bursts: A1 has 3, B1 has 2; today's setting is 2. */
	const struct { const char *set, *scope; size_t trial, lost; } row[] = {
		{ "chatter.bursts=2", "*", 2, 0 },
		{ "chatter.bursts=3", "*", 1, 1 },
		{ "chatter.bursts=4", "*", 0, 2 },
		{ "chatter.bursts=4", "account=a1", 1, 1 },
		{ "chatter.bursts=4", "device=smoke", 2, 0 },
		{ "chatter.bursts=4", "device=contact", 0, 2 },
		{ "chatter.bursts=4", "group=none", 2, 0 },
	};
	struct help h;
	size_t open;

	(void)state;
	help_open(&h);
	bursts(&h);
	for (size_t i = 0; i < COUNT(row); i++) {
		const struct trial_rule *r;
		struct trial t;

		trial_of(&h, row[i].set, row[i].scope, &t);
		r = &t.diff[0].rule[chatter()];
		if (r->today != 2 || r->trial != row[i].trial || r->lost != row[i].lost ||
		    r->gained != 0 || r->same != row[i].trial)
			fail_msg("row %zu: today %zu trial %zu gained %zu lost %zu same %zu", i, r->today,
			    r->trial, r->gained, r->lost, r->same);
		assert_int_equal(t.diff[0].n_lost, row[i].lost);
		assert_true(t.set[0].today == 2);
		open = 0;
		for (size_t k = 0; k < rule_count; k++)
			open += t.diff[0].rule[k].open_today;
		/* Today's side is what the store holds. */
		assert_int_equal(open, help_number(&h, "SELECT count(*) FROM finding"
		    " WHERE cleared IS NULL AND NOT pending"));
	}
	help_close(&h);
}

static void
what_stands_for_one_account_wins(void **state)
{
	struct help h;
	struct trial t;

	(void)state;
	help_open(&h);
	bursts(&h);
	help_take(&h, "settings.csv", "rule,setting,value,scope\nchatter,bursts,4,account=A1\n");
	help_judged(&h, true);
	trial_of(&h, "chatter.bursts=1", "*", &t);
	/* A1 keeps its own 4, B1 has its finding before and after. */
	assert_int_equal(t.diff[0].rule[chatter()].today, 1);
	assert_int_equal(t.diff[0].rule[chatter()].trial, 1);
	trial_of(&h, "chatter.bursts=3", "account=A1", &t);
	assert_int_equal(t.diff[0].rule[chatter()].gained, 1);
	assert_string_equal(t.diff[0].gained[0].account, "A1");
	help_close(&h);
}

static void
sweep_counts_each_value_and_stores_nothing(void **state)
{
	static const size_t want[] = { 2, 1, 0 };	/* at 2, 3 and 4 bursts */
	struct help h;
	struct trial t = { .scope = "*" };
	struct trial_set sweep;
	const char *before;
	struct err e;

	(void)state;
	help_open(&h);
	bursts(&h);
	before = help_found(&h);
	assert_int_equal(trial_read_sweep("chatter.bursts=2..4", &h.arena, &sweep, &t.value,
	    &t.n_value, &e), 0);
	t.sweep = &sweep;
	assert_int_equal(trial_run(h.s, &t, false, &h.arena, &e), 0);
	assert_int_equal(t.n_diff, 3);
	for (size_t i = 0; i < 3; i++)
		assert_int_equal(t.diff[i].rule[chatter()].open_trial, want[i]);
	assert_string_equal(help_found(&h), before);
	assert_int_equal(help_number(&h, "SELECT count(*) FROM setting"), 0);
	assert_int_equal(help_number(&h, "SELECT count(*) FROM due"), 0);
	help_close(&h);
}

/* What is not asked for is neither counted nor listed. */
static void
only_what_is_asked_for_is_shown(void **state)
{
	const struct { const char *rule, *account; size_t lost; } row[] = {
		{ NULL, NULL, 2 }, { "chatter", NULL, 2 }, { "twin", NULL, 0 }, { NULL, "a1", 1 },
		{ "chatter", "B1", 1 }, { "chatter", "C1", 0 },
	};
	struct help h;

	(void)state;
	help_open(&h);
	bursts(&h);
	for (size_t i = 0; i < COUNT(row); i++) {
		struct trial t;

		trial_of(&h, "chatter.bursts=4", "*", &t);
		t.only = row[i].rule ? rule_find(row[i].rule) : NULL;
		t.account = row[i].account;
		assert_int_equal(trial_run(h.s, &t, false, &h.arena, &(struct err){ 0 }), 0);
		assert_int_equal(t.diff[0].n_lost, row[i].lost);
		assert_int_equal(t.diff[0].rule[chatter()].lost, row[i].lost);
	}
	help_close(&h);
}

/* A site whose detectors were lost together and came back eleven days ago, kept by a setting
 * of 60 days: with 0, and so with the default of 7, that is no longer kept, which is told
 * though something else was asked for. */
static void
life_safety_is_told_whatever_is_asked_for(void **state)
{
	struct help h;
	struct trial t;
	const char *rows = "";

	(void)state;
	help_open(&h);
	help_take(&h, "roster.csv", "account,zone,device,serial,checkin\nA1,1,smoke,4A0071,12h\n"
	    "A1,2,smoke,4A0072,12h\nA1,3,smoke,4A0073,12h\n");
	help_take(&h, "settings.csv", "rule,setting,value\nsupervision-loss,keep_cleared,60\n");
	for (int day = 1; day <= 16; day++)
		for (int zone = 1; zone <= 3; zone++)
			rows = arena_fmt(&h.arena, "%sA1,2026-10-%02d 0%d:00:0%d,%s,%d\n", rows,
			    day == 6 ? 5 : day, day == 6 ? 9 : 8, zone, day == 5 ? "supervision-loss" :
			    day == 6 ? "supervision-restore" : "check-in", zone);
	help_events(&h, "events.csv", rows);
	help_judged(&h, true);
	trial_of(&h, "supervision-loss.keep_cleared=0", "*", &t);
	assert_int_equal(trial_lost_life(&t.diff[0]), 1);
	t.only = rule_find("chatter");
	t.account = "nobody";
	assert_int_equal(trial_run(h.s, &t, false, &h.arena, &(struct err){ 0 }), 0);
	assert_int_equal(trial_lost_life(&t.diff[0]), 1);
	assert_string_equal(t.diff[0].lost[0].rule, "supervision-loss");
	help_close(&h);
}

/* A smoke alarm stands whatever any setting of its rule says, at either end of its range. */
static void
no_setting_takes_a_life_alarm(void **state)
{
	const struct rule *r = rule_find("life-alarm");
	struct help h;

	(void)state;
	help_open(&h);
	help_take(&h, "roster.csv", "account,zone,device\nA1,7,smoke\n");
	help_events(&h, "events.csv", "A1,2026-10-01 12:00:00,fire-alarm,7\n"
	    "A1,2026-10-05 12:00:00,arm,\n");
	help_judged(&h, true);
	for (const struct setting *s = r->setting; s->name; s++) {
		for (int end = 0; end < 2; end++) {
			struct trial t;

			trial_of(&h, arena_fmt(&h.arena, "life-alarm.%s=%.10g", s->name,
			    end ? s->max : s->min), "*", &t);
			assert_int_equal(t.diff[0].n_lost, 0);
			assert_int_equal(t.diff[0].n_lowered, 0);
			assert_true(t.diff[0].rule[0].same >= 1);
		}
	}
	help_close(&h);
}

int
main(void)
{
	const struct CMUnitTest test[] = {
		cmocka_unit_test(sets_are_read_or_refused),
		cmocka_unit_test(sweeps_are_read_or_refused),
		cmocka_unit_test(narrower_scope_wins),
		cmocka_unit_test(trial_is_held_against_today),
		cmocka_unit_test(what_stands_for_one_account_wins),
		cmocka_unit_test(sweep_counts_each_value_and_stores_nothing),
		cmocka_unit_test(only_what_is_asked_for_is_shown),
		cmocka_unit_test(life_safety_is_told_whatever_is_asked_for),
		cmocka_unit_test(no_setting_takes_a_life_alarm),
	};

	return cmocka_run_group_tests(test, NULL, NULL);
}
