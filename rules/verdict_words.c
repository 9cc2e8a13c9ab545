#include "rules/verdict_words.h"

#include "rules/rule.h"

extern const struct rule rule_learn_mismatch;

static const struct {
	bool        fine;
	const char *text;
} verdict_table[VERDICT_COUNT] = {
#define X(id, fine, text) { fine, text },
	VERDICT_LIST(X)
#undef X
};

const char *
verdict_text(enum verdict x)
{
	return verdict_table[x].text;
}

bool
verdict_is_fine(enum verdict x)
{
	return verdict_table[x].fine;
}

bool
verdict_item_is_fine(const struct verdict_item *x)
{
	return verdict_is_fine(x->verdict) && !x->other_zone && !x->planned_zone
	    && x->seen_kind == KIND_UNKNOWN;
}

static const char *
local_time(struct arena *a, const struct view *v, uint32_t event)
{
	char text[CIVIL_TEXT];
	const struct event *ev = &v->event[event];

	return arena_fmt(a, "%s local", civil_short(ev->at + ev->offset * SECOND, text));
}

/* Adds a remark behind what is there. */
static void
remark(struct arena *a, const char **text, const char *more)
{
	*text = **text ? arena_fmt(a, "%s; %s", *text, more) : more;
}

const char *
verdict_item_text(struct view *v, const struct session_item *it, const struct verdict_item *x)
{
	struct arena *a = &v->arena;
	long carton = (long)setting_value(v, &rule_learn_mismatch, "carton", -1);
	const char *text = "";

	switch (x->verdict) {
	case VERDICT_NEAR_MISS:
		text = arena_fmt(a, "near miss of %s: %s; read the sticker again%s", x->wanted,
		    x->difference, x->apart > 0 && x->apart <= carton
		    ? " (devices of one carton have consecutive serials)" : "");
		break;
	case VERDICT_ELSEWHERE:
	case VERDICT_FOREIGN:
		text = "neither plan nor roster expects it";
		break;
	case VERDICT_REPLACED:
	case VERDICT_REPLACEMENT:
		text = arena_fmt(a, "%s (old serial %s)", verdict_text(x->verdict), x->old_serial);
		break;
	case VERDICT_NO_SERIAL:
		text = it->unreadable ? "the serial has lost its digits on the way: compare the sticker"
		    : "the log names no serial: compare the sticker";
		break;
	default:
		if (verdict_item_is_fine(x))
			text = verdict_text(x->verdict);
		break;
	}
	if (x->elsewhere)
		remark(a, &text, arena_fmt(a, "known at account %s%s%s", x->elsewhere->account,
		    *x->elsewhere->zone ? ", zone " : "", x->elsewhere->zone));
	if (x->other_zone)
		remark(a, &text, arena_fmt(a, "also on zone %s, and neither plan nor roster lists both",
		    x->other_zone));
	if (x->planned_zone && x->wanted)
		remark(a, &text, arena_fmt(a, "zone %s was planned for %s", x->planned_zone, x->wanted));
	else if (x->planned_zone)
		remark(a, &text, arena_fmt(a, "planned for zone %s", x->planned_zone));
	if (x->seen_kind != KIND_UNKNOWN)
		remark(a, &text, arena_fmt(a, "planned as %s, shows as %s", kind_heading(x->planned_kind),
		    kind_heading(x->seen_kind)));
	if (x->spelt)
		remark(a, &text, arena_fmt(a, "listed as %s: the leading zeros differ", x->spelt));
	if (!verdict_is_fine(x->verdict)) {
		if (x->past)
			remark(a, &text, arena_fmt(a, "it was here before: %s", x->past));
		if (x->quick >= 0)
			remark(a, &text, arena_fmt(a, "accepted %lld s after it was heard, faster than a "
			    "sticker is read", (long long)(x->quick / SECOND)));
		if (x->mute)
			remark(a, &text, "not heard since");
	}
	return arena_fmt(a, "%s%s%s%s%s", *it->key || it->unreadable ? it->serial : "no serial",
	    *it->zone ? " on zone " : "", it->zone, *text ? ": " : "", text);
}

const char *
verdict_missing_how(struct view *v, const struct sessions *all, int32_t visit, const char *key)
{
	struct arena *a = &v->arena;
	const char *how = "not heard";

	for (size_t i = 0; i < all->n; i++) {
		const struct session *s = &all->session[i];
		const struct session_item *it;

		if (s->visit != visit)
			continue;
		if (session_item_find(s->accepted, s->n_accepted, key))
			how = "learned and taken out again";
		else if ((it = session_item_find(s->refused, s->n_refused, key)) != NULL)
			how = arena_fmt(a, "heard and refused at %s", local_time(a, v, it->event));
		else if ((it = session_item_find(s->heard, s->n_heard, key)) != NULL)
			how = arena_fmt(a, "heard at %s and not accepted",
			    local_time(a, v, it->event));
	}
	return how;
}
