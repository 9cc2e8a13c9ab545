/* test_decide.c - decisions: only ever added, the same one once, what lifts them, and the
 * order of lists. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <string.h>

#include "daemon/base/civil.h"
#include "rules/rule.h"
#include "tests/unit/help_store.h"

#define HEAD "account,time,event,zone\n"
/* A contact that chatters, and a smoke alarm. */
#define NOISY "account,device,zone\nA1,contact,5\nA1,smoke,1\n"

static const char *
burst(struct help *h, const char *account, int day, int n)
{
	const char *out = "";

	for (int i = 0; i < n; i++)
		out = arena_fmt(&h->arena, "%s%s,2026-10-%02d 08:00:%02d,zone-open,5\n"
		    "%s,2026-10-%02d 08:00:%02d,zone-close,5\n", out, account, day, 2 * i, account, day, 2 * i + 1);
	return out;
}

/* One finding of chatter on A1 and, if asked for, one life alarm; returns chatter's id. */
static const char *
prepare(struct help *h, bool life)
{
	help_open(h);
	help_take(h, "roster.csv", NOISY);
	help_events(h, "a.csv", arena_fmt(&h->arena, "%s%s%s", burst(h, "A1", 1, 12),
	    life ? "A1,2026-10-01 09:00:00,fire-alarm,1\n" : "", "A1,2026-10-02 00:00:00,arm,\n"));
	help_judged(h, false);
	return help_id(h, "chatter", "A1");
}

static struct stored_finding *
look(struct help *h, const char *id, int64_t as_of)
{
	struct finding_filter f = { .id = id, .level = -1, .state = "all", .since = NO_TIME,
	    .as_of = as_of };
	struct stored_finding *out;
	struct err e;
	size_t n;

	assert_int_equal(store_findings(h->s, &f, &h->arena, &out, &n, &e), 0);
	assert_int_equal(n, 1);
	return out;
}

static size_t
how_many(struct help *h, const char *id)
{
	struct stored_decision *d;
	struct err e;
	size_t n;

	assert_int_equal(store_decisions(h->s, id, &h->arena, &d, &n, &e), 0);
	return n;
}

enum { NOW = 1000 };	/* an instant like any other, as days */
#define AT (NOW * DAY)

/* ---- what is taken ------------------------------------------------------------ */

static void
planned_and_expected_need_a_day(void **state)
{
	static const struct { const char *decision; int64_t until; int rc; } way[] = {
		{ "seen", NO_TIME, 0 }, { "seen", AT + DAY, 0 },
		{ "planned", NO_TIME, -1 }, { "planned", AT + DAY, 0 },
		{ "expected", NO_TIME, -1 }, { "expected", AT + DAY, 0 },
	};

	(void)state;
	for (size_t i = 0; i < sizeof way / sizeof *way; i++) {
		struct help h;
		struct err e;
		const char *id = prepare(&h, false);

		assert_int_equal(store_decide(h.s, id, way[i].decision, "mk", way[i].until, "", AT, &e),
		    way[i].rc);
		if (way[i].rc)
			assert_int_equal(e.code, ERR_USAGE);
		assert_int_equal(how_many(&h, id), way[i].rc ? 0 : 1);
		help_close(&h);
	}
}

static void
unknown_findings_are_refused(void **state)
{
	struct help h;
	struct err e;

	(void)state;
	prepare(&h, false);
	assert_int_equal(store_decide(h.s, "nosuch1", "seen", "mk", NO_TIME, "", AT, &e), -1);
	assert_int_equal(e.code, ERR_USAGE);
	assert_int_equal(help_number(&h, "SELECT count(*) FROM decision"), 0);
	help_close(&h);
}

static void
decisions_are_only_added(void **state)
{
	struct help h;
	struct err e;
	struct stored_decision *d;
	size_t n;
	const char *id = prepare(&h, false);

	(void)state;
	assert_int_equal(store_decide(h.s, id, "seen", "mk", NO_TIME, "one", AT, &e), 0);
	assert_int_equal(store_decide(h.s, id, "planned", "jo", AT + 9 * DAY, "two", AT + 1, &e), 0);
	assert_int_equal(store_decide(h.s, id, "seen", "mk", NO_TIME, "three", AT + 2, &e), 0);
	/* The very same again, and another person's same one. */
	assert_int_equal(store_decide(h.s, id, "seen", "mk", NO_TIME, "three", AT + 2, &e), 0);
	assert_int_equal(store_decide(h.s, id, "seen", "jo", NO_TIME, "three", AT + 2, &e), 0);
	assert_int_equal(store_decisions(h.s, id, &h.arena, &d, &n, &e), 0);
	assert_int_equal(n, 4);
	assert_string_equal(d[0].why, "one");
	assert_string_equal(d[1].who, "jo");
	assert_int_equal(d[1].until, AT + 9 * DAY);
	assert_int_equal(d[2].at, AT + 2);
	assert_string_equal(look(&h, id, AT + 2)->decision->who, "jo");
	help_close(&h);
}

