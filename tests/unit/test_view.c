#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

#include "tests/unit/help_view.h"

#define LEN(a) (sizeof (a) / sizeof *(a))

/* The device of each event, told by its zone and serial: "5/4A0071 -/-". The panel is "-". */
static const char *
devices_of(struct view *v)
{
	const char *out = "";

	for (size_t i = 0; i < v->n_event; i++) {
		int32_t d = v->event[i].device;

		out = arena_fmt(&v->arena, "%s%s%s", out, i ? " " : "", d < 0 ? "-" :
		    arena_fmt(&v->arena, "%s/%s", v->device[d].zone_key,
		    v->device[d].serial_key));
	}
	return out;
}

/* Which device does each row belong to? */
static void
test_binding(void **state)
{
	static const struct {
		const char *what, *text, *want;
		size_t      devices;
	} cases[] = {
		{ "zone only", "2026-10-01T08:00:00Z zone-open zone=5\n", "5/", 1 },
		{ "zeros of a zone do not count",
		  "2026-10-01T08:00:00Z zone-open zone=005\n"
		  "2026-10-01T08:00:01Z zone-close zone=5\n", "5/ 5/", 1 },
		{ "zone 0, 000 and blank are the panel",
		  "2026-10-01T08:00:00Z trouble zone=0\n"
		  "2026-10-01T08:00:01Z trouble zone=000\n"
		  "2026-10-01T08:00:02Z trouble\n", "- - -", 0 },
		{ "a user number is no zone",
		  "2026-10-01T08:00:00Z disarm zone=5 marks=user\n"
		  "2026-10-01T08:00:01Z zone-open zone=5\n", "- 5/", 1 },
		{ "a module number is no zone, nor is its serial a device",
		  "2026-10-01T08:00:00Z module-loss zone=5 serial=AA01 marks=panel\n", "-", 0 },
		{ "a blank zone with a serial is a device",
		  "2026-10-01T08:00:00Z trouble serial=AA01 marks=panel\n", "/AA01", 1 },
		{ "before the first binding: to the first",
		  "2026-10-01T08:00:00Z zone-open zone=5\n"
		  "2026-10-02T08:00:00Z check-in zone=5 serial=AA01\n"
		  "2026-10-03T08:00:00Z zone-open zone=5\n", "5/AA01 5/AA01 5/AA01", 1 },
		{ "from a new serial on, the zone is the new device",
		  "2026-10-01T08:00:00Z check-in zone=5 serial=AA01\n"
		  "2026-10-02T08:00:00Z zone-open zone=5\n"
		  "2026-10-03T08:00:00Z check-in zone=5 serial=BB01\n"
		  "2026-10-04T08:00:00Z zone-open zone=5\n", "5/AA01 5/AA01 5/BB01 5/BB01", 2 },
		{ "serial alone, then learned to a zone",
		  "2026-10-01T08:00:00Z check-in serial=AA01\n"
		  "2026-10-02T08:00:00Z learn zone=6 serial=AA01\n"
		  "2026-10-03T08:00:00Z trip zone=6\n", "6/AA01 6/AA01 6/AA01", 1 },
		{ "leading zeros, dashes and case of a serial",
		  "2026-10-01T08:00:00Z check-in zone=5 serial=00-4a\n"
		  "2026-10-01T08:00:01Z check-in zone=5 serial=4A\n", "5/4A 5/4A", 1 },
		{ "a serial that a spreadsheet ate is none",
		  "2026-10-01T08:00:00Z check-in zone=5 serial=1.2E+11\n", "5/", 1 },
		{ "what the panel hears in learn mode binds nothing",
		  "2026-10-01T08:00:00Z check-in zone=5 serial=AA01\n"
		  "2026-10-02T08:00:00Z learn-heard zone=5 serial=CC01\n"
		  "2026-10-02T08:00:01Z learn-refused zone=5 serial=CC01\n"
		  "2026-10-02T08:00:02Z extra-device zone=5 serial=DD01\n"
		  "2026-10-03T08:00:00Z zone-open zone=5\n",
		  "5/AA01 /CC01 /CC01 /DD01 5/AA01", 3 },
		{ "unlearn with a zone, before any other row, tells whose zone it was",
		  "2026-10-01T08:00:00Z zone-open zone=5\n"
		  "2026-10-02T08:00:00Z unlearn zone=5 serial=AA01\n"
		  "2026-10-03T08:00:00Z learn zone=5 serial=BB01\n", "5/AA01 5/AA01 5/BB01", 2 },
		{ "a roster row binds from its date",
		  "roster zone=5 serial=AA01 as_of=2026-10-02\n"
		  "roster zone=5 serial=BB01 as_of=2026-10-04 version=2\n"
		  "2026-10-01T08:00:00Z zone-open zone=5\n"
		  "2026-10-03T08:00:00Z zone-open zone=5\n"
		  "2026-10-05T08:00:00Z zone-open zone=5\n", "5/AA01 5/AA01 5/BB01", 2 },
		{ "by its date, whichever list came first",
		  "roster zone=5 serial=BB01 as_of=2026-10-04\n"
		  "roster zone=5 serial=AA01 as_of=2026-10-02 version=2\n"
		  "2026-10-01T08:00:00Z zone-open zone=5\n"
		  "2026-10-03T08:00:00Z zone-open zone=5\n"
		  "2026-10-05T08:00:00Z zone-open zone=5\n", "5/AA01 5/AA01 5/BB01", 2 },
		{ "a roster row of the panel itself makes no device",
		  "roster zone=0 kind=panel name=\"hall\"\nroster zone=1 kind=contact\n"
		  "2026-10-01T08:00:00Z zone-open zone=1\n"
		  "2026-10-01T08:00:01Z trouble\n", "1/ -", 1 },
		{ "a blank partition is the only one that uses the zone",
		  "2026-10-01T08:00:00Z zone-open zone=5\n"
		  "2026-10-01T08:00:01Z zone-close zone=5 part=01\n", "5/ 5/", 1 },
		{ "two partitions with one number are two zones",
		  "2026-10-01T08:00:00Z zone-open zone=5 part=1\n"
		  "2026-10-01T08:00:01Z zone-open zone=5 part=2\n"
		  "2026-10-01T08:00:02Z zone-open zone=5\n", "5/ 5/ 5/", 3 },
		{ "the partition of a user number names no zone",
		  "2026-10-01T08:00:00Z disarm zone=5 part=2 marks=user\n"
		  "2026-10-01T08:00:01Z zone-open zone=5 part=1\n"
		  "2026-10-01T08:00:02Z zone-close zone=5\n", "- 5/ 5/", 1 },
		{ "one serial in two zones is one device",
		  "2026-10-01T08:00:00Z zone-open zone=5 serial=AA01\n"
		  "2026-10-01T08:00:01Z zone-open zone=6 serial=AA01\n"
		  "2026-10-01T08:00:02Z zone-close zone=5\n", "6/AA01 6/AA01 6/AA01", 1 },
	};

	(void)state;
	for (size_t i = 0; i < LEN(cases); i++) {
		struct view v;

		help_view(&v, cases[i].text);
		if (strcmp(devices_of(&v), cases[i].want) != 0 || v.n_device != cases[i].devices)
			fail_msg("%s: %s (%zu devices)", cases[i].what, devices_of(&v), v.n_device);
		view_release(&v);
	}
}

