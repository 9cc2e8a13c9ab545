#include "rules/verdict.h"

#include <stdlib.h>
#include <string.h>

#include "daemon/base/serial.h"
#include "rules/match.h"
#include "rules/rule.h"
#include "rules/verdict_words.h"

extern const struct rule rule_learn_mismatch;

enum { MATCH_MOST = 256 };	/* serials of one session that are compared with each other */

/* A serial that plan or roster names. */
struct expected {
	const char *key, *plain, *zone_key;
	const struct plan_row   *plan;		/* one of the two */
	const struct roster_row *roster;
};

struct context {
	struct view           *v;
	const struct sessions *all;
	struct verdicts       *out;
	struct expected       *expected;	/* by key; plan rows first, then roster versions */
	size_t                 n_expected;
	int64_t                near;
};

/* ---- what is expected ------------------------------------------------------ */

static int
expected_order(const void *a, const void *b)
{
	const struct expected *x = a, *y = b;
	int c = strcmp(x->key, y->key);

	if (c)
		return c;
	if (!x->plan != !y->plan)
		return x->plan ? -1 : 1;
	return x->plan ? (x->plan > y->plan) - (x->plan < y->plan)
	    : (x->roster > y->roster) - (x->roster < y->roster);
}

static void
expect(struct context *c, const char *serial, const char *zone, const struct plan_row *plan,
    const struct roster_row *roster)
{
	struct arena *a = &c->v->arena;
	enum serial_fault fault;
	const char *plain = serial_plain(a, span_of(serial), &fault);

	if (*plain)
		c->expected[c->n_expected++] = (struct expected){ plain + strspn(plain, "0"),
			plain, number_key(a, span_of(zone)), plan, roster };
}

static void
find_expected(struct context *c)
{
	struct view *v = c->v;

	c->expected = arena_take(&v->arena, (v->n_plan + v->n_roster) * sizeof *c->expected);
	for (size_t i = 0; i < v->n_plan; i++)
		expect(c, v->plan[i].serial, v->plan[i].zone, &v->plan[i], NULL);
	for (size_t i = 0; i < v->n_roster; i++)
		expect(c, v->roster[i].serial, v->roster[i].zone, NULL, &v->roster[i]);
	if (c->n_expected)
		qsort(c->expected, c->n_expected, sizeof *c->expected, expected_order);
}

/* The rows of one serial: c->expected[*i ..], while their key is this one. */
static size_t
expected_first(const struct context *c, const char *key)
{
	size_t lo = 0, hi = c->n_expected;

	while (lo < hi) {
		size_t mid = lo + (hi - lo) / 2;

		if (strcmp(c->expected[mid].key, key) < 0)
			lo = mid + 1;
		else
			hi = mid;
	}
	return lo;
}

static bool
expected_is(const struct context *c, size_t i, const char *key)
{
	return i < c->n_expected && strcmp(c->expected[i].key, key) == 0;
}

/* A row of the newest roster version older than `before`; NULL = there is none. */
static const struct roster_row *
roster_before(const struct view *v, int64_t before)
{
	const struct roster_row *best = NULL;

	for (size_t i = 0; i < v->n_roster; i++) {
		const struct roster_row *r = &v->roster[i];

		if (r->as_of < before && (!best || r->as_of > best->as_of
		    || (r->as_of == best->as_of && r->version > best->version)))
			best = r;
	}
	return best;
}

/* Is this row a plan's, or one of the roster version `version` as it was before `s`? */
static bool
is_older(const struct context *c, size_t i, const struct roster_row *version,
    const struct session *s)
{
	const struct roster_row *r = c->expected[i].roster;

	return !r || (version && r->version == version->version && r->as_of < s->begin);
}

/* ---- what the log says of one serial --------------------------------------- */

static const char *
event_zone(const struct view *v, const struct event *ev)
{
	return ev->marks & (MARK_USER | MARK_PANEL) ? "" : v->point[ev->point].zone_key;
}

