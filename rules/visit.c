/* visit.c - was everything that was planned learned, and is nothing left behind? */
#include "rules/visit.h"

#include <stdlib.h>
#include <string.h>

#include "rules/state.h"
#include "rules/visit_work.h"
#include "rules/when.h"

static const struct {
	bool        done;
	const char *text;
} status_table[VISIT_STATUS_COUNT] = {
#define X(id, done, text) { done, text },
	VISIT_STATUS_LIST(X)
#undef X
};

const char *
visit_status_text(enum visit_status s)
{
	return status_table[s].text;
}

bool
visit_status_done(enum visit_status s)
{
	return status_table[s].done;
}

static void
add(struct visit_work *c, struct visit_texts *l, const char *text)
{
	if (l->n == l->cap) {
		const char **more;

		l->cap = l->cap ? 2 * l->cap : 8;
		more = arena_take(&c->v->arena, l->cap * sizeof *more);
		if (l->n)
			memcpy(more, l->text, l->n * sizeof *more);
		l->text = more;
	}
	l->text[l->n++] = text;
}

static const char *
when(const struct visit_work *c, int64_t at)
{
	return when_local(c->v, &c->v->arena, at);
}

/* ---- which visit --------------------------------------------------------------- */

static int64_t
default_since(const struct visit_work *c)
{
	const struct visit_verdict *x = c->verdicts.visit;

	for (size_t k = c->all.n_visit; k-- > 0;)
		if (x[k].from <= c->v->now)
			return x[k].from;
	if (c->all.n_visit)
		return x[0].from;
	if (c->all.n)
		return c->all.session[c->all.n - 1].begin;
	return c->v->n_cover ? c->v->cover[0].from : c->v->now;
}

/* Plans for later visits are not missed yet, unless they are all there is. */
static bool
visit_counts(const struct visit_work *c, size_t k)
{
	const struct visit *w = &c->all.visit[k];

	if (w->to < c->out->since && c->verdicts.visit[k].from < c->out->since)
		return false;
	return c->verdicts.visit[k].from <= c->v->now ||
	    c->verdicts.visit[k].from == c->out->since;
}

static void
choose_sessions(struct visit_work *c)
{
	struct visit_check *out = c->out;

	c->ours = arena_take(&c->v->arena, c->all.n * sizeof *c->ours);
	out->session = arena_take(&c->v->arena, c->all.n * sizeof *out->session);
	out->begin = out->closed = NO_TIME;
	for (size_t i = 0; i < c->all.n; i++) {
		const struct session *s = &c->all.session[i];

		/* One that began before and went on belongs to it. */
		c->ours[i] = s->last >= out->since;
		if (!c->ours[i])
			continue;
		if (out->begin == NO_TIME)
			out->begin = s->begin;
		out->closed = s->end;
		out->session[out->n_session++] = s;
	}
}

/* ---- expected devices ------------------------------------------------------------ */

static int
plan_order(const void *pa, const void *pb)
{
	const struct plan_row *a = *(const struct plan_row *const *)pa;
	const struct plan_row *b = *(const struct plan_row *const *)pb;

	if (!a->order != !b->order)
		return a->order ? -1 : 1;
	if (a->order != b->order)
		return a->order < b->order ? -1 : 1;
	return (a > b) - (a < b);
}

static void
expect_plan(struct visit_work *c)
{
	const struct view *v = c->v;
	struct visit_check *out = c->out;
	const struct plan_row **row = arena_take(&c->v->arena, v->n_plan * sizeof *row);
	size_t n = 0;

	for (size_t i = 0; i < v->n_plan; i++)
		if (visit_counts(c, (size_t)visit_of_plan(&c->all, &v->plan[i])))
			row[n++] = &v->plan[i];
	if (n == 0)
		return;
	for (size_t i = 0; i < n; i++)
		if (c->planned == NO_TIME || row[i]->from < c->planned)
			c->planned = row[i]->from;
	qsort(row, n, sizeof *row, plan_order);
	out->by_plan = true;
	out->n_device = n;
	out->device = arena_take(&c->v->arena, n * sizeof *out->device);
	for (size_t i = 0; i < n; i++) {
		out->device[i] = (struct visit_device){ .serial = row[i]->serial,
			.zone = row[i]->zone, .name = row[i]->name, .kind = row[i]->kind, .order = row[i]->order,
			.old_serial = row[i]->replaces };
		visit_device_judge(c, &out->device[i], false);
	}
}

