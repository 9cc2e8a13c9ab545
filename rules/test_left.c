/* test_left.c - a test that nobody ended: alarms may be taken for tests, or not passed on.
 *
 * "Life safety is on test" when the test is a fire test, or the account is on test and has
 * life-safety devices in that partition. A walk test is of the others. How long a test
 * explains an alarm is arming.h's; the default here is the same 4 h.
 */
#include "rules/care.h"
#include "rules/held.h"

extern const struct rule rule_test_left;

static const struct setting settings[] = {
	{ "age", 4, 0, 24, "h", "common practice, no source" },
	{ NULL, 0, 0, 0, NULL, NULL }
};

static void
report(struct held *h, const struct panel_holding *p)
{
	const struct event *ev = &h->v->event[p->holding.event];
	const struct point *pt = &h->v->point[ev->point];
	struct arena *a = &h->out->arena;
	bool life = p->what == COND_FIRE_TEST ||
	    (p->what == COND_ON_TEST && held_site_life(h->v, pt->area));
	struct finding *f = held_add(h, -1, arena_fmt(a, "panel:%s%s%s", word_text(ev->word),
	    *pt->partition_key ? ":" : "", pt->partition_key), &p->holding);

	f->level = life ? LEVEL_NOW : LEVEL_SOON;
	f->life = life;
	finding_summary(h->out, f, "No end in the log: %s%s%s %s%s.", condition_text(p->what),
	    *p->partition ? " in partition " : "", p->partition, held_since(h, &p->holding),
	    life ? ", life safety with it" : "");
	finding_check(h->out, f, "Ask those who monitor it whether it is still on test, and "
	    "whether anybody is at work there.");
	finding_check(h->out, f, "If nobody is: have the test ended at once, and an end in the "
	    "log. Alarms of this time may have been taken for tests: go through them.");
	if (life)
		finding_caution(h->out, f, "While it is on test an alarm may not be passed on: an "
		    "alarm in a test is real until the one who tests says that it was his.");
}

static void
judge(struct view *v, struct findings *out)
{
	struct held h = held_begin(v, out, &rule_test_left);

	for (size_t i = 0; i < h.state->n_open; i++) {
		const struct panel_holding *p = &h.state->open[i];

		if ((p->what == COND_WALK_TEST || p->what == COND_FIRE_TEST ||
		    p->what == COND_ON_TEST) && v->now - p->holding.since > held_limit_ms(&h, "age", -1))
			report(&h, p);
	}
}

const struct rule rule_test_left = {
	.id = "test-left",
	.title = "Test that nobody ended",
	.why = "What is on test is not passed on. A test that was forgotten leaves people without "
	    "help and looks like quiet.",
	.quiet_on = "Tests that ended, also by an end that names no partition; tests of up to 4 h.",
	.limits = "A station that ends a test by its own clock and writes no end keeps it on the "
	    "list: ask it.",
	.setting = settings,
	.judge = judge,
};