/* The first row after `event` that takes the item out: of its zone, or altogether. */
static const struct event *
removed_after(const struct view *v, const struct session_item *it)
{
	const struct device *d = it->device < 0 ? NULL : &v->device[it->device];

	for (size_t i = 0; d && i < d->n_event; i++) {
		const struct event *ev = &v->event[d->event[i]];
		const char *zone = event_zone(v, ev);

		if (d->event[i] > it->event && session_removes(v, ev)
		    && (!*zone || !*it->zone_key || strcmp(zone, it->zone_key) == 0))
			return ev;
	}
	return NULL;
}

/* Another zone where the panel has this serial while it is accepted; NULL if none. */
static const char *
lives_elsewhere(const struct context *c, const struct session *s, const struct session_item *it,
    const struct roster_row *version)
{
	const struct view *v = c->v;
	const struct device *d = it->device < 0 ? NULL : &v->device[it->device];
	const char *other = NULL;
	int64_t since = NO_TIME;

	for (size_t i = expected_first(c, it->key); expected_is(c, i, it->key); i++) {
		const struct expected *x = &c->expected[i];

		if (x->roster && is_older(c, i, version, s) && *x->zone_key
		    && strcmp(x->zone_key, it->zone_key) != 0) {
			other = x->zone_key;
			since = x->roster->as_of;
		}
	}
	for (size_t i = 0; d && i < d->n_event && d->event[i] < s->past; i++) {
		const struct event *ev = &v->event[d->event[i]];
		const char *zone = event_zone(v, ev);

		if (session_accepts(v, ev) && d->event[i] < it->event) {
			if (*zone && strcmp(zone, it->zone_key) != 0)
				other = zone;
		} else if (session_removes(v, ev) && other && ev->at >= since
		    && (strcmp(zone, other) == 0 || (!*zone && d->event[i] < it->event))) {
			other = NULL;
		}
	}
	return other;
}

/* Does one source, the plan or the roster, name the serial on both zones? */
static bool
both_listed(const struct context *c, const char *key, const char *one, const char *other)
{
	bool plan[2] = { false, false }, roster[2] = { false, false };

	for (size_t i = expected_first(c, key); expected_is(c, i, key); i++) {
		const struct expected *x = &c->expected[i];
		bool *in = x->plan ? plan : roster;

		in[0] |= strcmp(x->zone_key, one) == 0;
		in[1] |= strcmp(x->zone_key, other) == 0;
	}
	return (plan[0] && plan[1]) || (roster[0] && roster[1]);
}

/* Kinds in groups within which a code does not tell one from another: a smoke detector
 * may report heat, "gas" may be carbon monoxide. GROUP_ANY can report as many things. */
enum group { GROUP_ANY, GROUP_INTRUDER, GROUP_FIRE, GROUP_GAS, GROUP_HELP, GROUP_WATER,
	GROUP_TEMPERATURE };

static enum group
group_of(enum kind k)
{
	switch (k) {
	case KIND_CONTACT:
	case KIND_MOTION:
	case KIND_GLASS_BREAK:
	case KIND_SHOCK:
		return GROUP_INTRUDER;
	case KIND_SMOKE:
	case KIND_HEAT:
	case KIND_FLAME:
	case KIND_DUCT:
	case KIND_CALL_POINT:
	case KIND_WATER_FLOW:
		return GROUP_FIRE;
	case KIND_CO:
	case KIND_GAS:
		return GROUP_GAS;
	case KIND_PANIC:
	case KIND_HOLD_UP:
	case KIND_MEDICAL:
		return GROUP_HELP;
	case KIND_WATER:
		return GROUP_WATER;
	case KIND_TEMPERATURE:
		return GROUP_TEMPERATURE;
	default:
		return GROUP_ANY;
	}
}

