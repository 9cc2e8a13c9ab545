/* test_cases.c - a finding keeps its case, and judging what is due ends where judging
 * everything does. */
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

/* ---- findings of our own making ------------------------------------------------ */

struct made { const char *rule, *subject; int64_t onset, last; };

/* What is left in the store of account 1 when its rules have said this; "ID SUBJECT|...". */
static const char *
say(struct help *h, const struct made *m, size_t n, int64_t wall)
{
	struct findings f = { 0 };
	struct view v;
	struct err e;
	bool skip;

	assert_int_equal(store_view_judge(h->s, 1, NO_TIME, &v, &skip, &e), 0);
	assert_false(skip);
	for (size_t i = 0; i < n; i++) {
		const struct rule *r = rule_find(m[i].rule);
		struct finding *x;

		assert_non_null(r);
		x = finding_add(&f, &v, r, -1, m[i].subject);
		x->onset = m[i].onset;
		x->last = m[i].last;
		if (strncmp(m[i].subject, "serial:", 7) == 0)	/* as the rules do: its zone is known */
			x->zone = "007";
		finding_summary(&f, x, "said at %d", (int)wall);
	}
	assert_int_equal(store_begin(h->s, &e), 0);
	assert_int_equal(store_save(h->s, &v, &f, NULL, wall, &e), 0);
	assert_int_equal(store_commit(h->s, &e), 0);
	view_release(&v);
	findings_release(&f);
	return help_sql(h, "SELECT id FROM finding WHERE cleared IS NULL ORDER BY onset, id");
}

static void
one_account(struct help *h)
{
	help_open(h);
	help_events(h, "a.csv", "A1,2026-10-01 08:00:00,arm,\n");
}

/* Beside a case of [100 d, 110 d]: a finding of the same subject is the same case when its
 * span is within the rejoin time of it. life-alarm joins for 24 h, jam-like rules without
 * such a setting for 30 days. */
static const struct { const char *rule; int64_t onset, last; bool same; } beside[] = {
	{ "life-alarm", 100 * DAY, 110 * DAY, true },
	{ "life-alarm", 90 * DAY, 105 * DAY, true },
	{ "life-alarm", 111 * DAY, 112 * DAY, true },
	{ "life-alarm", 111 * DAY + 1, 112 * DAY, false },
	{ "life-alarm", 90 * DAY, 99 * DAY, true },
	{ "life-alarm", 90 * DAY, 99 * DAY - 1, false },
	{ "supervision-loss", 140 * DAY, 150 * DAY, true },
	{ "supervision-loss", 140 * DAY + 1, 150 * DAY, false },
	{ "supervision-loss", 60 * DAY, 70 * DAY, true },
	{ "supervision-loss", 60 * DAY, 70 * DAY - 1, false },
};

static void
returns_within_the_rejoin_time(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof beside / sizeof *beside; i++) {
		struct made a = { beside[i].rule, "zone:7", 100 * DAY, 110 * DAY }, b = a;
		struct help h;
		const char *one, *two;

		b.onset = beside[i].onset;
		b.last = beside[i].last;
		one_account(&h);
		one = say(&h, &a, 1, 1);
		/* An alarm of life safety stays until a person has seen it. */
		assert_string_equal(say(&h, NULL, 0, 2),
		    rule_find(beside[i].rule)->by_decision ? one : "");
		two = say(&h, &b, 1, 3);
		print_message("%s %d\n", beside[i].rule, (int)i);
		assert_int_equal(strcmp(one, two) == 0, beside[i].same);
		assert_int_equal(help_number(&h, "SELECT count(*) FROM finding_case"), beside[i].same ? 1 : 2);
		/* When it was first raised is kept. */
		assert_int_equal(help_number(&h, "SELECT min(raised) FROM finding_case"), 1);
		help_close(&h);
	}
}

