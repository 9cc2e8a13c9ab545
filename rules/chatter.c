/* A device that goes off again and again within a minute: noise that hides the rest. */
#include "rules/activation.h"
#include "rules/arming.h"
#include "rules/checks.h"
#include "rules/rule.h"

#include <stdlib.h>

static const struct setting settings[] = {
	{ "activations", 3, 2, 100, "", "usual rule in alarm-management texts (3 in 1 min)" },
	{ "window", 60, 5, 3600, "s", "usual rule in alarm-management texts (3 in 1 min)" },
	{ "gap", 60, 5, 3600, "s", "common practice, no source" },
	{ "bursts", 2, 1, 100, "", "common practice, no source" },
	{ "large", 10, 2, 1000, "", "common practice, no source" },
	{ "lookback", 30, 1, 366, "d", "common practice, no source" },
	{ "test", 4, 1, 4, "h", "common practice, no source" },
	{ "session", 4, 1, 12, "h", "common practice, no source" },
	{ "short_dwell", 2, 0, 60, "s", "common practice, no source" },
	{ "together", 2, 0, 60, "s", "common practice, no source" },
	{ "hours_share", 60, 1, 100, "%", "common practice, no source" },
	{ "battery_near", 14, 1, 90, "d", "common practice, no source" },
	{ "work_near", 14, 1, 90, "d", "common practice, no source" },
	{ NULL, 0, 0, 0, NULL, NULL }
};

struct limits {
	size_t  activations, bursts, large;
	int64_t window, gap, lookback;
};

/* A run that is a burst, or a report of the panel that it shut the device out. */
struct burst {
	int64_t from, to;
	size_t  lo, hi;		/* of `used`; empty for a report alone */
	size_t  n;		/* activations, or reports */
};

struct judging {
	struct view     *v;
	struct findings *out;
	struct arming    arming;
	bool             armed;		/* `arming` is there */
	struct limits    lim;
	struct activations act, others;
	size_t           total;		/* activations of the account; SIZE_MAX = not counted yet */

	/* Of the device at hand. Activations that may count, input after input. */
	uint32_t *used;
	size_t    n_used, cap_used;
	size_t    input[ACTIVATION_INPUTS + 1];	/* where each input begins in `used` */
	struct burst *burst;
	size_t    n_burst, cap_burst;
	uint32_t *swinger;		/* events */
	size_t    n_swinger, cap_swinger;
	size_t    coarse;		/* left out: stamped too coarsely */
	int64_t  *number;		/* scratch */
	size_t    cap_number;
};

static struct limits
limits_of(const struct view *v, int32_t device)
{
	const struct rule *r = &rule_chatter;

	return (struct limits){
		.activations = (size_t)setting_value(v, r, "activations", device),
		.bursts = (size_t)setting_value(v, r, "bursts", device),
		.large = (size_t)setting_value(v, r, "large", device),
		.window = setting_ms(v, r, "window", device),
		.gap = setting_ms(v, r, "gap", device),
		.lookback = setting_ms(v, r, "lookback", -1),
	};
}

static int64_t
lookback_from(const struct judging *j)
{
	return j->v->now == NO_TIME ? NO_TIME : j->v->now - j->lim.lookback;
}

/* Whether anything at all could be a burst, before tests and arm states are looked at. */
static bool
any_crowd(const struct judging *j)
{
	const struct activation *a = j->act.one;

	for (size_t i = 0, k = j->lim.activations - 1; k < j->act.n; i++, k++)
		if (a[k].start - a[i].start <= j->lim.window)
			return true;
	return false;
}

static void
find_swingers(struct judging *j, const struct device *d, int64_t from)
{
	j->n_swinger = 0;
	for (size_t i = 0; i < d->n_event; i++) {
		const struct event *ev = &j->v->event[d->event[i]];

		if (ev->word != W_SWINGER || (ev->marks & MARK_STILL) || ev->at < from)
			continue;
		j->swinger = x_grow(j->swinger, &j->cap_swinger, j->n_swinger + 1,
		    sizeof *j->swinger);
		j->swinger[j->n_swinger++] = d->event[i];
	}
}