/* The kind that the device shows since it was accepted, or that a roster says, when it
 * is another than planned; KIND_UNKNOWN = no conflict. */
static enum kind
other_kind(const struct context *c, const struct session_item *it, enum kind planned)
{
	const struct view *v = c->v;
	const struct device *d = it->device < 0 ? NULL : &v->device[it->device];

	if (planned == KIND_UNKNOWN || planned == KIND_DEVICE_OTHER)
		return KIND_UNKNOWN;
	for (size_t i = expected_first(c, it->key); expected_is(c, i, it->key); i++) {
		const struct roster_row *r = c->expected[i].roster;

		if (r && r->kind != KIND_UNKNOWN && r->kind != KIND_DEVICE_OTHER
		    && r->kind != planned)
			return r->kind;
	}
	for (size_t i = 0; d && i < d->n_event && group_of(planned) != GROUP_ANY; i++) {
		const struct event *ev = &v->event[d->event[i]];

		if (ev->at >= it->at && !(ev->marks & MARK_STILL)
		    && group_of(ev->hint) != GROUP_ANY && group_of(ev->hint) != group_of(planned))
			return ev->hint;
	}
	return KIND_UNKNOWN;
}

/* Is the serial in the panel at `until` by what the log shows? *later is the first proof
 * after that, NO_TIME if none. A device of another house is heard too, but only as
 * `learn-heard` or `extra-device`; other words come from devices that the panel has. */
static bool
present(const struct view *v, int32_t device, int64_t until, int64_t *later)
{
	const struct device *d = device < 0 ? NULL : &v->device[device];
	bool there = false;

	*later = NO_TIME;
	for (size_t i = 0; d && i < d->n_event; i++) {
		const struct event *ev = &v->event[d->event[i]];
		bool in = session_accepts(v, ev)
		    || (event_is_heard(v, ev) && ev->word != W_LEARN_HEARD);

		if (ev->at > until) {
			if (in && *later == NO_TIME)
				*later = ev->at;
		} else if (in) {
			there = true;
		} else if (session_removes(v, ev)) {
			there = false;
		}
	}
	return there;
}

static const struct elsewhere *
known_elsewhere(const struct view *v, const char *key)
{
	size_t lo = 0, hi = v->n_elsewhere;

	while (lo < hi) {
		size_t mid = lo + (hi - lo) / 2;

		if (strcmp(v->elsewhere[mid].serial_key, key) < 0)
			lo = mid + 1;
		else
			hi = mid;
	}
	return *key && lo < v->n_elsewhere && strcmp(v->elsewhere[lo].serial_key, key) == 0
	    ? &v->elsewhere[lo] : NULL;
}

/* ---- one session ----------------------------------------------------------- */

/* How fast it was accepted after it was heard, in ms; -1 = slow enough, or it cannot be told. */
static int64_t
quickness(const struct context *c, const struct session *s, const struct session_item *it)
{
	const struct view *v = c->v;
	int64_t read = setting_ms(v, &rule_learn_mismatch, "read", -1);

	for (size_t i = s->n_wait; i-- > 0;) {
		const struct session_wait *w = &s->wait[i];
		const struct event *heard = &v->event[w->event];

		if (!w->answered || w->to != it->at ||
		    strcmp(v->point[heard->point].serial_key, it->key) != 0)
			continue;
		if ((heard->marks | v->event[it->event].marks) & (MARK_COARSE | MARK_RESET |
		    MARK_BUFFERED))
			return -1;
		return w->to - w->from < read ? w->to - w->from : -1;
	}
	return -1;
}

