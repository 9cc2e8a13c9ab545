#include "rules/override.h"

#include <string.h>

static const struct setting nightly_setting[] = {
	{ "set_aside", 0.1, 0, 100, "%", "common practice, no source" },
	{ "expected", 22, 0, 23.99, "h", "common practice, no source" },
	{ 0 }
};

const struct rule override_nightly = {
	.id = "nightly",
	.title = "The nightly run: set_aside is the share of rows above which a person is asked "
	    "for, expected the hour of the machine's clock that exports must reach",
	.why = "Rows that were set aside, and exports that did not come, are no quiet night",
	.quiet_on = "nothing: a reason not seen before is told whatever the share",
	.limits = "whether an export that came is the one that was expected",
	.setting = nightly_setting,
};

/* A careful person keeps what may still be needed, and says so when it is not: all are 0,
 * for good, until somebody decides. */
static const struct setting kept_setting[] = {
	{ "events", 0, 0, 36500, "d", "ours: 0 = for good; at least the 400 days that rules see" },
	{ "set_aside", 0, 0, 36500, "d", "ours: 0 = for good; at least 30 days to mend them" },
	{ "done", 0, 0, 36500, "d", "ours: 0 = for good; at least 30 days, a backup may need them" },
	{ "failed", 0, 0, 36500, "d", "ours: 0 = for good; at least 30 days to mend them" },
	{ "backups", 0, 0, 36500, "d", "ours: 0 = as many as watch --keep says; at least 7 days" },
	{ "pages", 0, 0, 36500, "d", "ours: 0 = for good; at least 7 days" },
	{ 0 }
};

const struct rule override_kept = {
	.id = "kept",
	.title = "For how long each kind of copy is kept: events, rows set aside, files in done/ and "
	    "in failed/, backups, and what a night wrote",
	.why = "Exports hold personal habits; what nobody needs any more should not lie about",
	.quiet_on = "the last event of each kind at each place, the first that was heard of it, and "
	    "what an open finding cites: these stay",
	.limits = "copies that lie elsewhere",
	.setting = kept_setting,
};

/* In the order of kept_setting. */
static const struct { double least; const char *why; } kept_least[] = {
	{ VIEW_LOOK_BACK / DAY, "events are kept for 400 days or more, since every rule may look back "
	  "that far and must not miss what stands open; 0 keeps them for good" },
	{ 30, "rows set aside are kept for 30 days or more, so that somebody can mend them; 0 keeps "
	  "them for good" },
	{ 30, "files in done/ are kept for 30 days or more, since a backup is completed from them; 0 "
	  "keeps them for good" },
	{ 30, "files in failed/ are kept for 30 days or more, so that somebody can mend them; 0 keeps "
	  "them for good" },
	{ 7, "backups are kept for 7 days or more; 0 leaves it to watch --keep" },
	{ 7, "what a night wrote is kept for 7 days or more; 0 keeps it for good" },
};

static const struct rule *const of_the_store[] = { &override_nightly, &override_kept };

const struct rule *
override_of_the_store(size_t i)
{
	return i < sizeof of_the_store / sizeof *of_the_store ? of_the_store[i] : NULL;
}

const struct rule *
override_find(struct span id)
{
	for (size_t i = 0; i < sizeof of_the_store / sizeof *of_the_store; i++)
		if (span_eq_fold(id, span_of(of_the_store[i]->id)))
			return of_the_store[i];
	return NULL;
}

double
override_least(const struct setting *s)
{
	for (size_t i = 0; kept_setting[i].name; i++)
		if (s == &kept_setting[i])
			return kept_least[i].least;
	return s->min;
}

const struct setting *
override_setting(const struct rule *r, struct span name)
{
	const struct setting *s;

	for (s = r->setting; s->name && !span_eq_fold(name, span_of(s->name)); s++)
		;
	return s->name ? s : NULL;
}

bool
override_number(const struct setting *s, struct span text, double *out)
{
	int64_t ms;

	if (!setting_unit_ms(s) || !span_to_duration(text, &ms))
		return span_to_num(text, out);
	*out = (double)ms / (double)setting_unit_ms(s);
	return true;
}

const char *
override_read(struct span rule, struct span setting, struct span text, double *out)
{
	const struct rule *r = NULL;
	const struct setting *s;
	double v;

	for (size_t i = 0; i < rule_count; i++)
		if (span_eq_fold(rule, span_of(rule_table[i]->id)))
			r = rule_table[i];
	if (!r && !(r = override_find(rule)))
		return "no such rule";
	s = override_setting(r, setting);
	if (!s)
		return "no such setting of that rule";
	if (!override_number(s, text, &v))
		return "the value is not a number";
	if (v < s->min || v > s->max)
		return "the value is outside the setting's range";
	if (r == &override_kept && v != 0 && v < kept_least[s - kept_setting].least)
		return kept_least[s - kept_setting].why;
	*out = v;
	return NULL;
}

static bool
begins(struct span s, struct span with)
{
	return s.n > with.n && span_eq_fold((struct span){ s.p, with.n }, with);
}

const char *
override_scope(struct span rule, struct span scope)
{
	enum kind k;

	if (override_find(rule) && scope.n && !span_eq(scope, SPAN("*")))
		return "this setting holds for the whole store: its scope is *";
	if (scope.n == 0 || span_eq(scope, SPAN("*")) || begins(scope, SPAN("group=")) ||
	    begins(scope, SPAN("account=")))
		return NULL;
	if (begins(scope, SPAN("device="))) {
		struct span kind = { scope.p + 7, scope.n - 7 };

		return kind_find(kind, &k) ? NULL : "the scope names no device kind";
	}
	return "the scope is none of *, group=, device=, account=";
}

int
override_reach(struct span scope, const char *account, const char *group, enum kind *kind)
{
	*kind = KIND_UNKNOWN;
	if (begins(scope, SPAN("group=")))
		return span_eq_fold((struct span){ scope.p + 6, scope.n - 6 }, span_of(group)) ? 1 : -1;
	if (begins(scope, SPAN("device=")))
		return kind_find((struct span){ scope.p + 7, scope.n - 7 }, kind) ? 2 : -1;
	if (begins(scope, SPAN("account=")))
		return span_eq_fold((struct span){ scope.p + 8, scope.n - 8 }, span_of(account)) ? 3
		    : -1;
	return 0;
}

size_t
override_add(struct override *list, size_t n, const struct override *one)
{
	size_t at = n;

	for (; at > 0 && list[at - 1].narrow > one->narrow; at--)
		list[at] = list[at - 1];
	list[at] = *one;
	return n + 1;
}
