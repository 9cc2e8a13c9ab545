#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "rules/session.h"
#include "rules/verdict.h"
#include "tests/unit/help_view.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

#define HEAD "account A1\ncover 2026-09-01 2026-10-20\n"
#define PLAN(serial, rest) \
	"plan serial=" serial " from=2026-10-01T08:00 to=2026-10-01T12:00 " rest "\n"
#define LEARN(minute, rest) "2026-10-01T09:" minute ":00 learn " rest "\n"

/* `has` and `lacks` are parts of the findings' text; NULL `has` = no finding at all. */
struct one {
	const char *text, *has, *lacks;
};

static void
run(const struct one *row, size_t n)
{
	for (size_t i = 0; i < n; i++) {
		struct arena a = { 0 };
		const char *got = help_judge(&a, arena_fmt(&a, HEAD "%s", row[i].text),
		    "learn-mismatch");

		if (row[i].has ? !strstr(got, row[i].has) : *got != '\0')
			fail_msg("%s\nwanted %s, got\n%s", row[i].text,
			    row[i].has ? row[i].has : "nothing", got);
		if (row[i].lacks && strstr(got, row[i].lacks))
			fail_msg("%s\ndid not want %s, got\n%s", row[i].text, row[i].lacks, got);
		arena_release(&a);
	}
}

static void
how_near(void **state)
{
	static const struct one row[] = {
		/* Two edits in eight characters, not three; one in four, two not in seven. */
		{ PLAN("12345678", "zone=5") LEARN("00", "zone=5 serial=92345679"),
		  "measure near_misses 1", "measure foreign" },
		{ PLAN("12345678", "zone=5") LEARN("00", "zone=5 serial=92345699"),
		  "measure foreign 1", "measure near_misses" },
		{ PLAN("2345678", "zone=5") LEARN("00", "zone=5 serial=9345679"),
		  "measure foreign 1", "measure near_misses" },
		{ PLAN("2345678", "zone=5") LEARN("00", "zone=5 serial=2345679"),
		  "measure near_misses 1", "measure foreign" },
		{ PLAN("1234", "zone=5") LEARN("00", "zone=5 serial=1235"),
		  "measure near_misses 1", "measure foreign" },
		{ PLAN("123", "zone=5") LEARN("00", "zone=5 serial=124"),
		  "measure foreign 1", "measure near_misses" },
		{ "setting learn-mismatch.edits=1\n"
		  PLAN("12345678", "zone=5") LEARN("00", "zone=5 serial=92345679"),
		  "measure foreign 1", "measure near_misses" },
		{ "setting learn-mismatch.digits_per_edit=3\n"
		  PLAN("123", "zone=5") LEARN("00", "zone=5 serial=124"),
		  "measure near_misses 1", "measure foreign" },
		/* Places are those of the sticker, although the panel drops leading zeros. */
		{ PLAN("00123456", "zone=5") LEARN("00", "zone=5 serial=123457"),
		  "near miss of 00123456: differs in digit 8 of 8; read the sticker again (devices",
		  NULL },
		{ PLAN("00123456", "zone=5") LEARN("00", "zone=5 serial=123456"), NULL, NULL },
		/* Neighbours in a carton: 12 apart, not 13. */
		{ PLAN("12345600", "zone=5") LEARN("00", "zone=5 serial=12345612"),
		  "(devices of one carton", NULL },
		{ PLAN("12345600", "zone=5") LEARN("00", "zone=5 serial=12345613"),
		  "differs in digit 8 of 8; read the sticker again)", NULL },
		{ PLAN("12345678", "zone=5") LEARN("00", "zone=5 serial=12345687"),
		  "digits 7 and 8 of 8 swapped", NULL },
		/* Of two equally near the one of that zone. */
		{ PLAN("12345671", "zone=5") PLAN("12345672", "zone=6")
		  LEARN("00", "zone=6 serial=12345673"), "near miss of 12345672", NULL },
		/* A partner that has been learned is no partner: foreign, and the zone's plan told. */
		{ PLAN("12345671", "zone=5") PLAN("77777777", "zone=6")
		  LEARN("00", "zone=5 serial=12345671") LEARN("01", "zone=6 serial=12345672"),
		  "neither plan nor roster expects it; zone 6 was planned for 77777777",
		  "near miss of" },
		/* Planned and rostered: named as the plan writes it. */
		{ PLAN("1234-5671", "zone=5") "roster zone=5 serial=12345671 as_of=2026-09-05\n"
		  LEARN("00", "zone=5 serial=12345672"), "near miss of 1234-5671", NULL },
		/* Rostered and never seen: also a partner. */
		{ "roster zone=5 serial=12345671\n" LEARN("00", "zone=5 serial=12345672"),
		  "near miss of 12345671", NULL },
		{ "roster zone=5 serial=12345671\n2026-09-10 check-in zone=5 serial=12345671\n"
		  LEARN("00", "zone=5 serial=12345672"), "measure foreign 1", "near miss of" },
	};

	(void)state;
	run(row, COUNT(row));
}