/* Was it of this site before? NULL = not as far as log and lists go. */
static const char *
known_before(const struct context *c, const struct session *s, const struct session_item *it,
    const struct roster_row *version)
{
	struct view *v = c->v;
	const struct device *d = it->device < 0 ? NULL : &v->device[it->device];
	const char *past = NULL;

	for (size_t i = expected_first(c, it->key); expected_is(c, i, it->key); i++) {
		const struct roster_row *r = c->expected[i].roster;

		if (r && r->as_of < s->begin && (!version || r->version != version->version))
			past = arena_fmt(&v->arena, "%s%s in an older roster", *r->zone ? "on zone " :
			    "listed", r->zone);
	}
	for (size_t i = 0; d && i < d->n_event && d->event[i] < s->first; i++) {
		const struct event *ev = &v->event[d->event[i]];
		char at[CIVIL_TEXT];

		if (session_removes(v, ev))
			past = arena_fmt(&v->arena, "taken out%s%s at %s local", *event_zone(v, ev) ?
			    " of zone " : "", event_zone(v, ev),
			    civil_short(ev->at + ev->offset * SECOND, at));
		else if (session_accepts(v, ev))
			past = NULL;
	}
	return past;
}

/* Does the log hear any device at all after that? */
static bool
any_heard(const struct view *v, int64_t after)
{
	for (size_t i = v->n_event; i-- > 0 && v->event[i].at > after;)
		if (v->event[i].device >= 0 && event_is_heard(v, &v->event[i]))
			return true;
	return false;
}

/* How plan or roster write it, if only its leading zeros differ. */
static const char *
spelt_otherwise(const struct context *c, const struct session *s, const struct session_item *it,
    const struct roster_row *version)
{
	const char *other = NULL;

	for (size_t i = expected_first(c, it->key); expected_is(c, i, it->key); i++) {
		if (!is_older(c, i, version, s))
			continue;
		if (strcmp(c->expected[i].plain, it->plain) == 0)
			return NULL;
		other = c->expected[i].plain;
	}
	return other;
}

/* Was this serial refused, taken out or accepted before in the sessions of its visit? */
static bool
tried_before(const struct context *c, const struct session *s, const struct session_item *it)
{
	if (it->times > 1)
		return true;
	for (const struct session *o = s->visit < 0 ? s : c->all->session; o <= s; o++) {
		const struct session_item *x;

		if (o->visit != s->visit)
			continue;
		x = session_item_find(o->refused, o->n_refused, it->key);
		if (x && x->event < it->event)
			return true;
		x = session_item_find(o->unlearned, o->n_unlearned, it->key);
		if (x && x->event < it->event)
			return true;
	}
	return false;
}

/* Another serial that the session took off the item's zone; NULL if none. */
static const char *
displaced(const struct view *v, const struct session *s, const struct session_item *it)
{
	for (size_t i = 0; *it->zone_key && i < s->n_unlearned; i++) {
		const struct session_item *u = &s->unlearned[i];
		const struct device *d = u->device < 0 ? NULL : &v->device[u->device];
		const char *zone = *u->zone_key || !d ? u->zone_key : d->zone_key;

		if (strcmp(zone, it->zone_key) == 0 && strcmp(u->key, it->key) != 0)
			return *u->serial || !d ? u->serial : d->serial;
	}
	return NULL;
}

/* A planned device of that zone that the panel did not have when the session ended. */
static const struct plan_row *
planned_zone_row(const struct context *c, const char *zone_key, const struct session *s)
{
	for (size_t i = 0; *zone_key && i < c->n_expected; i++) {
		const struct expected *x = &c->expected[i];
		int64_t later;

		if (x->plan && strcmp(x->zone_key, zone_key) == 0 && x->plan->from - c->near <= s->last
		    && !present(c->v, view_device_find(c->v, "", x->plain, NO_TIME), s->last,
		    &later))
			return x->plan;
	}
	return NULL;
}

