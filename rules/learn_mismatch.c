#include <string.h>

#include "daemon/base/serial.h"
#include "rules/care.h"
#include "rules/match.h"
#include "rules/rule.h"
#include "rules/session.h"
#include "rules/verdict.h"

extern const struct rule rule_learn_mismatch;

static const struct setting settings[] = {
	{ "gap", 30, 1, 1440, "min", "common practice, no source" },
	{ "open", 12, 0.5, 240, "h", "common practice, no source" },
	{ "closed", 4, 0, 240, "h", "common practice, no source" },
	{ "near", 12, 0, 240, "h", "common practice, no source" },
	{ "lookback", 90, 1, 3650, "d", "common practice, no source" },
	{ "edits", 2, 1, 8, "", "one mistake under optimal string alignment covers about 89 % "
	    "of mistakes that keep the length (shares after J. Verhoeff 1969); two: common "
	    "practice, no source" },
	{ "digits_per_edit", 4, 1, 64, "", "common practice, no source" },
	{ "carton", 12, 0, 1000, "serials", "common practice, no source" },
	{ "read", 4, 0, 60, "s", "common practice, no source: to find a serial on a sticker and "
	    "compare eight characters takes longer" },
	{ NULL, 0, 0, 0, NULL, NULL },
};

/* The sorts of fault, worst first. */
enum fault {
	FAULT_FOREIGN, FAULT_NEAR, FAULT_MISSING_LIFE, FAULT_TWO_ZONES, FAULT_KIND, FAULT_ZONE,
	FAULT_MISSING, FAULT_REPLACED, FAULT_NO_SERIAL, FAULT_OPEN, FAULT_OUTSIDE, FAULT_UNLISTED,
	FAULT_COUNT
};

static const struct {
	enum level  level;
	const char *one, *many, *measure;
} fault_table[FAULT_COUNT] = {
	[FAULT_FOREIGN] = { LEVEL_NOW, "foreign serial was accepted",
	    "foreign serials were accepted", "foreign" },
	[FAULT_NEAR] = { LEVEL_NOW, "accepted serial is a near miss of an expected one",
	    "accepted serials are near misses of expected ones", "near_misses" },
	[FAULT_MISSING_LIFE] = { LEVEL_NOW, "planned life-safety device was not learned",
	    "planned life-safety devices were not learned", "missing_life" },
	[FAULT_TWO_ZONES] = { LEVEL_SOON, "serial is in two zones", "serials are in two zones",
	    "two_zones" },
	[FAULT_KIND] = { LEVEL_SOON, "device is of another kind than planned",
	    "devices are of another kind than planned", "other_kind" },
	[FAULT_ZONE] = { LEVEL_SOON, "device is on another zone than planned",
	    "devices are on another zone than planned", "other_zone" },
	[FAULT_MISSING] = { LEVEL_SOON, "planned device was not learned",
	    "planned devices were not learned", "missing" },
	[FAULT_REPLACED] = { LEVEL_SOON, "device was replaced without a plan",
	    "devices were replaced without a plan", "replaced" },
	[FAULT_NO_SERIAL] = { LEVEL_SOON, "device was learned without a serial in the log",
	    "devices were learned without a serial in the log", "no_serial" },
	[FAULT_OPEN] = { LEVEL_SOON, "session was never closed", "sessions were never closed",
	    "not_closed" },
	[FAULT_OUTSIDE] = { LEVEL_SOON, "session lies outside every planned visit",
	    "sessions lie outside every planned visit", "outside_plan" },
	[FAULT_UNLISTED] = { LEVEL_LATER, "device has no plan or older roster to compare it with",
	    "devices have no plan or older roster to compare them with", "unlisted" },
};

enum { NAMED = 3 };	/* of each sort, so many are named in the summary */

/* What is wrong with one session, while it is gathered. */
struct tally {
	struct view     *v;
	struct findings *out;
	struct finding  *f;
	const struct rule *rule;
	const char  *subject;
	int64_t      onset, last;
	long         count[FAULT_COUNT];
	const char  *named[FAULT_COUNT];
	int64_t      resolved;		/* latest; meaningless while `standing` */
	bool         standing;		/* something is still as it was */
	int32_t      device;		/* the only one concerned; -1 = the log has none of it */
	int          devices;
	bool         maybe_life;
};

