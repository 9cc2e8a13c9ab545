/* state.c - how every device and the site stand at the view's "now". */
#include "rules/state.h"

#include <stdlib.h>
#include <string.h>

#include "rules/activation.h"

#define BIT(c) (UINT32_C(1) << (c))

/* The input is back at rest, whichever word says so. */
#define INPUT (BIT(COND_OPEN) | BIT(COND_ALARM))
#define TESTS (BIT(COND_WALK_TEST) | BIT(COND_FIRE_TEST) | BIT(COND_ON_TEST))
/* Always the panel's, also where a row names a zone or a user beside them. */
#define PANEL_ONLY (BIT(COND_PANEL_BATTERY) | BIT(COND_MODULE) | BIT(COND_COMM) | \
	BIT(COND_JAM) | BIT(COND_PROGRAMMING) | TESTS)
/* Never ended by a bare `restore`. */
#define NAMED_END (BIT(COND_BYPASS) | BIT(COND_PROGRAMMING) | TESTS)

static const struct effect {
	uint32_t begins, ends;
} effects[WORD_COUNT] = {
	[W_ZONE_OPEN]                = { .begins = BIT(COND_OPEN) },
	[W_TRIP]                     = { .begins = BIT(COND_OPEN) },
	[W_ZONE_CLOSE]               = { .ends = INPUT },
	[W_CLEAR]                    = { .ends = INPUT },
	[W_BURGLARY_ALARM]           = { .begins = BIT(COND_ALARM) },
	[W_FIRE_ALARM]               = { .begins = BIT(COND_ALARM) },
	[W_HEAT_ALARM]               = { .begins = BIT(COND_ALARM) },
	[W_CO_ALARM]                 = { .begins = BIT(COND_ALARM) },
	[W_GAS_ALARM]                = { .begins = BIT(COND_ALARM) },
	[W_WATER_ALARM]              = { .begins = BIT(COND_ALARM) },
	[W_MEDICAL_ALARM]            = { .begins = BIT(COND_ALARM) },
	[W_PANIC_ALARM]              = { .begins = BIT(COND_ALARM) },
	[W_HOLD_UP_ALARM]            = { .begins = BIT(COND_ALARM) },
	[W_DURESS_ALARM]             = { .begins = BIT(COND_ALARM) },
	[W_ALARM]                    = { .begins = BIT(COND_ALARM) },
	[W_ALARM_RESTORE]            = { .ends = INPUT },
	[W_TAMPER]                   = { .begins = BIT(COND_TAMPER) },
	[W_TAMPER_RESTORE]           = { .ends = BIT(COND_TAMPER) },
	[W_LOW_BATTERY]              = { .begins = BIT(COND_BATTERY) },
	[W_BATTERY_RESTORE]          = { .ends = BIT(COND_BATTERY) },
	[W_CELL_REPLACED]            = { .ends = BIT(COND_BATTERY) },
	[W_SUPERVISION_LOSS]         = { .begins = BIT(COND_LOST) },
	[W_SUPERVISION_RESTORE]      = { .ends = BIT(COND_LOST) },
	[W_LEARN]                    = { .ends = BIT(COND_LOST) },
	[W_TROUBLE]                  = { .begins = BIT(COND_TROUBLE) },
	[W_SENSITIVITY]              = { .begins = BIT(COND_TROUBLE) },
	[W_TROUBLE_RESTORE]          = { .ends = BIT(COND_TROUBLE) },
	[W_END_OF_LIFE]              = { .begins = BIT(COND_END_OF_LIFE) },
	[W_FIRE_SUPERVISORY]         = { .begins = BIT(COND_SUPERVISORY) },
	[W_FIRE_SUPERVISORY_RESTORE] = { .ends = BIT(COND_SUPERVISORY) },
	[W_BYPASS]                   = { .begins = BIT(COND_BYPASS) },
	[W_UNBYPASS]                 = { .ends = BIT(COND_BYPASS) },
	[W_SOUNDER_TROUBLE]          = { .begins = BIT(COND_SOUNDER) },
	[W_SOUNDER_RESTORE]          = { .ends = BIT(COND_SOUNDER) },
	[W_POWER_LOSS]               = { .begins = BIT(COND_POWER) },
	[W_POWER_RESTORE]            = { .ends = BIT(COND_POWER) },
	[W_PANEL_BATTERY_LOW]        = { .begins = BIT(COND_PANEL_BATTERY) },
	[W_PANEL_BATTERY_RESTORE]    = { .ends = BIT(COND_PANEL_BATTERY) },
	[W_MODULE_LOSS]              = { .begins = BIT(COND_MODULE) },
	[W_MODULE_RESTORE]           = { .ends = BIT(COND_MODULE) },
	[W_COMM_LOSS]                = { .begins = BIT(COND_COMM) },
	[W_COMM_RESTORE]             = { .ends = BIT(COND_COMM) },
	[W_JAM]                      = { .begins = BIT(COND_JAM) },
	[W_JAM_CLEAR]                = { .ends = BIT(COND_JAM) },
	[W_PROGRAM_ENTRY]            = { .begins = BIT(COND_PROGRAMMING) },
	[W_PROGRAM_EXIT]             = { .ends = BIT(COND_PROGRAMMING) },
	[W_WALK_TEST_BEGIN]          = { .begins = BIT(COND_WALK_TEST) },
	[W_WALK_TEST_END]            = { .ends = BIT(COND_WALK_TEST) },
	[W_FIRE_TEST_BEGIN]          = { .begins = BIT(COND_FIRE_TEST) },
	[W_FIRE_TEST_END]            = { .ends = BIT(COND_FIRE_TEST) },
	[W_ON_TEST_BEGIN]            = { .begins = BIT(COND_ON_TEST) },
	[W_ON_TEST_END]              = { .ends = BIT(COND_ON_TEST) },
};