/* Is the event nothing that a test, a session or a normal day explains? */
static bool
counts(const struct judging *j, enum kind k, uint32_t event, bool by_panel)
{
	const struct arming_of *of = &j->arming.of[event];

	if (of->test || of->session)
		return false;
	/* Motion detectors see people all day. The panel shuts a detector out only while
	 * armed, so there it is enough that nothing speaks against it. */
	return k != KIND_MOTION || of->state == ARM_AWAY || (by_panel && of->state == ARM_UNKNOWN);
}

static void
choose_used(struct judging *j, enum kind k)
{
	unsigned inputs = 1;

	j->n_used = j->coarse = 0;
	for (size_t i = 0; i < j->act.n; i++)
		if (j->act.one[i].input >= inputs)
			inputs = j->act.one[i].input + 1u;
	for (unsigned in = 0; in < ACTIVATION_INPUTS; in++) {
		j->input[in] = j->n_used;
		for (size_t i = 0; in < inputs && i < j->act.n; i++) {
			const struct activation *a = &j->act.one[i];

			if (a->input != in || !counts(j, k, a->event, false))
				continue;
			if (a->loose) {
				j->coarse++;
				continue;
			}
			j->used = x_grow(j->used, &j->cap_used, j->n_used + 1, sizeof *j->used);
			j->used[j->n_used++] = (uint32_t)i;
		}
	}
	j->input[ACTIVATION_INPUTS] = j->n_used;
}

static int64_t
start_of(const struct judging *j, size_t used)
{
	return j->act.one[j->used[used]].start;
}

static struct burst *
burst_add(struct judging *j, int64_t from, int64_t to)
{
	j->burst = x_grow(j->burst, &j->cap_burst, j->n_burst + 1, sizeof *j->burst);
	j->burst[j->n_burst] = (struct burst){ .from = from, .to = to };
	return &j->burst[j->n_burst++];
}

static void
find_runs(struct judging *j, size_t begin, size_t end)
{
	size_t need = j->lim.activations;

	for (size_t lo = begin, hi; lo < end; lo = hi) {
		bool crowded = false;

		for (hi = lo + 1; hi < end && start_of(j, hi) - start_of(j, hi - 1) <= j->lim.gap; hi++)
			;
		for (size_t i = lo; !crowded && i + need <= hi; i++)
			crowded = start_of(j, i + need - 1) - start_of(j, i) <= j->lim.window;
		if (crowded) {
			struct burst *b = burst_add(j, start_of(j, lo), start_of(j, hi - 1));

			b->lo = lo;
			b->hi = hi;
			b->n = hi - lo;
		}
	}
}

static int
by_from(const void *a, const void *b)
{
	const struct burst *x = a, *y = b;

	return x->from < y->from ? -1 : x->from > y->from ? 1 :
	    x->lo < y->lo ? -1 : x->lo > y->lo;
}

static void
sort_bursts(struct judging *j)
{
	if (j->n_burst > 1)
		qsort(j->burst, j->n_burst, sizeof *j->burst, by_from);
}

/* A report of the panel belongs to the burst that it ends; alone it stands for one. */
static void
add_swingers(struct judging *j, enum kind k)
{
	size_t n_run = j->n_burst, next = 0, kept = 0;
	int64_t covered = NO_TIME;

	for (size_t i = 0; i < j->n_swinger; i++) {
		int64_t at = j->v->event[j->swinger[i]].at;

		if (!counts(j, k, j->swinger[i], true))
			continue;
		j->swinger[kept++] = j->swinger[i];
		for (; next < n_run && j->burst[next].from <= at; next++)
			if (j->burst[next].to > covered)
				covered = j->burst[next].to;
		if (covered != NO_TIME && at - covered <= j->lim.gap) {
			covered = at > covered ? at : covered;
			continue;
		}
		if (j->n_burst > n_run && at - j->burst[j->n_burst - 1].to <= j->lim.gap)
			j->burst[j->n_burst - 1].to = at;
		else
			burst_add(j, at, at);
		j->burst[j->n_burst - 1].n++;
	}
	j->n_swinger = kept;
}

/* ---- measures -------------------------------------------------------------- */

static int
by_size(const void *a, const void *b)
{
	int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;

	return x < y ? -1 : x > y;
}

/* Mean of 1/r over the run lengths r, the whole seconds from one activation to the next
 * of the same input, those of one second counting 1. After Kondaveeti and others, Chem.
 * Eng. Res. Des. 91 (2013) 2550-2558; the formula is from memory. < 0 = undefined. */
