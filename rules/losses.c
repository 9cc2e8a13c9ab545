/* losses.c - when each device was lost, told by the panel or seen in the log. */
#include "rules/losses.h"

#include <stdlib.h>
#include <string.h>

#include "rules/rule.h"
#include "rules/state.h"

extern const struct rule rule_supervision_loss;

/* Settings of which more is stricter; of all others, less is. */
static const char *const more_is_stricter[] = {
	"losses_within", "declares", "learn_spread", "learn_stray", "regular_spread",
};

struct limits {
	double  missed, shown_share;
	int64_t never_heard, declares;
};

struct work {
	const struct view *v;
	struct arena  *a;
	struct losses *l;
	struct loss   *loss;		/* heap while it grows */
	size_t         cap;
	struct limits  limits;
	int64_t       *shown;		/* last check-in in the log of each device with an interval,
					 * ascending; NO_TIME first */
	size_t         n_shown, n_carried;	/* devices of these with any check-in in the log */
	int64_t        last_row;	/* last `check-in` event of any of them; NO_TIME */
	struct state   state;
	bool           has_state;
};

double
losses_limit(const struct view *v, const char *name, int32_t device)
{
	const struct rule *r = &rule_supervision_loss;
	double value = setting_value(v, r, name, device);
	const struct setting *s = r->setting;
	bool more = false;

	if (device < 0 || !(v->device[device].life || v->device[device].maybe_life))
		return value;
	while (strcmp(s->name, name) != 0)
		s++;
	for (size_t i = 0; i < sizeof more_is_stricter / sizeof *more_is_stricter; i++)
		more |= strcmp(more_is_stricter[i], name) == 0;
	return (more ? value < s->value : value > s->value) ? s->value : value;
}

int64_t
losses_limit_ms(const struct view *v, const char *name, int32_t device)
{
	const struct setting *s = rule_supervision_loss.setting;

	while (strcmp(s->name, name) != 0)
		s++;
	return (int64_t)(losses_limit(v, name, device) * (double)setting_unit_ms(s) + 0.5);
}

static struct limits
limits_of(const struct view *v, int32_t device)
{
	return (struct limits){
		.missed = losses_limit(v, "missed", device),
		.shown_share = losses_limit(v, "shown_share", device) / 100,
		.never_heard = losses_limit_ms(v, "never_heard", device),
		.declares = losses_limit_ms(v, "declares", device),
	};
}

/* Does the site have it? A device of the neighbours is known by these words only. */
static bool
belongs(const struct view *v, const struct device *d)
{
	if (*d->zone_key || d->learned != NO_TIME || d->rostered)
		return true;
	for (size_t k = 0; k < d->n_event; k++) {
		enum word w = v->event[d->event[k]].word;

		if (w != W_LEARN_HEARD && w != W_LEARN_REFUSED && w != W_EXTRA_DEVICE &&
		    w != W_UNLEARN)
			return true;
	}
	return false;
}

static bool
judged(const struct view *v, const struct device *d)
{
	return d->unlearned == NO_TIME && (d->kind != KIND_KEYFOB || d->life) && belongs(v, d);
}

/* Goes away with its wearer, and is not expected to report unless that is stated. */
static bool
is_worn(const struct device *d)
{
	return d->kind == KIND_MEDICAL || d->kind == KIND_KEYFOB;
}

static int64_t
interval_of(const struct work *w, int32_t device)
{
	const struct checkin *c = &w->l->checkin[device];
	const struct device *d = &w->v->device[device];

	if (!judged(w->v, d) || (is_worn(d) && c->source != CHECKIN_STATED))
		return 0;
	return c->interval;
}

static int64_t
later(int64_t a, int64_t b)
{
	return a > b ? a : b;	/* NO_TIME is the smallest */
}

/* ---- what the others show --------------------------------------------------- */

static int
by_instant(const void *a, const void *b)
{
	int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;

	return x < y ? -1 : x > y;
}

