/* test_nightly.c - what a night reads, tells and remembers. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/nightly.h"
#include "rules/rule.h"
#include "tests/unit/help_store.h"

#define T(y, m, d, h, mi) civil_to_ms(&(struct civil){ y, m, d, h, mi, 0, 0 })

static void
expected_hour_is_the_last_one(void **state)
{
	/* Vienna: +01:00, +02:00 from 2026-03-29 to 2026-10-25 (IANA tz database). */
	const struct { double hour; int64_t now, want; } row[] = {
		{ 22, T(2026, 1, 10, 4, 30), T(2026, 1, 9, 21, 0) },
		{ 22, T(2026, 1, 10, 20, 59), T(2026, 1, 9, 21, 0) },
		{ 22, T(2026, 1, 10, 21, 0), T(2026, 1, 10, 21, 0) },
		{ 0, T(2026, 1, 10, 22, 59), T(2026, 1, 9, 23, 0) },
		{ 0, T(2026, 1, 10, 23, 0), T(2026, 1, 10, 23, 0) },
		{ 2.5, T(2026, 3, 29, 12, 0), T(2026, 3, 29, 1, 30) },	/* skipped: moved on */
		{ 2.5, T(2026, 10, 25, 0, 30), T(2026, 10, 25, 0, 30) },	/* the earlier one */
		{ 23.99, T(1970, 1, 1, 0, 0), T(1969, 12, 31, 22, 59) + 24 * SECOND },
	};
	struct tz_set *zones = tz_set_open();
	struct err e;
	const struct tz *tz = tz_find(zones, SPAN("Europe/Vienna"), &e);

	(void)state;
	assert_non_null(tz);
	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		int64_t got = nightly_last(tz, row[i].hour, row[i].now);

		if (got != row[i].want)
			fail_msg("row %zu: %lld instead of %lld", i, (long long)got,
			    (long long)row[i].want);
	}
	tz_set_close(zones);
}

static void
change_is_against_what_was_told(void **state)
{
	static const struct told told[] = {
		{ "a", LEVEL_SOON, 4, false, 50 }, { "b", LEVEL_SOON, 4, true, 50 },
		{ "c", LEVEL_SOON, 0, false, 50 },
	};
	const struct {
		const char *id; int level; long count; bool cleared; enum digest_change want; int64_t onset;
	}
	row[] = {
		{ "a", LEVEL_SOON, 4, false, DIGEST_SAME, 50 }, { "a", LEVEL_SOON, 7, false, DIGEST_SAME, 50 },
		{ "a", LEVEL_SOON, 8, false, DIGEST_MORE, 50 }, { "a", LEVEL_NOW, 4, false, DIGEST_RISEN, 50 },
		{ "a", LEVEL_LATER, 4, false, DIGEST_SAME, 50 }, { "a", LEVEL_SOON, 4, true, DIGEST_CLEARED, 50 },
		{ "b", LEVEL_SOON, 4, false, DIGEST_BACK, 50 }, { "b", LEVEL_SOON, 4, true, DIGEST_GONE, 50 },
		{ "c", LEVEL_SOON, 1, false, DIGEST_SAME, 50 }, { "d", LEVEL_NOW, 1, false, DIGEST_NEW, 50 },
		{ "d", LEVEL_NOW, 1, true, DIGEST_PASSED, 50 },
		/* A row that came late: it began earlier than was told. */
		{ "a", LEVEL_SOON, 4, false, DIGEST_EARLIER, 49 }, { "a", LEVEL_SOON, 4, false, DIGEST_SAME, 51 },
		{ "a", LEVEL_LATER, 4, false, DIGEST_EARLIER, 49 }, { "a", LEVEL_NOW, 4, false, DIGEST_RISEN, 49 },
		{ "a", LEVEL_SOON, 8, false, DIGEST_MORE, 49 }, { "a", LEVEL_SOON, 4, true, DIGEST_CLEARED, 49 },
		{ "b", LEVEL_SOON, 4, false, DIGEST_BACK, 49 },
	};
	struct digest d = { .told = told, .n_told = 3 };

	(void)state;
	for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
		struct stored_finding f = { .id = row[i].id, .level = row[i].level,
		    .onset = row[i].onset,
		    .count = row[i].count, .cleared = row[i].cleared ? 1 : NO_TIME };

		if (digest_change(&d, &f) != row[i].want)
			fail_msg("row %zu", i);
	}
	assert_int_equal(digest_change(&(struct digest){ 0 }, &(struct stored_finding){
	    .id = "a", .cleared = NO_TIME }), DIGEST_NEW);
}