static double
chatter_index(const struct judging *j)
{
	double sum = 0;
	size_t n = 0;

	for (unsigned in = 0; in < ACTIVATION_INPUTS; in++) {
		for (size_t i = j->input[in] + 1; i < j->input[in + 1]; i++, n++) {
			int64_t r = (start_of(j, i) - start_of(j, i - 1)) / SECOND;

			sum += 1.0 / (double)(r < 1 ? 1 : r);
		}
	}
	return n ? sum / (double)n : -1;
}

/* Median time between open and close in s; < 0 = the log has no returns. */
static double
median_dwell(struct judging *j)
{
	size_t n = 0;

	for (size_t i = 0; i < j->n_used; i++) {
		const struct activation *a = &j->act.one[j->used[i]];

		if (a->end == NO_TIME || a->loose_end)
			continue;
		j->number = x_grow(j->number, &j->cap_number, n + 1, sizeof *j->number);
		j->number[n++] = a->end - a->start;
	}
	if (!n)
		return -1;
	qsort(j->number, n, sizeof *j->number, by_size);
	return (double)(j->number[(n - 1) / 2] + j->number[n / 2]) / 2 / SECOND;
}

static size_t
all_activations(struct judging *j)
{
	if (j->total == SIZE_MAX) {
		j->total = 0;
		for (size_t i = 0; i < j->v->n_device; i++) {
			activations_of(j->v, (int32_t)i, lookback_from(j), &j->others);
			j->total += j->others.n;
		}
	}
	return j->total;
}

static int
local_hour(const struct judging *j, const struct activation *a)
{
	int64_t local = a->start + j->v->event[a->event].offset * SECOND;

	return (int)((local % DAY + DAY) % DAY / HOUR);
}

/* Share of the busiest three hours in a row of the local day; *from is the first. Of
 * equals, the one whose middle hour is the busiest. */
static double
busiest_hours(const struct judging *j, int *from)
{
	size_t hour[24] = { 0 }, best = 0, middle = 0;

	for (size_t i = 0; i < j->n_used; i++)
		hour[local_hour(j, &j->act.one[j->used[i]])]++;
	*from = 0;
	for (int h = 0; h < 24; h++) {
		size_t n = hour[h] + hour[(h + 1) % 24] + hour[(h + 2) % 24];

		if (n > best || (n == best && hour[(h + 1) % 24] > middle)) {
			best = n;
			middle = hour[(h + 1) % 24];
			*from = h;
		}
	}
	return j->n_used ? 100.0 * (double)best / (double)j->n_used : 0;
}

/* ---- causes ---------------------------------------------------------------- */

enum cause { CAUSE_CELL, CAUSE_FIT, CAUSE_RADIO, CAUSE_WORK, CAUSE_MOVES, CAUSE_HOURS, CAUSE_TAMPER,
	CAUSE_USE, CAUSE_COUNT };

static const char *const cause_name[CAUSE_COUNT] = {
	[CAUSE_CELL] = "a weak cell",
	[CAUSE_FIT] = "a loose or badly aligned contact",
	[CAUSE_RADIO] = "radio, panel or supply",
	[CAUSE_WORK] = "the last work on the site",
	[CAUSE_MOVES] = "something that moves by itself (wind, draught, a loose latch)",
	[CAUSE_HOURS] = "something that comes at these hours (sun, heating, cold, routine)",
	[CAUSE_TAMPER] = "the housing",
	[CAUSE_USE] = "a door or window in use",
};

static const char *const cause_check[CAUSE_COUNT] = {
	[CAUSE_CELL] = "Cell: voltage under load; change it and its siblings of the same age",
	[CAUSE_FIT] = "Magnet and contact: gap, alignment, screws, play of the door or window",
	[CAUSE_RADIO] = "Receiver, panel supply and interference before this device",
	[CAUSE_WORK] = "What was done last: mounting, place, settings, cell",
	[CAUSE_MOVES] = "What moves while nobody is there: latch, draught, wind, machine, animal",
	[CAUSE_HOURS] = "What comes at these hours: sun, heating, cold, lorries, cleaning, closing time",
	[CAUSE_TAMPER] = "Housing: closed, seated, dry, tamper spring",
	[CAUSE_USE] = "Ask who uses it at these times, and how",
};

