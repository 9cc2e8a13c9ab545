/* visit.c - was everything that was planned learned, and is nothing left behind? */
#include "rules/visit.h"

#include <stdlib.h>
#include <string.h>

#include "daemon/base/serial.h"
#include "rules/state.h"

/* Texts; the array grows in the arena. */
struct texts {
	const char **text;
	size_t       n, cap;
};

struct context {
	struct view        *v;
	struct visit_check *out;
	struct sessions     all;
	struct verdicts     verdicts;
	struct state        state;
	bool               *ours;	/* session i belongs to the visit */
	int64_t             planned;	/* earliest window that counts; NO_TIME = none */
	struct texts        reason, note;
};

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

/* ---- small helpers ----------------------------------------------------------- */

static void
add(struct context *c, struct texts *l, const char *text)
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

/* On the wall clock that the log showed at that time. */
static const char *
when(const struct context *c, int64_t at)
{
	const struct view *v = c->v;
	size_t lo = 0, hi = v->n_event;
	char text[CIVIL_TEXT];

	if (v->n_event == 0)
		return arena_fmt(&c->v->arena, "%s UTC", civil_short(at, text));
	while (lo < hi) {
		size_t mid = lo + (hi - lo) / 2;

		if (v->event[mid].at <= at)
			lo = mid + 1;
		else
			hi = mid;
	}
	return arena_fmt(&c->v->arena, "%s local",
	    civil_short(at + v->event[lo ? lo - 1 : 0].offset * SECOND, text));
}

/* "4A0071 (zone 5, smoke detector, hall)" */
static const char *
name_of(const struct context *c, const struct visit_device *d)
{
	struct arena *a = &c->v->arena;
	const char *zone = *d->zone ? arena_fmt(a, "zone %s, ", d->zone) : "";

	return arena_fmt(a, "%s (%s%s%s%s)", *d->serial ? d->serial : "no serial", zone,
	    d->kind == KIND_UNKNOWN ? "kind not given" : kind_heading(d->kind), *d->name ? ", " : "",
	    d->name);
}

/* ---- which visit --------------------------------------------------------------- */

static int64_t
default_since(const struct context *c)
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
visit_counts(const struct context *c, size_t k)
{
	const struct visit *w = &c->all.visit[k];

	if (w->to < c->out->since && c->verdicts.visit[k].from < c->out->since)
		return false;
	return c->verdicts.visit[k].from <= c->v->now ||
	    c->verdicts.visit[k].from == c->out->since;
}

static void
choose_sessions(struct context *c)
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

/* The session whose end closed this one: where its own exit is missing, the next that has
 * one, since that left programming as well. NULL = still open. */
static const struct session *
closing(const struct context *c, const struct session *s)
{
	const struct session *end = c->all.session + c->all.n;

	while (s < end && s->end == NO_TIME)
		s++;
	return s < end ? s : NULL;
}

/* ---- expected devices ------------------------------------------------------------ */

/* The last session, of the visit or before it, that accepted the serial; on that zone, if
 * `zone_key` is one and the log names the zone. */
static const struct session *
learning_session(const struct context *c, const char *key, const char *zone_key,
    const struct session_item **item)
{
	for (size_t i = c->all.n; i-- > 0;) {
		const struct session *s = &c->all.session[i];

		*item = NULL;
		for (size_t k = 0; k < s->n_accepted; k++) {
			const struct session_item *it = &s->accepted[k];

			if (strcmp(it->key, key) == 0 && (!*zone_key || !*it->zone_key ||
			    strcmp(it->zone_key, zone_key) == 0) &&
			    (!*item || it->event > (*item)->event))
				*item = it;
		}
		if (*item)
			return s;
	}
	*item = NULL;
	return NULL;
}

/* Taken out of the panel after the event, or displaced on its zone. */
static bool
removed_since(const struct view *v, const struct device *d, uint32_t event)
{
	for (size_t k = d->n_event; k-- > 0 && d->event[k] > event;)
		if (session_removes(v, &v->event[d->event[k]]))
			return true;
	return d->unlearned != NO_TIME && d->unlearned >= v->event[event].at;
}

/* First heard among the events from index `from` on; NO_TIME if not. */
static int64_t
heard_from(const struct view *v, const struct device *d, uint32_t from)
{
	for (size_t k = 0; k < d->n_event; k++)
		if (d->event[k] >= from && event_is_heard(v, &v->event[d->event[k]]))
			return v->event[d->event[k]].at;
	return NO_TIME;
}

/* Index of the first event after the visit's last session, or after `since`. */
static uint32_t
after_visit(const struct context *c)
{
	uint32_t i = 0;

	if (c->out->n_session)
		return c->out->session[c->out->n_session - 1]->past;
	while (i < c->v->n_event && c->v->event[i].at < c->out->since)
		i++;
	return i;
}

static const struct verdict_item *
verdict_on(const struct context *c, const struct session *s, const struct session_item *it)
{
	return &c->verdicts.session[s - c->all.session].item[it - s->accepted];
}

