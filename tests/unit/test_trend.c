/* test_trend.c - the page of counts from literal counts, and the page of the rules. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/civil.h"
#include "daemon/report/rulebook.h"
#include "daemon/report/trend.h"
#include "rules/care.h"
#include "rules/override.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))
#define MONDAY (INT64_C(20724) * DAY)	/* 2026-09-28, date -u -d @1790553600 */
#define WEEK (7 * 24 * 60)		/* minutes */

struct sheet {
	struct page p;
	char       *bytes;
	size_t      n;
};

static void
open_sheet(struct sheet *s)
{
	*s = (struct sheet){ 0 };
	s->p.f = open_memstream(&s->bytes, &s->n);
	s->p.zone.name = "UTC";
}

/* What a reader sees: tags are one blank each, blanks are one. */
static const char *
seen(struct sheet *s)
{
	char *to, *out;
	bool tag = false, blank = true;

	fflush(s->p.f);
	out = to = arena_take(&s->p.arena, s->n + 2);
	for (const char *c = s->bytes; *c; c++) {
		bool b = tag || *c == '<' || *c == ' ' || *c == '\n';

		tag = *c == '<' || (tag && *c != '>');
		if (b && !blank)
			*to++ = ' ';
		else if (!b)
			*to++ = *c;
		blank = b;
	}
	*to = '\0';
	return out;
}

static void
close_sheet(struct sheet *s)
{
	fclose(s->p.f);
	free(s->bytes);
	page_release(&s->p);
}

static void
account(struct trend *t, const char *name, const char *group, const struct load_week *week, size_t n)
{
	const struct account_weeks w = { .account = name, .site_name = "", .group = group,
	    .monday = MONDAY / DAY - 7 * ((int64_t)n - 1), .week = week, .n = n };

	assert_int_equal(trend_account(t, &w), 0);
}

static void
says(struct sheet *s, struct trend *t, const char *const *text, size_t n)
{
	const char *page;

	trend_html(&s->p, t);
	page = seen(s);
	for (size_t i = 0; i < n; i++)
		if (!strstr(page, text[i]))
			fail_msg("\"%s\" is not in: %s", text[i], page);
}

static void
by_week_and_group(void **state)
{
	static const struct load_week mill[] = { { WEEK, 10, 2, 1 }, { WEEK / 2, 7, 1, 0 } };
	static const struct load_week lake[] = { { WEEK, 3, 0, 0 } };
	static const char *const text[] = {
		"2026-09-28 75 % 10 6.7 1 0 2 0",	/* covered 1.5 of 2 weeks: 10 / 1.5 */
		"2026-09-21 50 % 10 10.0 2 1 0 0",
		"&lt;b&gt;mill 1 - - - -", "lake 1 - - - -",
		"chatter - - 1 0", "life-alarm - - 1 1",
		"Never a finding: supervision-loss, ", CARE_LIFE,
	};
	static const struct case_times cases[] = {
		{ "chatter", "<b>mill", MONDAY, MONDAY + DAY, NO_TIME, NO_TIME, false },
		{ "life-alarm", "lake", MONDAY + 7 * DAY - 1, MONDAY, NO_TIME, NO_TIME, true },
		/* Before the weeks shown, and after them. */
		{ "life-alarm", "lake", MONDAY - 7 * 26 * DAY, MONDAY, NO_TIME, MONDAY + 7 * DAY, true },
	};
	struct trend t;
	struct sheet s;

	(void)state;
	open_sheet(&s);
	trend_init(&t, &s.p.arena, MONDAY + 4 * DAY, MONDAY + 4 * DAY);
	assert_int_equal(t.monday, MONDAY / DAY - 7 * (TREND_WEEKS - 1));
	account(&t, "A1", "<b>mill", mill, COUNT(mill));
	account(&t, "A2", "lake", lake, COUNT(lake));
	trend_cases(&t, cases, COUNT(cases));
	says(&s, &t, text, COUNT(text));
	assert_null(strstr(s.bytes, "<b>mill"));
	/* Half a week is told apart by its look: outlined. */
	assert_non_null(strstr(s.bytes, "class=\"part\""));
	assert_non_null(strstr(s.bytes, "class=\"gap\""));
	trend_release(&t);
	close_sheet(&s);
}

