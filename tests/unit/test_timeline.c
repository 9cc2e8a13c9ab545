/* test_timeline.c - what of an account's days is drawn where; limits; nothing silent. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <string.h>

#include "daemon/report/timeline.h"
#include "tests/unit/help_view.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

static int32_t
two_hours_east(const void *zone, int64_t utc)
{
	(void)zone;
	(void)utc;
	return 7200;
}

static const struct text_zone utc = { .name = "UTC" };
static const struct text_zone east = { .name = "east", .offset = two_hours_east };

struct drawn {
	struct view     v;
	struct site     s;
	struct timeline t;
};

static void
draw(struct drawn *d, const char *log, const struct text_zone *zone)
{
	help_view(&d->v, log);
	site_build(&d->s, &d->v, NULL, 0);
	timeline_of(&d->s, zone, &d->t);
}

/* "full 8-17, across 24-48; marks 3, 5; counts 8x2 9x1" of a lane. */
static const char *
lane_text(struct arena *a, const struct timeline *t, const struct timeline_lane *l)
{
	static const char *const look[] = { "full", "half", "across", "upright", "frame" };
	const char *text = "";

	for (size_t i = 0; i < l->n_block; i++)
		text = arena_fmt(a, "%s%s%s %d-%d", text, i ? ", " : "", look[l->block[i].look],
		    l->block[i].from, l->block[i].to);
	for (size_t i = 0; i < l->n_mark; i++)
		text = arena_fmt(a, "%s%s %d", text, i ? "" : "; marks", l->mark[i]);
	for (int32_t h = 0; l->count && h < t->days * 24; h++)
		if (l->count[h])
			text = arena_fmt(a, "%s;%dx%d", text, h, l->count[h]);
	return text;
}

static const struct timeline_lane *
find(const struct timeline *t, enum timeline_what what, size_t nth)
{
	for (size_t i = 0; i < t->n_lane; i++)
		if (t->lane[i].what == what && nth-- == 0)
			return &t->lane[i];
	return NULL;
}

/* Ten days back from the end of cover on the 14th: the first column is the 1st. */
#define SITE "account A1\ncover 2026-10-01 2026-10-14T12:00\n"