static void
expect_roster(struct visit_work *c)
{
	const struct view *v = c->v;
	struct visit_check *out = c->out;
	int64_t before = out->begin != NO_TIME ? out->begin : c->v->now;
	const struct roster_row *newest = NULL;

	for (size_t i = 0; i < v->n_roster; i++) {
		const struct roster_row *r = &v->roster[i];

		if (r->as_of < before && (!newest || r->as_of > newest->as_of ||
		    (r->as_of == newest->as_of && r->version > newest->version)))
			newest = r;
	}
	if (!newest)
		return;
	out->by_roster = true;
	out->roster_as_of = newest->as_of;
	out->device = arena_take(&c->v->arena, v->n_roster * sizeof *out->device);
	for (size_t i = 0; i < v->n_roster; i++) {
		const struct roster_row *r = &v->roster[i];
		struct visit_device *d = &out->device[out->n_device];

		if (r->version != newest->version || r->as_of >= before)
			continue;
		out->n_device++;
		*d = (struct visit_device){ .serial = r->serial, .zone = r->zone, .name = r->name,
			.kind = r->kind, .old_serial = "" };
		visit_device_judge(c, d, true);
	}
}

static void
reasons_of_devices(struct visit_work *c)
{
	struct arena *a = &c->v->arena;

	for (size_t i = 0; i < c->out->n_device; i++) {
		const struct visit_device *d = &c->out->device[i];

		bool mislaid = d->status == VISIT_OTHER_ZONE || d->status == VISIT_OTHER_KIND;

		if (!visit_status_done(d->status))
			add(c, &c->reason, arena_fmt(a, "%s: %s%s%s%s.", visit_device_name(c, d),
			    visit_status_text(d->status), *d->text ? ": " : "", d->text,
			    mislaid && d->heard == NO_TIME ?
			    "; not heard since the session closed" : ""));
	}
	for (size_t i = 0; i < c->out->n_device; i++) {
		const struct visit_device *d = &c->out->device[i];

		if (d->old == VISIT_OLD_THERE)
			add(c, &c->reason, arena_fmt(a, "%s, which %s replaces, was not unlearned.",
			    d->old_serial, d->serial));
		else if (d->old == VISIT_OLD_UNKNOWN)
			add(c, &c->reason, arena_fmt(a, "The log never names %s, which %s "
			    "replaces: see at the panel that it is gone.", d->old_serial, d->serial));
	}
}

/* ---- what came in beside ----------------------------------------------------------- */