static void
fault_add(struct tally *t, enum fault which, const char *text, int64_t resolved)
{
	struct arena *a = &t->out->arena;

	if (!t->f) {
		t->f = finding_add(t->out, t->v, t->rule, -1, t->subject);
		t->f->onset = t->onset;
		t->f->last = t->last;
	}
	t->count[which]++;
	t->f->count++;
	if (fault_table[which].level < t->f->level)
		t->f->level = fault_table[which].level;
	if (text && t->count[which] <= NAMED)
		t->named[which] = t->named[which]
		    ? arena_fmt(a, "%s; %s", t->named[which], text) : arena_text(a, span_of(text));
	else if (text && t->count[which] == NAMED + 1)
		t->named[which] = arena_fmt(a, "%s; and more", t->named[which]);
	if (resolved == NO_TIME)
		t->standing = true;
	else if (resolved > t->resolved)
		t->resolved = resolved;
}

static void
concerns(struct tally *t, int32_t device, bool life, bool maybe_life)
{
	t->f->life |= life;
	t->maybe_life |= maybe_life;
	t->device = t->devices++ == 0 || t->device == device ? device : -1;
}

static void
judge_accepted(struct tally *t, const struct session *s, const struct session_verdict *sv)
{
	static const enum fault of[VERDICT_COUNT] = {
		[VERDICT_NEAR_MISS] = FAULT_NEAR, [VERDICT_ELSEWHERE] = FAULT_FOREIGN,
		[VERDICT_FOREIGN] = FAULT_FOREIGN, [VERDICT_REPLACED] = FAULT_REPLACED,
		[VERDICT_NO_SERIAL] = FAULT_NO_SERIAL, [VERDICT_UNLISTED] = FAULT_UNLISTED,
	};

	for (size_t i = 0; i < s->n_accepted; i++) {
		const struct session_item *it = &s->accepted[i];
		const struct verdict_item *x = &sv->item[i];
		long before = t->f ? t->f->count : 0;

		if (!verdict_is_fine(x->verdict))
			fault_add(t, of[x->verdict], x->text, x->resolved);
		else if (x->planned_zone)
			fault_add(t, FAULT_ZONE, x->text, x->resolved);
		if (x->other_zone)
			fault_add(t, FAULT_TWO_ZONES, x->text, x->resolved);
		if (x->seen_kind != KIND_UNKNOWN)
			fault_add(t, FAULT_KIND, x->text, x->resolved);
		if (!t->f || t->f->count == before)
			continue;
		concerns(t, it->device, x->life, x->maybe_life);
		finding_evidence(t->out, t->f, it->event);
	}
}

/* The first sign after the session that the panel is no longer being programmed: its exit,
 * or arming, which panels refuse while they are programmed (common practice, no source). */
static int64_t
closed_later(const struct view *v, const struct session *s)
{
	for (size_t i = s->past; i < v->n_event; i++) {
		const struct event *ev = &v->event[i];

		if (!(ev->marks & MARK_STILL) && (ev->word == W_PROGRAM_EXIT || ev->word == W_ARM
		    || ev->word == W_ARM_STAY))
			return ev->at;
	}
	return NO_TIME;
}

static void
judge_missing(struct tally *t, const struct sessions *all, const struct visit_verdict *vv,
    int32_t visit)
{
	for (size_t i = 0; i < vv->n_missing; i++) {
		const struct verdict_missing *m = &vv->missing[i];

		fault_add(t, m->life ? FAULT_MISSING_LIFE : FAULT_MISSING, m->text, m->resolved);
		concerns(t, m->device, m->life, m->plan->kind == KIND_UNKNOWN && !m->life);
	}
	for (size_t i = 0; vv->n_missing && i < all->n; i++) {
		const struct session *s = &all->session[i];

		if (s->visit != visit)
			continue;
		for (size_t k = 0; k < s->n_refused; k++)
			finding_evidence(t->out, t->f, s->refused[k].event);
		for (size_t k = 0; k < s->n_wait; k++)
			finding_evidence(t->out, t->f, s->wait[k].event);
	}
}