/* What the log says of the device that view_device_find() names. */
static const struct device *
device(const struct view *v, const char *zone, const char *serial)
{
	int32_t d = view_device_find(v, zone, serial, NO_TIME);

	assert_true(d >= 0);
	return &v->device[d];
}

static void
test_replaced(void **state)
{
	struct view v;

	(void)state;
	help_view(&v, "2026-10-01T08:00:00Z learn zone=5 serial=AA01\n"
	    "2026-10-02T08:00:00Z check-in zone=5 serial=BB01\n"
	    "2026-10-01T08:00:00Z learn zone=6 serial=CC01\n"
	    "2026-10-02T08:00:00Z unlearn zone=6 serial=CC01\n"
	    "2026-10-01T08:00:00Z learn zone=7 serial=DD01\n"
	    "2026-10-02T08:00:00Z unlearn serial=DD01\n"
	    "2026-10-03T08:00:00Z learn zone=7 serial=DD01\n");
	assert_int_equal(device(&v, "", "AA01")->learned, help_time("2026-10-01T08:00:00Z"));
	assert_int_equal(device(&v, "", "AA01")->unlearned, help_time("2026-10-02T08:00:00Z"));
	assert_int_equal(device(&v, "", "BB01")->unlearned, NO_TIME);
	assert_int_equal(device(&v, "", "CC01")->unlearned, help_time("2026-10-02T08:00:00Z"));
	assert_int_equal(device(&v, "", "DD01")->learned, help_time("2026-10-03T08:00:00Z"));
	assert_int_equal(device(&v, "", "DD01")->unlearned, NO_TIME);
	view_release(&v);

	/* Two serials that take turns on one zone number: none replaces the other. */
	help_view(&v, "2026-10-01T08:00:00Z check-in zone=5 serial=AA01\n"
	    "2026-10-02T08:00:00Z check-in zone=5 serial=BB01\n"
	    "2026-10-03T08:00:00Z check-in zone=5 serial=AA01\n");
	assert_int_equal(device(&v, "", "AA01")->unlearned, NO_TIME);
	assert_int_equal(device(&v, "", "BB01")->unlearned, NO_TIME);
	view_release(&v);

	/* Swapped back by a learn: now the other one is replaced. */
	help_view(&v, "2026-10-01T08:00:00Z check-in zone=5 serial=AA01\n"
	    "2026-10-02T08:00:00Z check-in zone=5 serial=BB01\n"
	    "2026-10-03T08:00:00Z learn zone=5 serial=AA01\n");
	assert_int_equal(device(&v, "", "AA01")->unlearned, NO_TIME);
	assert_int_equal(device(&v, "", "BB01")->unlearned, help_time("2026-10-03T08:00:00Z"));
	view_release(&v);

	/* Two rows of one roster for one zone replace nothing; a newer roster does. */
	help_view(&v, "roster zone=5 serial=AA01 as_of=2026-10-01\n"
	    "roster zone=5 serial=BB01 as_of=2026-10-01\n"
	    "roster zone=6 serial=CC01 as_of=2026-10-01\n"
	    "roster zone=6 serial=DD01 as_of=2026-10-09 version=2\n");
	assert_int_equal(device(&v, "", "AA01")->unlearned, NO_TIME);
	assert_int_equal(device(&v, "", "CC01")->unlearned, help_time("2026-10-09"));
	assert_false(device(&v, "", "AA01")->rostered);
	assert_true(device(&v, "", "DD01")->rostered);
	view_release(&v);

	/* Reported with its zone after it was unlearned: the panel holds it again. */
	help_view(&v, "2026-10-01T08:00:00Z learn zone=5 serial=AA01\n"
	    "2026-10-02T08:00:00Z unlearn zone=5 serial=AA01\n"
	    "2026-10-03T08:00:00Z supervision-loss zone=5 serial=AA01\n");
	assert_int_equal(device(&v, "", "AA01")->unlearned, NO_TIME);
	view_release(&v);
}