/* A serial that was learned in place of this one, by the visit's verdicts. */
static const char *
near_miss(const struct context *c, const struct visit_device *d)
{
	for (size_t i = 0; i < c->all.n; i++) {
		const struct session *s = &c->all.session[i];

		for (size_t k = 0; c->ours[i] && k < s->n_accepted; k++) {
			const struct verdict_item *x = verdict_on(c, s, &s->accepted[k]);

			if (x->verdict == VERDICT_NEAR_MISS && strcmp(x->wanted, d->serial) == 0)
				return arena_fmt(&c->v->arena, "%s was learned instead: %s; read the "
				    "sticker again", s->accepted[k].serial, x->difference);
		}
	}
	return NULL;
}

/* What the visit saw of a serial that it did not learn. */
static const char *
missing_how(const struct context *c, const char *key)
{
	const char *how = "not heard";

	for (size_t i = 0; i < c->all.n; i++) {
		const struct session *s = &c->all.session[i];
		const struct session_item *it;

		if (!c->ours[i])
			continue;
		if ((it = session_item_find(s->accepted, s->n_accepted, key)) != NULL)
			how = "learned and taken out again";
		else if ((it = session_item_find(s->refused, s->n_refused, key)) != NULL)
			how = arena_fmt(&c->v->arena, "heard and refused at %s", when(c, it->at));
		else if ((it = session_item_find(s->heard, s->n_heard, key)) != NULL)
			how = arena_fmt(&c->v->arena, "heard at %s and not accepted", when(c, it->at));
	}
	return how;
}

/* Something without a serial was learned on the zone in the visit. */
static bool
learned_unnamed(const struct context *c, const char *zone_key)
{
	for (size_t i = 0; *zone_key && i < c->all.n; i++) {
		const struct session *s = &c->all.session[i];

		for (size_t k = 0; c->ours[i] && k < s->n_accepted; k++)
			if (!*s->accepted[k].key && strcmp(s->accepted[k].zone_key, zone_key) == 0)
				return true;
	}
	return false;
}

static void
judge_replaced(const struct context *c, struct visit_device *d)
{
	const struct view *v = c->v;
	const char *key = serial_key(&c->v->arena, span_of(d->old_serial));
	int32_t old = *key ? view_device_find(v, "", d->old_serial, NO_TIME) : -1;
	bool there = false, gone = false;

	if (!*d->old_serial)
		return;
	d->old = VISIT_OLD_UNKNOWN;
	if (old < 0)
		return;
	for (size_t k = 0; k < v->device[old].n_event; k++) {
		const struct event *ev = &v->event[v->device[old].event[k]];

		if (session_removes(v, ev))
			gone = true;
		else if (session_accepts(v, ev))
			gone = false;
		there = true;
	}
	gone |= v->device[old].unlearned != NO_TIME;
	d->old = gone ? VISIT_OLD_GONE : there || v->device[old].rostered ? VISIT_OLD_THERE :
	    VISIT_OLD_UNKNOWN;
}

/* Where the serial was learned last. A device that both zones are planned for is looked up
 * on its own zone. */
static const struct session *
find_learning(const struct context *c, const char *key, const char *zone_key,
    const struct session_item **item)
{
	const struct session_item *there = NULL;
	const struct session *s = learning_session(c, key, "", item), *own;

	if (!s || !*zone_key)
		return s;
	own = learning_session(c, key, zone_key, &there);
	if (own && !verdict_on(c, s, *item)->other_zone && !verdict_on(c, s, *item)->planned_zone) {
		*item = there;
		return own;
	}
	return s;
}