/* What a bare `restore` is called once it is known what it ends. */
static const uint16_t end_word[COND_COUNT] = {
	[COND_OPEN]          = W_ZONE_CLOSE,
	[COND_ALARM]         = W_ALARM_RESTORE,
	[COND_TAMPER]        = W_TAMPER_RESTORE,
	[COND_BATTERY]       = W_BATTERY_RESTORE,
	[COND_LOST]          = W_SUPERVISION_RESTORE,
	[COND_TROUBLE]       = W_TROUBLE_RESTORE,
	[COND_END_OF_LIFE]   = W_TROUBLE_RESTORE,
	[COND_SUPERVISORY]   = W_FIRE_SUPERVISORY_RESTORE,
	[COND_SOUNDER]       = W_SOUNDER_RESTORE,
	[COND_POWER]         = W_POWER_RESTORE,
	[COND_PANEL_BATTERY] = W_PANEL_BATTERY_RESTORE,
	[COND_MODULE]        = W_MODULE_RESTORE,
	[COND_COMM]          = W_COMM_RESTORE,
	[COND_JAM]           = W_JAM_CLEAR,
};

struct pass {
	const struct view    *v;
	struct state         *s;
	struct panel_holding *open;	/* heap; in the order they began */
	size_t                n_open, cap_open;
	bool                  keeps;	/* what ended */
	struct state_time    *past;	/* heap */
	size_t                n_past, cap_past;
};

const char *
condition_text(enum condition c)
{
	static const char *const text[] = {
#define X(id, words) words,
		CONDITION_LIST(X)
#undef X
	};

	return text[c];
}

static enum condition
lowest(uint32_t conditions)
{
	return (enum condition)__builtin_ctz(conditions);
}

/* What a bare `restore` ends of the conditions that hold; 0 = it cannot be told. */
static uint32_t
restored(uint32_t holds, bool *unclear)
{
	if (holds & INPUT)
		return holds & INPUT;
	holds &= ~NAMED_END;
	*unclear = holds & (holds - 1);
	return *unclear ? 0 : holds;
}

static struct holding
begun(const struct pass *p, uint32_t i)
{
	return (struct holding){ .since = p->v->event[i].at, .event = i,
		.before = (p->v->event[i].marks & MARK_STILL) != 0 };
}

static void
keep(struct pass *p, int32_t device, enum condition what, const struct holding *h, int64_t to)
{
	if (!p->keeps || h->since == NO_TIME)
		return;
	p->past = x_grow(p->past, &p->cap_past, p->n_past + 1, sizeof *p->past);
	p->past[p->n_past++] = (struct state_time){ .device = device, .what = what,
		.from = h->since, .to = to, .before = h->before };
}

/* ---- the panel ------------------------------------------------------------- */

