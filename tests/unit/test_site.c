/* test_site.c - site sheet and visit sheet: cautions first, silent signals unnamed,
 * what to bring, the strip of days. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/report/silent.h"
#include "daemon/report/site.h"
#include "daemon/report/visit.h"
#include "rules/care.h"
#include "tests/unit/help_view.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

struct sheet {
	struct page p;
	struct view v;
	struct site site;
	char       *bytes;
	size_t      n;
};

static void
open_sheet(struct sheet *s, const char *log)
{
	*s = (struct sheet){ 0 };
	s->p.f = open_memstream(&s->bytes, &s->n);
	s->p.width = 80;
	s->p.zone.name = "UTC";
	help_view(&s->v, log);
}

static const char *
site(struct sheet *s, const struct stored_finding *f, size_t n)
{
	site_build(&s->site, &s->v, f, n);
	site_text(&s->p, &s->site);
	fflush(s->p.f);
	return s->bytes;
}

static const char *
visit(struct sheet *s, struct visit_check *x)
{
	visit_check(&s->v, NO_TIME, x);
	visit_text(&s->p, &s->v, x);
	fflush(s->p.f);
	return s->bytes;
}

static void
close_sheet(struct sheet *s)
{
	fclose(s->p.f);
	free(s->bytes);
	page_release(&s->p);
	view_release(&s->v);
}

static void
says(const char *text, const char *what)
{
	if (!strstr(text, what))
		print_error("not said: %s\n%s\n", what, text);
	assert_non_null(strstr(text, what));
}

#define SILENT_LOG \
	"account 1042 name=\"Lindenhof 3\"\n" \
	"cover 2026-09-01 2026-10-03\n" \
	"roster zone=8 serial=4A0078 kind=panic name=\"pillow\" cell=CR2032\n" \
	"roster zone=9 serial=4A0079 kind=hold-up name=\"counter\"\n" \
	"roster zone=10 serial=4A0080 kind=keyfob name=\"owner\"\n" \
	"plan serial=4A0078 from=2026-10-01T08:00 to=2026-10-01T18:00 zone=8 kind=panic " \
	"name=\"pillow\"\n" \
	"2026-09-20T08:00:00 panic-alarm zone=10 serial=4A0080\n" \
	"2026-09-21T08:00:00 hold-up-alarm zone=9 serial=4A0079\n" \
	"2026-09-22T08:00:00 tamper zone=9 serial=4A0079\n" \
	"2026-09-22T08:01:00 duress-alarm\n" \
	"2026-09-22T08:02:00 end-of-life zone=10 serial=4A0080\n" \
	"2026-09-22T08:03:00 low-battery zone=10 serial=4A0080\n" \
	"2026-10-01T09:00:00 program-entry\n" \
	"2026-10-01T09:01:00 learn-heard serial=4A0078\n" \
	"2026-10-01T09:03:00 learn serial=4A0078 zone=8\n" \
	"2026-10-01T09:10:00 program-exit\n" \
	"2026-10-01T09:11:00 tamper zone=8 serial=4A0078\n"

/* Words that would tell whoever finds the sheet what the button was. */
static void
names_no_silent_signal(const char *text)
{
	static const char *const word[] = {
		"panic", "hold-up", "duress", "counter", "pillow", "owner", "keyfob",
	};

	for (size_t i = 0; i < COUNT(word); i++) {
		if (strcasestr(text, word[i]))
			print_error("says \"%s\":\n%s\n", word[i], text);
		assert_null(strcasestr(text, word[i]));
	}
	says(text, SILENT_TEXT);
}