static void
judge_item(const struct context *c, const struct session *s, const struct roster_row *version,
    const struct session_item *it, struct verdict_item *out)
{
	struct view *v = c->v;
	const struct device *d = it->device < 0 ? NULL : &v->device[it->device];
	const struct event *removed = removed_after(v, it);
	const struct plan_row *there = NULL;
	bool zone_planned = false, zone_known = false, newer = false, rostered = false;
	bool comparable = version != NULL;

	*out = (struct verdict_item){ .apart = -1, .resolved = NO_TIME, .quick = -1,
		.life = d && d->life, .maybe_life = d && d->maybe_life,
		.elsewhere = known_elsewhere(v, it->key) };
	if (removed)
		out->resolved = removed->at;
	else if (d && d->unlearned != NO_TIME && d->unlearned > it->at)
		out->resolved = d->unlearned;
	for (size_t k = 0; k < c->all->n_visit; k++)
		comparable |= c->all->visit[k].from - c->near <= s->last;

	if (!*it->key) {
		/* Only the zone can be compared: fine when plan or roster names it. */
		bool listed = false;

		for (size_t i = 0; *it->zone_key && i < c->n_expected; i++)
			listed |= is_older(c, i, version, s)
			    && strcmp(c->expected[i].zone_key, it->zone_key) == 0;
		out->verdict = it->unreadable ? VERDICT_NO_SERIAL
		    : listed ? VERDICT_ROSTERED : comparable ? VERDICT_NO_SERIAL : VERDICT_UNLISTED;
		return;
	}
	out->quick = quickness(c, s, it);
	out->past = known_before(c, s, it, version);
	out->spelt = spelt_otherwise(c, s, it, version);
	out->mute = d && d->last_heard <= it->at && any_heard(v, it->at + DAY) &&
	    view_covered(v, it->at, it->at + DAY);
	for (size_t i = expected_first(c, it->key); expected_is(c, i, it->key); i++) {
		const struct expected *x = &c->expected[i];

		if (x->plan) {
			bool same = strcmp(x->zone_key, it->zone_key) == 0;

			if (!out->plan || same)
				out->plan = x->plan;
			zone_planned |= *x->zone_key && *it->zone_key;
			zone_known |= same || !*x->zone_key;
		} else if (is_older(c, i, version, s)) {
			rostered = true;
		} else {
			newer |= x->roster->as_of >= s->begin;
		}
	}
	if (*it->zone_key && (out->plan || rostered)) {
		const char *other = lives_elsewhere(c, s, it, version);

		if (other && !both_listed(c, it->key, it->zone_key, other))
			out->other_zone = other;
		else if (zone_planned && !zone_known)
			out->planned_zone = out->plan->zone;
	}
	if (out->plan) {
		out->seen_kind = other_kind(c, it, out->plan->kind);
		if (out->seen_kind != KIND_UNKNOWN)
			out->planned_kind = out->plan->kind;
		out->life |= kind_is_life(out->plan->kind);
		if (*out->plan->replaces)
			out->old_serial = out->plan->replaces;
	}
	if (!out->plan && !rostered)
		there = planned_zone_row(c, it->zone_key, s);

	if (removed && removed < v->event + s->past)
		out->verdict = VERDICT_WITHDRAWN;
	else if (out->plan && out->old_serial)
		out->verdict = VERDICT_REPLACEMENT;
	else if (out->plan)
		out->verdict = tried_before(c, s, it) ? VERDICT_SECOND_TRY : VERDICT_PLANNED;
	else if (rostered)
		out->verdict = VERDICT_ROSTERED;
	else if (out->elsewhere)
		out->verdict = VERDICT_ELSEWHERE;
	else if (!comparable && (newer || v->n_roster == 0))
		out->verdict = VERDICT_UNLISTED;
	else if (!there && (out->old_serial = displaced(v, s, it)) != NULL)
		out->verdict = VERDICT_REPLACED;
	else
		out->verdict = VERDICT_FOREIGN;
	if (out->verdict == VERDICT_WITHDRAWN) {
		out->other_zone = out->planned_zone = NULL;
		out->planned_kind = out->seen_kind = KIND_UNKNOWN;
	}
	if (there && out->verdict == VERDICT_FOREIGN) {
		out->planned_zone = there->zone;
		out->wanted = there->serial;
		out->life |= kind_is_life(there->kind);
	}
}

