#include "rules/arming.h"

enum test { TEST_WALK, TEST_FIRE, TEST_ON, TEST_COUNT };

/* A partition while the events are followed; [0] stands for rows that name none. */
struct area {
	struct arming_of now;
	int64_t test_end[TEST_COUNT];	/* until when a test runs at the latest; NO_TIME = none */
};

struct follow {
	const struct view *v;
	struct area area[ARMING_AREAS];
	uint32_t    n_area;		/* besides [0] */
	uint32_t    in[ARM_AWAY + 1];	/* how many of them are in each state */
};

static void
set_state(struct follow *f, uint32_t area, enum arm state)
{
	struct arming_of *now = &f->area[area].now;

	if (state >= ARM_STAY && now->state < ARM_STAY)
		now->period++;
	if (state == ARM_AWAY && now->state < ARM_AWAY)
		now->away++;
	if (area) {
		f->in[now->state]--;
		f->in[state]++;
	}
	now->state = (uint8_t)state;
}

static void
arm(struct follow *f, uint32_t area, enum arm state)
{
	enum arm common = ARM_UNKNOWN;

	if (area) {
		set_state(f, area, state);
	} else {
		for (uint32_t i = 1; i <= f->n_area; i++)
			set_state(f, i, state);
	}
	for (enum arm s = ARM_DISARMED; s <= ARM_AWAY; s++)
		if (f->n_area ? f->in[s] == f->n_area : s == state)
			common = s;
	set_state(f, 0, common);
}

static void
test_end(struct follow *f, uint32_t area, enum test t)
{
	f->area[area].test_end[t] = NO_TIME;
	for (uint32_t i = 0; !area && i <= f->n_area; i++)
		f->area[i].test_end[t] = NO_TIME;
	if (f->n_area == 1)
		f->area[0].test_end[t] = NO_TIME;
}

static bool
is_fire(enum kind k)
{
	return k == KIND_SMOKE || k == KIND_HEAT || k == KIND_FLAME || k == KIND_DUCT ||
	    k == KIND_CALL_POINT || k == KIND_WATER_FLOW;
}

/* Is the event of the kind that the test is about? */
static bool
test_suits(const struct view *v, const struct event *ev, enum test t)
{
	const struct device *d = ev->device < 0 ? NULL : &v->device[ev->device];

	switch (t) {
	case TEST_WALK:
		return d && !d->life;
	case TEST_FIRE:
		return ev->word == W_FIRE_ALARM || ev->word == W_HEAT_ALARM || (d && is_fire(d->kind));
	default:
		return true;
	}
}

static bool
in_test(const struct follow *f, const struct event *ev, uint32_t area)
{
	if (!area && f->n_area == 1)
		area = 1;
	for (enum test t = 0; t < TEST_COUNT; t++)
		if ((f->area[0].test_end[t] >= ev->at || f->area[area].test_end[t] >= ev->at) &&
		    test_suits(f->v, ev, t))
			return true;
	return false;
}

static void
follow_word(struct follow *f, const struct event *ev, uint32_t area, int64_t test_max)
{
	switch (ev->word) {
	case W_ARM:             arm(f, area, ARM_AWAY); break;
	case W_ARM_STAY:        arm(f, area, ARM_STAY); break;
	case W_DISARM:          arm(f, area, ARM_DISARMED); break;
	case W_WALK_TEST_BEGIN: f->area[area].test_end[TEST_WALK] = ev->at + test_max; break;
	case W_FIRE_TEST_BEGIN: f->area[area].test_end[TEST_FIRE] = ev->at + test_max; break;
	case W_ON_TEST_BEGIN:   f->area[area].test_end[TEST_ON] = ev->at + test_max; break;
	case W_WALK_TEST_END:   test_end(f, area, TEST_WALK); break;
	case W_FIRE_TEST_END:   test_end(f, area, TEST_FIRE); break;
	case W_ON_TEST_END:     test_end(f, area, TEST_ON); break;
	default: break;
	}
}

static bool
is_learning(enum word w)
{
	return w == W_LEARN || w == W_UNLEARN || w == W_LEARN_HEARD || w == W_LEARN_REFUSED;
}

static void
mark_sessions(const struct view *v, int64_t session_max, struct arming *out)
{
	int64_t session_end = NO_TIME, learn = NO_TIME;

	for (size_t i = 0; i < v->n_event; i++) {
		const struct event *ev = &v->event[i];

		if (ev->word == W_PROGRAM_ENTRY && !(ev->marks & MARK_STILL))
			session_end = ev->at + session_max;
		if (is_learning(ev->word))
			learn = ev->at;
		out->of[i].session = (session_end != NO_TIME && ev->at <= session_end) ||
		    (learn != NO_TIME && ev->at - learn <= ARMING_LEARN);
		if (ev->word == W_PROGRAM_EXIT)
			session_end = NO_TIME;
	}
	learn = NO_TIME;
	for (size_t i = v->n_event; i-- > 0; ) {
		if (is_learning(v->event[i].word))
			learn = v->event[i].at;
		out->of[i].session |= learn != NO_TIME && learn - v->event[i].at <= ARMING_LEARN;
	}
}

/* Somebody was at work then, and wrote it down. */
static void
mark_services(const struct view *v, struct arming *out)
{
	size_t first = 0;

	for (size_t k = 0; k < v->n_service; k++) {
		const struct service_row *s = &v->service[k];
		bool named = *s->zone || *s->serial;
		int32_t device = named ? view_device_find(v, s->zone, s->serial, s->at) : -1;

		if (named && device < 0)
			continue;
		while (first < v->n_event && v->event[first].at < s->at - ARMING_SERVICE)
			first++;
		for (size_t i = first; i < v->n_event && v->event[i].at <= s->at + ARMING_SERVICE; i++) {
			bool here = !named || v->event[i].device == device;

			out->of[i].service |= here && !out->of[i].session;
			out->of[i].session |= here;
		}
	}
}

void
arming_of(const struct view *v, struct arena *a, int64_t test_max, int64_t session_max,
    struct arming *out)
{
	struct follow f = { .v = v };

	f.n_area = v->n_area < ARMING_AREAS ? v->n_area : ARMING_AREAS - 1;
	f.in[ARM_UNKNOWN] = f.n_area;
	for (uint32_t i = 0; i <= f.n_area; i++)
		for (enum test t = 0; t < TEST_COUNT; t++)
			f.area[i].test_end[t] = NO_TIME;
	out->of = arena_take(a, v->n_event * sizeof *out->of);
	for (size_t i = 0; i < v->n_event; i++) {
		const struct event *ev = &v->event[i];
		uint32_t area = v->point[ev->point].area;

		if (!area && ev->device >= 0)
			area = v->device[ev->device].area;
		if (area > f.n_area)
			area = f.n_area;
		out->of[i] = f.area[area].now;
		out->of[i].test = in_test(&f, ev, area);
		if (!(ev->marks & MARK_STILL))
			follow_word(&f, ev, area, test_max);
	}
	mark_sessions(v, session_max, out);
	mark_services(v, out);
	out->end = arena_take(a, (v->n_area + 1) * sizeof *out->end);
	for (uint32_t i = 0; i <= v->n_area; i++)
		out->end[i] = f.area[i < f.n_area ? i : f.n_area].now;
}