static void
the_nearest_of_several_cases(void **state)
{
	const struct made first[] = {
		{ "life-alarm", "zone:7", 100 * DAY, 101 * DAY },
		{ "life-alarm", "zone:7", 103 * DAY, 104 * DAY },
		{ "life-alarm", "zone:8", 103 * DAY, 104 * DAY },
		{ "chatter", "zone:7", 103 * DAY, 104 * DAY },
	};
	struct help h;
	const char *before;

	(void)state;
	one_account(&h);
	before = say(&h, first, 4, 1);
	assert_int_equal(help_number(&h, "SELECT count(DISTINCT id) FROM finding"), 4);
	assert_string_equal(say(&h, first, 4, 2), before);
	/* In another order of the rule's findings too. */
	const struct made turned[] = { first[3], first[1], first[0], first[2] };
	assert_string_equal(say(&h, turned, 4, 3), before);
	assert_int_equal(help_number(&h, "SELECT count(*) FROM finding_case"), 4);
	/* Only one is left: the others are cleared, at the end of cover, but for what only a
	 * person can clear. */
	assert_string_equal(say(&h, &first[1], 1, 4),
	    help_sql(&h, "SELECT id FROM finding WHERE rule = 'life-alarm' ORDER BY onset, id"));
	assert_string_equal(help_sql(&h, "SELECT DISTINCT cleared FROM finding WHERE cleared IS NOT NULL"),
	    help_sql(&h, "SELECT unixepoch('2026-10-01 08:00') * 1000"));
	help_close(&h);
}

/* A device that was known by its zone keeps its case when its serial is told. */
static void
a_serial_is_told(void **state)
{
	const struct made zone = { "life-alarm", "zone:7", 100 * DAY, 110 * DAY };
	struct made serial = { "life-alarm", "serial:4A0071", 100 * DAY, 110 * DAY };
	struct help h;
	const char *id;

	(void)state;
	one_account(&h);
	id = say(&h, &zone, 1, 1);
	assert_string_equal(say(&h, &serial, 1, 2), id);
	assert_string_equal(say(&h, &serial, 1, 3), id);
	assert_int_equal(help_number(&h, "SELECT count(*) FROM finding_case"), 1);
	/* Another device on that zone, later: another case. */
	serial.subject = "serial:4A0099";
	assert_string_not_equal(say(&h, &serial, 1, 4), id);
	help_close(&h);
}

static void
the_same_history_has_the_same_ids(void **state)
{
	const struct made m[] = { { "life-alarm", "zone:7", 1, 2 }, { "chatter", "serial:4A0071", 1, 2 } };
	struct help a, b;

	(void)state;
	one_account(&a);
	help_open(&b);
	help_events(&b, "b.csv", "a1,2026-10-01 08:00:00,arm,\n");	/* spelled differently */
	assert_string_equal(say(&a, m, 2, 1), say(&b, m, 2, 99));
	help_close(&a);
	help_close(&b);
}

/* ---- through files --------------------------------------------------------------- */

static const char *
burst(struct help *h, const char *account, const char *serial, int day, int n)
{
	const char *out = "account,time,event,zone,serial\n";

	for (int i = 0; i < n; i++)
		out = arena_fmt(&h->arena, "%s%s,2026-10-%02d 08:00:%02d,zone-open,5,%s\n"
		    "%s,2026-10-%02d 08:00:%02d,zone-close,5,%s\n", out, account, day, 2 * i, serial, account, day,
		    2 * i + 1, serial);
	return arena_fmt(&h->arena, "%s%s,2026-10-%02d 23:00:00,arm,,\n", out, account, day);
}

static void
late_rows_move_the_onset(void **state)
{
	struct help h;
	const char *id, *onset;

	(void)state;
	help_open(&h);
	help_take(&h, "roster.csv", "account,device,zone\nA1,contact,5\n");
	help_take(&h, "b.csv", burst(&h, "A1", "", 10, 12));
	help_judged(&h, false);
	id = help_id(&h, "chatter", "A1");
	onset = help_sql(&h, "SELECT onset FROM finding");
	help_take(&h, "a.csv", burst(&h, "A1", "", 9, 12));
	help_judged(&h, false);
	assert_string_equal(help_id(&h, "chatter", "A1"), id);
	assert_string_not_equal(help_sql(&h, "SELECT onset FROM finding"), onset);
	/* Then a roster with the serial; then judged from scratch. */
	help_take(&h, "roster.csv", "account,device,zone,serial\nA1,contact,5,4A0071\n");
	help_judged(&h, false);
	assert_string_equal(help_id(&h, "chatter", "A1"), id);
	assert_string_equal(help_sql(&h, "SELECT serial FROM finding"), "4A0071");
	help_judged(&h, true);
	assert_string_equal(help_id(&h, "chatter", "A1"), id);
	help_close(&h);
}