/* Tests and programming sessions are not a module's; a user number is no module. */
static const char *
panel_zone(const struct pass *p, const struct event *ev, enum condition c)
{
	bool plain = (BIT(c) & (TESTS | BIT(COND_PROGRAMMING))) || (ev->marks & MARK_USER);

	return plain ? "" : p->v->point[ev->point].zone_key;
}

static bool
panel_same(const struct pass *p, const struct panel_holding *h, const struct event *ev)
{
	const struct event *began = &p->v->event[h->holding.event];

	if (BIT(h->what) & TESTS)
		return strcmp(p->v->point[began->point].partition_key,
		    p->v->point[ev->point].partition_key) == 0;
	return strcmp(panel_zone(p, began, h->what), panel_zone(p, ev, h->what)) == 0;
}

static void
panel_begin(struct pass *p, uint32_t i, enum condition c)
{
	const struct event *ev = &p->v->event[i];
	const struct point *pt = &p->v->point[ev->point];

	if (c == COND_ALARM && (ev->marks & MARK_USER))
		return;
	for (size_t k = 0; k < p->n_open; k++)
		if (p->open[k].what == c && panel_same(p, &p->open[k], ev))
			return;
	p->open = x_grow(p->open, &p->cap_open, p->n_open + 1, sizeof *p->open);
	p->open[p->n_open++] = (struct panel_holding){
		.what = c,
		.zone = *panel_zone(p, ev, c) ? pt->zone : "",
		.partition = BIT(c) & TESTS ? pt->partition : "",
		.holding = begun(p, i),
	};
}

static void
panel_end(struct pass *p, uint32_t i, uint32_t ends)
{
	const struct event *ev = &p->v->event[i];
	bool everywhere = !*p->v->point[ev->point].partition_key;
	size_t kept = 0;

	for (size_t k = 0; k < p->n_open; k++) {
		const struct panel_holding *h = &p->open[k];

		if ((BIT(h->what) & ends) &&
		    (((BIT(h->what) & TESTS) && everywhere) || panel_same(p, h, ev))) {
			keep(p, -1, h->what, &h->holding, ev->at);
			continue;
		}
		p->open[kept++] = *h;
	}
	p->n_open = kept;
}

static uint32_t
panel_holds(const struct pass *p, const struct event *ev)
{
	uint32_t holds = 0;

	for (size_t k = 0; k < p->n_open; k++)
		if (panel_same(p, &p->open[k], ev))
			holds |= BIT(p->open[k].what);
	return holds;
}

static void
panel_event(struct pass *p, uint32_t i)
{
	const struct event *ev = &p->v->event[i];
	const struct effect *e = &effects[ev->word];

	if (ev->word == W_RESTORE && !(ev->marks & MARK_STILL)) {
		bool unclear = false;
		uint32_t ends = restored(panel_holds(p, ev), &unclear);

		p->s->unclear += unclear;
		if (ends) {
			p->s->meant[i] = end_word[lowest(ends)];
			panel_end(p, i, ends);
		}
		return;
	}
	if (e->begins)
		panel_begin(p, i, lowest(e->begins));
	if (e->ends && !(ev->marks & MARK_STILL))
		panel_end(p, i, e->ends);
}

static void
arm_event(struct pass *p, struct arena *a, uint32_t i)
{
	const struct event *ev = &p->v->event[i];
	const struct point *pt = &p->v->point[ev->point];
	struct state *s = p->s;
	size_t k = 0;

	while (k < s->n_arm && strcmp(s->arm[k].partition_key, pt->partition_key) != 0)
		k++;
	if (k == s->n_arm) {
		/* Partitions are few: one more at a time. */
		struct arm_state *more = arena_take(a, (k + 1) * sizeof *more);

		if (k)
			memcpy(more, s->arm, k * sizeof *more);
		s->arm = more;
		s->n_arm++;
		more[k].partition = pt->partition;
		more[k].partition_key = pt->partition_key;
		more[k].word = W_OTHER;
	}
	if (s->arm[k].word == ev->word)
		return;
	s->arm[k].word = ev->word;
	s->arm[k].since = ev->at;
	s->arm[k].event = i;
}

/* ---- devices --------------------------------------------------------------- */