/* Supervised wireless devices that were there at that time, as far as the log tells. */
static size_t
supervised_at(const struct view *v, int64_t at)
{
	size_t n = 0;

	for (size_t i = 0; i < v->n_device; i++) {
		const struct device *d = &v->device[i];
		bool later_one = d->learned != NO_TIME && d->learned > at && d->n_event &&
		    v->event[d->event[0]].at > at;

		n += d->wireless && judged(v, d) && !later_one;
	}
	return n;
}

static void
find_window(struct work *w)
{
	const struct view *v = w->v;
	int64_t floor = setting_ms(v, &rule_supervision_loss, "site_floor", -1);
	int64_t *interval = arena_take(w->a, v->n_device * sizeof *interval);
	size_t n = 0;

	for (size_t i = 0; i < v->n_device; i++)
		if (interval_of(w, (int32_t)i))
			interval[n++] = interval_of(w, (int32_t)i);
	if (n)
		qsort(interval, n, sizeof *interval, by_instant);
	w->l->window = n ? interval[n / 2] :
	    setting_ms(v, &rule_supervision_loss, "site_window", -1);
	w->l->window = later(w->l->window, floor);
}

/* The radio as a whole fell silent, and the panel did not: check-ins of enough devices are in
 * the log, all of the site's radio events end where they end, and the panel wrote something
 * a check-in's time later. Where doors and detectors are heard on, it is the export that
 * carries no check-ins any more. */
static bool
is_dark(const struct work *w)
{
	const struct view *v = w->v;
	int64_t radio = NO_TIME, shown = w->n_shown ? w->shown[w->n_shown - 1] : NO_TIME;

	for (size_t i = 0; i < v->n_device; i++)
		if (v->device[i].wireless)
			radio = later(radio, v->device[i].last_heard);
	return shown != NO_TIME && radio <= shown + w->l->window &&
	    v->event[v->n_event - 1].at > radio + w->l->window &&
	    (double)w->n_carried >= w->limits.shown_share * (double)supervised_at(v, v->now);
}

static void
find_shown(struct work *w)
{
	const struct view *v = w->v;

	w->last_row = NO_TIME;
	w->shown = arena_take(w->a, v->n_device * sizeof *w->shown);
	for (size_t i = 0; i < v->n_device; i++) {
		const struct device *d = &v->device[i];
		int64_t at = NO_TIME;

		if (!interval_of(w, (int32_t)i))
			continue;
		for (size_t k = d->n_event; k-- > 0 && at == NO_TIME;) {
			const struct event *ev = &v->event[d->event[k]];

			if (!checkin_shown(v, ev, &w->l->checkin[i]))
				continue;
			at = ev->at;
			if (ev->word == W_CHECK_IN)
				w->last_row = later(w->last_row, at);
		}
		w->shown[w->n_shown++] = at;
		w->n_carried += at != NO_TIME;
	}
	if (w->n_shown)
		qsort(w->shown, w->n_shown, sizeof *w->shown, by_instant);
	w->l->dark = is_dark(w);
	w->l->shown = w->n_shown ? w->shown[w->n_shown - 1] : NO_TIME;
	if (w->l->dark || (w->l->shown != NO_TIME &&
	    view_cover_within(v, w->l->shown, v->now) <= w->l->window))
		w->l->shown = v->now;
}

/* Does the log tell a silence since `from` from check-ins that are not exported? Enough
 * devices have them after that; or enough once had, and either they come to this day, from
 * fewer, or nothing at all comes by radio. */
static bool
log_shows(const struct work *w, int64_t from, bool has_interval)
{
	size_t lo = 0, hi = w->n_shown, all = w->n_shown + !has_interval;

	while (lo < hi) {
		size_t mid = lo + (hi - lo) / 2;

		if (w->shown[mid] <= from)
			lo = mid + 1;
		else
			hi = mid;
	}
	if ((double)(w->n_shown - lo) >= w->limits.shown_share * (double)all)
		return true;
	return w->l->dark || ((double)w->n_carried >= w->limits.shown_share * (double)all &&
	    w->last_row > from &&
	    view_cover_within(w->v, w->last_row, w->v->now) <= w->l->window);
}

/* ---- one device -------------------------------------------------------------- */

static void
push(struct work *w, const struct loss *loss)
{
	w->loss = x_grow(w->loss, &w->cap, w->l->n + 1, sizeof *w->loss);
	w->loss[w->l->n++] = *loss;
}