/* ---- evidence -------------------------------------------------------------------- */

/* Copies of the first 20 and the last 20 rows, whole, with the count of all. */
static void
evidence_is_kept_at_both_ends(void **state)
{
	static const int many[] = { 1, 20, 39, 40, 41, 60 };

	(void)state;
	for (size_t i = 0; i < sizeof many / sizeof *many; i++) {
		struct help h;
		const char *text = "account,time,event,zone,serial,user,text\n", *id;
		int n = many[i], kept = n < 40 ? n : 40;

		help_open(&h);
		for (int k = 0; k < n; k++)
			text = arena_fmt(&h.arena, "%sA1,2026-10-01 08:%02d:00,fire-alarm,1,4a-01,3,\"no. %d, \"\"x\"\"\"\n",
			    text, k, k);
		help_take(&h, "a.csv", text);
		help_judged(&h, false);
		id = help_id(&h, "life-alarm", "A1");
		assert_int_equal(help_number(&h, "SELECT all_evidence FROM finding WHERE id = '%s'", id), n);
		assert_int_equal(help_number(&h, "SELECT count(*) FROM evidence WHERE finding = '%s'", id), kept);
		assert_int_equal(help_number(&h, "SELECT count(*) FROM evidence WHERE finding = '%s'"
		    " AND (n < 20 OR n >= %d) AND line = n + 2 AND at = unixepoch('2026-10-01 08:00') * 1000"
		    " + n * 60000 AND event = 'fire-alarm' AND file LIKE '%%/a.csv'"
		    " AND detail = 'fire-alarm zone 1 serial 4a-01 user 3 \"no. ' || n || ', \"x\"\"'", id, n - 20),
		    kept);
		/* Judged again, they are no more. */
		help_judged(&h, true);
		assert_int_equal(help_number(&h, "SELECT count(*) FROM evidence WHERE finding = '%s'", id), kept);
		help_close(&h);
	}
}

/* By the day of the site's clock, of 30 days; what no export covers is told apart. */
static void
evidence_by_day(void **state)
{
	struct help h;
	char days[128];
	int32_t *day;
	struct finding_filter all = { .level = -1, .since = NO_TIME, .as_of = NO_TIME };
	struct stored_finding *f;
	size_t n;
	struct err e;

	(void)state;
	help_open(&h);
	help_take(&h, "sites.csv", "account,timezone\nA1,Asia/Tokyo\n");
	/* 23:59 and 00:01 there; the third is older than 30 days. */
	help_take(&h, "a.csv", "account,time,event,zone\nA1,2026-09-05 23:59:00,fire-alarm,1\n"
	    "A1,2026-09-06 00:01:00,fire-alarm,1\n");
	help_take(&h, "b.csv", "account,time,event,zone\nA1,2026-09-30T14:59:00Z,fire-alarm,1\n"
	    "A1,2026-09-30T15:01:00Z,fire-alarm,1\nA1,2026-09-30T15:02:00Z,fire-alarm,1\n");
	help_take(&h, "c.csv", "account,time,event,zone\nA1,2026-10-05 08:00:00,open,1\n"
	    "A1,2026-10-05 08:00:00,zone-open,2\nA1,2026-10-06 00:00:00,zone-close,2\n");
	help_judged(&h, true);
	assert_int_equal(store_findings(h.s, &all, &h.arena, &f, &n, &e), 0);
	for (size_t i = 0; i < n; i++) {
		if (strcmp(f[i].rule, "life-alarm") != 0 || f[i].count == 2)
			continue;
		assert_int_equal(f[i].day_to, civil_days(2026, 10, 5));
		day = f[i].day;
		assert_non_null(day);
		days[0] = '\0';
		for (int k = 0; k < FINDING_DAYS; k++)
			snprintf(days + strlen(days), sizeof days - strlen(days), "%d ", (int)day[k]);
		assert_string_equal(days, "0 -1 -1 -1 -1 -1 -1 -1 -1 -1 -1 -1 -1 -1 -1 -1 -1 -1 -1 -1 -1 -1 -1"
		    " -1 1 2 -1 -1 -1 0 ");
		help_close(&h);
		return;
	}
	fail();
}