static void
groups_beyond_the_limit_are_one(void **state)
{
	static const struct load_week week[] = { { WEEK, 1, 0, 0 } };

	(void)state;
	for (int n = TREND_GROUPS - 1; n <= TREND_GROUPS + 2; n++) {
		const char *others;
		struct trend t;
		struct sheet s;

		open_sheet(&s);
		trend_init(&t, &s.p.arena, MONDAY, MONDAY);
		for (int i = 0; i < n; i++)
			account(&t, "A", arena_fmt(&s.p.arena, "g%02d", i), week, 1);
		trend_cases(&t, NULL, 0);
		trend_html(&s.p, &t);
		others = strstr(seen(&s), "all ");
		if (n > TREND_GROUPS)
			assert_non_null(strstr(seen(&s), arena_fmt(&s.p.arena, "all %d others %d ",
			    n - TREND_GROUPS, n - TREND_GROUPS)));
		else
			assert_true(!others || strncmp(others, "all others", 10) != 0);
		trend_release(&t);
		close_sheet(&s);
	}
}

/* A rate needs four covered weeks, and two alarms to be listed. */
static void
alarms_a_year(void **state)
{
	static const struct { int64_t covered; int64_t alarms; const char *says; } cases[] = {
		{ TREND_COVERED - 1, 9, "No account is covered for four weeks yet." },
		{ TREND_COVERED, 0, "0.00 alarms of an account and year" },
		{ TREND_COVERED, 1, "1 account with 1 alarm in the time that the exports cover (a year at "
		  "the most): 13.04 alarms of an account and year." },	/* 365.25 / 28 */
		{ TREND_COVERED, 2, "A1 mill 28 days 2 0 26.1" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		const struct load_week week[] = { { cases[i].covered, 5, cases[i].alarms, 0 } };
		struct trend t;
		struct sheet s;

		open_sheet(&s);
		trend_init(&t, &s.p.arena, MONDAY, MONDAY);
		account(&t, "A1", "mill", week, 1);
		trend_cases(&t, NULL, 0);
		says(&s, &t, &cases[i].says, 1);
		if (cases[i].alarms < 2)
			assert_null(strstr(seen(&s), "of those with two or more"));
		trend_release(&t);
		close_sheet(&s);
	}
}

/* The middle one of those that got so far; what was over before it was decided waited for
 * nobody. */
static void
waiting(void **state)
{
	static const struct load_week week[] = { { WEEK, 1, 0, 0 } };
	static const struct case_times cases[] = {
		{ "chatter", "", MONDAY, MONDAY, MONDAY + HOUR, MONDAY + 30 * HOUR, false },
		{ "chatter", "", MONDAY, MONDAY, MONDAY + 3 * HOUR, MONDAY + 40 * HOUR, false },
		{ "chatter", "", MONDAY, MONDAY, MONDAY + 9 * HOUR, MONDAY + 8 * HOUR, false },
		{ "chatter", "", MONDAY, MONDAY, NO_TIME, NO_TIME, false },
		{ "jam", "", MONDAY, MONDAY, NO_TIME, NO_TIME, false },
	};
	static const char *const text[] = {
		"chatter 4 3 3 h 3 30 h 2 29 h", "jam 1 0 - 0 - 0 -",
	};
	struct trend t;
	struct sheet s;

	(void)state;
	open_sheet(&s);
	trend_init(&t, &s.p.arena, MONDAY, MONDAY);
	account(&t, "A1", "", week, 1);
	trend_cases(&t, cases, COUNT(cases));
	says(&s, &t, text, COUNT(text));
	trend_release(&t);
	close_sheet(&s);
}

static void
visits(void **state)
{
	enum { FULL = 12 * 24 * 60 };
	static const struct load_week week[] = { { WEEK, 1, 0, 0 } };
	struct work_row work[] = {
		{ "A1", "", "zone 5", "magnet set", "R. M.", MONDAY, { FULL, 90, 4, 1, 2 },
		  { FULL, 10, 4, 2, 0 } },
		{ "A2", "", "", "walked round", "", MONDAY, { FULL - 1, 7, 0, 0, 0 }, { FULL, 7, 0, 0, 0 } },
	};
	static const char *const sheet[] = { "a1.html", "a1.visit.html", "a21.html" };
	static const char *const text[] = {
		("2 visits of the service list whose two weeks after are over; 1 of them with at least "
		"12 covered days"),
		"activations 90 10 1 0 0 alarms 4 4 0 1 0 losses 1 2 0 0 1 low cells 2 0 1 0 0",
		"A1 2026-09-28 magnet set, R. M. zone 5 90 to 10 4 to 4 1 to 2 2 to 0 12 days before",
		"A2 2026-09-28 walked round the whole site 7 to 7",
	};
	struct trend t;
	struct sheet s;

	(void)state;
	open_sheet(&s);
	trend_init(&t, &s.p.arena, MONDAY, MONDAY);
	account(&t, "A1", "", week, 1);
	trend_cases(&t, NULL, 0);
	t.work = work;
	t.n_work = COUNT(work);
	t.sites = (struct html_sites){ sheet, COUNT(sheet) };
	says(&s, &t, text, COUNT(text));
	/* Only what has a sheet is a link to it. */
	assert_non_null(strstr(s.bytes, "<a href=\"site/a1.html\">A1</a>"));
	assert_null(strstr(s.bytes, "site/a2"));
	trend_release(&t);
	close_sheet(&s);
}

static void
nothing_yet(void **state)
{
	static const char *const text[] = { "Nothing is covered by exports yet" };
	struct trend t;
	struct sheet s;

	(void)state;
	open_sheet(&s);
	trend_init(&t, &s.p.arena, NO_TIME, MONDAY);
	trend_cases(&t, NULL, 0);
	says(&s, &t, text, COUNT(text));
	trend_release(&t);
	close_sheet(&s);
}

/* ---- rules ---------------------------------------------------------------------- */

static const struct setting_row set[] = {
	{ "chatter", "bursts", "*", "4", "R. <b>Moser", "set.csv", MONDAY },
	{ "Chatter", "Bursts", "account=A1", "5", "", "set.csv", MONDAY },
	{ "chatter", "bursts", "device=contact", "none", "S. T.", "set.csv", MONDAY },
	{ "no-rule", "x", "*", "1", "S. T.", "<i>.csv", MONDAY },
};

static void
every_rule_is_told(void **state)
{
	static const struct rule_count count[] = { { "chatter", 3, 1, 2 } };
	const struct rulebook b = { .row = set, .n_row = COUNT(set), .count = count,
	    .n_count = COUNT(count), .at = MONDAY, .beside = true };
	static const char *const text[] = {
		"5 findings: 3 open (1 new), 2 cleared.", "Never.",
		"bursts 4 2 everywhere",			/* in force, default */
		"bursts 4 * set by R. &lt;b&gt;Moser in set.csv, 2026-09-28 00:00 (UTC)",
		"bursts 5 account=A1 set by somebody in set.csv",
		"bursts none device=contact the value is not a number, so without effect; set by S. T.",
		"no-rule.x 1 * &lt;i&gt;.csv no such rule", CARE_LIFE,
	};
	struct sheet s;
	const char *page;

	(void)state;
	open_sheet(&s);
	rulebook_html(&s.p, &b);
	page = seen(&s);
	for (size_t i = 0; i < COUNT(text); i++)
		if (!strstr(page, text[i]))
			fail_msg("\"%s\" is not in: %s", text[i], page);
	for (size_t i = 0; i < rule_count; i++) {
		const char *at = strstr(s.bytes, arena_fmt(&s.p.arena, "<h2 id=\"%s\">", rule_table[i]->id));

		assert_non_null(at);
		/* Its row of RULES.md comes before the next rule. */
		at = strstr(at, "<dt>Fires when</dt>");
		assert_non_null(at);
		if (i + 1 < rule_count)
			assert_true(at < strstr(s.bytes, arena_fmt(&s.p.arena, "<h2 id=\"%s\">",
			    rule_table[i + 1]->id)));
	}
	assert_null(strstr(s.bytes, "`"));
	close_sheet(&s);
}

static void
one_rule_alone(void **state)
{
	const struct rulebook b = { .only = rule_find("jam"), .at = MONDAY };
	struct sheet s;

	(void)state;
	open_sheet(&s);
	rulebook_html(&s.p, &b);
	fflush(s.p.f);
	assert_non_null(strstr(s.bytes, "<h2 id=\"jam\">"));
	assert_null(strstr(s.bytes, "<h2 id=\"chatter\">"));
	assert_null(strstr(s.bytes, "board.html"));
	close_sheet(&s);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(by_week_and_group),
		cmocka_unit_test(groups_beyond_the_limit_are_one),
		cmocka_unit_test(alarms_a_year),
		cmocka_unit_test(waiting),
		cmocka_unit_test(visits),
		cmocka_unit_test(nothing_yet),
		cmocka_unit_test(every_rule_is_told),
		cmocka_unit_test(one_rule_alone),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