static void
expected_or_not(void **state)
{
	static const struct one row[] = {
		/* Older and newer rosters: the newest before the session counts. */
		{ "roster zone=5 serial=4A0071 version=1 as_of=2026-08-01\n"
		  "roster zone=6 serial=77C0F2 version=2 as_of=2026-09-01\n"
		  LEARN("00", "zone=5 serial=4A0071"), "measure foreign 1", NULL },
		{ "roster zone=5 serial=4A0071 version=1 as_of=2026-10-01T08:59:59\n"
		  LEARN("00", "zone=5 serial=4A0071"), NULL, NULL },
		{ "roster zone=6 serial=77C0F2 version=1 as_of=2026-08-01\n"
		  "roster zone=5 serial=4A0071 version=2 as_of=2026-10-01T09:00:00\n"
		  LEARN("00", "zone=5 serial=4A0071"), "measure foreign 1", NULL },
		/* A plan of another visit expects it too, but its time is told. */
		{ PLAN("4A0071", "zone=5") "plan serial=4A0072 from=2026-11-01 to=2026-11-02\n"
		  LEARN("00", "zone=5 serial=4A0071") LEARN("01", "zone=6 serial=4A0072"),
		  NULL, NULL },
		/* Known elsewhere outranks "nothing to compare with"; a plan outranks it. */
		{ "elsewhere 4A0071 B2 3\n" LEARN("00", "zone=5 serial=4A0071"),
		  "known at account B2, zone 3", "measure unlisted" },
		{ "elsewhere 4A0071 B2 3\n" PLAN("4A0071", "zone=5")
		  LEARN("00", "zone=5 serial=4A0071"), NULL, NULL },
		/* A session before the first visit has no plan to compare with. */
		{ "plan serial=77C0F2 from=2026-10-01T21:00:01 to=2026-10-02\n"
		  LEARN("00", "zone=5 serial=4A0071"), "measure unlisted 1", NULL },
		{ "plan serial=77C0F2 from=2026-10-01T21:00:00 to=2026-10-02\n"
		  LEARN("00", "zone=5 serial=4A0071"), "measure foreign 1", NULL },
		/* No serial in the log: fine on a zone that plan or roster names. */
		{ PLAN("4A0071", "zone=5") LEARN("00", "zone=5"), NULL, NULL },
		{ "roster zone=5 serial=4A0071\n" LEARN("00", "zone=5"), NULL, NULL },
		{ "roster zone=5 serial=4A0071\n" LEARN("00", "zone=6"), "measure no_serial 1", NULL },
		{ LEARN("00", "zone=6"), "measure unlisted 1", NULL },
		{ "roster zone=5 serial=4A0071\n" LEARN("00", "zone=5 serial=1.2E+11"),
		  "the serial has lost its digits", NULL },
		/* One serial planned on two zones is one device. */
		{ PLAN("4A0071", "zone=5") PLAN("4A0071", "zone=6")
		  LEARN("00", "zone=5 serial=4A0071") LEARN("01", "zone=6 serial=4A0071"), NULL, NULL },
		{ PLAN("4A0071", "zone=5") PLAN("4A0071", "zone=6") PLAN("4A0072", "zone=7")
		  LEARN("00", "zone=7 serial=4A0072"), "measure missing 1", NULL },
		/* Each source alone must list both zones. */
		{ "roster zone=5 serial=4A0071\n" PLAN("4A0071", "zone=6")
		  LEARN("00", "zone=6 serial=4A0071"), "measure two_zones 1", NULL },
		/* Missing, but its reports show that the panel has it. */
		{ PLAN("4A0071", "zone=5") PLAN("4A0072", "zone=6")
		  LEARN("00", "zone=5 serial=4A0071") "2026-10-01T09:30:00 check-in serial=4A0072\n",
		  NULL, NULL },
		/* Taken out again and not learned anew: missing. */
		{ PLAN("4A0071", "zone=5") LEARN("00", "zone=5 serial=4A0071")
		  "2026-10-01T09:10:00 unlearn zone=5 serial=4A0071\n",
		  "learned and taken out again", "measure foreign" },
		/* An offer is no proof that the panel has it. */
		{ PLAN("4A0071", "zone=5") "2026-10-01T09:10:00 learn-heard serial=4A0071\n",
		  "heard at 2026-10-01 09:10 local and not accepted", NULL },
	};

	(void)state;
	run(row, COUNT(row));
}

