/* No setting makes a finding on life safety disappear or stand lower: a story with one of
 * every rule that has such, judged with each setting of each rule at both ends of its
 * range, for all devices and for smoke detectors alone. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "tests/unit/help_view.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

/* The overrides go behind the line of each account: %s. */
static const char *const story[] = {
	/* Left on test, bypassed, in trouble, worn out, low, lost, tampered with. */
	"account A1\n%scover 2026-05-01 2026-10-20\n"
	"roster zone=1 serial=100001 kind=smoke cell=CR123A installed=2023-01-01\n"
	"roster zone=2 serial=100002 kind=smoke cell=CR123A installed=2023-01-01\n"
	"roster zone=3 serial=100003 kind=co cell=CR123A installed=2023-01-01\n"
	"roster zone=4 serial=100004 kind=smoke cell=CR123A installed=2023-01-01\n"
	"roster zone=5 serial=100005 kind=contact cell=CR123A installed=2023-01-01\n"
	"roster zone=6 serial=100006 kind=heat cell=CR123A installed=2023-01-01\n"
	"roster zone=7 serial=100007 cell=CR123A\n"
	"2026-10-05T10:00:00 low-battery zone=1\n2026-10-07T10:00:00 low-battery zone=2\n"
	"2026-10-08T10:00:00 low-battery zone=3\n2026-10-09T10:00:00 low-battery zone=4\n"
	"2026-10-09T12:00:00 low-battery zone=7\n"
	"2026-10-10T10:00:00 fire-alarm zone=1\n2026-10-10T10:01:00 alarm-restore zone=1\n"
	"2026-10-10T10:05:00 fire-alarm zone=1\n2026-10-10T10:06:00 alarm-restore zone=1\n"
	"2026-10-12T10:00:00 trouble zone=2\n2026-10-12T11:00:00 bypass zone=3\n"
	"2026-10-12T12:00:00 end-of-life zone=4\n2026-10-13T12:00:00 supervision-loss zone=6\n"
	"2026-10-14T12:00:00 tamper zone=4\n2026-10-14T12:05:00 tamper-restore zone=4\n"
	"2026-10-15T12:00:00 tamper zone=4\n2026-10-15T12:05:00 tamper-restore zone=4\n"
	"2026-10-16T12:00:00 tamper zone=4\n2026-10-16T12:05:00 tamper-restore zone=4\n"
	"2026-10-17T12:00:00 trip zone=2\n2026-10-18T09:00:00 fire-test-begin\n",
	/* A site whose radio fell silent, with a detector that is low and one that was lost
	 * again and again. */
	"account A2\n%scover 2026-09-01 2026-10-20\n"
	"roster zone=1 serial=200001 kind=smoke\nroster zone=2 serial=200002 kind=co\n"
	"roster zone=3 serial=200003 kind=contact\nroster zone=4 serial=200004 kind=smoke\n"
	"2026-10-10T00:00:00 check-in zone=1 every=1h until=2026-10-17T09:30\n"
	"2026-10-10T00:10:00 check-in zone=2 every=1h until=2026-10-17T09:30\n"
	"2026-10-10T00:20:00 check-in zone=3 every=1h until=2026-10-17T09:30\n"
	"2026-10-14T00:00:00 supervision-loss zone=4\n2026-10-14T00:50:00 supervision-restore zone=4\n"
	"2026-10-15T00:00:00 supervision-loss zone=4\n2026-10-15T00:50:00 supervision-restore zone=4\n"
	"2026-10-16T00:00:00 supervision-loss zone=4\n2026-10-16T00:50:00 supervision-restore zone=4\n"
	"2026-10-16T12:00:00 jam\n2026-10-16T12:20:00 jam-clear\n"
	"2026-10-16T22:00:00 jam\n2026-10-16T22:20:00 jam-clear\n"
	"2026-10-17T06:00:00 jam\n2026-10-17T06:20:00 jam-clear\n"
	"2026-10-19T17:00:00 disarm user=1\n2026-10-19T19:30:00 arm user=1\n",
	/* Lost as a whole and back three days ago. */
	"account A3\n%scover 2026-09-01 2026-10-20\n"
	"roster zone=1 serial=300001 kind=smoke\nroster zone=2 serial=300002 kind=contact\n"
	"2026-10-16T12:00:00 supervision-loss zone=1\n2026-10-16T12:10:00 supervision-loss zone=2\n"
	"2026-10-17T12:00:00 supervision-restore zone=1\n"
	"2026-10-17T12:10:00 supervision-restore zone=2\n",
	/* A smoke detector of the plan was not learned; another was learned, not heard since. */
	"account A4\n%scover 2026-09-01 2026-10-20\n"
	"roster zone=1 serial=400001 kind=contact\nroster zone=9 serial=400009 kind=smoke\n"
	"plan serial=400002 from=2026-10-10 to=2026-10-11 zone=2 kind=smoke\n"
	"plan serial=400003 from=2026-10-10 to=2026-10-11 zone=3 kind=smoke\n"
	"2026-10-10T09:00:00 program-entry\n2026-10-10T09:10:00 learn zone=3 serial=400003\n"
	"2026-10-10T09:20:00 program-exit\n"
	"2026-10-10T12:00:00 check-in zone=1 serial=400001 every=1h until=2026-10-20\n"
	"2026-10-15T12:00:00 extra-device serial=400009\n",
	/* A flood of alarms with a fire in it; mains away with the battery low. */
	"account A5\n%scover 2026-09-01 2026-10-20\n"
	"roster zone=1 serial=500001 kind=smoke\nroster zone=2 serial=500002 kind=contact\n"
	"roster zone=3 serial=500003 kind=motion\nroster zone=4 serial=500004 kind=contact\n"
	"2026-10-18T02:00:00 arm user=1\n2026-10-18T03:00:00 fire-alarm zone=1\n"
	"2026-10-18T03:00:20 burglary-alarm zone=2 times=4 every=60s\n"
	"2026-10-18T03:00:25 alarm-restore zone=2 times=4 every=60s\n"
	"2026-10-18T03:00:30 burglary-alarm zone=3 times=4 every=60s\n"
	"2026-10-18T03:00:35 alarm-restore zone=3 times=4 every=60s\n"
	"2026-10-18T03:00:40 burglary-alarm zone=4 times=4 every=60s\n"
	"2026-10-18T03:00:45 alarm-restore zone=4 times=4 every=60s\n"
	"2026-10-19T03:00:00 power-loss zone=1\n2026-10-19T09:00:00 power-loss\n"
	"2026-10-19T14:00:00 panel-battery-low\n",
	/* A batch of cells in smoke detectors: one at each of six sites. */
	"account B1\n%scover 2026-05-01 2026-10-20\nroster zone=1 kind=smoke cell=CR2\n"
	"2026-10-01T03:00:00 low-battery zone=1\n",
	"account B2\n%scover 2026-05-01 2026-10-20\nroster zone=1 kind=smoke cell=CR2\n"
	"2026-10-02T03:00:00 low-battery zone=1\n",
	"account B3\n%scover 2026-05-01 2026-10-20\nroster zone=1 kind=smoke cell=CR2\n"
	"2026-10-03T03:00:00 low-battery zone=1\n",
	"account B4\n%scover 2026-05-01 2026-10-20\nroster zone=1 kind=smoke cell=CR2\n"
	"2026-10-04T03:00:00 low-battery zone=1\n",
	"account B5\n%scover 2026-05-01 2026-10-20\nroster zone=1 kind=smoke cell=CR2\n"
	"2026-10-05T03:00:00 low-battery zone=1\n",
	"account B6\n%scover 2026-05-01 2026-10-20\nroster zone=1 kind=smoke cell=CR2\n"
	"2026-10-06T03:00:00 low-battery zone=1\n",
};