/* ---- due ------------------------------------------------------------------------- */

static const char *
due(struct help *h)
{
	const char *out = help_sql(h, "SELECT group_concat(account, ' ') FROM (SELECT a.account FROM due d"
	    " JOIN account a ON a.id = d.account ORDER BY 1)");

	help_judged(h, false);
	assert_int_equal(help_number(h, "SELECT count(*) FROM due"), 0);
	return out;
}

/* One after the other into one store: what is then due, and only that. */
static const struct { const char *what, *name, *text, *due; } steps[] = {
	{ "rows", "a.csv", "account,time,event,zone,serial\nA1,2026-10-01 08:00:00,zone-open,5,4A0071\n"
	  "A2,2026-10-01 08:00:00,zone-open,5,\n", "A1 A2" },
	{ "the same again", "a.csv", "account,time,event,zone,serial\n"
	  "A1,2026-10-01 08:00:00,zone-open,5,4A0071\nA2,2026-10-01 08:00:00,zone-open,5,\n", "-" },
	{ "other rows", "b.csv", HEAD "A2,2026-10-01 08:00:00,arm,\n", "A2" },
	{ "no rows, but a longer span", "c.csv", "account,time,event,zone,serial\n"
	  "A1,2026-10-01 08:00:00,zone-open,5,4A0071\nA2,2026-10-01 09:00:00,zone-open,5,\n", "A1 A2" },
	{ "no rows and no longer span", "d.csv", "account,time,event,zone,serial\n"
	  "A1,2026-10-01 08:00:00,zone-open,5,4A0071\n", "-" },
	{ "only set-aside rows", "e.csv", HEAD "A1,x,arm,\n", "-" },
	{ "sites", "sites.csv", "account,timezone,name\nA1,UTC,Mill\nA3,UTC,Barn\n", "A1 A3" },
	{ "the same sites", "sites.csv", "account,timezone,name\nA1,UTC,Mill\nA3,UTC,Barn\n", "-" },
	{ "one site changed", "sites.csv", "account,timezone,name\nA3,UTC,Shed\n", "A3" },
	{ "roster", "r.csv", "account,device,zone,name\nA1,contact,5,door\n", "A1" },
	{ "the same roster", "r.csv", "account,device,zone,name\nA1,contact,5,door\n", "-" },
	{ "another account's roster", "r2.csv", "account,device,zone,name\nA2,contact,5,gate\n", "A2" },
	{ "the first roster again", "r.csv", "account,device,zone,name\nA1,contact,5,door\n", "-" },
	{ "plan", "p.csv", "account,serial,visit\na1,4A0071,2026-10-02\n", "A1" },
	{ "the same plan", "p.csv", "account,serial,visit\na1,4A0071,2026-10-02\n", "-" },
	{ "service", "s.csv", "account,time,what\nA2,2026-10-01 10:00,cell\n", "A2" },
	{ "the same service", "s.csv", "account,time,what\nA2,2026-10-01 10:00,cell\n", "-" },
	{ "a setting of one account", "t.csv", "rule,setting,value,scope\nchatter,bursts,4,account=a2\n", "A2" },
	{ "a setting of all", "t.csv", "rule,setting,value\nchatter,bursts,4\n", "A1 A2 A3" },
	{ "the same setting", "t.csv", "rule,setting,value\nchatter,bursts,4\n", "-" },
	{ "a serial that another account knows", "f.csv", "account,time,event,zone,serial\n"
	  "A2,2026-10-01 08:30:00,extra-device,,4a-00-71\n", "A1 A2" },
	{ "the same serial once more", "g.csv", "account,time,event,zone,serial\n"
	  "A2,2026-10-01 08:40:00,extra-device,,4a-00-71\n", "A2" },
	{ "the zone under which another knows it", "r3.csv", "account,device,zone,serial\n"
	  "A3,contact,9,4A0071\n", "A1 A2 A3" },
	{ "another zone for it", "r3.csv", "account,device,zone,serial\nA3,contact,8,4A0071\n", "A1 A2 A3" },
	{ "decisions", "x.csv", "finding,decision,who\nnosuch1,seen,mk\n", "-" },
	{ "a new name", "sites.csv", "account,timezone,was\nN1,UTC,A1\n", "A1 N1" },
	{ "rows under the old name", "h.csv", HEAD "A1,2026-10-01 08:50:00,arm,\n", "A1" },
	{ "the old name in other letters", "sites.csv", "account,timezone,was\nN1,UTC,a1\n", "-" },
	{ "renamed again", "sites.csv", "account,timezone,was\nP1,UTC,N1\n", "A1 N1 P1" },
	{ "the new name was wrong", "sites.csv", "account,timezone,was\nN1,UTC,\n", "A1 N1" },
};

