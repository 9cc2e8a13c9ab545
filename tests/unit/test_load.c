/* test_load.c - what a view holds: versions of lists, former names, numbers given anew,
 * who else knows a serial. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <string.h>

#include "daemon/base/civil.h"
#include "rules/view.h"
#include "tests/unit/help_store.h"

#define HEAD "account,time,event,zone,serial\n"

static void
view_of(struct help *h, const char *account, int64_t as_of, struct view *v)
{
	struct err e;

	if (store_view(h->s, account, as_of, v, &e))
		fail_msg("%s", e.text);
}

static int64_t
at(struct help *h, const char *utc)
{
	return help_number(h, "SELECT unixepoch('%s') * 1000", utc);
}

/* Names of the newest roster's devices, in order of zones. */
static const char *
devices(struct help *h, const char *account)
{
	struct view v;
	const char *out = "";

	view_of(h, account, NO_TIME, &v);
	for (size_t i = 0; i < v.n_device; i++)
		if (v.device[i].rostered)
			out = arena_fmt(&h->arena, "%s%s=%s ", out, v.device[i].zone, v.device[i].name);
	view_release(&v);
	return out;
}

/* ---- versions ------------------------------------------------------------------- */

static void
the_newest_roster_of_an_account_holds(void **state)
{
	static const struct { const char *text, *a1, *a2, *counts; } file[] = {
		{ "account,device,zone,name\nA1,contact,1,one\nA1,contact,2,two\nA2,contact,9,nine\n",
		  "1=one 2=two ", "9=nine ", "3 3 0 0" },
		/* Only A1 is named: A2 keeps its version; what is not listed is gone. */
		{ "account,device,zone,name\na1,contact,2,TWO\n", "2=TWO ", "9=nine ", "1 1 0 0" },
		/* The same again right after itself, and in another order of columns. */
		{ "account,device,zone,name\na1,contact,2,TWO\n", "2=TWO ", "9=nine ", "1 0 1 0" },
		{ "name,zone,device,account\nTWO,2,contact,a1\n", "2=TWO ", "9=nine ", "1 0 1 0" },
		/* The first one again is news for A1. */
		{ "account,device,zone,name\nA1,contact,1,one\nA1,contact,2,two\nA2,contact,9,nine\n",
		  "1=one 2=two ", "9=nine ", "3 3 0 0" },
	};
	struct help h;

	(void)state;
	help_open(&h);
	help_take(&h, "e.csv", HEAD "A1,2026-10-01 08:00:00,arm,,\nA2,2026-10-01 08:00:00,arm,,\n");
	for (size_t i = 0; i < sizeof file / sizeof *file; i++) {
		help_take(&h, "roster.csv", file[i].text);
		assert_string_equal(help_counts(&h, 0), file[i].counts);
		assert_string_equal(devices(&h, "A1"), file[i].a1);
		assert_string_equal(devices(&h, "A2"), file[i].a2);
	}
	help_close(&h);
}

static void
sites_plan_and_settings_have_versions(void **state)
{
	struct help h;
	struct view v;

	(void)state;
	help_open(&h);
	help_take(&h, "e.csv", HEAD "A1,2026-10-01 08:00:00,arm,,\n");
	for (int round = 0; round < 2; round++) {
		help_take(&h, "s.csv", "account,timezone,name,group\nA1,UTC,Mill,north\n");
		help_take(&h, "p.csv", "account,serial,visit\nA1,4A0071,2026-10-02\nA1,4A0072,2026-10-02\n");
		help_take(&h, "t.csv", "rule,setting,value,scope\nchatter,bursts,4,*\nchatter,bursts,6,account=a1\n"
		    "chatter,bursts,5,group=NORTH\nchatter,bursts,9,group=south\n");
		view_of(&h, "A1", NO_TIME, &v);
		assert_string_equal(v.name, "Mill");
		assert_int_equal(v.n_plan, 2);
		assert_int_equal(v.n_override, 3);	/* widest first */
		assert_int_equal(v.override[0].value, 4);
		assert_int_equal(v.override[1].value, 5);
		assert_int_equal(v.override[2].value, 6);
		view_release(&v);

		help_take(&h, "s.csv", "account,timezone,name,group\na1,UTC,Barn,south\n");
		help_take(&h, "p.csv", "account,serial,visit\nA1,4A0073,2026-10-03\n");
		help_take(&h, "t.csv", "rule,setting,value,scope\nchatter,bursts,7,account=a1\n");
		view_of(&h, "A1", NO_TIME, &v);
		assert_string_equal(v.name, "Barn");
		assert_string_equal(v.group, "south");
		assert_int_equal(v.n_plan, 1);
		assert_string_equal(v.plan[0].serial, "4A0073");
		assert_int_equal(v.n_override, 3);
		assert_int_equal(v.override[1].value, 9);
		assert_int_equal(v.override[2].value, 7);
		view_release(&v);
	}
	help_close(&h);
}