struct sign {
	int         points;
	const char *text;
};

/* What was counted over the activations inside bursts. */
struct tally {
	size_t n, armed, disarmed_by_day, together, days;
	int64_t first, last;
};

/* Did another device go off within `together` of the event? Motion detectors do not
 * count: who opens a door is seen. A look at the nearest rows
 * is enough: where more rows than that share a second, one of them is such a device. */
static bool
has_company(const struct view *v, uint32_t event, int64_t together)
{
	enum { NEAREST = 32 };
	const struct event *me = &v->event[event];

	for (int step = -1; step <= 1; step += 2) {
		int64_t i = (int64_t)event + step;

		for (int n = 0; n < NEAREST && i >= 0 && i < (int64_t)v->n_event; n++, i += step) {
			const struct event *ev = &v->event[i];
			int64_t apart = ev->at > me->at ? ev->at - me->at : me->at - ev->at;

			if (apart > together)
				break;
			if (ev->device >= 0 && ev->device != me->device && !(ev->marks & MARK_STILL) &&
			    (word_properties(ev->word) & WP_ACTIVE) &&
			    v->device[ev->device].kind != KIND_MOTION)
				return true;
		}
	}
	return false;
}

static struct tally
tally_of(const struct judging *j, int64_t together)
{
	struct tally t = { .first = INT64_MAX, .last = NO_TIME };
	int64_t day = NO_TIME;

	for (size_t b = 0; b < j->n_burst; b++) {
		const struct burst *u = &j->burst[b];

		t.first = u->from < t.first ? u->from : t.first;
		t.last = u->to > t.last ? u->to : t.last;
		if (day == NO_TIME || u->from / DAY != day)
			t.days++;
		day = u->from / DAY;
		for (size_t i = u->lo; i < u->hi; i++) {
			const struct activation *a = &j->act.one[j->used[i]];
			enum arm state = j->arming.of[a->event].state;
			int hour = local_hour(j, a);

			t.n++;
			t.armed += state >= ARM_STAY;
			t.disarmed_by_day += state == ARM_DISARMED && hour >= 6 && hour < 22;
			t.together += has_company(j->v, a->event, together);
		}
	}
	return t;
}

/* The newest of learn, installation and service that the first burst follows closely. */
static int64_t
work_before(const struct view *v, int32_t device, int64_t first, int64_t near)
{
	const struct device *d = &v->device[device];
	int64_t at[2] = { d->learned, d->installed }, newest = NO_TIME;

	for (int i = 0; i < 2; i++)
		if (at[i] != NO_TIME && at[i] <= first && first - at[i] <= near && at[i] > newest)
			newest = at[i];
	for (size_t i = 0; i < v->n_service; i++) {
		const struct service_row *s = &v->service[i];
		bool here = !*s->zone && !*s->serial;

		if (s->at > first || first - s->at > near || s->at <= newest)
			continue;
		if (here || view_device_find(v, s->zone, s->serial, s->at) == device)
			newest = s->at;
	}
	return newest;
}

static void
signs_in_events(struct judging *j, int32_t device, const struct tally *t, struct sign *sign)
{
	const struct device *d = &j->v->device[device];
	int64_t near = setting_ms(j->v, &rule_chatter, "battery_near", device);

	for (size_t i = 0; i < d->n_event; i++) {
		const struct event *ev = &j->v->event[d->event[i]];

		if (ev->word == W_LOW_BATTERY && ev->at >= t->first - near &&
		    ev->at <= t->last + near)
			sign[CAUSE_CELL] = (struct sign){ 4, "it reported a low battery in these days" };
		if (ev->word == W_TAMPER && ev->at >= t->first - DAY && ev->at <= t->last + DAY)
			sign[CAUSE_TAMPER] = (struct sign){ 2, "it reported tamper in these days" };
	}
}

static void
find_signs(struct judging *j, int32_t device, double dwell, double share, int from,
    struct sign *sign)
{
	const struct rule *r = &rule_chatter;
	struct arena *a = &j->out->arena;
	struct view *v = j->v;
	enum kind k = v->device[device].kind;
	bool leaf = k == KIND_CONTACT || k == KIND_UNKNOWN || k == KIND_DEVICE_OTHER;
	double brief = setting_value(v, r, "short_dwell", device);
	struct tally t = tally_of(j, setting_ms(v, r, "together", device));
	int64_t work = work_before(v, device, t.first, setting_ms(v, r, "work_near", device));