static uint32_t
device_holds(const struct device_state *d)
{
	uint32_t holds = 0;

	for (int c = 0; c < COND_COUNT; c++)
		if (d->cond[c].since != NO_TIME)
			holds |= BIT(c);
	return holds;
}

static void
device_end(struct pass *p, int32_t device, uint32_t ends, int64_t at)
{
	for (; ends; ends &= ends - 1) {
		struct holding *h = &p->s->device[device].cond[lowest(ends)];

		keep(p, device, lowest(ends), h, at);
		h->since = NO_TIME;
	}
}

/* A bypass is the zone's: the serial on it may have changed in between. */
static void
unbypass(struct pass *p, int32_t device, int64_t at)
{
	const struct device *d = &p->v->device[device];

	for (size_t k = 0; *d->zone_key && k < p->v->n_device; k++)
		if (strcmp(p->v->device[k].zone_key, d->zone_key) == 0 &&
		    strcmp(p->v->device[k].partition, d->partition) == 0)
			device_end(p, (int32_t)k, BIT(COND_BYPASS), at);
	device_end(p, device, BIT(COND_BYPASS), at);
}

static void
device_event(struct pass *p, uint32_t i)
{
	const struct event *ev = &p->v->event[i];
	const struct effect *e = &effects[ev->word];
	struct device_state *d = &p->s->device[ev->device];
	uint32_t ends = e->ends;

	if (event_is_heard(p->v, ev)) {
		d->last_heard = ev->at;
		d->last_event = i;
		ends |= BIT(COND_LOST);
	}
	if (ev->word == W_RESTORE) {
		bool unclear = false;

		ends |= restored(device_holds(d), &unclear);
		if (unclear) {
			d->unclear += d->unclear < UINT16_MAX;
			p->s->unclear++;
		} else if (ends) {
			p->s->meant[i] = end_word[lowest(ends)];
		}
	}
	if (e->begins && d->cond[lowest(e->begins)].since == NO_TIME)
		d->cond[lowest(e->begins)] = begun(p, i);
	if (ev->marks & MARK_STILL)
		return;
	if (ev->word == W_TROUBLE_RESTORE && d->cond[COND_TROUBLE].since == NO_TIME)
		ends |= BIT(COND_END_OF_LIFE);
	device_end(p, ev->device, ends, ev->at);
	if (ev->word == W_UNBYPASS)
		unbypass(p, ev->device, ev->at);
}

static int64_t
local_day(int64_t at, int32_t offset)
{
	return (at + offset * SECOND) / DAY;
}

/* A tamper restore of the panel that names no zone, with no tamper of the panel open: it ends
 * the only open tamper of a zone. What is or may be life safety it leaves, as unclear. */
static void
tamper_end_unnamed(struct pass *p, uint32_t i)
{
	const struct view *v = p->v;
	const struct point *pt = &v->point[v->event[i].point];
	const struct device *found = NULL;
	int32_t only = -1;

	for (size_t k = 0; k < v->n_device; k++) {
		const struct device *d = &v->device[k];

		if (p->s->device[k].cond[COND_TAMPER].since == NO_TIME ||
		    (pt->area && d->area && pt->area != d->area))
			continue;
		if (found)
			return;
		found = d;
		only = (int32_t)k;
	}
	if (found && (found->life || found->maybe_life)) {
		p->s->device[only].unclear += p->s->device[only].unclear < UINT16_MAX;
		p->s->unclear++;
	} else if (found) {
		device_end(p, only, BIT(COND_TAMPER), v->event[i].at);
	}
}

/* ---- all ------------------------------------------------------------------- */

static void
site_event(struct pass *p, struct arena *a, uint32_t i)
{
	const struct event *ev = &p->v->event[i];

	if (ev->marks & MARK_STILL)
		return;
	switch (ev->word) {
	case W_ARM:
	case W_ARM_STAY:
	case W_DISARM:
		arm_event(p, a, i);
		break;
	case W_LOG_CLEARED:
		p->s->log_cleared = ev->at;
		break;
	case W_LOG_OVERFLOW:
		p->s->log_overflow = ev->at;
		break;
	case W_CLOCK_SET:
		p->s->clock_set = ev->at;
		break;
	case W_RESTART:
		p->s->restart = ev->at;
		break;
	default:
		break;
	}
}