/* Gives foreign serials of the session their best partner among the expected ones that
 * the panel still did not have when it ended. */
static void
match_session(const struct context *c, const struct session *s, const struct roster_row *version,
    struct session_verdict *out)
{
	struct view *v = c->v;
	double edits = setting_value(v, &rule_learn_mismatch, "edits", -1);
	double digits = setting_value(v, &rule_learn_mismatch, "digits_per_edit", -1);
	const struct expected *col[MATCH_MOST];
	size_t row[MATCH_MOST], rows = 0, cols = 0;
	int col_of[MATCH_MOST];
	double *cost, beyond = 1000;	/* all pairs too far apart are equally bad */

	for (size_t i = 0; i < s->n_accepted && rows < MATCH_MOST; i++)
		if (!verdict_is_fine(out->item[i].verdict) && *s->accepted[i].plain
		    && out->item[i].verdict != VERDICT_UNLISTED)
			row[rows++] = i;
	for (size_t i = 0; rows && i < c->n_expected && cols < MATCH_MOST; i++) {
		const struct expected *x = &c->expected[i];
		int32_t device = view_device_find(v, "", x->plain, NO_TIME);
		int64_t later;

		if (is_older(c, i, version, s)
		    && !(cols && strcmp(col[cols - 1]->key, x->key) == 0)
		    && !present(v, device, s->last, &later))
			col[cols++] = x;
	}
	cost = x_calloc(rows * cols, sizeof *cost);
	for (size_t r = 0; r < rows; r++) {
		const struct session_item *it = &s->accepted[row[r]];

		for (size_t k = 0; k < cols; k++) {
			double d = match_cost(col[k]->plain, it->plain);
			double most = (double)strlen(col[k]->plain) / digits;

			if (d >= 1 + edits || (double)(long)d > most)
				d = beyond;
			else if (strcmp(col[k]->zone_key, it->zone_key) != 0)
				d += 0.2;	/* of equally near ones, the one planned there */
			cost[r * cols + k] = d;
		}
	}
	match_assign(rows, cols, cost, col_of);
	for (size_t r = 0; r < rows; r++) {
		struct verdict_item *x = &out->item[row[r]];
		const struct expected *e = col_of[r] < 0 ? NULL : col[col_of[r]];

		if (!e || cost[r * cols + (size_t)col_of[r]] >= beyond)
			continue;
		x->verdict = VERDICT_NEAR_MISS;
		x->plan = e->plan;
		x->wanted = e->plan ? e->plan->serial : e->roster->serial;
		x->planned_zone = NULL;
		x->life |= kind_is_life(e->plan ? e->plan->kind : e->roster->kind);
		x->difference = match_describe(&v->arena, e->plain, s->accepted[row[r]].plain);
		x->apart = match_apart(e->plain, s->accepted[row[r]].plain);
	}
	free(cost);
}

static bool
is_outside(const struct context *c, const struct session *s)
{
	const struct view *v = c->v;

	/* Before the first planned visit nobody kept plans. */
	if (s->visit >= 0 || !c->all->n_visit || s->begin < c->all->visit[0].from)
		return false;
	for (size_t i = 0; i < v->n_service; i++)
		if (v->service[i].at >= s->begin - c->near && v->service[i].at <= s->last + c->near)
			return false;
	return true;
}

/* ---- one visit ------------------------------------------------------------- */

static bool
life_of_plan(const struct view *v, const struct plan_row *p, int32_t device)
{
	int32_t place = *p->zone ? view_device_find(v, p->zone, "", NO_TIME) : -1;

	return kind_is_life(p->kind) || (device >= 0 && v->device[device].life)
	    || (place >= 0 && v->device[place].life);
}