/* Kind and life safety: any source that says life safety wins. */
static void
test_kind_and_life(void **state)
{
	static const struct {
		const char *what, *text;
		enum kind   kind;
		bool        life, maybe;
	} cases[] = {
		{ "nothing known", "2026-10-01T08:00:00Z zone-open zone=5\n", KIND_UNKNOWN, false, true },
		{ "roster", "roster zone=5 kind=contact\n2026-10-01T08:00:00Z zone-open zone=5\n",
		  KIND_CONTACT, false, false },
		{ "roster of life", "roster zone=5 kind=panic\n", KIND_PANIC, true, false },
		{ "word", "2026-10-01T08:00:00Z co-alarm zone=5\n", KIND_CO, true, false },
		{ "fire word has no kind", "2026-10-01T08:00:00Z fire-alarm zone=5\n", KIND_UNKNOWN,
		  true, false },
		{ "hint", "2026-10-01T08:00:00Z trouble zone=5 hint=smoke\n", KIND_SMOKE, true, false },
		{ "hint of life before another",
		  "2026-10-01T08:00:00Z trip zone=5 hint=contact\n"
		  "2026-10-01T08:00:00Z trip zone=5 hint=gas\n", KIND_GAS, true, false },
		{ "roster against code", "roster zone=5 kind=contact\n"
		  "2026-10-01T08:00:00Z trouble zone=5 marks=life-code\n", KIND_CONTACT, true, false },
		{ "status report of a life code", "2026-10-01T08:00:00Z trouble zone=5 "
		  "marks=life-code,still\n", KIND_UNKNOWN, true, false },
		{ "older roster", "roster zone=5 serial=AA kind=smoke\n"
		  "roster zone=5 serial=AA kind=contact version=2\n"
		  "2026-10-01T08:00:00Z trip zone=5\n", KIND_CONTACT, true, false },
		{ "plan", "plan serial=AA kind=heat\n2026-10-01T08:00:00Z trip zone=5 serial=AA\n",
		  KIND_HEAT, true, false },
		{ "life safety stays with the zone",
		  "2026-10-01T08:00:00Z fire-alarm zone=5 serial=AA\n"
		  "2026-10-02T08:00:00Z trip zone=5 serial=BB\n", KIND_UNKNOWN, true, false },
		{ "the roster's place holds for a successor", "roster zone=5 serial=AA kind=smoke\n"
		  "2026-10-02T08:00:00Z trip zone=5 serial=BB\n", KIND_SMOKE, true, false },
		{ "a user's duress is not the zone's", "2026-10-02T08:00:00Z trip zone=5\n"
		  "2026-10-02T08:00:00Z duress-alarm zone=5 marks=user,life-code\n", KIND_UNKNOWN,
		  false, true },
		{ "other kind is a known kind", "roster zone=5 kind=other\n", KIND_DEVICE_OTHER, false,
		  false },
	};

	(void)state;
	for (size_t i = 0; i < LEN(cases); i++) {
		struct view v;
		const struct device *d;

		help_view(&v, cases[i].text);
		d = device(&v, "5", "");
		if (d->kind != cases[i].kind || d->life != cases[i].life ||
		    d->maybe_life != cases[i].maybe)
			fail_msg("%s: %s life %d maybe %d", cases[i].what, kind_text(d->kind), d->life,
			    d->maybe_life);
		view_release(&v);
	}
}