/* A list of decisions that is left in a folder says them once, however often it is read
 * and whatever has become of the findings. */
static void
a_list_says_it_once(void **state)
{
	struct help h;
	const char *id = prepare(&h, true), *life = help_id(&h, "life-alarm", "A1"), *path;

	(void)state;
	path = help_file(&h, "d.csv", arena_fmt(&h.arena, "finding,decision,who,until,why\n"
	    "%s,seen,mk,,rain\n%s,seen,mk,,rain\n%s,planned,mk,2030-01-01,x\n%s,planned,mk,,no day\n"
	    "nosuch1,seen,mk,,\n%s,seen,jo,,toast\n", id, id, id, id, life));
	help_ingest(&h, path, NULL);
	assert_string_equal(help_counts(&h, 0), "6 3 1 2");
	help_ingest(&h, path, NULL);
	assert_string_equal(help_counts(&h, 0), "6 0 4 2");
	help_events(&h, "b.csv", burst(&h, "A1", 3, 20));
	help_judged(&h, false);
	assert_true(look(&h, id, NO_TIME)->count > 12);
	help_ingest(&h, path, NULL);
	assert_string_equal(help_counts(&h, 0), "6 0 4 2");
	assert_int_equal(how_many(&h, id), 2);
	assert_int_equal(how_many(&h, life), 1);
	/* So it cannot outlive its day on life safety, nor a doubled count. */
	assert_true(look(&h, life, look(&h, life, NO_TIME)->decision->at + DAY - 1)->decision->holds);
	assert_false(look(&h, life, look(&h, life, NO_TIME)->decision->at + DAY)->decision->holds);
	assert_false(look(&h, id, NO_TIME)->decision->holds);
	assert_int_equal(help_number(&h, "SELECT count(*) FROM aside"), 2);
	help_close(&h);
}

/* ---- what lifts a decision ------------------------------------------------------ */

static void
time_runs_out(void **state)
{
	struct help h;
	struct err e;
	const char *id = prepare(&h, true), *life = help_id(&h, "life-alarm", "A1");

	(void)state;
	assert_int_equal(store_decide(h.s, id, "planned", "mk", AT + 5 * DAY, "", AT, &e), 0);
	assert_int_equal(store_decide(h.s, life, "planned", "mk", AT + 5 * DAY, "", AT, &e), 0);
	assert_true(look(&h, id, AT + 5 * DAY - 1)->decision->holds);
	assert_string_equal(look(&h, id, AT + 5 * DAY - 1)->decision->lifted, "");
	assert_false(look(&h, id, AT + 5 * DAY)->decision->holds);
	assert_true(strlen(look(&h, id, AT + 5 * DAY)->decision->lifted) > 10);
	/* On life safety after a day, whatever it says. */
	assert_true(look(&h, life, AT + DAY - 1)->decision->holds);
	assert_false(look(&h, life, AT + DAY)->decision->holds);
	assert_non_null(strstr(look(&h, life, AT + DAY)->decision->lifted, "24 h"));
	help_close(&h);
}

/* The count when it was decided, and now. */
static const struct { int then, now; bool holds; } counts[] = {
	{ 10, 10, true }, { 10, 19, true }, { 10, 20, false }, { 10, 21, false }, { 1, 1, true },
	{ 1, 2, false }, { 10, 5, true },
};

static void
the_count_doubles(void **state)
{
	struct help h;
	struct err e;
	const char *id = prepare(&h, false);

	(void)state;
	for (size_t i = 0; i < sizeof counts / sizeof *counts; i++) {
		help_exec(h.db, arena_fmt(&h.arena, "DELETE FROM decision; UPDATE finding SET count = %d",
		    counts[i].then));
		assert_int_equal(store_decide(h.s, id, "seen", "mk", NO_TIME, "", AT, &e), 0);
		help_exec(h.db, arena_fmt(&h.arena, "UPDATE finding SET count = %d", counts[i].now));
		print_message("%d, then %d\n", counts[i].then, counts[i].now);
		assert_int_equal(look(&h, id, AT)->decision->holds, counts[i].holds);
	}
	help_close(&h);
}