/* Did a session of the visit learn something on the zone without naming its serial? */
static bool
learned_unnamed(const struct context *c, int32_t visit, const char *zone_key)
{
	for (size_t i = 0; *zone_key && i < c->all->n; i++) {
		const struct session *s = &c->all->session[i];

		for (size_t k = 0; s->visit == visit && k < s->n_accepted; k++)
			if (!*s->accepted[k].key && strcmp(s->accepted[k].zone_key, zone_key) == 0)
				return true;
	}
	return false;
}

/* A log that never names a serial cannot show that one is missing. */
static bool
log_names_serials(const struct view *v)
{
	for (size_t i = 0; i < v->n_point; i++)
		if (*v->point[i].serial_key)
			return true;
	return false;
}

static void
judge_visit(const struct context *c, int32_t index, struct visit_verdict *out)
{
	struct view *v = c->v;
	const struct visit *w = &c->all->visit[index];
	int64_t until = w->last_end != NO_TIME && w->last_end > w->to ? w->last_end : w->to;

	out->from = w->from - c->near;
	out->over = w->to < v->now || (w->last_end != NO_TIME && w->last_end >= w->from);
	out->unseen = w->n_session == 0 && w->to + c->near < v->now
	    && view_covered(v, w->from, w->to) && log_names_serials(v);
	out->missing = arena_take(&v->arena, w->n_plan * sizeof *out->missing);
	for (size_t i = 0; i < c->n_expected; i++) {
		const struct plan_row *p = c->expected[i].plan;
		struct verdict_missing m = { .plan = p, .resolved = NO_TIME };

		if (!p || p->from != w->from || p->to != w->to)
			continue;
		if (out->n_missing && strcmp(c->expected[i].key,
		    serial_key(&v->arena, span_of(out->missing[out->n_missing - 1].plan->serial))) == 0)
			continue;	/* planned on two zones */
		m.device = view_device_find(v, "", p->serial, NO_TIME);
		if (present(v, m.device, until, &m.resolved)
		    || learned_unnamed(c, index, c->expected[i].zone_key))
			continue;
		m.life = life_of_plan(v, p, m.device);
		m.text = arena_fmt(&v->arena, "%s (%s%s%s%s%s): %s", p->serial,
		    *p->zone ? "zone " : "", p->zone, *p->zone ? ", " : "",
		    p->kind == KIND_UNKNOWN ? "kind not planned" : kind_heading(p->kind),
		    *p->name ? arena_fmt(&v->arena, ", %s", p->name) : "",
		    verdict_missing_how(v, c->all, index, c->expected[i].key));
		out->missing[out->n_missing++] = m;
	}
}

void
verdicts_find(struct view *v, const struct sessions *all, struct verdicts *out)
{
	struct context c = { .v = v, .all = all, .out = out,
		.near = setting_ms(v, &rule_learn_mismatch, "near", -1) };

	out->session = arena_take(&v->arena, all->n * sizeof *out->session);
	out->visit = arena_take(&v->arena, all->n_visit * sizeof *out->visit);
	find_expected(&c);
	for (size_t i = 0; i < all->n; i++) {
		const struct session *s = &all->session[i];
		const struct roster_row *version = roster_before(v, s->begin);
		struct session_verdict *x = &out->session[i];

		x->item = arena_take(&v->arena, s->n_accepted * sizeof *x->item);
		for (size_t k = 0; k < s->n_accepted; k++)
			judge_item(&c, s, version, &s->accepted[k], &x->item[k]);
		match_session(&c, s, version, x);
		for (size_t k = 0; k < s->n_accepted; k++)
			x->item[k].text = verdict_item_text(v, &s->accepted[k], &x->item[k]);
		x->outside = is_outside(&c, s);
	}
	for (size_t k = 0; k < all->n_visit; k++)
		judge_visit(&c, (int32_t)k, &out->visit[k]);
}