static void
lanes(void **state)
{
	static const struct {
		const char *what, *log;
		enum timeline_what lane;
		const char *text;	/* NULL = there is none */
	} cases[] = {
		{ "armed at night", "2026-10-01T22:10:00 arm\n2026-10-02T06:50:00 disarm\n",
		  TIMELINE_ARMED, "full 22-31" },
		{ "people at home", "2026-10-01T22:10:00 arm-stay\n2026-10-02T06:50:00 disarm\n",
		  TIMELINE_ARMED, "half 22-31" },
		{ "armed still", "2026-10-13T22:00:00 arm\n", TIMELINE_ARMED, "full 310-325" },
		{ "still says nothing new", "2026-10-13T22:00:00 arm marks=still\n", TIMELINE_ARMED, "" },
		{ "mains", "2026-10-02T00:59:00 power-loss\n2026-10-02T01:00:00 power-restore\n",
		  TIMELINE_POWER, "full 24-26" },
		{ "the panel's battery", "2026-10-02T00:30:00 panel-battery-low\n"
		  "2026-10-02T00:40:00 panel-battery-restore\n", TIMELINE_POWER, "across 24-25" },
		{ "no power lost", "", TIMELINE_POWER, "" },
		{ "the line", "2026-10-01T05:00:00 comm-loss\n2026-10-01T07:00:00 comm-restore\n",
		  TIMELINE_LINE, "full 5-8" },
		{ "interference", "2026-10-01T05:00:00 jam\n2026-10-01T05:30:00 jam-clear\n",
		  TIMELINE_LINE, "upright 5-6" },
		{ "no line lost", "", TIMELINE_LINE, NULL },
		{ "a session", "2026-10-01T08:00:00 program-entry\n2026-10-01T08:20:00 program-exit\n",
		  TIMELINE_WORK, "full 8-9" },
		{ "a visit and what was done", "plan serial=4A0071 from=2026-10-02 to=2026-10-02T23:59\n"
		  "service 2026-10-02T09:30 what=\"cell changed\"\n", TIMELINE_WORK, "frame 24-48; marks 33" },
		{ "a test", "2026-10-01T08:00:00 on-test-begin\n2026-10-01T08:20:00 on-test-end\n",
		  TIMELINE_WORK, "upright 8-9" },
		{ "no work", "", TIMELINE_WORK, NULL },
		{ "restart and clock", "2026-10-01T08:00:00 restart\n2026-10-01T08:01:00 clock-set\n"
		  "2026-10-01T10:00:00 log-cleared\n", TIMELINE_PANEL, "; marks 8 10" },
		{ "a door", "2026-10-01T08:00:00 zone-open zone=5\n2026-10-01T08:00:10 zone-close zone=5\n"
		  "2026-10-01T08:59:59 zone-open zone=5\n2026-10-01T09:00:00 zone-close zone=5\n",
		  TIMELINE_DEVICE, ";8x2" },
		{ "an alarm", "2026-10-01T23:00:00 burglary-alarm zone=5\n", TIMELINE_DEVICE,
		  "; marks 23;23x1" },
		{ "low on cold nights", "2026-10-02T03:00:00 low-battery zone=5\n"
		  "2026-10-02T10:00:00 battery-restore zone=5\n2026-10-03T04:00:00 low-battery zone=5\n"
		  "2026-10-03T11:30:00 battery-restore zone=5\n", TIMELINE_DEVICE,
		  "across 27-35, across 52-60" },
		{ "lost and back", "2026-10-02T03:00:00 supervision-loss zone=5\n"
		  "2026-10-02T05:00:00 supervision-restore zone=5\n", TIMELINE_DEVICE, "full 27-30" },
		{ "times without end go to the end of cover", "2026-10-14T09:00:00 tamper zone=5\n",
		  TIMELINE_DEVICE, "upright 321-325" },
		{ "several losses of one hour are one block", "2026-10-02T03:00:00 supervision-loss zone=5\n"
		  "2026-10-02T03:05:00 supervision-restore zone=5\n2026-10-02T03:10:00 supervision-loss zone=5\n"
		  "2026-10-02T04:05:00 supervision-restore zone=5\n", TIMELINE_DEVICE, "full 27-29" },
		{ "a serial that was only heard", "2026-10-02T03:00:00 extra-device serial=9F0001\n",
		  TIMELINE_DEVICE, NULL },
		{ "a door that nobody opened", "2026-10-02T03:00:00 check-in zone=5\n", TIMELINE_DEVICE, NULL },
		{ "a panic button is not drawn", "roster zone=5 kind=panic\n"
		  "2026-10-02T03:00:00 panic-alarm zone=5\n", TIMELINE_DEVICE, NULL },
		{ "nor what sent a silent signal once", "2026-10-02T03:00:00 hold-up-alarm zone=5\n"
		  "2026-10-03T03:00:00 zone-open zone=5\n", TIMELINE_DEVICE, NULL },
		{ "nor duress given at the panel", "2026-10-02T03:00:00 duress-alarm user=3\n",
		  TIMELINE_PANEL, NULL },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct arena a = { 0 };
		struct drawn d;
		const struct timeline_lane *l;

		draw(&d, arena_fmt(&a, SITE "%s", cases[i].log), &utc);
		assert_int_equal(d.t.days, 14);
		l = find(&d.t, cases[i].lane, 0);
		if ((cases[i].text == NULL) != (l == NULL) ||
		    (l && strcmp(lane_text(&a, &d.t, l), cases[i].text) != 0))
			print_error("%s: %s\n", cases[i].what, l ? lane_text(&a, &d.t, l) : "no lane");
		assert_true((cases[i].text == NULL) == (l == NULL));
		if (l)
			assert_string_equal(lane_text(&a, &d.t, l), cases[i].text);
		view_release(&d.v);
		arena_release(&a);
	}
}