static void
the_level_rises(void **state)
{
	struct help h;
	struct err e;
	const char *id = prepare(&h, false);

	(void)state;
	for (int then = 0; then < LEVEL_COUNT; then++) {
		for (int now = 0; now < LEVEL_COUNT; now++) {
			help_exec(h.db, arena_fmt(&h.arena, "DELETE FROM decision; UPDATE finding SET level = %d",
			    then));
			assert_int_equal(store_decide(h.s, id, "seen", "mk", NO_TIME, "", AT, &e), 0);
			help_exec(h.db, arena_fmt(&h.arena, "UPDATE finding SET level = %d", now));
			assert_int_equal(look(&h, id, AT)->decision->holds, now >= then);
		}
	}
	help_close(&h);
}

static const struct { const char *then, *now; bool holds; } members[] = {
	{ "[]", "[]", true }, { "[\"zone:1\"]", "[\"zone:1\"]", true },
	{ "[\"zone:1\"]", "[\"zone:1\",\"zone:2\"]", false }, { "[\"zone:1\",\"zone:2\"]", "[\"zone:2\"]", true },
	{ "[]", "[\"zone:1\"]", false },
	/* One gone, another come: that one was not decided on. */
	{ "[\"zone:1\",\"zone:2\"]", "[\"zone:1\",\"zone:3\"]", false },
	{ "[\"zone:1\",\"zone:2\"]", "[\"zone:2\",\"zone:1\"]", true },
};

static void
a_member_joins(void **state)
{
	struct help h;
	struct err e;
	const char *id = prepare(&h, false);

	(void)state;
	for (size_t i = 0; i < sizeof members / sizeof *members; i++) {
		help_exec(h.db, arena_fmt(&h.arena, "DELETE FROM decision; UPDATE finding SET members = '%s'",
		    members[i].then));
		assert_int_equal(store_decide(h.s, id, "seen", "mk", NO_TIME, "", AT, &e), 0);
		help_exec(h.db, arena_fmt(&h.arena, "UPDATE finding SET members = '%s'", members[i].now));
		print_message("%s, then %s\n", members[i].then, members[i].now);
		assert_int_equal(look(&h, id, AT)->decision->holds, members[i].holds);
	}
	help_close(&h);
}

/* ---- the order of lists ---------------------------------------------------------- */

static const char *
listed(struct help *h, size_t limit)
{
	struct finding_filter f = { .level = -1, .since = NO_TIME, .as_of = AT, .limit = limit };
	struct stored_finding *list;
	struct err e;
	const char *out = "";
	size_t n;

	assert_int_equal(store_findings(h->s, &f, &h->arena, &list, &n, &e), 0);
	for (size_t i = 0; i < n; i++)
		out = arena_fmt(&h->arena, "%s%s ", out, list[i].id);
	return out;
}

/* Level; life safety; undecided; new; count; then account, rule, onset. */
static void
lists_are_in_order(void **state)
{
	static const struct { const char *id, *account, *rule; int level, life, night, count, decided; }
	row[] = {
		{ "f01", "B", "chatter", 0, 1, 1, 1, 1 },	/* life safety: a decision moves nothing */
		{ "f02", "C", "chatter", 0, 1, 1, 1, 0 },
		{ "f03", "A", "chatter", 0, 0, 0, 5, 0 },	/* new before continuing */
		{ "f04", "A", "chatter", 0, 0, 1, 9, 0 },
		{ "f05", "A", "chatter", 0, 0, 1, 7, 0 },
		{ "f06", "A", "chatter", 0, 0, 0, 99, 1 },	/* decided, below all undecided */
		{ "f07", "Z", "chatter", 1, 1, 1, 1, 0 },
		{ "f08", "A", "chatter", 1, 0, 1, 3, 0 },
		{ "f09", "A", "standing", 1, 0, 1, 3, 0 },
		{ "f10", "B", "chatter", 1, 0, 1, 3, 0 },
		{ "f11", "A", "chatter", 2, 0, 0, 999, 0 },
	};
	const char *want = "";
	struct help h;
	struct err e;

	(void)state;
	help_open(&h);
	/* Put in from last to first. */
	for (size_t i = sizeof row / sizeof *row; i-- > 0;) {
		help_exec(h.db, arena_fmt(&h.arena, "INSERT INTO finding_case VALUES('%s', '%s', '%s', 'zone:%zu',"
		    " 0, 0, 0, 0, %s); INSERT INTO finding VALUES('%s', '%s', '%s', '', '', '', %d, %d, 0, 0, 0,"
		    " NULL, %d, '', '[]', '[]', '[]', '[]', '', '', 0, '', NULL, '')", row[i].id, row[i].rule, row[i].account, i,
		    row[i].night ? "1" : "NULL", row[i].id, row[i].rule, row[i].account, row[i].level, row[i].life,
		    row[i].count));
		if (row[i].decided)
			assert_int_equal(store_decide(h.s, row[i].id, "seen", "mk", NO_TIME, "", AT, &e), 0);
	}
	for (size_t i = 0; i < sizeof row / sizeof *row; i++)
		want = arena_fmt(&h.arena, "%s%s ", want, row[i].id);
	assert_string_equal(listed(&h, 0), want);
	assert_string_equal(listed(&h, 3), "f01 f02 f03 ");
	help_close(&h);
}

