/* What was done on a device, and the same counts before and after it. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "rules/repair.h"
#include "tests/unit/help_view.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

static const char log_text[] =
    "account A1\n"
    "cover 2026-09-01 2026-10-25\n"
    "now 2026-10-25T00:00:00Z\n"
    "service 2026-09-20T09:00:00Z what=earlier zone=3\n"
    "service 2026-10-05T09:00:00Z what=cell zone=3 who=Lind\n"
    "service 2026-10-06T09:00:00Z what=other zone=4\n"
    "service 2026-10-07T09:00:00Z what=inspection\n"
    "service 2026-10-09T09:00:00Z what=nowhere zone=77\n"
    "2026-09-10T08:00:00Z learn zone=3 serial=AA01\n"
    "2026-09-10T09:00:00Z zone-open zone=4 serial=CC01\n"
    "2026-09-10T09:00:09Z zone-close zone=4 serial=CC01\n"
    "2026-10-01T08:00:00Z zone-open zone=3 serial=AA01 times=5 every=60s\n"
    "2026-10-01T08:00:05Z zone-close zone=3 serial=AA01 times=5 every=60s\n"
    "2026-10-08T10:00:00Z low-battery zone=3 serial=AA01\n"
    "2026-10-12T08:00:00Z unlearn zone=3 serial=AA01\n"
    "2026-10-12T08:01:00Z learn zone=3 serial=BB01\n"
    "2026-10-13T08:00:00Z burglary-alarm zone=3 serial=BB01\n"
    "2026-10-13T08:00:05Z alarm-restore zone=3 serial=BB01\n";

/* "what before/after" of each: activations, alarms and low cells. */
static const char *
told(struct arena *a, const struct view *v, int32_t device, const char *from)
{
	struct losses l;
	struct repair *r;
	const char *out = "";
	size_t n;

	losses_find(v, a, &l);
	n = repairs_of(v, &l, device, help_time(from), a, &r);
	for (size_t i = 0; i < n; i++)
		out = arena_fmt(a, "%s%s %lld,%lld,%lld/%lld,%lld,%lld\n", out, r[i].row->what,
		    (long long)r[i].before.activations, (long long)r[i].before.alarms,
		    (long long)r[i].before.low, (long long)r[i].after.activations,
		    (long long)r[i].after.alarms, (long long)r[i].after.low);
	return out;
}

static void
work(void **state)
{
	static const struct {
		const char *zone, *serial, *from, *told;
	} cases[] = {
		/* The zone's counts go on over the change of serial; the site's are of all. */
		{ "3", "BB01", "2026-10-05T09:00:00Z", "cell 5,0,0/1,1,1\ninspection 5,0,0/1,1,1\n"
		  "by the log, BB01 took the place of AA01 5,0,1/1,1,0\n" },
		{ "3", "AA01", "2026-10-05T09:00:01Z", "inspection 5,0,0/1,1,1\n"
		  "by the log, BB01 took the place of AA01 5,0,1/1,1,0\n" },
		{ "4", "CC01", "2026-10-05T09:00:00Z", "other 0,0,0/0,0,0\ninspection 5,0,0/1,1,1\n" },
		{ "", "", "2026-09-01T00:00:00Z", "inspection 5,0,0/1,1,1\n" },
		{ "3", "BB01", "2026-10-12T08:01:01Z", "" },
	};
	struct arena a = { 0 };
	struct view v;

	(void)state;
	help_view(&v, log_text);
	for (size_t i = 0; i < COUNT(cases); i++) {
		int32_t d = *cases[i].zone ? view_device_find(&v, cases[i].zone, cases[i].serial,
		    NO_TIME) : -1;

		assert_string_equal(told(&a, &v, d, cases[i].from), cases[i].told);
	}
	view_release(&v);
	arena_release(&a);
}

int
main(void)
{
	const struct CMUnitTest tests[] = { cmocka_unit_test(work) };

	return cmocka_run_group_tests(tests, NULL, NULL);
}