	signs_in_events(j, device, &t, sign);
	if (leaf && dwell >= 0 && dwell <= brief)
		sign[CAUSE_FIT] = (struct sign){ 3,
			arena_fmt(a, "half of the openings last at most %.3g s", dwell) };
	if (t.n && 2 * t.together >= t.n)
		sign[CAUSE_RADIO] = (struct sign){ 3,
			arena_fmt(a, "other devices went off in the same seconds %zu of %zu times",
			    t.together, t.n) };
	if (work != NO_TIME)
		sign[CAUSE_WORK] = (struct sign){ 2, arena_fmt(a, "it began %s after that",
			rule_span_text(a, t.first - work)) };
	/* Motion detectors count only while armed: there it is no sign. */
	if (k != KIND_MOTION && t.n && 2 * t.armed >= t.n)
		sign[CAUSE_MOVES] = (struct sign){ 2, arena_fmt(a, "%zu of %zu times while armed",
			t.armed, t.n) };
	if (t.days > 1 && share >= setting_value(v, r, "hours_share", device))
		sign[CAUSE_HOURS] = (struct sign){ 1,
			arena_fmt(a, "%.0f %% between %02d and %02d o'clock local time", share, from,
			    (from + 3) % 24) };
	if (leaf && t.n && 4 * t.disarmed_by_day >= 3 * t.n && dwell > brief)
		sign[CAUSE_USE] = (struct sign){ 1, arena_fmt(a,
			"%zu of %zu times by day while disarmed", t.disarmed_by_day, t.n) };
}

/* ---- the finding ----------------------------------------------------------- */

static void
report(struct judging *j, int32_t device)
{
	struct findings *out = j->out;
	struct view *v = j->v;
	struct finding *f = finding_add(out, v, &rule_chatter, device, NULL);
	struct arena *a = &out->arena;
	struct sign sign[CAUSE_COUNT] = { { 0, NULL } };
	const struct burst *largest = &j->burst[0];
	double dwell = median_dwell(j), index = chatter_index(j), share;
	enum kind k = v->device[device].kind;
	int from, top = -1;
	const char *shut;

	share = busiest_hours(j, &from);
	f->level = LEVEL_SOON;
	f->onset = INT64_MAX;
	for (size_t b = 0; b < j->n_burst; b++) {
		const struct burst *u = &j->burst[b];

		f->onset = u->from < f->onset ? u->from : f->onset;
		f->last = u->to > f->last ? u->to : f->last;
		f->count += (long)u->n;
		if (u->hi > u->lo && u->n > (largest->hi > largest->lo ? largest->n : 0))
			largest = u;
		for (size_t i = u->lo; i < u->hi; i++)
			finding_evidence(out, f, j->act.one[j->used[i]].event);
	}
	for (size_t i = 0; i < j->n_swinger; i++) {
		int64_t at = v->event[j->swinger[i]].at;

		f->last = at > f->last ? at : f->last;
		finding_evidence(out, f, j->swinger[i]);
	}

	find_signs(j, device, dwell, share, from, sign);
	if (k == KIND_UNKNOWN)
		checks_trips(out, f, k);
	for (int points = 4; points > 0; points--) {
		for (int c = 0; c < CAUSE_COUNT; c++) {
			if (sign[c].points != points)
				continue;
			top = top < 0 ? c : top;
			finding_check(out, f, arena_fmt(a, "%s. Sign: %s.", cause_check[c],
			    sign[c].text));
		}
	}
	checks_trips(out, f, k);

	finding_measure(out, f, "bursts", (double)j->n_burst, "");
	finding_measure(out, f, "largest", largest->hi > largest->lo ? (double)largest->n : 0, "");
	if (index < 0)
		finding_measure_text(out, f, "chatter_index", "n/a");
	else
		finding_measure(out, f, "chatter_index", index, "1/s");
	if (dwell < 0)
		finding_measure_text(out, f, "median_dwell", "n/a");
	else
		finding_measure(out, f, "median_dwell", dwell, "s");
	finding_measure(out, f, "activations", (double)j->n_used, "");
	if (all_activations(j))
		finding_measure(out, f, "share", 100.0 * (double)j->act.n / (double)all_activations(j),
		    "%");
	finding_measure(out, f, "hours_share", share, "%");
	finding_measure_text(out, f, "hours", j->n_used ?
	    arena_fmt(a, "%02d-%02d", from, (from + 3) % 24) : "n/a");
	finding_measure(out, f, "shut_out", (double)j->n_swinger, "");
	if (j->coarse) {
		finding_measure(out, f, "left_out", (double)j->coarse, "");
		finding_caution(out, f, "Some activations are stamped too coarsely (to the minute, or "
		    "while the panel emptied its buffer) to tell a burst: they were left out.");
	}
	shut = j->n_swinger ? arena_fmt(a, "shut out by the panel %zu %s", j->n_swinger,
	    j->n_swinger == 1 ? "time" : "times") : "";
	if (largest->hi > largest->lo)
		finding_summary(out, f, "%s: %ld activations in %zu %s within %s, the largest %zu in "
		    "%s%s%s; %s%s.", device_label(v, device), f->count, j->n_burst,
		    j->n_burst == 1 ? "burst" : "bursts", rule_span_text(a, j->lim.lookback),
		    largest->n, rule_span_text(a, largest->to - largest->from),
		    *shut ? "; " : "", shut,
		    top < 0 ? "the log shows no sign of the cause" : "first to look at: ",
		    top < 0 ? "" : cause_name[top]);
	else
		finding_summary(out, f, "%s: %s within %s for going off again and again.",
		    device_label(v, device), shut, rule_span_text(a, j->lim.lookback));
}