/* No list makes an open alarm of life safety disappear, or rank lower; only `seen` lets go of
 * one that the log does not show any more. */
static void
no_list_silences_an_alarm(void **state)
{
	static const struct { const char *list; bool gone; } table[] = {
		{ "account,zone,device\nA1,1,contact\nA1,2,motion\n", false },
		{ "account,timezone,name\nA1,Europe/Vienna,other\n", false },
		{ "account,timezone,since\nA1,UTC,2026-10-05\n", true },	/* a former customer's */
		{ "account,serial,visit,zone,device\nA1,4A01,2026-10-01,1,contact\n", false },
		{ "account,time,what,zone\nA1,2026-10-01 10:00,false alarm,1\n", false },
		{ "rule,setting,value\nlife-alarm,join,1h\nkept,events,400\nnightly,set_aside,100\n", false },
		{ NULL, false },	/* decisions */
		{ "what,match,gives\nevent,^Brand$,other\n", true },
	};

	(void)state;
	for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
		struct finding_filter all = { .level = -1, .rule = "life-alarm", .state = "all",
		    .since = NO_TIME, .as_of = NO_TIME };
		struct stored_finding *f;
		const char *id;
		struct help h;
		struct err e;
		size_t n;

		help_open(&h);
		help_ingest(&h, help_file(&h, "words.csv", "what,match,gives\nevent,^Brand$,fire-alarm\n"),
		    help_file(&h, "roster.csv", "account,zone,device\nA1,1,smoke\n"),
		    help_file(&h, "e.csv", "account,time,event,zone\nA1,2026-10-01T08:00:00Z,Brand,1\n"
		    "A1,2026-10-06T08:00:00Z,test,3\n"), NULL);
		help_judged(&h, false);
		id = help_id(&h, "life-alarm", "A1");
		help_take(&h, table[i].list && strncmp(table[i].list, "what", 4) == 0 ? "words.csv" : "list.csv",
		    table[i].list ? table[i].list : arena_fmt(&h.arena, "finding,decision,who,until\n"
		    "%s,seen,X,\n%s,expected,X,2099-01-01\n", id, id));
		assert_int_equal(h.result.file[0].set_aside, 0);
		for (int again = 0; again < 2; again++) {
			help_judged(&h, again);
			assert_int_equal(store_findings(h.s, &all, &h.arena, &f, &n, &e), 0);
			assert_int_equal(n, 1);
			assert_string_equal(f->id, id);
			assert_int_equal(f->level, 0);
			assert_true(f->life && f->cleared == NO_TIME);
			assert_int_equal(help_number(&h, "SELECT count(*) FROM finding WHERE measures LIKE"
			    " '%%no_longer_in_the_log%%no_longer_in_the_log%%'"), 0);
			assert_int_equal(help_number(&h, "SELECT count(*) FROM finding WHERE measures LIKE"
			    " '%%no_longer_in_the_log%%'"), table[i].gone);
		}
		assert_int_equal(store_decide(h.s, id, "seen", "X", NO_TIME, "", AT, &e), 0);
		assert_int_equal(store_findings(h.s, &all, &h.arena, &f, &n, &e), 0);
		assert_int_equal(f->cleared != NO_TIME, table[i].gone);
		help_close(&h);
	}
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(planned_and_expected_need_a_day),
		cmocka_unit_test(unknown_findings_are_refused),
		cmocka_unit_test(decisions_are_only_added),
		cmocka_unit_test(a_list_says_it_once),
		cmocka_unit_test(time_runs_out),
		cmocka_unit_test(the_count_doubles),
		cmocka_unit_test(the_level_rises),
		cmocka_unit_test(a_member_joins),
		cmocka_unit_test(lists_are_in_order),
		cmocka_unit_test(no_list_silences_an_alarm),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