static void
find_extras(struct visit_work *c)
{
	struct visit_check *out = c->out;
	struct arena *a = &c->v->arena;
	size_t accepted = 0, heard = 0, waits = 0;

	for (size_t i = 0; i < out->n_session; i++) {
		accepted += out->session[i]->n_accepted;
		heard += out->session[i]->n_refused + out->session[i]->n_heard;
		waits += out->session[i]->n_wait;
	}
	out->extra = arena_take(a, accepted * sizeof *out->extra);
	out->refused = arena_take(a, heard * sizeof *out->refused);
	out->wait = arena_take(a, waits * sizeof *out->wait);
	for (size_t i = 0; i < out->n_session; i++) {
		const struct session *s = out->session[i];

		for (size_t k = 0; k < s->n_accepted; k++) {
			const struct verdict_item *x = visit_verdict_on(c, s, &s->accepted[k]);
			struct visit_extra *e = &out->extra[out->n_extra];

			if (verdict_is_fine(x->verdict) && !x->other_zone)
				continue;
			out->n_extra++;
			*e = (struct visit_extra){ .item = &s->accepted[k], .verdict = x->verdict,
				.life = x->life, .maybe_life = x->maybe_life, .removed = x->resolved,
				.text = x->text };
			if (e->removed == NO_TIME)
				add(c, &c->reason, arena_fmt(a, "Accepted and not expected so: %s.",
				    e->text));
		}
		for (size_t k = 0; k < s->n_refused; k++)
			if (!session_item_find(s->accepted, s->n_accepted, s->refused[k].key))
				out->refused[out->n_refused++] = &s->refused[k];
		for (size_t k = 0; k < s->n_heard; k++)
			if (!session_item_find(s->accepted, s->n_accepted, s->heard[k].key) &&
			    !session_item_find(s->refused, s->n_refused, s->heard[k].key))
				out->refused[out->n_refused++] = &s->heard[k];
		for (size_t k = 0; k < s->n_wait; k++)
			out->wait[out->n_wait++] = &s->wait[k];
	}
}

/* ---- what is left open ------------------------------------------------------------- */

/* A button or a code has no return to wait for. */
static bool
returns(enum kind k)
{
	return k != KIND_PANIC && k != KIND_HOLD_UP && k != KIND_MEDICAL && k != KIND_KEYFOB;
}

static bool
blocks(const struct view *v, int32_t device, enum condition what)
{
	if (what == COND_OPEN)
		return false;
	if (what == COND_ALARM)
		return device >= 0 && v->device[device].life && returns(v->device[device].kind);
	return true;
}

static void
add_open(struct visit_work *c, int32_t device, enum condition what, const struct holding *h,
    const char *where)
{
	struct visit_open *o = &c->out->open[c->out->n_open++];

	*o = (struct visit_open){ .device = device, .what = (int)what, .since = h->since,
		.event = h->event, .life = device >= 0 && c->v->device[device].life,
		.blocks = blocks(c->v, device, what) };
	o->text = arena_fmt(&c->v->arena, "%s: %s %s %s", where, condition_text(what),
	    h->before ? "since before" : "since", when(c, h->since));
}

static int
open_order(const void *pa, const void *pb)
{
	const struct visit_open *a = pa, *b = pb;

	if (a->blocks != b->blocks)
		return a->blocks ? -1 : 1;
	if (a->life != b->life)
		return a->life ? -1 : 1;
	return a->event != b->event ? (a->event < b->event ? -1 : 1) : a->what - b->what;
}

static void
find_open(struct visit_work *c)
{
	struct view *v = c->v;
	struct visit_check *out = c->out;
	const struct state *s = &c->state;
	struct arena *a = &v->arena;
	size_t most = s->n_open;

	for (size_t i = 0; i < v->n_device; i++)
		for (int k = 0; k < COND_COUNT; k++)
			most += s->device[i].cond[k].since != NO_TIME;
	out->open = arena_take(a, most * sizeof *out->open);
	for (size_t i = 0; i < v->n_device; i++)
		for (int k = 0; k < COND_COUNT; k++)
			if (s->device[i].cond[k].since != NO_TIME)
				add_open(c, (int32_t)i, (enum condition)k, &s->device[i].cond[k],
				    device_label(v, (int32_t)i));
	for (size_t i = 0; i < s->n_open; i++) {
		const struct panel_holding *h = &s->open[i];
		const char *where = *h->zone ? arena_fmt(a, "panel, module or line %s", h->zone) :
		    *h->partition ? arena_fmt(a, "partition %s", h->partition) : "the panel";

		add_open(c, -1, h->what, &h->holding, where);
	}
	if (out->n_open)
		qsort(out->open, out->n_open, sizeof *out->open, open_order);
	for (size_t i = 0; i < out->n_open; i++)
		if (out->open[i].blocks)
			add(c, &c->reason, arena_fmt(a, "Still so: %s.", out->open[i].text));
	for (size_t i = 0; i < out->n_session; i++)
		if (!visit_closing(c, out->session[i]) && !state_open(s, COND_PROGRAMMING))
			add(c, &c->reason, arena_fmt(a, "The learn session of %s was never closed.",
			    when(c, out->session[i]->begin)));
}