static void
judge_device(struct judging *j, int32_t device)
{
	struct view *v = j->v;
	const struct device *d = &v->device[device];
	int64_t from = lookback_from(j);
	bool large = false;

	if (d->life || !d->n_event || v->event[d->event[d->n_event - 1]].at < from)
		return;
	find_swingers(j, d, from);
	activations_of(v, device, from, &j->act);
	if (!any_crowd(j) && !j->n_swinger)
		return;
	if (!j->armed) {
		arming_of(v, &j->out->arena, setting_ms(v, &rule_chatter, "test", -1),
		    setting_ms(v, &rule_chatter, "session", -1), &j->arming);
		j->armed = true;
	}
	choose_used(j, d->kind);
	j->n_burst = 0;
	for (unsigned in = 0; in < ACTIVATION_INPUTS; in++)
		find_runs(j, j->input[in], j->input[in + 1]);
	sort_bursts(j);
	add_swingers(j, d->kind);
	sort_bursts(j);
	for (size_t b = 0; b < j->n_burst; b++)
		large |= j->burst[b].hi - j->burst[b].lo >= j->lim.large;
	if (j->n_burst >= j->lim.bursts || large)
		report(j, device);
}

static void
judge(struct view *v, struct findings *out)
{
	struct judging j = { .v = v, .out = out, .total = SIZE_MAX };
	bool by_kind = false;

	for (size_t i = 0; i < v->n_override; i++)
		by_kind |= v->override[i].kind != KIND_UNKNOWN;
	j.lim = limits_of(v, -1);
	for (size_t i = 0; i < v->n_device; i++) {
		if (by_kind)
			j.lim = limits_of(v, (int32_t)i);
		judge_device(&j, (int32_t)i);
	}
	activations_release(&j.act);
	activations_release(&j.others);
	free(j.used);
	free(j.burst);
	free(j.swinger);
	free(j.number);
}

const struct rule rule_chatter = {
	.id = "chatter",
	.title = "Device that goes off again and again",
	.why = "A few devices make most of the noise, and noise hides what matters. Three times "
	    "within a minute, again and again, is a fault more often than people.",
	.quiet_on = "Life-safety points (their coming and going is life-alarm's), motion detectors "
	    "except while armed away, walk tests, accounts on test, learn sessions, radio repeats of "
	    "one activation, a single small burst.",
	.limits = "Stamps to the minute, and those from a buffer being emptied, are too coarse to tell "
	    "a burst and are left out. A panel that shuts a device out after a few trips hides the "
	    "rest, so low counts do not prove a sound device. The cause is a guess from signs.",
	.setting = settings,
	.judge = judge,
};