static void
test_texts_and_wireless(void **state)
{
	struct view v;
	const struct device *d;

	(void)state;
	help_view(&v,
	    "roster zone=5 serial=4A0071 kind=contact name=\"old name\" cell=CR2032 version=1\n"
	    "roster zone=5 serial=4A0071 kind=contact name=\"kitchen window\" cell=CR123A cells=2 "
	    "checkin=90m installed=2026-01-01 version=2\n"
	    "roster zone=6 kind=keypad version=2\n"
	    "2026-10-01T08:00:00Z zone-open zone=005 serial=4a-0071\n"
	    "2026-10-01T08:00:00Z zone-open zone=6\n"
	    "2026-10-01T08:00:00Z zone-open zone=7\n"
	    "2026-10-01T08:00:01Z supervision-loss zone=7\n");
	d = device(&v, "5", "");
	assert_string_equal(d->zone, "005");
	assert_string_equal(d->serial, "4a-0071");
	assert_string_equal(d->name, "kitchen window");
	assert_string_equal(d->cell, "CR123A");
	assert_int_equal(d->cells, 2);
	assert_int_equal(d->checkin, 90 * MINUTE);
	assert_int_equal(d->installed, help_time("2026-01-01"));
	assert_true(d->wireless);
	assert_false(device(&v, "6", "")->wireless);
	assert_true(device(&v, "7", "")->wireless);
	assert_string_equal(device_label(&v, view_device_find(&v, "5", "", NO_TIME)),
	    "zone 005 (kitchen window, contact, serial 4a-0071)");
	assert_string_equal(device_label(&v, view_device_find(&v, "6", "", NO_TIME)),
	    "zone 6 (keypad)");
	assert_string_equal(device_label(&v, -1), "the panel");
	assert_ptr_equal(v.point[v.event[0].point].zone_key, d->zone_key);
	view_release(&v);

	help_view(&v, "2026-10-01T08:00:00Z check-in serial=0012\n"
	    "2026-10-01T08:00:00Z check-in serial=12\n"
	    "2026-10-01T08:00:00Z zone-open zone=5 part=1\n"
	    "2026-10-01T08:00:00Z zone-open zone=5 part=2\n");
	assert_true(device(&v, "", "012")->leading_zeros);
	assert_string_equal(device_label(&v, view_device_find(&v, "", "12", NO_TIME)),
	    "serial 0012 (device of unknown kind)");
	assert_string_equal(device_label(&v, v.event[3].device),
	    "zone 5 of partition 2 (device of unknown kind)");
	assert_int_equal(view_device_find(&v, "5", "", NO_TIME), -1);
	assert_int_equal(v.n_area, 2);
	view_release(&v);
}