/* Does a bare `restore` end a loss of supervision? Asked seldom, so worked out late. */
static bool
restores_supervision(struct work *w, uint32_t event)
{
	if (!w->has_state)
		state_of(w->v, w->a, &w->state);
	w->has_state = true;
	return w->state.meant[event] == W_SUPERVISION_RESTORE;
}

/* How a device stands after its last event. */
struct last {
	bool     open;		/* a told loss is */
	int64_t  heard;
	uint32_t heard_event, learn_event;
	bool     since_learn;	/* heard after the last `learn` */
};

static struct last
follow(struct work *w, const uint32_t *event, size_t n, int32_t device)
{
	const struct view *v = w->v;
	struct last last = { .heard = NO_TIME };
	int64_t written = NO_TIME;	/* restore by the panel itself */
	struct loss cur;

	for (size_t k = 0; k < n; k++) {
		const struct event *ev = &v->event[event[k]];
		bool heard = event_is_heard(v, ev), ends = heard;

		switch (ev->word) {
		case W_SUPERVISION_LOSS:
			if (last.open && written != NO_TIME &&
			    view_cover_within(v, written, ev->at) >= w->limits.declares) {
				cur.end = written;
				push(w, &cur);
				last.open = false;
			}
			written = NO_TIME;
			if (last.open)
				continue;
			last.open = true;
			cur = (struct loss){ .sort = LOSS_TOLD, .device = device, .at = ev->at,
				.end = NO_TIME, .gone = last.heard, .event = event[k],
				.still = (ev->marks & MARK_STILL) != 0, .group = -1 };
			continue;
		case W_SUPERVISION_RESTORE:
			if (last.open && (ev->marks & (MARK_WRITTEN | MARK_STILL)) == MARK_WRITTEN) {
				written = ev->at;
				cur.end_event = event[k];
			}
			break;
		case W_RESTORE:
			ends = last.open && restores_supervision(w, event[k]);
			break;
		case W_LEARN:
			ends = !(ev->marks & MARK_STILL);
			last.since_learn &= !ends;
			last.learn_event = event[k];
			break;
		default:
			break;
		}
		if (heard) {
			last.heard = ev->at;
			last.heard_event = event[k];
			last.since_learn = true;
		}
		if (ends && last.open) {
			cur.end = ev->at;
			cur.end_event = event[k];
			push(w, &cur);
			last.open = false;
			written = NO_TIME;
		}
	}
	if (last.open) {
		cur.doubtful = written != NO_TIME;
		if (cur.doubtful &&
		    view_cover_within(v, written, v->now) >= w->limits.declares) {
			cur.end = written;
			cur.doubtful = last.open = false;
		}
		push(w, &cur);
	}
	return last;
}

static long
missed_until(const struct view *v, const struct losses *l, int32_t device, int64_t interval,
    int64_t until)
{
	const struct device *d = &v->device[device];
	int64_t from = later(d->last_heard, l->anew);
	int64_t blur = v->minutes_only ? MINUTE : 0, silence;

	if (!interval || d->last_heard == NO_TIME || from >= until)
		return 0;
	silence = view_cover_within(v, from, until) - blur;
	return silence > 0 ? (long)(silence / interval) : 0;
}

/* Loss that nobody reported: missed check-ins, or not a word since it was learned. */
static void
find_silence(struct work *w, int32_t device, const struct last *last)
{
	const struct view *v = w->v;
	const struct device *d = &v->device[device];
	int64_t interval = interval_of(w, device), from;
	bool never = d->learned != NO_TIME && !last->since_learn;
	struct loss loss = { .device = device, .end = NO_TIME, .group = -1 };

	if (last->open || (is_worn(d) && !interval))
		return;
	if (never) {
		from = later(d->learned, w->l->anew);
		if (view_cover_within(v, from, v->now) < w->limits.never_heard ||
		    !log_shows(w, from + interval, interval > 0))
			return;
		loss.sort = LOSS_NEVER;
		loss.at = from;
		loss.gone = d->learned;
		loss.event = last->learn_event;
	} else {
		if (!interval || last->heard == NO_TIME || w->l->shown == NO_TIME ||
		    (double)missed_until(v, w->l, device, interval, w->l->shown) < w->limits.missed)
			return;
		from = later(last->heard, w->l->anew);
		/* A clock set forward makes all look silent, for one interval at the most. */
		if (!log_shows(w, from + interval, true) || (w->l->clock_set > from &&
		    view_cover_within(v, w->l->clock_set, v->now) < interval))
			return;
		loss.sort = LOSS_SILENT;
		loss.at = from + interval;
		loss.gone = last->heard;
		loss.event = last->heard_event;
	}
	push(w, &loss);
}