/* Fills in the status of an expected device whose planned fields are set. */
static void
judge_expected(struct context *c, struct visit_device *d, bool rostered)
{
	struct view *v = c->v;
	const char *key = serial_key(&v->arena, span_of(d->serial));
	const char *zone_key = number_key(&v->arena, span_of(d->zone));
	const struct session_item *item = NULL;
	const struct session *s = NULL, *end;
	const struct device *dev;
	const char *near;

	d->text = "";
	d->learned = d->closed = d->heard = NO_TIME;
	d->device = view_device_find(v, *key ? "" : d->zone, d->serial, NO_TIME);
	dev = d->device < 0 ? NULL : &v->device[d->device];
	d->life = kind_is_life(d->kind) || (dev && dev->life);
	judge_replaced(c, d);
	if (*key)
		s = find_learning(c, key, zone_key, &item);
	if (s && dev && removed_since(v, dev, item->event))
		s = NULL;
	/* Nothing counts as heard before that session is closed. */
	if (s && (end = closing(c, s)) != NULL) {
		d->learned = item->at;
		d->closed = end->end;
		d->heard = dev ? heard_from(v, dev, end->past) : NO_TIME;
	} else if (s) {
		d->learned = item->at;
	} else {
		d->closed = c->out->closed;
		if (dev && (d->closed != NO_TIME || c->out->n_session == 0))
			d->heard = heard_from(v, dev, after_visit(c));
	}

	if (!s && rostered && dev && dev->unlearned == NO_TIME) {
		d->status = d->heard != NO_TIME ? VISIT_HEARD : VISIT_UNHEARD;
		d->text = "in the roster; not learned in this visit";
	} else if (!s && (near = near_miss(c, d)) != NULL) {
		d->status = VISIT_NEAR_MISS;
		d->text = near;
	} else if (!s && learned_unnamed(c, zone_key)) {
		d->status = VISIT_UNPROVEN;
		d->text = "a device was learned on its zone, but the log names no serial: compare the "
		    "sticker";
	} else if (!s && dev && dev->unlearned == NO_TIME && d->heard != NO_TIME &&
	    item == NULL) {
		d->status = VISIT_UNPROVEN;
		d->text = arena_fmt(&v->arena, "heard at %s, so the panel may have had it before",
		    when(c, d->heard));
	} else if (!s) {
		d->status = VISIT_MISSING;
		d->text = *key ? missing_how(c, key) : "the plan gives no serial";
	} else if (*zone_key && *item->zone_key && strcmp(item->zone_key, zone_key) != 0) {
		d->status = VISIT_OTHER_ZONE;
		d->text = arena_fmt(&v->arena, "is on zone %s", item->zone);
	} else if (verdict_on(c, s, item)->seen_kind != KIND_UNKNOWN) {
		d->status = VISIT_OTHER_KIND;
		d->text = arena_fmt(&v->arena, "planned as %s, shows as %s", kind_heading(d->kind),
		    kind_heading(verdict_on(c, s, item)->seen_kind));
	} else {
		d->status = d->heard != NO_TIME ? VISIT_HEARD : VISIT_UNHEARD;
		if (d->closed == NO_TIME)
			d->text = "its learn session is not closed";
	}
}

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
expect_plan(struct context *c)
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
		out->device[i] = (struct visit_device){ .serial = row[i]->serial, .zone = row[i]->zone,
			.name = row[i]->name, .kind = row[i]->kind, .order = row[i]->order,
			.old_serial = row[i]->replaces };
		judge_expected(c, &out->device[i], false);
	}
}

static void
expect_roster(struct context *c)
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
		judge_expected(c, d, true);
	}
}

static void
reasons_of_devices(struct context *c)
{
	struct arena *a = &c->v->arena;

	for (size_t i = 0; i < c->out->n_device; i++) {
		const struct visit_device *d = &c->out->device[i];

		bool mislaid = d->status == VISIT_OTHER_ZONE || d->status == VISIT_OTHER_KIND;

		if (!visit_status_done(d->status))
			add(c, &c->reason, arena_fmt(a, "%s: %s%s%s%s.", name_of(c, d),
			    visit_status_text(d->status), *d->text ? ": " : "", d->text,
			    mislaid && d->heard == NO_TIME ? "; not heard since the session closed" : ""));
	}
	for (size_t i = 0; i < c->out->n_device; i++) {
		const struct visit_device *d = &c->out->device[i];

		if (d->old == VISIT_OLD_THERE)
			add(c, &c->reason, arena_fmt(a, "%s, which %s replaces, was not unlearned.",
			    d->old_serial, d->serial));
		else if (d->old == VISIT_OLD_UNKNOWN)
			add(c, &c->reason, arena_fmt(a, "The log never names %s, which %s replaces: see "
			    "at the panel that it is gone.", d->old_serial, d->serial));
	}
}

/* ---- what came in beside ----------------------------------------------------------- */

static void
find_extras(struct context *c)
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
			const struct verdict_item *x = verdict_on(c, s, &s->accepted[k]);
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
add_open(struct context *c, int32_t device, enum condition what, const struct holding *h,
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
find_open(struct context *c)
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
		if (!closing(c, out->session[i]) && !state_open(s, COND_PROGRAMMING))
			add(c, &c->reason, arena_fmt(a, "The learn session of %s was never closed.",
			    when(c, out->session[i]->begin)));
}

/* ---- what the log cannot tell ----------------------------------------------------- */

static void
find_notes(struct context *c)
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
		add(c, &c->note, arena_fmt(a, "The log ends at %s, and a learn session is still open in "
		    "it: what was done after that is not known.", when(c, v->now)));
	else if (out->n_session)
		add(c, &c->note, arena_fmt(a, "The log reaches %lld min past the close of the last learn "
		    "session, until %s.", (long long)((v->now - out->closed) / MINUTE),
		    when(c, v->now)));
	if (from > v->now)
		add(c, &c->note, "The visit is later than the end of the log.");
	else if (!view_covered(v, from, v->now))
		add(c, &c->note, arena_fmt(a, "The exports do not cover all of the time from %s to %s: "
		    "nothing is known of the rest.", when(c, from), when(c, v->now)));
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
	struct context c = { .v = v, .out = out, .planned = NO_TIME };

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
		add(&c, &c.reason, "There is no plan and no roster from before the visit to hold it "
		    "against.");
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