static void
kinds(void **state)
{
	static const struct one row[] = {
		{ PLAN("4A0071", "zone=5 kind=motion") LEARN("00", "zone=5 serial=4A0071")
		  "2026-10-01T10:00:00 burglary-alarm zone=5 hint=contact\n", NULL, NULL },
		{ PLAN("4A0071", "zone=5 kind=co") LEARN("00", "zone=5 serial=4A0071")
		  "2026-10-01T10:00:00 gas-alarm zone=5 hint=gas\n", NULL, NULL },
		{ PLAN("4A0071", "zone=5 kind=keyfob") LEARN("00", "zone=5 serial=4A0071")
		  "2026-10-01T10:00:00 panic-alarm zone=5 hint=panic\n", NULL, NULL },
		{ PLAN("4A0071", "zone=5 kind=smoke") LEARN("00", "zone=5 serial=4A0071")
		  "2026-10-01T10:00:00 burglary-alarm zone=5 hint=contact\n",
		  "planned as smoke detector, shows as contact", NULL },
		/* Where the plan says no kind, or none of ours, there is nothing to differ from. */
		{ PLAN("4A0071", "zone=5") "roster zone=5 serial=4A0071 kind=motion as_of=2026-09-05\n"
		  LEARN("00", "zone=5 serial=4A0071"), NULL, NULL },
		{ PLAN("4A0071", "zone=5 kind=other")
		  "roster zone=5 serial=4A0071 kind=motion as_of=2026-09-05\n"
		  LEARN("00", "zone=5 serial=4A0071"), NULL, NULL },
		/* What the zone reported before belongs to the old device. */
		{ PLAN("4A0071", "zone=5 kind=contact") "2026-09-10 fire-alarm zone=5 hint=smoke\n"
		  LEARN("00", "zone=5 serial=4A0071"), NULL, NULL },
		/* A roster may be exact. */
		{ PLAN("4A0071", "zone=5 kind=contact") LEARN("00", "zone=5 serial=4A0071")
		  "roster zone=5 serial=4A0071 kind=motion as_of=2026-10-05\n",
		  "planned as contact, shows as motion detector", NULL },
	};

	(void)state;
	run(row, COUNT(row));
}

static void
verdicts(void **state)
{
	static const enum verdict want[] = { VERDICT_SECOND_TRY, VERDICT_REPLACEMENT,
		VERDICT_ROSTERED, VERDICT_WITHDRAWN, VERDICT_PLANNED, VERDICT_NEAR_MISS };
	struct sessions all;
	struct verdicts got;
	struct view v;

	(void)state;
	help_view(&v, HEAD PLAN("4A007100", "zone=1") PLAN("4A007211", "zone=2 replaces=4A999999")
	    PLAN("4A007422", "zone=5") PLAN("4A007533", "zone=6 kind=smoke")
	    "roster zone=3 serial=4A007355\n"
	    "2026-10-01T08:59:00 learn-refused serial=4A007100\n"
	    LEARN("00", "zone=1 serial=4A007100") LEARN("01", "zone=2 serial=4A007211")
	    LEARN("02", "zone=3 serial=4A007355") LEARN("03", "zone=4 serial=77777777")
	    "2026-10-01T09:04:00 unlearn zone=4 serial=77777777\n"
	    LEARN("05", "zone=5 serial=4A007422") LEARN("06", "zone=6 serial=4A007535"));
	sessions_find(&v, &all);
	verdicts_find(&v, &all, &got);
	assert_int_equal(all.n, 1);
	assert_int_equal(all.session[0].n_accepted, COUNT(want));
	for (size_t i = 0; i < COUNT(want); i++)
		if (got.session[0].item[i].verdict != want[i])
			fail_msg("%s: %s", all.session[0].accepted[i].serial,
			    got.session[0].item[i].text);
	assert_string_equal(got.session[0].item[1].old_serial, "4A999999");
	assert_true(got.session[0].item[5].life);
	assert_int_equal(got.visit[0].n_missing, 1);
	assert_true(got.visit[0].over);
	assert_true(got.visit[0].missing[0].life);
	assert_false(got.visit[0].unseen);
	for (int i = 0; i < VERDICT_COUNT; i++)
		assert_true(*verdict_text((enum verdict)i) != '\0');
	assert_true(verdict_is_fine(VERDICT_WITHDRAWN));
	assert_false(verdict_is_fine(VERDICT_NEAR_MISS));
	view_release(&v);
}