static void
what_is_due(void **state)
{
	struct help h;

	(void)state;
	help_open(&h);
	for (size_t i = 0; i < sizeof steps / sizeof *steps; i++) {
		print_message("%s\n", steps[i].what);
		help_take(&h, steps[i].name, steps[i].text);
		assert_string_equal(due(&h), steps[i].due);
	}
	help_close(&h);
}

static const char everything[] = "SELECT id, rule, account, zone, serial, device, level, life, pending,"
    " onset, last, cleared, count, summary, measures, checks, cautions, members FROM finding ORDER BY id";

static const struct { const char *name, *text; } story[] = {
	{ "roster.csv", "account,device,zone,serial,checkin\nA1,contact,5,4A0071,60m\nA1,smoke,1,4A0001,60m\n" },
	{ "sites.csv", "account,timezone\nA1,Europe/Vienna\nB1,Europe/London\n" },
	{ "learn.csv", "account,time,event,zone,serial\nB1,2026-10-03 08:00:00,program-entry,,\n"
	  "B1,2026-10-03 08:01:00,learn,3,4A0071\nB1,2026-10-03 08:02:00,program-exit,,\n"
	  "A1,2026-10-03 08:00:00,supervision-loss,1,4A0001\nA1,2026-10-03 10:00:00,arm,,\n"
	  "B1,2026-10-03 10:00:00,arm,,\n" },
	{ "roster.csv", "account,device,zone,serial,checkin\nA1,contact,6,4A0071,60m\nA1,smoke,1,4A0001,60m\n" },
	{ "settings.csv", "rule,setting,value\nsupervision-loss,age,600\n" },
	{ "plan.csv", "account,serial,visit,zone\nB1,4A0072,2026-10-03,3\n" },
	{ "sites.csv", "account,timezone,was\nC1,Europe/Vienna,a1\n" },
	{ "more.csv", "account,time,event,zone,serial\nA1,2026-10-04 08:00:00,fire-alarm,1,4A0001\n" },
	{ "sites.csv", "account,timezone\nC1,Europe/Vienna\n" },
	{ "received.csv", "account,time,event,zone,serial,received\n"
	  "A1,2026-10-03 08:00:00,supervision-loss,1,4A0001,2026-10-03 08:00:05\n" },
};

/* After each file, judging what is due gives what judging everything gives. */
static void
due_is_all(void **state)
{
	struct help h;

	(void)state;
	help_open(&h);
	for (size_t i = 0; i < sizeof story / sizeof *story; i++) {
		const char *some;

		help_take(&h, story[i].name, story[i].text);
		help_judged(&h, false);
		some = help_sql(&h, everything);
		help_judged(&h, true);
		print_message("%zu %s\n", i, story[i].name);
		assert_string_equal(help_sql(&h, everything), some);
		if (i == 2)
			assert_true(strlen(some) > 200);
	}
	help_close(&h);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(returns_within_the_rejoin_time),
		cmocka_unit_test(the_nearest_of_several_cases),
		cmocka_unit_test(a_serial_is_told),
		cmocka_unit_test(the_same_history_has_the_same_ids),
		cmocka_unit_test(late_rows_move_the_onset),
		cmocka_unit_test(evidence_is_kept_at_both_ends),
		cmocka_unit_test(evidence_by_day),
		cmocka_unit_test(what_is_due),
		cmocka_unit_test(due_is_all),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
