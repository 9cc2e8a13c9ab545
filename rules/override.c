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
	if (span_eq_fold(rule, span_of(override_nightly.id)))
		r = &override_nightly;
	if (!r)
		return "no such rule";
	s = override_setting(r, setting);
	if (!s)
		return "no such setting of that rule";
	if (!override_number(s, text, &v))
		return "the value is not a number";
	if (v < s->min || v > s->max)
		return "the value is outside the setting's range";
	*out = v;
	return NULL;
}

static bool
begins(struct span s, struct span with)
{
	return s.n > with.n && span_eq_fold((struct span){ s.p, with.n }, with);
}

const char *
override_scope(struct span scope)
{
	enum kind k;

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