/* Of a planned device: which of its tries it was, and how the lists write it. */
static void
second_tries(void **state)
{
	static const struct { const char *rows; enum verdict want; const char *spelt; } row[] = {
		{ LEARN("00", "zone=5 serial=4A0071"), VERDICT_PLANNED, NULL },
		{ LEARN("00", "zone=5 serial=4A0071") LEARN("02", "zone=5 serial=4A0071"),
		  VERDICT_SECOND_TRY, NULL },
		{ LEARN("00", "zone=5 serial=4A0071") "2026-10-01T09:01:00 unlearn zone=5 serial=4A0071\n"
		  LEARN("02", "zone=6 serial=77C0F2") "2026-10-01T09:03:00 program-exit\n"
		  LEARN("04", "zone=5 serial=4A0071"), VERDICT_SECOND_TRY, NULL },
		{ LEARN("00", "zone=5 serial=4A0071") "2026-10-01T09:03:00 unlearn serial=4A0071\n"
		  "2026-10-01T09:04:00 learn-refused serial=4A0071\n", VERDICT_WITHDRAWN, NULL },
		{ LEARN("00", "zone=5 serial=4A0071") "2026-10-01T09:04:00 learn-refused serial=4A0071\n",
		  VERDICT_PLANNED, NULL },
		/* Refused or taken out at a visit before: that was another task. */
		{ "plan serial=77C0F2 from=2026-09-10T08:00 to=2026-09-10T12:00\n"
		  "2026-09-10T09:00:00 learn-refused serial=4A0071\n"
		  "2026-09-10T09:01:00 unlearn serial=4A0071\n"
		  LEARN("00", "zone=5 serial=4A0071"), VERDICT_PLANNED, NULL },
		/* A roster read out of the panel later does not make the plan's zeros right. */
		{ "roster zone=5 serial=004A0071 as_of=2026-10-05\n" LEARN("00", "zone=5 serial=004A0071"),
		  VERDICT_PLANNED, "4A0071" },
		{ "roster zone=5 serial=004A0071 as_of=2026-09-05\n" LEARN("00", "zone=5 serial=004A0071"),
		  VERDICT_PLANNED, NULL },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		struct arena a = { 0 };
		const struct session *s;
		const struct verdict_item *x;
		struct sessions all;
		struct verdicts got;
		struct view v;

		help_view(&v, arena_fmt(&a, HEAD PLAN("4A0071", "zone=5") "%s", row[i].rows));
		sessions_find(&v, &all);
		verdicts_find(&v, &all, &got);
		s = &all.session[all.n - 1];
		x = &got.session[all.n - 1].item[s->n_accepted - 1];
		if (x->verdict != row[i].want)
			fail_msg("%s\ngot %s", row[i].rows, verdict_text(x->verdict));
		assert_int_equal(!x->spelt, !row[i].spelt);
		if (x->spelt)
			assert_string_equal(x->spelt, row[i].spelt);
		view_release(&v);
		arena_release(&a);
	}
}

/* More strangers than can be compared at once: all are named foreign, quickly. */
static void
many(void **state)
{
	struct arena a = { 0 };
	size_t room = 1 << 18, n;
	char *text = arena_take(&a, room);
	const char *got;

	(void)state;
	n = (size_t)snprintf(text, room, HEAD);
	for (int i = 0; i < 600; i++)
		n += (size_t)snprintf(text + n, room - n, "plan serial=B%07d from=2026-10-01T08:00 "
		    "to=2026-10-01T12:00\n", i * 1117);
	for (int i = 0; i < 600; i++)
		n += (size_t)snprintf(text + n, room - n, "2026-10-01T09:%02d:%02d learn serial=C%07d\n",
		    i / 60, i % 60, i * 1117);
	got = help_judge(&a, text, "learn-mismatch");
	assert_non_null(strstr(got, "measure accepted 600"));
	assert_non_null(strstr(got, "measure near_misses 256"));
	assert_non_null(strstr(got, "measure foreign 344"));
	assert_non_null(strstr(got, "measure missing 600"));
	assert_non_null(strstr(got, "; and more)"));
	arena_release(&a);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(how_near),
		cmocka_unit_test(expected_or_not),
		cmocka_unit_test(kinds),
		cmocka_unit_test(verdicts),
		cmocka_unit_test(second_tries),
		cmocka_unit_test(many),
	};

	return cmocka_run_group_tests_name("learn_mismatch", tests, NULL, NULL);
}