static void
silent_signals_are_not_named(void **state)
{
	struct stored_finding f[] = {
		{ .id = "A1", .rule = "life-alarm", .account = "1042", .zone = "9",
		  .serial = "4A0079", .device = "zone 9 (counter, hold-up button, serial 4A0079)",
		  .site_name = "", .group = "", .timezone = "", .state = "new", .life = true,
		  .onset = 0, .last = 0, .cleared = NO_TIME, .summary = "1 hold-up alarm." },
		{ .id = "A2", .rule = "life-alarm", .account = "1042", .zone = "", .serial = "",
		  .device = "", .site_name = "", .group = "", .timezone = "", .state = "new",
		  .life = true, .onset = 0, .last = 0, .cleared = NO_TIME,
		  .summary = "1 duress alarm." },
		/* Neither device nor sentence names it: the device's own history does. */
		{ .id = "A3", .rule = "trouble-left", .account = "1042", .zone = "10",
		  .serial = "4A0080", .device = "zone 10 (owner)", .site_name = "", .group = "",
		  .timezone = "", .state = "new", .onset = 0, .last = 0, .cleared = NO_TIME,
		  .summary = "The owner's device." },
	};
	struct visit_check x;
	struct sheet s;

	(void)state;
	open_sheet(&s, SILENT_LOG);
	names_no_silent_signal(site(&s, f, COUNT(f)));
	says(s.bytes, "A2");
	assert_null(strstr(s.bytes, "in alarm"));	/* the panel itself, by the duress code */
	close_sheet(&s);
	open_sheet(&s, SILENT_LOG);
	names_no_silent_signal(visit(&s, &x));
	close_sheet(&s);
}

static void
cautions_come_first(void **state)
{
	static const char *const log = "account 7\ncover 2026-10-01 2026-10-02\n"
	    "roster zone=1 serial=4A0001 kind=smoke\n2026-10-01T08:00:00 check-in zone=1\n";
	static const char first[] = "\n! Before work: put the account on test with those who";
	struct visit_check x;
	struct sheet s;

	(void)state;
	open_sheet(&s, log);
	site(&s, NULL, 0);
	assert_ptr_equal(strchr(s.bytes, '\n'), strstr(s.bytes, first));
	says(s.bytes, "! Isolate power");
	says(s.bytes, "! Work only on systems");
	says(s.bytes, "! Life safety: treat every alarm as real");
	close_sheet(&s);
	open_sheet(&s, log);
	visit(&s, &x);
	assert_ptr_equal(strchr(s.bytes, '\n'), strstr(s.bytes, first));
	says(s.bytes, "! Life safety: treat every alarm as real");
	close_sheet(&s);
}

static void
cells_to_bring(void **state)
{
	static const char *member[] = { "serial:4A0003", "A9" };
	struct stored_finding f[] = {
		{ .id = "A8", .rule = "battery-cluster", .account = "7", .zone = "", .serial = "",
		  .device = "", .site_name = "", .group = "", .timezone = "", .state = "new",
		  .onset = 0, .last = 0, .cleared = NO_TIME, .summary = "2 cells.",
		  .member = member, .n_member = 2 },
		{ .id = "A9", .rule = "chatter", .account = "7", .zone = "4", .serial = "",
		  .device = "zone 4", .site_name = "", .group = "", .timezone = "", .state = "new",
		  .onset = 0, .last = 0, .cleared = NO_TIME, .summary = "x" },
	};
	struct sheet s;

	(void)state;
	open_sheet(&s, "account 7\ncover 2026-09-01 2026-10-02\n"
	    "roster zone=1 serial=4A0001 kind=contact cell=CR123\n"
	    "roster zone=2 serial=4A0002 kind=motion cell=CR123A cells=2\n"
	    "roster zone=3 serial=4A0003 kind=contact cell=AA\n"
	    "roster zone=4 serial=4A0004 kind=contact\n"
	    "roster zone=5 serial=4A0005 kind=contact cell=AA\n"
	    "roster zone=6 serial=4A0006 kind=smoke cell=AA\n"
	    "2026-09-20T08:00:00 low-battery zone=1\n2026-09-21T08:00:00 low-battery zone=2\n"
	    "2026-09-21T08:00:00 low-battery zone=5\n2026-09-21T09:00:00 battery-restore zone=5\n"
	    "2026-09-21T10:00:00 end-of-life zone=6\n");
	site(&s, f, COUNT(f));
	says(s.bytes, "  3 x CR123A (lithium 3 V): zone 1, zone 2 (2)\n");
	says(s.bytes, "  1 x AA");
	says(s.bytes, "cells of a kind that no roster names, for 1 device: zone 4\n");
	says(s.bytes, "  1 spare smoke detector: zone 6 (end of life)\n");
	close_sheet(&s);
}