static void
test_find(void **state)
{
	struct view v;
	int32_t a, b;

	(void)state;
	help_view(&v, "2026-10-02T08:00:00Z check-in zone=5 serial=AA01\n"
	    "2026-10-04T08:00:00Z check-in zone=5 serial=BB01\n");
	a = view_device_find(&v, "", "aa-01", NO_TIME);
	b = view_device_find(&v, "", "BB01", NO_TIME);
	assert_true(a >= 0 && b >= 0 && a != b);
	assert_int_equal(view_device_find(&v, "05", "", NO_TIME), b);
	assert_int_equal(view_device_find(&v, "5", "", help_time("2026-10-01")), a);
	assert_int_equal(view_device_find(&v, "5", "", help_time("2026-10-04T07:59:59.999Z")), a);
	assert_int_equal(view_device_find(&v, "5", "", help_time("2026-10-04T08:00:00Z")), b);
	assert_int_equal(view_device_find(&v, "5", "CC01", NO_TIME), -1);
	assert_int_equal(view_device_find(&v, "6", "", NO_TIME), -1);
	assert_int_equal(view_device_find(&v, "", "", NO_TIME), -1);
	view_release(&v);
}

/* The marks that view_finish() sets, at their limits. */
static void
test_marks(void **state)
{
	static const struct {
		const char *first, *then;
		unsigned    want;	/* of MARK_BUFFERED and MARK_WRITTEN */
	} cases[] = {
		{ "08:00:00Z comm-restore", "08:09:59.999Z zone-open zone=5", MARK_BUFFERED },
		{ "08:00:00Z comm-restore", "08:10:00Z zone-open zone=5", MARK_BUFFERED },
		{ "08:00:00Z comm-restore", "08:10:00.001Z zone-open zone=5", 0 },
		{ "08:00:00Z comm-restore marks=still", "08:01:00Z zone-open zone=5", 0 },
		{ "08:00:00Z restart", "08:04:59.999Z zone-close zone=5", MARK_BUFFERED | MARK_WRITTEN },
		{ "08:00:00Z restart", "08:05:00Z zone-close zone=5", MARK_BUFFERED | MARK_WRITTEN },
		{ "08:00:00Z restart", "08:05:00.001Z zone-close zone=5", MARK_BUFFERED },
		{ "08:00:00Z disarm", "08:05:00Z supervision-restore zone=5", MARK_WRITTEN },
		{ "08:00:00Z disarm", "08:05:00.001Z supervision-restore zone=5", 0 },
		{ "08:00:00Z program-exit", "08:05:00Z clear zone=5", MARK_WRITTEN },
		{ "08:00:00Z arm", "08:05:00Z clear zone=5", 0 },
		{ "08:00:00Z disarm", "08:05:00Z zone-open zone=5", 0 },
		{ "08:00:00Z disarm", "07:59:59Z zone-close zone=5", 0 },
	};

	(void)state;
	for (size_t i = 0; i < LEN(cases); i++) {
		struct arena a = { 0 };
		struct view v;
		const struct event *ev;

		help_view(&v, arena_fmt(&a, "2026-10-01T%s\n2026-10-01T%s\n", cases[i].first,
		    cases[i].then));
		ev = &v.event[v.event[1].device >= 0];
		if ((ev->marks & (MARK_BUFFERED | MARK_WRITTEN)) != cases[i].want)
			fail_msg("%s, %s: marks %x", cases[i].first, cases[i].then, ev->marks);
		view_release(&v);
		arena_release(&a);
	}
}

static void
test_heard(void **state)
{
	struct view v;
	const struct device *d;

	(void)state;
	help_view(&v, "2026-10-01T08:00:00Z bypass zone=5\n"
	    "2026-10-01T09:00:00Z check-in zone=5\n"
	    "2026-10-01T10:00:00Z tamper zone=5\n"
	    "2026-10-01T11:00:00Z tamper-restore zone=5\n"
	    "2026-10-01T12:00:00Z supervision-loss zone=5\n"
	    "2026-10-01T13:00:00Z zone-open zone=5 marks=still\n"
	    "2026-10-01T14:00:00Z disarm\n"
	    "2026-10-01T14:04:00Z supervision-restore zone=5\n");
	d = device(&v, "5", "");
	assert_int_equal(d->first_heard, help_time("2026-10-01T09:00:00Z"));
	assert_int_equal(d->last_heard, help_time("2026-10-01T10:00:00Z"));
	assert_int_equal(d->n_event, 7);
	for (size_t i = 1; i < d->n_event; i++)
		assert_true(d->event[i] > d->event[i - 1]);
	view_release(&v);
}