static void
service_is_a_log(void **state)
{
	struct help h;
	struct view v;

	(void)state;
	help_open(&h);
	help_take(&h, "e.csv", HEAD "A1,2026-10-01 08:00:00,arm,,\n");
	help_take(&h, "a.csv", "account,time,what,zone\nA1,2026-10-02 10:00,cell changed,5\n");
	help_take(&h, "b.csv", "account,time,what,zone\nA1,2026-10-01 10:00,cell changed,5\n"
	    "A1,2026-10-02 10:00,cell changed,5\nA1,2026-10-02 10:00,cell changed,6\n");
	assert_string_equal(help_counts(&h, 0), "3 2 1 0");
	view_of(&h, "A1", NO_TIME, &v);
	assert_int_equal(v.n_service, 3);
	assert_true(v.service[0].at < v.service[1].at);
	view_release(&v);
	help_close(&h);
}

/* ---- former names ------------------------------------------------------------------ */

static void
history_follows_a_new_name(void **state)
{
	struct help h;
	struct view v;
	struct err e;
	bool skip;

	(void)state;
	help_open(&h);
	help_take(&h, "r.csv", "account,device,zone,name\nOLD,smoke,1,hall\n");
	help_take(&h, "p.csv", "account,serial,visit\nOLD,4A0071,2026-10-01\n");
	help_take(&h, "v.csv", "account,time,what\nOLD,2026-10-01 10:00,cell changed\n");
	help_take(&h, "e.csv", HEAD "OLD,2026-10-01 08:00:00,zone-open,1,4A0001\n"
	    "OLD,2026-10-01 08:30:00,learn,3,4A0071\n");
	help_take(&h, "s.csv", "account,timezone,was\nNEW,UTC,old\n");
	help_take(&h, "f.csv", HEAD "NEW,2026-10-02 08:00:00,learn-heard,1,4A0001\n");
	view_of(&h, "NEW", NO_TIME, &v);
	assert_int_equal(v.n_event, 3);
	assert_int_equal(v.event[0].at, at(&h, "2026-10-01 08:00"));
	assert_int_equal(v.n_cover, 2);
	assert_int_equal(v.cover[0].from, at(&h, "2026-10-01 08:00"));
	/* With its lists: a smoke detector is one under either name. */
	assert_int_equal(v.n_roster, 1);
	assert_int_equal(v.n_plan, 1);
	assert_int_equal(v.n_service, 1);
	assert_int_equal(v.device[v.event[0].device].kind, KIND_SMOKE);
	assert_true(v.device[v.event[0].device].life);
	/* Its own former name is nobody else who knows the serial. */
	assert_int_equal(v.n_elsewhere, 0);
	view_release(&v);
	/* Judged under the new name only. */
	assert_int_equal(store_view_judge(h.s, help_number(&h, "SELECT id FROM account WHERE account = 'OLD'"),
	    NO_TIME, &v, &skip, &e), 0);
	assert_true(skip);
	view_release(&v);
	/* Its own newer lists go before the former ones. */
	help_take(&h, "r.csv", "account,device,zone,name\nNEW,smoke,1,stairs\n");
	assert_string_equal(devices(&h, "NEW"), "1=stairs ");
	help_close(&h);
}

/* Renamed twice: whatever history does not follow is judged under the name it has. */
static void
renamed_twice(void **state)
{
	static const struct { const char *account; bool judged; size_t events; } want[] = {
		{ "ELDER", true, 1 }, { "OLD", false, 2 }, { "NEW", true, 2 } };
	struct help h;
	struct view v;
	struct err e;
	bool skip;

	(void)state;
	help_open(&h);
	help_take(&h, "s.csv", "account,timezone,was\nOLD,UTC,elder\nNEW,UTC,old\n");
	help_take(&h, "e.csv", HEAD "ELDER,2026-08-01 08:00:00,fire-alarm,1,\n"
	    "OLD,2026-09-01 08:00:00,trip,1,\nNEW,2026-10-01 08:00:00,trip,1,\n");
	for (size_t i = 0; i < 3; i++) {
		assert_int_equal(store_view_judge(h.s, help_number(&h, "SELECT id FROM account WHERE account = '%s'",
		    want[i].account), NO_TIME, &v, &skip, &e), 0);
		assert_int_equal(skip, !want[i].judged);
		assert_int_equal(v.n_event, want[i].events);
		view_release(&v);
	}
	help_close(&h);
}