static const char *
when(struct tally *t, int64_t at, uint32_t event)
{
	char text[CIVIL_TEXT];
	int32_t offset = event < t->v->n_event ? t->v->event[event].offset : 0;

	return arena_fmt(&t->out->arena, "%s %s", civil_short(at + offset * SECOND, text),
	    event < t->v->n_event ? "local" : "UTC");
}

static const char *
duration_text(struct arena *a, int64_t ms)
{
	if (ms < MINUTE)
		return arena_fmt(a, "%lld s", (long long)(ms / SECOND));
	if (ms < HOUR)
		return arena_fmt(a, "%lld min %lld s", (long long)(ms / MINUTE),
		    (long long)(ms % MINUTE / SECOND));
	return arena_fmt(a, "%lld h %lld min", (long long)(ms / HOUR),
	    (long long)(ms % HOUR / MINUTE));
}

/* While it waited, planned devices may have called in vain: say when. */
static void
say_waits(struct tally *t, const struct session *s)
{
	struct arena *a = &t->out->arena;
	const char *list = "";
	size_t shown = 0, all = 0;

	for (size_t i = 0; i < s->n_wait; i++) {
		const struct session_wait *w = &s->wait[i];

		if (w->to - w->from < MINUTE / 2)
			continue;	/* too short to miss a device that calls again */
		all++;
		if (shown == NAMED)
			continue;
		shown++;
		list = arena_fmt(a, "%s%s%s for %s (serial %s%s)", list, *list ? "; " : "",
		    when(t, w->from, w->event), duration_text(a, w->to - w->from), w->serial,
		    w->answered ? "" : ", no answer");
	}
	if (all)
		finding_check(t->out, t->f, arena_fmt(a, "While the panel waited for an answer it could "
		    "not hear other devices: %s%s", list, all > shown ? "; and more" : ""));
}

/* Serials that the session heard once, that nobody accepted, and that were never heard again: a
 * device that passed by, or a planned one whose serial was received wrongly. */
static void
say_ghosts(struct tally *t, const struct session *s, const struct visit_verdict *vv)
{
	struct arena *a = &t->out->arena;
	const struct view *v = t->v;
	const char *list = "";
	size_t n = 0;

	for (size_t i = 0; i < s->n_heard; i++) {
		const struct session_item *it = &s->heard[i];
		const char *near = "";

		if (!*it->key || it->times > 1 || (it->device >= 0 && v->device[it->device].n_event >
		    1 + (session_item_find(s->refused, s->n_refused, it->key) != NULL)) ||
		    session_item_find(s->accepted, s->n_accepted, it->key))
			continue;
		if (++n > NAMED)
			continue;
		for (size_t k = 0; vv && k < vv->n_missing && !*near; k++) {
			enum serial_fault fault;
			const char *plain = serial_plain(a, span_of(vv->missing[k].plan->serial), &fault);

			if (match_distance(plain, it->plain) == 1)
				near = arena_fmt(a, ", near %s that is missing (%s)",
				    vv->missing[k].plan->serial, match_describe(a, plain, it->plain));
		}
		list = arena_fmt(a, "%s%s%s at %s%s", list, *list ? "; " : "", it->serial,
		    when(t, it->at, it->event), near);
	}
	if (!n)
		return;
	finding_measure(t->out, t->f, "ghosts", (double)n, "");
	finding_check(t->out, t->f, arena_fmt(a, "Heard once and never again: %s%s. A device that "
	    "passed by, or one whose serial came in wrongly", list, n > NAMED ? "; and more" : ""));
}

static void
finish(struct tally *t, const char *title)
{
	struct findings *out = t->out;
	struct arena *a = &out->arena;
	struct finding *f = t->f;
	const char *text = "";
	bool comma = false;

	for (int i = 0; i < FAULT_COUNT; i++) {
		if (!t->count[i])
			continue;
		finding_measure(out, f, fault_table[i].measure, (double)t->count[i], "");
		text = arena_fmt(a, "%s%s%ld %s%s%s%s", text, comma ? "; " : "", t->count[i],
		    t->count[i] == 1 ? fault_table[i].one : fault_table[i].many,
		    t->named[i] ? " (" : "", t->named[i] ? t->named[i] : "",
		    t->named[i] ? ")" : "");
		comma = true;
	}
	finding_summary(out, f, "%s: %s", title, text);
	if (t->devices && t->device >= 0 && f->level != LEVEL_LATER)
		f->device = t->device;
	if (!t->standing)
		f->cleared = t->resolved;
	if (t->maybe_life)
		finding_caution(out, f, CARE_MAYBE_LIFE);
	finding_caution(out, f, CARE_SITE_TEST);
}