/* Last restart or reset clock: what came before says nothing of the time after it. */
static void
find_starts(const struct view *v, struct losses *l)
{
	l->anew = l->clock_set = NO_TIME;
	for (size_t i = 0; i < v->n_event; i++) {
		const struct event *ev = &v->event[i];

		if (ev->marks & MARK_RESET || (ev->word == W_RESTART && !(ev->marks & MARK_STILL)))
			l->anew = ev->at;
		if (ev->word == W_CLOCK_SET)
			l->clock_set = ev->at;
	}
}

long
losses_missed_of(const struct view *v, const struct losses *l, int32_t device, int64_t interval)
{
	return missed_until(v, l, device, interval, l->shown);
}

long
losses_missed(const struct view *v, const struct losses *l, int32_t device)
{
	return losses_missed_of(v, l, device, l->checkin[device].interval);
}

/* ---- together ---------------------------------------------------------------- */

static int
loss_order(const void *pa, const void *pb)
{
	const struct loss *a = *(struct loss *const *)pa, *b = *(struct loss *const *)pb;

	if (a->at != b->at)
		return a->at < b->at ? -1 : 1;
	return a->device < b->device ? -1 : a->device > b->device;
}

static void
sort_by_time(struct work *w)
{
	struct losses *l = w->l;
	struct loss **p = x_calloc(l->n + 1, sizeof *p);

	for (size_t i = 0; i < l->n; i++)
		if (l->loss[i].device >= 0 && l->loss[i].sort != LOSS_NEVER)
			p[l->n_by_time++] = &l->loss[i];
	qsort(p, l->n_by_time, sizeof *p, loss_order);
	l->by_time = arena_take(w->a, l->n_by_time * sizeof *l->by_time);
	for (size_t i = 0; i < l->n_by_time; i++)
		l->by_time[i] = (uint32_t)(p[i] - l->loss);
	free(p);
}

/* A window slides over the losses; windows that qualify and overlap are one group, and
 * what follows within a window of its last loss joins it. */
static void
find_groups(struct work *w)
{
	const struct view *v = w->v;
	struct losses *l = w->l;
	double share = setting_value(v, &rule_supervision_loss, "site_share", -1) / 100;
	double least = setting_value(v, &rule_supervision_loss, "site_least", -1);
	uint32_t *count = arena_take(w->a, v->n_device * sizeof *count);
	size_t lo = 0, distinct = 0, last = 0;	/* last: position of the group's last loss */

	l->group = arena_take(w->a, l->n_by_time * sizeof *l->group);
	for (size_t hi = 0; hi < l->n_by_time; hi++) {
		struct loss *loss = &l->loss[l->by_time[hi]];
		struct loss_group *g = l->n_group ? &l->group[l->n_group - 1] : NULL;
		size_t from = hi;

		distinct += count[loss->device]++ == 0;
		for (; loss->at - l->loss[l->by_time[lo]].at > l->window; lo++)
			distinct -= --count[l->loss[l->by_time[lo]].device] == 0;
		if ((double)distinct >= least &&
		    (double)distinct >= share * (double)supervised_at(v, loss->at)) {
			from = lo;
			if (!g || lo > last) {
				g = &l->group[l->n_group++];
				*g = (struct loss_group){ .from = l->loss[l->by_time[lo]].at,
					.onset = NO_TIME, .silent = true, .back = NO_TIME, .of = supervised_at(v, loss->at) };
			} else {
				from = last + 1;
			}
		} else if (!g || loss->at - g->to > l->window) {
			continue;
		}
		for (last = hi; from <= hi; from++)
			l->loss[l->by_time[from]].group = (int32_t)(l->n_group - 1);
		g->to = loss->at;
	}
}