static void
devices_init(struct state *s, size_t n)
{
	for (size_t i = 0; i < n; i++) {
		for (int c = 0; c < COND_COUNT; c++)
			s->device[i].cond[c].since = NO_TIME;
		s->device[i].last_heard = NO_TIME;
	}
}

/* What a device that is no more left behind, its zone's bypass aside. */
static void
forget_replaced(struct pass *p)
{
	const struct view *v = p->v;
	struct state *s = p->s;

	for (size_t i = 0; i < v->n_device; i++)
		for (int c = 0; c < COND_COUNT; c++)
			if (v->device[i].unlearned != NO_TIME && c != COND_BYPASS &&
			    s->device[i].cond[c].since <= v->device[i].unlearned)
				device_end(p, (int32_t)i, BIT(c), v->device[i].unlearned);
}

static void
publish_open(struct pass *p, struct arena *a)
{
	struct state *s = p->s;

	s->open = arena_take(a, p->n_open * sizeof *s->open);
	for (int c = 0; c < COND_COUNT; c++)
		for (size_t k = 0; k < p->n_open; k++)
			if ((int)p->open[k].what == c)
				s->open[s->n_open++] = p->open[k];
}

static void
follow(struct pass *p, struct arena *a)
{
	const struct view *v = p->v;
	struct state *out = p->s;

	*out = (struct state){ .log_cleared = NO_TIME, .log_overflow = NO_TIME,
		.clock_set = NO_TIME, .restart = NO_TIME };
	out->device = arena_take(a, v->n_device * sizeof *out->device);
	out->meant = arena_take(a, v->n_event * sizeof *out->meant);
	devices_init(out, v->n_device);
	for (size_t i = 0; i < v->n_event; i++) {
		const struct event *ev = &v->event[i];

		out->meant[i] = ev->word;
		site_event(p, a, (uint32_t)i);
		if (ev->device < 0 && ev->word == W_TAMPER_RESTORE && !(ev->marks & MARK_STILL) &&
		    !*v->point[ev->point].zone_key && !(panel_holds(p, ev) & BIT(COND_TAMPER)))
			tamper_end_unnamed(p, (uint32_t)i);
		else if (ev->device < 0 ||
		    ((effects[ev->word].begins | effects[ev->word].ends) & PANEL_ONLY))
			panel_event(p, (uint32_t)i);
		else
			device_event(p, (uint32_t)i);
	}
	forget_replaced(p);
	publish_open(p, a);
	free(p->open);
}

void
state_of(const struct view *v, struct arena *a, struct state *out)
{
	struct pass p = { .v = v, .s = out };

	follow(&p, a);
}

void
state_past(const struct view *v, struct arena *a, struct state_times *out)
{
	struct arena own = { 0 };	/* the state itself is not asked for */
	struct state s;
	struct pass p = { .v = v, .s = &s, .keeps = true };

	follow(&p, &own);
	for (size_t i = 0; i < v->n_device; i++)
		for (int c = 0; c < COND_COUNT; c++)
			keep(&p, (int32_t)i, (enum condition)c, &s.device[i].cond[c], NO_TIME);
	for (size_t i = 0; i < s.n_open; i++)
		keep(&p, -1, s.open[i].what, &s.open[i].holding, NO_TIME);
	out->n = p.n_past;
	out->one = arena_keep(a, p.past, p.n_past, sizeof *p.past);
	arena_release(&own);
}

void
state_days(const struct view *v, int32_t device, unsigned day[STATE_DAYS])
{
	int32_t offset = v->n_event ? v->event[v->n_event - 1].offset : 0;
	int64_t today = local_day(v->now, offset);
	struct activations list = { 0 };

	memset(day, 0, STATE_DAYS * sizeof *day);
	activations_of(v, device, v->now - (STATE_DAYS + 1) * DAY, &list);
	for (size_t i = 0; i < list.n; i++) {
		const struct event *ev = &v->event[list.one[i].event];
		int64_t ago = today - local_day(ev->at, ev->offset);

		if (ago >= 0 && ago < STATE_DAYS)
			day[STATE_DAYS - 1 - ago]++;
	}
	activations_release(&list);
}

const struct panel_holding *
state_open(const struct state *s, enum condition what)
{
	for (size_t i = 0; i < s->n_open; i++)
		if (s->open[i].what == what)
			return &s->open[i];
	return NULL;
}