static void
say_checks(struct tally *t, const struct sessions *all, const struct session *s,
    const struct session_verdict *sv, const struct visit_verdict *vv)
{
	struct findings *out = t->out;
	struct arena *a = &out->arena;
	struct finding *f = t->f;

	if (t->count[FAULT_FOREIGN] || t->count[FAULT_NEAR])
		finding_check(out, f, "Compare each serial named here with the sticker, character by "
		    "character. A near miss is a hint, never a pass: devices of one carton have "
		    "consecutive serials");
	for (int pass = 0; pass < 2; pass++) {	/* the urgent ones first */
		for (size_t i = 0; sv && i < s->n_accepted; i++) {
			const struct verdict_item *x = &sv->item[i];
			bool urgent = x->verdict == VERDICT_NEAR_MISS || x->verdict == VERDICT_FOREIGN
			    || x->verdict == VERDICT_ELSEWHERE;

			if (urgent != (pass == 0) || verdict_item_is_fine(x))
				continue;
			finding_check(out, f, arena_text(a, span_of(x->text)));
		}
		for (size_t i = 0; vv && i < vv->n_missing; i++)
			if (vv->missing[i].life == (pass == 0))
				finding_check(out, f, arena_fmt(a, "Not learned: %s",
				    vv->missing[i].text));
	}
	if (t->count[FAULT_FOREIGN] || t->count[FAULT_NEAR])
		finding_check(out, f, "Unlearn what does not belong to this site, learn the right "
		    "device, and tell the site that it may really come from");
	for (size_t i = 0; vv && vv->n_missing && i < all->n; i++)
		if (s && all->session[i].visit == s->visit)
			say_waits(t, &all->session[i]);
	if (s)
		say_ghosts(t, s, vv);
	if (t->count[FAULT_OPEN])
		finding_check(out, f, "Look at the panel: is it still being programmed? Leave the "
		    "programming, then see that it arms");
	if (t->count[FAULT_OUTSIDE])
		finding_check(out, f, "Ask who programmed the panel at that time, and write it down as "
		    "a plan or as a service");
	if (t->count[FAULT_REPLACED])
		finding_check(out, f, "Write the replacement into the roster, with old and new serial");
	if (t->count[FAULT_UNLISTED])
		finding_check(out, f, "Make a roster from the stickers, so that later sessions can be "
		    "compared with it");
}

static void
judge_session(struct view *v, struct findings *out, const struct sessions *all,
    const struct verdicts *verdicts, const struct session *s, bool speaks_for_visit)
{
	const struct session_verdict *sv = &verdicts->session[s - all->session];
	const struct visit_verdict *vv = s->visit < 0 ? NULL : &verdicts->visit[s->visit];
	int64_t closed = setting_ms(v, &rule_learn_mismatch, "closed", -1);
	char begin[CIVIL_TEXT];
	struct tally t = { .v = v, .out = out, .rule = &rule_learn_mismatch, .onset = s->begin,
		.last = s->last, .resolved = NO_TIME };
	long planned = 0, quick = 0;

	t.subject = arena_fmt(&out->arena, "session:%s", civil_rfc3339(s->begin, begin));
	if (!speaks_for_visit || !vv->over)
		vv = NULL;
	judge_accepted(&t, s, sv);
	if (vv)
		judge_missing(&t, all, vv, s->visit);
	if (s->entered && s->end == NO_TIME && v->now - s->last >= closed
	    && view_covered(v, s->last, s->last + closed)) {
		fault_add(&t, FAULT_OPEN, NULL, closed_later(v, s));
		finding_evidence(out, t.f, s->first);
	}
	if (sv->outside)
		fault_add(&t, FAULT_OUTSIDE, NULL, NO_TIME);
	if (!t.f)
		return;
	finding_evidence(out, t.f, s->first);
	if (s->past - 1 != s->first)
		finding_evidence(out, t.f, s->past - 1);
	for (size_t i = 0; i < s->n_accepted; i++) {
		quick += sv->item[i].quick >= 0;
		planned += sv->item[i].plan && verdict_is_fine(sv->item[i].verdict);
	}
	finish(&t, arena_fmt(&out->arena, "Learn session of %s", when(&t, s->begin, s->first)));
	finding_measure(out, t.f, "accepted", (double)s->n_accepted, "");
	finding_measure(out, t.f, "as_planned", (double)planned, "");
	finding_measure(out, t.f, "refused", (double)s->n_refused, "");
	if (quick)
		finding_measure(out, t.f, "too_quick", (double)quick, "");
	finding_measure(out, t.f, "waited", (double)session_waited(s) / SECOND, "s");
	say_checks(&t, all, s, sv, vv);
}