static void
test_order_and_since(void **state)
{
	struct view v;

	(void)state;
	/* Newest first, two files mixed, equal instants: file first, then as given. */
	help_view(&v, "account A1 since=2026-10-01T08:00:01Z\n"
	    "2026-10-01T08:00:04Z zone-open zone=1\n"
	    "2026-10-01T08:00:03Z zone-open zone=2\n"
	    "2026-10-01T08:00:03Z zone-close zone=2\n"
	    "2026-10-01T08:00:03Z zone-open zone=3 file=0\n"
	    "2026-10-01T08:00:01Z zone-open zone=4\n"
	    "2026-10-01T08:00:00.999Z zone-open zone=5\n"
	    "2026-10-01T08:00:02Z zone-open zone=6\n");
	assert_string_equal(devices_of(&v), "4/ 6/ 3/ 2/ 2/ 1/");
	assert_int_equal(v.event[3].word, W_ZONE_OPEN);
	assert_int_equal(v.event[4].word, W_ZONE_CLOSE);
	view_release(&v);

	help_view(&v, "");
	assert_int_equal(v.n_device, 0);
	assert_false(view_covered(&v, 0, 1));
	view_release(&v);
}

static void
test_cover(void **state)
{
	static const struct {
		int64_t from, to, within;
		bool    covered;
	} cases[] = {
		{ 1000, 2000, 1000, true }, { 999, 2000, 1000, false }, { 1000, 2001, 1000, false },
		{ 2001, 2999, 0, false }, { 3000, 3000, 0, true }, { 1500, 3500, 1000, false },
		{ 0, 9000, 2000, false }, { 3999, 4001, 1, false }, { 4001, 5000, 0, false },
	};
	struct view v;
	struct interval cover[] = { { 1000, 2000 }, { 3000, 4000 } };

	(void)state;
	help_view(&v, "");
	v.cover = cover;
	v.n_cover = LEN(cover);
	for (size_t i = 0; i < LEN(cases); i++) {
		assert_int_equal(view_covered(&v, cases[i].from, cases[i].to), cases[i].covered);
		assert_int_equal(view_cover_within(&v, cases[i].from, cases[i].to), cases[i].within);
	}
	view_release(&v);
}

/* Hostile: thousands of points, partitions and serials on one zone, time turned round. */
static void
test_many(void **state)
{
	enum { N = 20000 };
	struct view v = { .account = "A1", .receiver = "", .line = "", .name = "", .group = "",
		.timezone = "", .since = NO_TIME, .n_point = N, .n_event = N };

	(void)state;
	v.point = arena_take(&v.arena, N * sizeof *v.point);
	v.event = arena_take(&v.arena, N * sizeof *v.event);
	for (uint32_t i = 0; i < N; i++) {
		v.point[i] = (struct point){ .zone = i % 2 ? "5" : arena_fmt(&v.arena, "%u", i + 1),
			.partition = arena_fmt(&v.arena, "%u", i % 5000),
			.serial = i % 3 ? arena_fmt(&v.arena, "%06X", i + 1) : "" };
		v.event[i] = (struct event){ .at = (N - i) * (int64_t)1000, .received = NO_TIME,
			.text = "", .user = "", .point = i, .word = W_TRIP };
	}
	view_finish(&v);
	assert_true(v.n_device <= 2 * N);
	assert_int_equal(v.n_area, 4999);	/* 0 is none */
	for (size_t i = 0; i < N; i++)
		assert_true(v.event[i].device >= 0 && (size_t)v.event[i].device < v.n_device);
	view_release(&v);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_binding),
		cmocka_unit_test(test_replaced),
		cmocka_unit_test(test_kind_and_life),
		cmocka_unit_test(test_texts_and_wireless),
		cmocka_unit_test(test_find),
		cmocka_unit_test(test_marks),
		cmocka_unit_test(test_heard),
		cmocka_unit_test(test_order_and_since),
		cmocka_unit_test(test_cover),
		cmocka_unit_test(test_many),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
