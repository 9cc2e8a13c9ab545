#include "rules/session.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/serial.h"
#include "rules/rule.h"

extern const struct rule rule_learn_mismatch;	/* its settings hold for all who read sessions */

enum { LOOK_BACK = 1000 };	/* entries among which the same serial is looked for */

/* Lists grow in the arena; what is outgrown stays there until the view is released. */
static void *
room(struct arena *a, void *list, size_t n, size_t item)
{
	void *p;

	if (n >= 4 ? n & (n - 1) : n)
		return list;	/* filled to 4, 8, 16 ... only */
	p = arena_take(a, (n < 4 ? 4 : 2 * n) * item);
	if (n)
		memcpy(p, list, n * item);
	return p;
}

static bool
names_serial(const struct view *v, const struct event *ev)
{
	return *v->point[ev->point].serial_key || v->point[ev->point].serial_unreadable;
}

bool
session_accepts(const struct view *v, const struct event *ev)
{
	if (ev->marks & MARK_STILL)
		return false;
	return ev->word == W_LEARN || (ev->word == W_DEVICE_ADDED && names_serial(v, ev));
}

bool
session_removes(const struct view *v, const struct event *ev)
{
	if (ev->marks & MARK_STILL)
		return false;
	return ev->word == W_UNLEARN || (ev->word == W_DEVICE_REMOVED && names_serial(v, ev));
}

/* Events that can begin a session of which no entry was logged. */
static bool
is_learning(const struct view *v, const struct event *ev)
{
	return ev->word == W_LEARN_HEARD || ev->word == W_LEARN_REFUSED || session_accepts(v, ev)
	    || session_removes(v, ev);
}

static bool
is_programming(const struct view *v, const struct event *ev)
{
	if (ev->marks & MARK_STILL)
		return false;
	switch (ev->word) {
	case W_PROGRAM_ENTRY:
	case W_PROGRAM_EXIT:
	case W_PROGRAMMING_CHANGED:
	case W_DEVICE_ADDED:
	case W_DEVICE_REMOVED:
		return true;
	default:
		return is_learning(v, ev);
	}
}

static void
item_add(struct view *v, struct session_item **list, size_t *n, uint32_t index)
{
	const struct event *ev = &v->event[index];
	const struct point *p = &v->point[ev->point];
	bool is_zone = !(ev->marks & (MARK_USER | MARK_PANEL));
	struct session_item it = { .event = index, .times = 1, .at = ev->at,
		.device = ev->device, .serial = p->serial, .key = p->serial_key,
		.zone = is_zone ? p->zone : "", .zone_key = is_zone ? p->zone_key : "",
		.unreadable = p->serial_unreadable };
	enum serial_fault fault;

	for (size_t i = *n > LOOK_BACK ? *n - LOOK_BACK : 0; i < *n; i++) {
		struct session_item *old = &(*list)[i];

		if (strcmp(old->key, it.key) == 0 && strcmp(old->zone_key, it.zone_key) == 0
		    && (*it.key || strcmp(old->serial, it.serial) == 0)) {
			old->event = index;
			old->at = it.at;
			old->times++;
			return;
		}
	}
	it.plain = serial_plain(&v->arena, span_of(p->serial), &fault);
	*list = room(&v->arena, *list, *n, sizeof **list);
	(*list)[(*n)++] = it;
}

static void
wait_end(struct session *s, int64_t at, bool answered)
{
	struct session_wait *w = s->n_wait ? &s->wait[s->n_wait - 1] : NULL;

	if (w && w->to == NO_TIME) {
		w->to = at;
		w->answered = answered;
	}
}

static void
session_event(struct view *v, struct session *s, uint32_t index)
{
	const struct event *ev = &v->event[index];

	s->last = ev->at;
	s->past = index + 1;
	s->entered |= ev->word == W_PROGRAM_ENTRY;
	if (ev->word == W_LEARN_HEARD) {
		wait_end(s, ev->at, false);
		item_add(v, &s->heard, &s->n_heard, index);
		s->wait = room(&v->arena, s->wait, s->n_wait, sizeof *s->wait);
		s->wait[s->n_wait++] = (struct session_wait){ ev->at, NO_TIME, index,
			v->point[ev->point].serial, false };
	} else if (ev->word == W_LEARN_REFUSED) {
		wait_end(s, ev->at, true);
		item_add(v, &s->refused, &s->n_refused, index);
	} else if (session_accepts(v, ev)) {
		wait_end(s, ev->at, true);
		item_add(v, &s->accepted, &s->n_accepted, index);
	} else if (session_removes(v, ev)) {
		item_add(v, &s->unlearned, &s->n_unlearned, index);
	} else if (ev->word == W_PROGRAM_EXIT) {
		s->end = ev->at;
	}
}