/* The rules of which the story must have a finding on life safety; else the test is blind. */
static const char *const must_have[] = {
	"life-alarm", "supervision-loss", "battery-cluster", "learn-mismatch", "low-battery",
	"trouble-left", "bypass-left", "test-left", "tamper-repeat", "end-of-life", "extra-device",
	"alarm-flood", "jam", "power-loss",
};

enum { MOST = 256 };

struct told {
	char rule[32], level[8], account[16], subject[64];
	bool life, open;
};

static size_t
judged(const char *override, struct told told[MOST])
{
	struct arena a = { 0 };
	const char *text = "", *p;
	size_t n = 0;

	for (size_t i = 0; i < COUNT(story); i++) {
		const char *mark = strstr(story[i], "%s");

		text = arena_fmt(&a, "%s%.*s%s%s", text, (int)(mark - story[i]), story[i], override,
		    mark + 2);
	}
	p = help_judge(&a, text, NULL);
	for (; *p; p += strcspn(p, "\n"), p += *p == '\n') {
		char what[512], life[8], open[32];
		const char *after;
		struct told *t = &told[n];

		if (*p == ' ')
			continue;
		assert_true(n < MOST);
		/* The bracket of the device may hold blanks. */
		assert_int_equal(sscanf(p, "%31s %7s %15s %63s", t->rule, t->level, t->account,
		    t->subject), 4);
		after = strchr(p, ']');
		assert_non_null(after);
		assert_int_equal(sscanf(after + 1, "%511s %*s %*s %7s %31s", what, life, open), 3);
		t->life = strcmp(life, "life") == 0;
		t->open = strcmp(open, "open") == 0;
		n++;
	}
	arena_release(&a);
	return n;
}