static void
numbers(void **state)
{
	struct drawn d;
	const struct timeline_lane *l;

	(void)state;
	draw(&d, SITE "2026-10-02T03:00:00 low-battery zone=5\n2026-10-02T10:00:00 battery-restore zone=5\n"
	    "2026-10-03T03:00:00 low-battery zone=5\n2026-10-03T10:00:00 battery-restore zone=5\n"
	    "2026-10-04T08:00:00 trip zone=5 times=3 every=60s\n2026-10-05T08:00:00 trip zone=5\n", &utc);
	l = find(&d.t, TIMELINE_DEVICE, 0);
	assert_int_equal(l->times[TIMELINE_ACROSS], 2);
	assert_true(l->night);
	assert_int_equal(l->sum, 4);
	assert_int_equal(l->most, 3 * 24 + 8);
	view_release(&d.v);
}

/* A receiver that died: they all begin in one place. */
static void
together(void **state)
{
	struct arena a = { 0 };
	struct drawn d;
	const struct timeline_lane *l;
	const char *log = SITE;

	(void)state;
	for (int i = 1; i <= 3; i++)
		log = arena_fmt(&a, "%s2026-10-12T10:0%d:00 supervision-loss zone=%d\n", log, i, i);
	log = arena_fmt(&a, "%s2026-10-12T12:00:00 supervision-restore zone=3\n", log);
	draw(&d, log, &utc);
	l = find(&d.t, TIMELINE_LOST, 0);
	assert_int_equal(l->sum, 3);
	assert_int_equal(l->count[11 * 24 + 9], 0);
	assert_int_equal(l->count[11 * 24 + 10], 3);
	assert_int_equal(l->count[11 * 24 + 12], 3);
	assert_int_equal(l->count[11 * 24 + 13], 2);
	assert_int_equal(l->count[13 * 24 + 12], 2);	/* the end of cover */
	assert_int_equal(l->count[13 * 24 + 13], 0);
	view_release(&d.v);
	arena_release(&a);
}

static void
clock_of_the_site(void **state)
{
	struct arena a = { 0 };
	struct drawn d;

	(void)state;
	/* 23:30 UTC is half past one of the next day there. */
	draw(&d, SITE "2026-10-01T23:30:00Z zone-open zone=5\n", &east);
	assert_int_equal(d.t.day, civil_days(2026, 10, 1));
	assert_string_equal(lane_text(&a, &d.t, find(&d.t, TIMELINE_DEVICE, 0)), ";25x1");
	view_release(&d.v);
	arena_release(&a);
}

static const char *
gaps_text(struct arena *a, const struct timeline *t)
{
	const char *text = "";

	for (size_t i = 0; i < t->n_gap; i++)
		text = arena_fmt(a, "%s%s%d-%d", text, i ? ", " : "", t->gap[i].from, t->gap[i].to);
	return text;
}

static void
gaps(void **state)
{
	static const struct { const char *cover, *text; int32_t days; } cases[] = {
		{ "cover 2026-10-01 2026-10-14T12:00\n", "325-336", 14 },
		{ "cover 2026-10-01T06:00 2026-10-14T12:00\n", "0-6, 325-336", 14 },
		{ "cover 2026-10-01 2026-10-03T05:59\ncover 2026-10-08T12:00 2026-10-14T12:00\n",
		  "54-180, 325-336", 14 },
		/* Two months and no more; less than two weeks stands in two weeks. */
		{ "cover 2026-08-14 2026-10-14T23:59\n", "", 62 },
		{ "cover 2026-08-13 2026-10-14T23:59\n", "", 62 },
		{ "cover 2026-10-14 2026-10-14T23:59\n", "0-312", 14 },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct arena a = { 0 };
		struct drawn d;

		draw(&d, arena_fmt(&a, "account A1\n%s", cases[i].cover), &utc);
		assert_string_equal(gaps_text(&a, &d.t), cases[i].text);
		assert_int_equal(d.t.days, cases[i].days);
		assert_int_equal(d.t.day + d.t.days - 1, civil_days(2026, 10, 14));
		assert_int_equal(d.t.earlier, i == 4);
		view_release(&d.v);
		arena_release(&a);
	}
}