/* ---- what the log cannot tell ----------------------------------------------------- */

static void
find_notes(struct visit_work *c)
{
	struct visit_check *out = c->out;
	struct view *v = c->v;
	struct arena *a = &v->arena;
	int64_t from = c->planned;	/* when there was something to see */

	if (out->begin != NO_TIME && (from == NO_TIME || out->begin < from))
		from = out->begin;
	if (from == NO_TIME)
		from = out->since;
	if (out->n_session && out->closed == NO_TIME)
		add(c, &c->note, arena_fmt(a, "The log ends at %s, and a learn session is still "
		    "open in it: what was done after that is not known.", when(c, v->now)));
	else if (out->n_session && v->now - out->closed <= HOUR)
		add(c, &c->note, arena_fmt(a, "The log reaches only %lld min past the close of the "
		    "last learn session, until %s.", (long long)((v->now - out->closed) / MINUTE),
		    when(c, v->now)));
	if (from > v->now)
		add(c, &c->note, "The visit is later than the end of the log.");
	else if (!view_covered(v, from, v->now))
		add(c, &c->note, arena_fmt(a, "The exports do not cover all of the time from %s "
		    "to %s: nothing is known of the rest.", when(c, from), when(c, v->now)));
	if (c->state.log_cleared >= from)
		add(c, &c->note, arena_fmt(a, "The panel's log was cleared at %s: events are missing.",
		    when(c, c->state.log_cleared)));
	if (c->state.log_overflow >= from)
		add(c, &c->note, arena_fmt(a, "The panel's log overflowed at %s: events are missing.",
		    when(c, c->state.log_overflow)));
	if (c->state.clock_set >= from)
		add(c, &c->note, arena_fmt(a, "The panel's clock was set at %s: times may be off.",
		    when(c, c->state.clock_set)));
	for (size_t i = 0; i < v->n_event; i++) {
		if (v->event[i].at >= from && (v->event[i].marks & MARK_RESET)) {
			add(c, &c->note, "The panel's clock was reset in this time: times may be off.");
			break;
		}
	}
	if (c->state.unclear)
		add(c, &c->note, arena_fmt(a, "%u restore event%s could have meant several open "
		    "conditions; none was taken as ended by %s.", c->state.unclear,
		    c->state.unclear == 1 ? "" : "s", c->state.unclear == 1 ? "it" : "them"));
}

void
visit_check(struct view *v, int64_t since, struct visit_check *out)
{
	struct visit_work c = { .v = v, .out = out, .planned = NO_TIME };

	*out = (struct visit_check){ .roster_as_of = NO_TIME };
	sessions_find(v, &c.all);
	verdicts_find(v, &c.all, &c.verdicts);
	state_of(v, &v->arena, &c.state);
	out->since = since != NO_TIME ? since : default_since(&c);
	choose_sessions(&c);

	expect_plan(&c);
	if (!out->by_plan)
		expect_roster(&c);
	if (out->n_device == 0)
		add(&c, &c.reason, "There is no plan and no roster from before the visit to hold "
		    "it against.");
	if (out->n_session == 0)
		add(&c, &c.reason, arena_fmt(&v->arena, "The log shows no learn session since %s.",
		    when(&c, out->since)));
	reasons_of_devices(&c);
	find_extras(&c);
	find_open(&c);
	find_notes(&c);

	out->reason = c.reason.text;
	out->n_reason = c.reason.n;
	out->note = c.note.text;
	out->n_note = c.note.n;
	out->complete = out->n_reason == 0;
}