static void
strip_of_days(void **state)
{
	struct sheet s;

	(void)state;
	/* 30 days end with the day of 2026-09-30; the 3rd to the 5th are covered by nothing. */
	open_sheet(&s, "account 7\ncover 2026-08-01 2026-09-03\n"
	    "cover 2026-09-06 2026-09-30T12:00\nroster zone=1 kind=contact\n"
	    "2026-09-02T08:00:00 zone-open zone=1\n2026-09-02T08:00:30 zone-close zone=1\n"
	    "2026-09-29T08:00:00 zone-open zone=1 times=9 every=60s\n"
	    "2026-09-29T08:00:10 zone-close zone=1 times=9 every=60s\n"
	    "2026-09-30T08:00:00 zone-open zone=1 times=10 every=60s\n"
	    "2026-09-30T08:00:10 zone-close zone=1 times=10 every=60s\n");
	site(&s, NULL, 0);
	says(s.bytes, " .1??? ..... ..... ..... ..... ...9+  20 activations\n");
	close_sheet(&s);
}

static void
learned_twice_is_not_well(void **state)
{
	struct sheet s;

	(void)state;
	open_sheet(&s, "account 7\ncover 2026-10-01 2026-10-02\n"
	    "plan serial=4B0001 from=2026-10-01T08:00 to=2026-10-01T18:00 zone=7 kind=motion\n"
	    "plan serial=4B0002 from=2026-10-01T08:00 to=2026-10-01T18:00 zone=8 kind=motion\n"
	    "plan serial=4B0009 from=2026-10-01T08:00 to=2026-10-01T18:00 zone=9 kind=motion\n"
	    "2026-10-01T09:00:00 program-entry\n"
	    "2026-10-01T09:01:00 learn-heard serial=9F0001\n"
	    "2026-10-01T09:02:00 learn-refused serial=9F0001\n"
	    "2026-10-01T09:03:00 learn serial=4B0001 zone=7\n"
	    "2026-10-01T09:04:00 learn serial=4B0002 zone=8\n"
	    "2026-10-01T09:05:00 learn serial=4B0002 zone=12\n"
	    "2026-10-01T09:10:00 program-exit\n");
	site(&s, NULL, 0);
	says(s.bytes, "\n    ok       4B0001 on zone 7: as planned\n");
	says(s.bytes, "\n    CHECK    4B0002 on zone 12: ");
	says(s.bytes, "\n    MISSING  4B0009 ");
	says(s.bytes, "\n    heard and refused: 9F0001\n");
	says(s.bytes, "\n  Also heard here, not of this site: 9F0001.\n");
	/* The stranger is of unknown kind, but nothing on the sheet may be life safety. */
	assert_null(strstr(s.bytes, "LIFE SAFETY"));
	close_sheet(&s);
}

static void
visit_complete_or_not(void **state)
{
#define PLANNED "account 7\ncover 2026-10-01 2026-10-02\n" \
	"plan serial=4B0001 from=2026-10-01T08:00 to=2026-10-01T18:00 zone=7 kind=motion\n" \
	"2026-10-01T09:00:00 program-entry\n" \
	"2026-10-01T09:03:00 learn serial=4B0001 zone=7\n" \
	"2026-10-01T09:10:00 program-exit\n"
	static const struct { const char *log; bool complete; } cases[] = {
		{ PLANNED "2026-10-01T09:12:00 trip zone=7\n2026-10-01T09:12:05 clear zone=7\n", true },
		{ PLANNED, false },
		{ PLANNED "2026-10-01T09:12:00 trip zone=7\n2026-10-01T09:13:00 bypass zone=7\n",
		  false },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct visit_check x;
		struct sheet s;

		open_sheet(&s, cases[i].log);
		visit(&s, &x);
		if (x.complete != cases[i].complete)
			print_error("case %zu:\n%s\n", i, s.bytes);
		assert_int_equal(x.complete, cases[i].complete);
		says(s.bytes, cases[i].complete ?
		    "ENROLMENT COMPLETE BY THE LOG. Not a functional test." :
		    "NOT COMPLETE BY THE LOG. What remains:");
		says(s.bytes, "[ ] account off test");
		says(s.bytes, "[ ] tripped in place");
		says(s.bytes, "Signature ___");
		for (const char *line = s.bytes; *line; line += strcspn(line, "\n") + 1)
			assert_true(strcspn(line, "\n") <= 80);
		close_sheet(&s);
	}
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(silent_signals_are_not_named),
		cmocka_unit_test(cautions_come_first),
		cmocka_unit_test(cells_to_bring),
		cmocka_unit_test(strip_of_days),
		cmocka_unit_test(learned_twice_is_not_well),
		cmocka_unit_test(visit_complete_or_not),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