/* A visit is over, and the log shows no session in it. */
static void
judge_unseen(struct view *v, struct findings *out, const struct sessions *all,
    const struct visit_verdict *vv, const struct visit *w)
{
	char begin[CIVIL_TEXT];
	struct tally t = { .v = v, .out = out, .rule = &rule_learn_mismatch, .onset = w->from,
		.last = w->to, .resolved = NO_TIME };

	t.subject = arena_fmt(&out->arena, "session:%s", civil_rfc3339(w->from, begin));
	judge_missing(&t, all, vv, -2);
	if (!t.f)
		return;
	finish(&t, arena_fmt(&out->arena, "No learn session in the log for the visit of %s",
	    when(&t, w->from, UINT32_MAX)));
	finding_check(out, t.f, "Did the visit take place, and does this panel report its programming?");
	say_checks(&t, all, NULL, NULL, vv);
}

/* The last session of its visit that learned anything, else the last one. */
static bool
last_of_visit(const struct sessions *all, const struct session *s)
{
	const struct session *best = s;

	for (const struct session *o = all->session; o < all->session + all->n; o++)
		if (o->visit == s->visit && (o->n_accepted > 0) >= (best->n_accepted > 0)
		    && (o > best || (o->n_accepted > 0) > (best->n_accepted > 0)))
			best = o;
	return best == s;
}

/* What is older than the lookback is let go, unless it concerns life safety: a smoke
 * detector that was never learned does not become right with time. */
static void
forget_old(struct findings *out, size_t before, bool old)
{
	if (old && out->n > before && !out->finding[before]->life)
		out->n = before;
}

static void
judge(struct view *v, struct findings *out)
{
	struct sessions all;
	struct verdicts verdicts;
	int64_t oldest;

	oldest = v->now - setting_ms(v, &rule_learn_mismatch, "lookback", -1);
	sessions_find(v, &all);
	verdicts_find(v, &all, &verdicts);
	for (size_t i = 0; i < all.n; i++) {
		size_t before = out->n;

		if (all.session[i].begin > v->now)
			continue;
		judge_session(v, out, &all, &verdicts, &all.session[i],
		    all.session[i].visit >= 0 && last_of_visit(&all, &all.session[i]));
		forget_old(out, before, all.session[i].begin < oldest);
	}
	for (size_t i = 0; i < all.n_visit; i++) {
		size_t before = out->n;

		if (!verdicts.visit[i].unseen)
			continue;
		judge_unseen(v, out, &all, &verdicts.visit[i], &all.visit[i]);
		forget_old(out, before, all.visit[i].from < oldest);
	}
}

const struct rule rule_learn_mismatch = {
	.id = "learn-mismatch",
	.title = "A learn session does not agree with plan and roster",
	.why = "A serial that nobody expected may be a neighbour's device: it will raise alarms "
	    "here, and the device that should be here reports nowhere. It is cheapest to mend "
	    "while the technician is on site.",
	.quiet_on = "A foreign serial that was heard and refused, or taken out again in the same "
	    "session; a replacement that the plan names; a planned device that was learned at a "
	    "second try; sessions without learning where no plan is kept.",
	.limits = "It sees what the log writes down: many panels report no serials or no learn "
	    "events. A roster newer than the session may have been read out of the panel, and "
	    "proves nothing. It cannot see whether a device hangs where it should.",
	.setting = settings,
	.judge = judge,
};