static void
attention_has_a_reason(void **state)
{
	struct stored_finding f = { .id = "a", .level = LEVEL_NOW, .cleared = NO_TIME };
	struct told told = { "a", LEVEL_NOW, 0, false, 0 };
	struct night_file file[] = { { .rows = 1000, .set_aside = 1 },
	    { .rows = 1000, .set_aside = 900, .again = true } };
	struct night_reason reason = { .reason = "x", .rows = 1 };
	struct digest d = { .expected = 10, .cover_to = 10, .finding = &f, .n_finding = 1,
	    .told = &told, .n_told = 1, .file = file, .n_file = 2, .reason = &reason,
	    .n_reason = 1, .aside_limit = 0.1 };
	struct page p = { 0 };

	(void)state;
	assert_string_equal(digest_attention(&p, &d), "");
	d.cover_to = 9;
	assert_string_equal(digest_attention(&p, &d), "no new data");
	d.cover_to = NO_TIME;
	assert_false(digest_reached(&d));
	d.cover_to = 10;
	d.damage = "row missing";
	assert_string_equal(digest_attention(&p, &d), "the store is damaged");
	d.damage = "";
	d.n_told = 0;
	assert_string_equal(digest_attention(&p, &d), "1 new finding at now");
	f.level = LEVEL_SOON;
	assert_string_equal(digest_attention(&p, &d), "");
	file[0].set_aside = 2;
	assert_string_equal(digest_attention(&p, &d), "2 of 1000 rows set aside");
	d.aside_limit = 0.2;
	reason.first = true;
	assert_string_equal(digest_attention(&p, &d),
	    "rows set aside for 1 reason never seen before");
	reason.first = false;
	d.n_failed = 1;
	assert_string_equal(digest_attention(&p, &d), "1 file failed");
	page_release(&p);
}

/* "Nothing new" only where the exports reached the expected hour. */
static void
quiet_or_without_data(void **state)
{
	static const struct { int64_t cover_to; bool reached; } cases[] = {
		{ NO_TIME, false }, { 100 * DAY - 1, false }, { 100 * DAY, true },
		{ 100 * DAY + 1, true },
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct digest d = { .expected = 100 * DAY, .cover_to = cases[i].cover_to,
		    .cover_from = cases[i].cover_to, .at = 101 * DAY };
		char *text = NULL;
		size_t n;
		FILE *f = open_memstream(&text, &n);
		struct page p;

		assert_non_null(f);
		page_init(&p, f);
		digest_text(&p, &d);
		page_release(&p);
		fclose(f);
		if (!strstr(text, "Nothing new") == cases[i].reached ||
		    !strstr(text, "NO NEW DATA since") != cases[i].reached)
			fail_msg("case %zu: %s", i, text);
		free(text);
	}
}

/* Reads what is to be read of the folder; how many files that were. */
static size_t
to_read(struct help *h, bool covers_all, size_t *known)
{
	struct nightly_folder in;
	struct err e;

	assert_int_equal(nightly_files(h->s, arena_fmt(&h->arena, "%s/in", h->dir), covers_all,
	    &h->arena, &in, &e), 0);
	for (size_t i = 0; i < in.n; i++)
		help_ingest(h, in.path[i], NULL);
	*known = in.n_known;
	return in.n;
}