/* The old number was given to somebody else: each has what is theirs. */
static void
a_number_given_anew(void **state)
{
	struct help h;
	struct view v;
	struct err e;
	bool skip;

	(void)state;
	help_open(&h);
	help_take(&h, "r.csv", "account,device,zone,name,as_of\nOLD,smoke,1,hall,2026-09-01\n");
	help_take(&h, "s.csv", "account,timezone,was,since\nNEW,UTC,OLD,\nOLD,UTC,,2026-10-02 00:00\n");
	help_take(&h, "e.csv", HEAD "OLD,2026-10-01 08:00:00,zone-open,1,\nOLD,2026-10-01 23:59:59,zone-close,1,\n"
	    "OLD,2026-10-02 00:00:00,fire-alarm,2,\nNEW,2026-10-02 08:00:00,arm,,\n");
	help_take(&h, "r.csv", "account,device,zone,name,as_of\nOLD,contact,1,shop,2026-10-03\n");
	view_of(&h, "NEW", NO_TIME, &v);
	assert_int_equal(v.n_event, 3);
	assert_int_equal(v.event[1].at, at(&h, "2026-10-01 23:59:59"));
	assert_int_equal(v.event[2].word, W_ARM);
	view_release(&v);
	assert_string_equal(devices(&h, "NEW"), "1=hall ");
	/* The present customer is judged, from then on. */
	assert_int_equal(store_view_judge(h.s, help_number(&h, "SELECT id FROM account WHERE account = 'OLD'"),
	    NO_TIME, &v, &skip, &e), 0);
	assert_false(skip);
	assert_int_equal(v.n_event, 1);
	assert_int_equal(v.event[0].word, W_FIRE_ALARM);
	view_release(&v);
	help_close(&h);
}

static void
since(void **state)
{
	struct help h;
	struct view v;

	(void)state;
	help_open(&h);
	help_take(&h, "e.csv", HEAD "A1,2026-10-01 07:59:59,trip,1,\nA1,2026-10-01 08:00:00,trip,2,\n"
	    "A1,2026-10-01 08:00:01,trip,3,\n");
	help_take(&h, "s.csv", "account,timezone,since\nA1,UTC,2026-10-01 08:00:00\n");
	view_of(&h, "A1", NO_TIME, &v);
	assert_int_equal(v.n_event, 2);
	view_release(&v);
	/* A local date is read in the account's zone, also where that is told later. */
	help_take(&h, "s.csv", "account,timezone,since\nA1,Europe/Vienna,2026-10-01 10:00:01\n");
	view_of(&h, "A1", NO_TIME, &v);
	assert_int_equal(v.since, at(&h, "2026-10-01 08:00:01"));
	view_release(&v);
	help_close(&h);
}

/* ---- who else knows a serial ---------------------------------------------------------- */

static void
known_elsewhere(void **state)
{
	struct help h;
	struct view v;

	(void)state;
	help_open(&h);
	help_take(&h, "r.csv", "account,device,zone,serial\nB1,contact,7,4a-00-71\nA1,contact,5,4A0071\n");
	help_take(&h, "e.csv", "account,time,event,zone,serial,receiver\n"
	    "A1,2026-10-01 08:00:00,learn,5,004A0071,R1\nA1,2026-10-01 08:00:01,trip,6,4A0072,R1\n"
	    "C1,2026-10-01 08:00:00,trip,9,4A0071,\nC1,2026-10-01 08:00:00,trip,9,4A0072,\n");
	view_of(&h, "A1", NO_TIME, &v);
	assert_string_equal(v.receiver, "R1");
	/* B1 by its roster, C1 by its events; not A1's own row without a receiver, which its
	 * roster made; and only serials that were learned or heard here. */
	assert_int_equal(v.n_elsewhere, 2);
	assert_string_equal(v.elsewhere[0].account, "B1");
	assert_string_equal(v.elsewhere[0].zone, "7");
	assert_string_equal(v.elsewhere[0].serial_key, "4A0071");
	assert_string_equal(v.elsewhere[1].account, "C1");
	assert_string_equal(v.elsewhere[1].zone, "9");
	view_release(&v);
	help_close(&h);
}

/* ---- as of ------------------------------------------------------------------------- */