/* Nothing more belongs to it. */
static void
session_settle(struct session *s)
{
	if (s->end == NO_TIME && !s->entered)
		s->end = s->last;
	wait_end(s, s->last, false);
}

static int
visit_order(const void *a, const void *b)
{
	const struct visit *x = a, *y = b;

	if (x->from != y->from)
		return x->from < y->from ? -1 : 1;
	return x->to < y->to ? -1 : x->to > y->to;
}

static void
find_visits(struct view *v, struct sessions *out)
{
	size_t n = 0;

	out->visit = arena_take(&v->arena, v->n_plan * sizeof *out->visit);
	for (size_t i = 0; i < v->n_plan; i++)
		out->visit[i] = (struct visit){ v->plan[i].from, v->plan[i].to, 1, 0, NO_TIME };
	if (v->n_plan)
		qsort(out->visit, v->n_plan, sizeof *out->visit, visit_order);
	for (size_t i = 0; i < v->n_plan; i++) {
		if (n && visit_order(&out->visit[n - 1], &out->visit[i]) == 0)
			out->visit[n - 1].n_plan++;
		else
			out->visit[n++] = out->visit[i];
	}
	out->n_visit = n;
}

/* How far a session lies outside a visit; 0 = they overlap. */
static int64_t
apart(const struct session *s, const struct visit *w)
{
	if (s->last < w->from)
		return w->from - s->last;
	return s->begin > w->to ? s->begin - w->to : 0;
}

static void
give_visits(struct view *v, struct sessions *out)
{
	int64_t near = setting_ms(v, &rule_learn_mismatch, "near", -1);

	for (size_t i = 0; i < out->n; i++) {
		struct session *s = &out->session[i];
		int64_t best = near;

		s->visit = -1;
		for (size_t k = 0; k < out->n_visit; k++) {
			int64_t far = apart(s, &out->visit[k]);

			/* Of overlapping windows the latest: the one planned for it. */
			if (far < best || (far == best && (far == 0 || s->visit < 0))) {
				best = far;
				s->visit = (int32_t)k;
			}
		}
		if (s->visit >= 0)
			out->visit[s->visit].n_session++;
	}
	for (size_t k = 0; k < out->n_visit; k++) {
		bool open = false;

		for (size_t i = 0; i < out->n; i++) {
			const struct session *s = &out->session[i];

			if (s->visit != (int32_t)k)
				continue;
			open |= s->end == NO_TIME;
			if (s->end != NO_TIME && s->end > out->visit[k].last_end)
				out->visit[k].last_end = s->end;
		}
		if (open)
			out->visit[k].last_end = NO_TIME;
	}
}

void
sessions_find(struct view *v, struct sessions *out)
{
	int64_t gap = setting_ms(v, &rule_learn_mismatch, "gap", -1);
	int64_t longest = setting_ms(v, &rule_learn_mismatch, "open", -1);
	struct session *s = NULL;	/* the one that is open */

	*out = (struct sessions){ 0 };
	for (size_t i = 0; i < v->n_event; i++) {
		const struct event *ev = &v->event[i];
		int64_t idle;

		if (!is_programming(v, ev))
			continue;
		if (s) {
			idle = ev->at - s->last;
			if (idle > (s->entered && ev->word != W_PROGRAM_ENTRY ? longest : gap)) {
				session_settle(s);
				s = NULL;
			}
		}
		if (!s) {
			if (ev->word != W_PROGRAM_ENTRY && !is_learning(v, ev))
				continue;
			out->session = room(&v->arena, out->session, out->n, sizeof *out->session);
			s = &out->session[out->n++];
			*s = (struct session){ .begin = ev->at, .end = NO_TIME, .first = (uint32_t)i,
				.visit = -1 };
		}
		session_event(v, s, (uint32_t)i);
		if (s->end != NO_TIME) {
			session_settle(s);
			s = NULL;
		}
	}
	if (s)
		session_settle(s);
	find_visits(v, out);
	give_visits(v, out);
}

const struct session_item *
session_item_find(const struct session_item *item, size_t n, const char *key)
{
	for (size_t i = 0; *key && i < n; i++)
		if (strcmp(item[i].key, key) == 0)
			return &item[i];
	return NULL;
}

int64_t
session_waited(const struct session *s)
{
	int64_t sum = 0;

	for (size_t i = 0; i < s->n_wait; i++)
		sum += s->wait[i].to - s->wait[i].from;
	return sum;
}

int32_t
visit_of_plan(const struct sessions *all, const struct plan_row *p)
{
	struct visit key = { .from = p->from, .to = p->to };
	const struct visit *found = bsearch(&key, all->visit, all->n_visit, sizeof key,
	    visit_order);

	assert(found);
	return (int32_t)(found - all->visit);
}