/* A device that had missed a few check-ins when all fell silent was not lost by then, nor one
 * whose next was due only long after: they went with the site. */
static void
join_late(struct work *w)
{
	struct losses *l = w->l;

	for (size_t k = 0; k < l->n_by_time; k++) {
		struct loss *loss = &l->loss[l->by_time[k]];
		int64_t few;

		if (loss->sort != LOSS_SILENT || loss->group >= 0)
			continue;
		few = (int64_t)((losses_limit(w->v, "missed", loss->device) - 1) *
		    (double)interval_of(w, loss->device));
		for (size_t i = 0; i < l->n_group; i++)
			if (loss->gone <= l->group[i].to && loss->at + few >= l->group[i].from)
				loss->group = (int32_t)i;
	}
}

/* Which groups still stand, and which devices are left to stand for themselves. */
static void
close_groups(struct work *w)
{
	const struct view *v = w->v;
	struct losses *l = w->l;
	int64_t straggler = setting_ms(v, &rule_supervision_loss, "straggler", -1);
	double share = setting_value(v, &rule_supervision_loss, "site_share", -1) / 100;
	double least = setting_value(v, &rule_supervision_loss, "site_least", -1);

	for (size_t i = 0; i < v->n_device; i++) {
		int32_t met = -1;

		for (size_t k = l->first[i]; k < l->first[i + 1]; k++) {
			const struct loss *loss = &l->loss[k];
			struct loss_group *g = loss->group < 0 ? NULL : &l->group[loss->group];

			if (!g)
				continue;
			g->members += loss->group != met;
			met = loss->group;
			g->gone += loss->end == NO_TIME;
			g->back = later(g->back, loss->end);
			if (loss->sort == LOSS_TOLD) {
				g->onset = g->silent || loss->at < g->onset ? loss->at : g->onset;
				g->silent = false;
			} else if (g->silent) {
				g->onset = later(g->onset, loss->gone);
			}
		}
	}
	for (size_t i = 0; i < l->n_group; i++) {
		struct loss_group *g = &l->group[i];
		bool most = (double)g->gone >= least &&
		    (double)g->gone >= share * (double)supervised_at(v, v->now);

		g->open = g->gone &&
		    (most || g->back == NO_TIME || v->now - g->back < straggler);
	}
}

void
losses_find(const struct view *v, struct arena *a, struct losses *out)
{
	struct work w = { .v = v, .a = a, .l = out, .limits = limits_of(v, -1) };
	uint32_t *panel;
	size_t n_panel = 0;

	*out = (struct losses){ 0 };
	find_starts(v, out);
	out->checkin = arena_take(a, v->n_device * sizeof *out->checkin);
	out->first = arena_take(a, (v->n_device + 1) * sizeof *out->first);
	checkin_learn(v, out->checkin);
	find_window(&w);
	find_shown(&w);
	for (size_t i = 0; i < v->n_device; i++) {
		const struct device *d = &v->device[i];

		out->first[i] = out->n;
		if (judged(v, d)) {
			struct last last;

			if (v->n_override)
				w.limits = limits_of(v, (int32_t)i);
			last = follow(&w, d->event, d->n_event, (int32_t)i);
			find_silence(&w, (int32_t)i, &last);
		}
	}
	out->first[v->n_device] = out->n;

	panel = arena_take(a, v->n_event * sizeof *panel);
	for (size_t i = 0; i < v->n_event; i++)
		if (v->event[i].device < 0)
			panel[n_panel++] = (uint32_t)i;
	w.limits = limits_of(v, -1);
	follow(&w, panel, n_panel, -1);

	out->loss = arena_take(a, out->n * sizeof *out->loss);
	if (out->n)
		memcpy(out->loss, w.loss, out->n * sizeof *out->loss);
	free(w.loss);
	if (out->n == 0)
		return;
	sort_by_time(&w);
	find_groups(&w);
	join_late(&w);
	close_groups(&w);
}