static void
known_files_are_left_alone(void **state)
{
	static const char settings[] = "rule,setting,value\nchatter,bursts,3\n";
	struct help h;
	size_t known;

	(void)state;
	help_open(&h);
	assert_int_equal(mkdir(arena_fmt(&h.arena, "%s/in", h.dir), 0700), 0);
	help_file(&h, "in/e.csv", "account,time,event\nA1,2026-10-01T08:00:00Z,test\n");
	help_file(&h, "in/s.csv", settings);
	help_file(&h, "in/.hidden.csv", settings);
	help_file(&h, "in/half.csv.part", settings);
	help_file(&h, "in/half.TMP", settings);
	assert_int_equal(mkdir(arena_fmt(&h.arena, "%s/in/sub.csv", h.dir), 0700), 0);
	assert_int_equal(to_read(&h, false, &known), 2);
	assert_int_equal(known, 0);
	assert_int_equal(to_read(&h, false, &known), 0);
	assert_int_equal(known, 2);
	/* It speaks for more accounts than when it was read. */
	assert_int_equal(to_read(&h, true, &known), 1);
	/* The same events under another name; a list that was changed, and changed back. */
	help_file(&h, "in/e2.csv", "account,time,event\nA1,2026-10-01T08:00:00Z,test\n");
	help_file(&h, "in/s.csv", "rule,setting,value\nchatter,bursts,4\n");
	assert_int_equal(to_read(&h, false, &known), 1);
	assert_int_equal(known, 2);
	help_file(&h, "in/s.csv", settings);
	assert_int_equal(to_read(&h, false, &known), 1);
	/* Wordings: all is read again when they are new. */
	help_file(&h, "in/w.csv", "what,match,gives\nevent,^Prüfung$,test\n");
	assert_int_equal(to_read(&h, false, &known), 4);
	assert_int_equal(to_read(&h, false, &known), 0);
	assert_int_equal(known, 4);
	help_file(&h, "in/e2.csv", "account,time,event\nA1,2026-10-01T08:00:01Z,test\n");
	assert_int_equal(to_read(&h, false, &known), 1);
	for (const char *const *name = (const char *const []){ "e", "s", "e2", "w", NULL }; *name; name++)
		unlink(arena_fmt(&h.arena, "%s/in/%s.csv", h.dir, *name));
	unlink(arena_fmt(&h.arena, "%s/in/.hidden.csv", h.dir));
	unlink(arena_fmt(&h.arena, "%s/in/half.csv.part", h.dir));
	unlink(arena_fmt(&h.arena, "%s/in/half.TMP", h.dir));
	rmdir(arena_fmt(&h.arena, "%s/in/sub.csv", h.dir));
	rmdir(arena_fmt(&h.arena, "%s/in", h.dir));
	help_close(&h);
}

static void
changes_are_told_once(void **state)
{
	struct night_change *change;
	struct night night;
	struct help h;
	struct err e;
	size_t n;

	(void)state;
	help_open(&h);
	assert_int_equal(store_night(h.s, &night, &e), 0);
	assert_int_equal(night.id, 0);
	help_take(&h, "s1.csv", "account,timezone\nA1,Europe/Vienna\n");
	help_take(&h, "t1.csv", "rule,setting,value,scope,who\nchatter,bursts,3,account=A1,X\n");
	assert_int_equal(store_begin(h.s, &e), 0);
	assert_int_equal(store_night_done(h.s, 5, &e), 0);
	assert_int_equal(store_commit(h.s, &e), 0);
	assert_int_equal(store_night(h.s, &night, &e), 0);
	assert_int_equal(night.at, 5);
	help_take(&h, "s2.csv", "account,timezone\nA1,Europe/London\n");
	help_take(&h, "t2.csv", "rule,setting,value,scope,who\nchatter,bursts,4,account=A1,X\n");
	assert_int_equal(store_night_changes(h.s, night.file, &h.arena, &change, &n, &e), 0);
	assert_int_equal(n, 3);
	assert_string_equal(change[0].what, "1 of 1 row taken");
	assert_string_equal(change[1].what, "time zone of A1");
	assert_string_equal(change[1].before, "Europe/Vienna");
	assert_string_equal(change[1].now, "Europe/London");
	assert_string_equal(change[2].what, "chatter.bursts for account=A1");
	assert_string_equal(change[2].before, "3");
	assert_string_equal(change[2].now, "4");
	assert_string_equal(change[2].who, "X");
	assert_string_not_equal(change[2].owner, "");
	help_close(&h);
}