static void
nothing_at_all(void **state)
{
	struct drawn d;

	(void)state;
	draw(&d, "account A1\n", &utc);
	assert_int_equal(d.t.n_gap, d.v.now == NO_TIME ? 0 : 1);
	view_release(&d.v);
}

/* What is drawn stays the same size whatever the site holds; life safety stays. */
static void
too_many(void **state)
{
	struct arena a = { 0 };
	struct drawn d;
	const char *log = "account A1\ncover 2025-09-01 2026-10-14\nroster zone=300 kind=smoke\n";
	size_t n = 0;
	bool smoke = false;

	(void)state;
	for (int i = 1; i < 300; i++)
		log = arena_fmt(&a, "%s2026-10-10T08:00:00 zone-open zone=%d times=%d every=600s\n", log, i,
		    i < 150 ? 2 : 1);
	log = arena_fmt(&a, "%s2026-10-10T08:00:00 tamper zone=300\n2025-10-01T08:00:00 zone-open zone=7\n",
	    log);
	draw(&d, log, &utc);
	assert_int_equal(d.t.days, TIMELINE_DAYS);
	assert_true(d.t.earlier);
	for (size_t i = 0; i < d.t.n_lane; i++) {
		n += d.t.lane[i].what == TIMELINE_DEVICE;
		smoke |= d.t.lane[i].device >= 0 && d.v.device[d.t.lane[i].device].life;
	}
	assert_int_equal(n, TIMELINE_DEVICES);
	assert_int_equal(d.t.left_out, 300 - TIMELINE_DEVICES);
	assert_true(smoke);
	view_release(&d.v);
	arena_release(&a);
}

static void
partitions(void **state)
{
	struct arena a = { 0 };
	struct drawn d;

	(void)state;
	draw(&d, SITE "2026-10-01T08:00:00 arm part=1\n2026-10-01T09:00:00 arm part=2\n"
	    "2026-10-01T10:30:00 disarm\n", &utc);
	assert_string_equal(find(&d.t, TIMELINE_ARMED, 0)->partition, "1");
	assert_string_equal(lane_text(&a, &d.t, find(&d.t, TIMELINE_ARMED, 0)), "full 8-11");
	assert_string_equal(lane_text(&a, &d.t, find(&d.t, TIMELINE_ARMED, 1)), "full 9-11");
	assert_false(d.t.more_partitions);
	view_release(&d.v);
	draw(&d, SITE "2026-10-01T08:00:00 arm part=1\n2026-10-01T08:00:00 arm part=2\n"
	    "2026-10-01T08:00:00 arm part=3\n2026-10-01T08:00:00 arm part=4\n"
	    "2026-10-01T08:00:00 arm part=5\n", &utc);
	assert_non_null(find(&d.t, TIMELINE_ARMED, 3));
	assert_null(find(&d.t, TIMELINE_ARMED, 4));
	assert_true(d.t.more_partitions);
	view_release(&d.v);
	draw(&d, SITE "2026-10-01T08:00:00 arm part=1\n2026-10-01T09:00:00 disarm\n", &utc);
	assert_string_equal(find(&d.t, TIMELINE_ARMED, 0)->partition, "");
	assert_string_equal(lane_text(&a, &d.t, find(&d.t, TIMELINE_ARMED, 0)), "full 8-10");
	assert_null(find(&d.t, TIMELINE_ARMED, 1));
	view_release(&d.v);
	arena_release(&a);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(lanes),
		cmocka_unit_test(numbers),
		cmocka_unit_test(together),
		cmocka_unit_test(clock_of_the_site),
		cmocka_unit_test(gaps),
		cmocka_unit_test(nothing_at_all),
		cmocka_unit_test(too_many),
		cmocka_unit_test(partitions),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