static int
rank(const char *level)
{
	return strcmp(level, "now") == 0 ? 0 : strcmp(level, "soon") == 0 ? 1 : 2;
}

static bool
same(const struct told *a, const struct told *b)
{
	return strcmp(a->rule, b->rule) == 0 && strcmp(a->account, b->account) == 0 &&
	    strcmp(a->subject, b->subject) == 0;
}

/* How many of the findings on life safety are gone or stand lower. */
static int
lost(const char *override, const struct told *usual, size_t n_usual)
{
	struct told *now = calloc(MOST, sizeof *now);
	size_t n = judged(override, now);
	int faults = 0;

	for (size_t i = 0; i < n_usual; i++) {
		bool there = !usual[i].life;

		for (size_t k = 0; k < n && !there; k++)
			there = same(&usual[i], &now[k]) && rank(now[k].level) <= rank(usual[i].level) &&
			    (now[k].open || !usual[i].open);
		if (!there)
			print_error("with %s: %s %s %s (%s) is gone or lower\n", override, usual[i].rule,
			    usual[i].account, usual[i].subject, usual[i].level);
		faults += !there;
	}
	free(now);
	return faults;
}

static void
every_setting_at_both_ends(void **state)
{
	struct told *usual = calloc(MOST, sizeof *usual);
	size_t n;
	int faults = 0, walked = 0;

	(void)state;
	assert_non_null(usual);
	n = judged("", usual);
	for (size_t i = 0; i < COUNT(must_have); i++) {
		bool there = false;

		for (size_t k = 0; k < n; k++)
			there |= usual[k].life && strcmp(usual[k].rule, must_have[i]) == 0;
		if (!there)
			fail_msg("the story has no life-safety finding of %s", must_have[i]);
	}
	for (size_t i = 0; i < rule_count; i++)
		for (const struct setting *s = rule_table[i]->setting; s && s->name; s++)
			for (int end = 0; end < 2; end++)
				for (int kind = 0; kind < 2; kind++, walked++) {
					char text[160];

					snprintf(text, sizeof text, "setting %s.%s=%.7f%s\n",
					    rule_table[i]->id, s->name, end ? s->max : s->min,
					    kind ? " kind=smoke" : "");
					faults += lost(text, usual, n);
				}
	print_message("%zu findings, %d overrides\n", n, walked);
	assert_true(walked > 400);
	assert_int_equal(faults, 0);
	free(usual);
}

/* All settings of a rule at once at one end. */
static void
whole_rules_at_an_end(void **state)
{
	struct told *usual = calloc(MOST, sizeof *usual);
	size_t n = judged("", usual);
	int faults = 0;

	(void)state;
	for (size_t i = 0; i < rule_count; i++)
		for (int end = 0; end < 2; end++) {
			struct arena a = { 0 };
			const char *text = "";

			for (const struct setting *s = rule_table[i]->setting; s && s->name; s++)
				text = arena_fmt(&a, "%ssetting %s.%s=%.7f\n", text, rule_table[i]->id,
				    s->name, end ? s->max : s->min);
			faults += lost(text, usual, n);
			arena_release(&a);
		}
	assert_int_equal(faults, 0);
	free(usual);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(every_setting_at_both_ends),
		cmocka_unit_test(whole_rules_at_an_end),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