/* Every kind of list: what was, what is, and what stands in the digest of it. */
static void
each_change_has_its_old_and_new_value(void **state)
{
	static const struct { const char *was, *is, *told; } table[] = {
		{ "rule,setting,value\nchatter,bursts,3\n", "rule,setting,value\nchatter,bursts,4\n",
		  "chatter.bursts|3|4|-\n" },
		{ NULL, "rule,setting,value\nkept,events,400\n", "kept.events|the default|400|-\n" },
		{ "account,timezone,name,group,was,since\nA1,UTC,Thistle,,,\nB2,UTC,,,,\n",
		  "account,timezone,name,group,was,since\nA1,Europe/Vienna,Teasel,north,Z9,2026-10-01\nC3,UTC,,,,\n",
		  "2 of 2 rows taken|||-\ntime zone of A1|UTC|Europe/Vienna|-\nname of A1|Thistle|Teasel|-\n"
		  "group of A1|none|north|-\nformer number of A1|none|Z9|-\n"
		  "number given anew of A1|none|2026-09-30 22:00|-\n" },
		{ "account,zone,device,name,serial,cell\nA1,1,contact,back door,,\nA1,2,smoke,landing,4A01,CR1\n"
		  "A1,3,motion,,,\nA1,,keyfob,,4A09,\nB2,1,co,,,\n",
		  "account,zone,device,name,serial,cell\nA1,01,contact,front door,,\nA1,2,contact,landing,4A01,CR1\n"
		  "A1,4,heat,,,\nA1,,keyfob,,4A09,\nC3,1,contact,,,\n",
		  "5 of 5 rows taken|||-\n"
		  "device of A1 zone 01|contact \"back door\"|contact \"front door\"|-\n"
		  "device of A1 zone 2|smoke \"landing\" serial 4A01 cell CR1|contact \"landing\" serial 4A01 "
		  "cell CR1|life\ndevice of A1 zone 4|none|heat|life\ndevice of A1 zone 3|motion|none|-\n" },
		{ "account,serial,visit,zone\nA1,4A01,2026-10-01,1\nA1,4A02,2026-10-01,2\n",
		  "account,serial,visit,zone\nA1,4A01,2026-10-02,1\nA1,4A03,2026-10-02,2\n",
		  "2 of 2 rows taken|||-\n"
		  "plan of A1 serial 4A01|2026-10-01 00:00 to 2026-10-02 00:00 UTC zone 1|2026-10-02 00:00 to "
		  "2026-10-03 00:00 UTC zone 1|-\n"
		  "plan of A1 serial 4A03|none|2026-10-02 00:00 to 2026-10-03 00:00 UTC zone 2|-\n"
		  "plan of A1 serial 4A02|2026-10-01 00:00 to 2026-10-02 00:00 UTC zone 2|none|-\n" },
		{ "account,time,what,zone,who\nA1,2026-10-01 08:00,cell changed,1,X\n",
		  "account,time,what,zone,who\nA1,2026-10-01 08:00,cell changed,1,X\nA1,2026-10-02 08:00,cleaned,2,Y\n",
		  "1 of 2 rows taken|||-\nwork at A1 zone 2 on 2026-10-02 08:00 UTC|none|cleaned|-\n" },
		{ "what,match,gives\nevent,Brand,fire-alarm\nevent,Auf,zone-open\n",
		  "what,match,gives\nevent,Brand,other\nevent,Zu,zone-close\n",
		  "2 of 2 rows taken|||-\nwording of event \"Brand\"|fire-alarm|other|-\n"
		  "wording of event \"Zu\"|none|zone-close|-\nwording of event \"Auf\"|zone-open|none|-\n" },
		{ "what,match,gives\nevent,Brand,fire-alarm\n", "what,match,gives\n",
		  "0 of 0 rows taken|||-\nwording of event \"Brand\"|fire-alarm|none|-\n" },
		/* The same again changes nothing. */
		{ "account,zone,device\nA1,1,contact\n", "account,zone,device\nA1,1,contact\n", "" },
	};

	(void)state;
	for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
		struct night_change *change;
		const char *told = "";
		struct help h;
		struct err e;
		int64_t last = 0;
		size_t n;

		help_open(&h);
		if (table[i].was) {
			help_take(&h, "list.csv", table[i].was);
			last = help_number(&h, "SELECT max(id) FROM file");
			/* What is new altogether is counted. Work done has no version, each row is told. */
			assert_int_equal(store_night_changes(h.s, 0, &h.arena, &change, &n, &e), 0);
			assert_true(n <= 3);
		}
		help_take(&h, "list.csv", table[i].is);
		assert_int_equal(store_night_changes(h.s, last, &h.arena, &change, &n, &e), 0);
		for (size_t k = 0; k < n; k++) {
			assert_non_null(strstr(change[k].file, "list.csv"));
			assert_string_not_equal(change[k].owner, "");
			told = arena_fmt(&h.arena, "%s%s|%s|%s|%s\n", told, change[k].what, change[k].before,
			    change[k].now, change[k].life ? "life" : "-");
		}
		assert_string_equal(told, table[i].told);
		help_close(&h);
	}
}