static void
as_of(void **state)
{
	static const struct { const char *at; size_t events, covers; const char *now; } way[] = {
		{ "2026-10-01 07:59:59", 0, 0, NULL },
		{ "2026-10-01 08:00:00", 1, 1, "2026-10-01 08:00:00" },
		{ "2026-10-01 08:59:59", 1, 1, "2026-10-01 08:59:59" },
		{ "2026-10-01 09:00:00", 2, 1, "2026-10-01 09:00:00" },
		{ "2026-10-02 12:00:00", 2, 1, "2026-10-02 12:00:00" },
		{ "2026-10-03 08:00:00", 3, 2, "2026-10-03 08:00:00" },
		{ "2026-10-09 08:00:00", 3, 2, "2026-10-09 08:00:00" },
	};
	struct help h;

	(void)state;
	help_open(&h);
	help_take(&h, "a.csv", HEAD "A1,2026-10-01 08:00:00,trip,1,\nA1,2026-10-01 09:00:00,trip,2,\n");
	help_take(&h, "b.csv", HEAD "A1,2026-10-03 08:00:00,trip,3,\n");
	for (size_t i = 0; i < sizeof way / sizeof *way; i++) {
		struct view v;

		view_of(&h, "A1", at(&h, way[i].at), &v);
		assert_int_equal(v.n_event, way[i].events);
		assert_int_equal(v.n_cover, way[i].covers);
		assert_int_equal(v.now, way[i].now ? at(&h, way[i].now) : NO_TIME);
		view_release(&v);
	}
	help_close(&h);
}

/* Spans that touch or overlap are one, in whatever order they came. */
static void
cover_is_joined(void **state)
{
	static const char *const span[][2] = { { "03", "05" }, { "01", "02" }, { "05", "06" }, { "04", "05" },
		{ "08", "09" }, { "02", "03" } };
	struct help h;
	struct view v;

	(void)state;
	help_open(&h);
	for (size_t i = 0; i < sizeof span / sizeof *span; i++)
		help_take(&h, arena_fmt(&h.arena, "%zu.csv", i), arena_fmt(&h.arena,
		    HEAD "A1,2026-10-%s 00:00:00,trip,1,\nA1,2026-10-%s 00:00:00,trip,1,\n", span[i][0], span[i][1]));
	view_of(&h, "A1", NO_TIME, &v);
	assert_int_equal(v.n_cover, 2);
	assert_int_equal(v.cover[0].from, at(&h, "2026-10-01"));
	assert_int_equal(v.cover[0].to, at(&h, "2026-10-06"));
	assert_int_equal(v.cover[1].from, at(&h, "2026-10-08"));
	view_release(&v);
	help_close(&h);
}

/* Of events older than 400 days the last of each kind at each place is held, however the
 * history was cut into files: what stands open since then is not forgotten. */
static void
old_events(void **state)
{
	/* 400 days before 2026-10-01 08:00 is 2025-08-27 08:00. */
	static const char old[] = "A1,2024-01-01 08:00:00,learn,1,4A0001\n"
	    "A1,2024-03-01 08:00:00,trip,1,4A0001\nA1,2024-03-01 08:00:01,clear,1,4A0001\n"
	    "A1,2024-06-01 08:00:00,supervision-loss,1,4A0001\nA1,2024-05-01 08:00:00,trip,1,4A0001\n"
	    "A1,2024-05-01 08:00:00,trip,2,\nA1,2024-12-01 08:00:00,arm,,\n"
	    "A1,2025-05-01 08:00:00,arm,,\nA1,2025-08-27 07:59:59,trip,2,\n";
	static const char young[] = "A1,2025-08-27 08:00:00,trip,2,\nA1,2026-10-01 08:00:00,trip,2,\n";
	static const char *const want = "learn clear trip supervision-loss arm trip trip trip ";

	(void)state;
	for (int cut = 0; cut < 3; cut++) {
		const char *got = "";
		struct help h;
		struct view v;

		help_open(&h);
		h.o.batch = cut == 2 ? 2 : 0;
		if (cut) {
			help_take(&h, "young.csv", arena_fmt(&h.arena, HEAD "%s", young));
			help_take(&h, "old.csv", arena_fmt(&h.arena, HEAD "%s", old));
		} else {
			help_take(&h, "all.csv", arena_fmt(&h.arena, HEAD "%s%s", old, young));
		}
		view_of(&h, "A1", NO_TIME, &v);
		for (size_t i = 0; i < v.n_event; i++)
			got = arena_fmt(&h.arena, "%s%s ", got, word_text((enum word)v.event[i].word));
		assert_string_equal(got, want);
		assert_int_equal(v.event[2].at, at(&h, "2024-05-01 08:00"));
		assert_int_equal(v.event[5].at, at(&h, "2025-08-27 07:59:59"));
		view_release(&v);
		help_close(&h);
	}
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(the_newest_roster_of_an_account_holds),
		cmocka_unit_test(sites_plan_and_settings_have_versions),
		cmocka_unit_test(service_is_a_log),
		cmocka_unit_test(history_follows_a_new_name),
		cmocka_unit_test(renamed_twice),
		cmocka_unit_test(a_number_given_anew),
		cmocka_unit_test(since),
		cmocka_unit_test(known_elsewhere),
		cmocka_unit_test(as_of),
		cmocka_unit_test(cover_is_joined),
		cmocka_unit_test(old_events),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