/* A file of `rows` rows, the first of them no good, the last of which came at `to`. */
static void
take_rows(struct help *h, const char *name, int rows, int64_t to)
{
	const char *text = "A1,no time,test,\n";
	char at[CIVIL_TEXT];

	for (int i = rows - 2; i >= 0; i--) {
		civil_rfc3339(to - i * SECOND, at);
		text = arena_fmt(&h->arena, "%sA1,%s,test,\n", text, at);
	}
	help_events(h, name, text);
	assert_int_equal(h->result.file[0].set_aside, 1);
}

/* As long as nobody sets anything: exports reach 22:00 of the machine's clock, and a person is
 * asked for above one row set aside in a thousand. */
static void
what_a_night_asks_by_default(void **state)
{
	static const struct { int rows; int64_t to; const char *asks; } table[] = {
		{ 3000, 0, "rows set aside for 1 reason never seen before" },
		{ 1000, 0, "" },
		{ 999, 0, "1 of 999 rows set aside" },
		{ 2000, -SECOND, "no new data" },
	};
	struct tz_set *zones = tz_set_open();
	int64_t moment = nightly_last(tz_machine(zones), 22, T(2026, 10, 2, 12, 0));

	(void)state;
	for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
		struct nightly_options o = { .zones = zones, .expected = -1, .now = moment + 6 * HOUR };
		struct help h;
		const char *asks;
		struct err e;

		help_open(&h);
		o.out = h.dir;
		if (i > 0) {
			take_rows(&h, "first.csv", 20, moment - DAY);
			if (nightly_tell(h.s, &o, &h.arena, &asks, &e))
				fail_msg("%s", e.text);
		}
		take_rows(&h, "rows.csv", table[i].rows, moment + table[i].to);
		if (nightly_tell(h.s, &o, &h.arena, &asks, &e))
			fail_msg("%s", e.text);
		assert_string_equal(asks, table[i].asks);
		help_close(&h);
	}
	tz_set_close(zones);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(expected_hour_is_the_last_one),
		cmocka_unit_test(quiet_or_without_data),
		cmocka_unit_test(change_is_against_what_was_told),
		cmocka_unit_test(attention_has_a_reason),
		cmocka_unit_test(known_files_are_left_alone),
		cmocka_unit_test(changes_are_told_once),
		cmocka_unit_test(each_change_has_its_old_and_new_value),
		cmocka_unit_test(what_a_night_asks_by_default),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
