#include <stdlib.h>
#include <string.h>

#include "rules/battery.h"
#include "rules/battery_due.h"
#include "rules/battery_fleet.h"
#include "rules/care.h"
#include "rules/cells.h"
#include "rules/rule.h"
#include "rules/stats.h"

extern const struct rule rule_battery_cluster;

static const struct setting settings[] = {
	{ "window", 14, 1, 90, "d", "common practice, no source; fire transmitters warn 7 to 30 "
	    "days ahead (NFPA 72, BS 5839-1), so two weeks hold the cells of one age" },
	{ "lookback", 180, 28, 1460, "d", "common practice, no source" },
	{ "proof", 14, 1, 90, "d", "common practice, no source" },
	{ "sign", 30, 1, 1440, "min", "common practice, no source" },
	{ "fdr", 0.05, 0.0001, 0.5, "", "usual rate in Y. Benjamini, Y. Hochberg 1995" },
	{ "prior_years", 3, 0.1, 20, "years", "years from cell to cell of one device: common "
	    "practice, no source" },
	{ "prior_onsets", 5, 0.1, 1000, "onsets", "weight of the prior, as if so many onsets had "
	    "been seen at that rate: common practice, no source" },
	{ "siblings", 60, 1, 3650, "d", "common practice, no source" },
	{ "night_from", 22, 0, 24, "o'clock", "common practice, no source" },
	{ "night_to", 9, 0, 24, "o'clock", "common practice, no source" },
	{ "due_within", 180, 7, 730, "d", "half a year, until a next visit: common practice, no "
	    "source" },
	{ "survival_least", 10, 1, 1000, "cells", "common practice, no source; a rate from ten is "
	    "sure to about a third of itself (one over the root of ten)" },
	{ "fleet_accounts", 3, 2, 1000, "accounts", "common practice, no source" },
	{ NULL, 0, 0, 0, NULL, NULL },
};

/* One account while it is judged. */
struct site {
	struct view     *v;
	struct findings *out;
	struct finding  *f;
	struct batteries cells;
	struct cell     *cell;		/* of each device */
	bool            *counts;	/* of each device: battery_counts() */
	bool            *sibling;	/* of each device: may be due though it said nothing */
	int32_t         *kin;		/* devices that count, by cell type */
	size_t           n_kin;
	int64_t          from;		/* begin of the lookback */
	int64_t          noted;		/* begin of what the fleet pass is told: no override makes it
					 * later than the default, which life safety elsewhere needs */
	int32_t         *crowd;		/* devices whose onset counts, by onset */
	size_t           n_crowd;
	size_t           first, most;	/* the fullest window: crowd[first .. first + most) */
};

static const struct battery *
battery_of(const struct site *s, int32_t device)
{
	return &s->cells.device[device];
}

static bool
is_due(const struct site *s, int32_t device)
{
	const struct battery *b = battery_of(s, device);

	return s->counts[device] && !b->former
	    && (b->state == CELL_LOW || b->state == CELL_MARGINAL);
}

static bool
may_be_life(const struct site *s, int32_t device)
{
	return s->v->device[device].life || s->v->device[device].maybe_life;
}

/* Does its onset count: not gone, not changed and proven, not before `from`? */
static bool
is_counted(const struct site *s, int32_t device, int64_t from)
{
	const struct battery *b = battery_of(s, device);

	return s->counts[device] && !b->former && b->state != CELL_GOOD && b->onset != NO_TIME
	    && b->onset >= from;
}

static const char *
cell_key(const struct site *s, int32_t device)
{
	return *s->cell[device].key ? s->cell[device].key : "?";
}

static int
by_cell(const void *a, const void *b, void *ctx)
{
	const struct site *s = ctx;
	int32_t x = *(const int32_t *)a, y = *(const int32_t *)b;
	int c = strcmp(s->cell[x].key, s->cell[y].key);

	return c ? c : (x > y) - (x < y);
}

/* Past the last device with the cell type of kin[i]. */
static size_t
kin_end(const struct site *s, size_t i)
{
	size_t end = i + 1;

	while (end < s->n_kin && strcmp(s->cell[s->kin[end]].key, s->cell[s->kin[i]].key) == 0)
		end++;
	return end;
}

static void
find_kin(struct site *s)
{
	struct view *v = s->v;

	s->cell = arena_take(&v->arena, v->n_device * sizeof *s->cell);
	s->counts = arena_take(&v->arena, v->n_device * sizeof *s->counts);
	s->sibling = arena_take(&v->arena, v->n_device * sizeof *s->sibling);
	s->kin = arena_take(&v->arena, v->n_device * sizeof *s->kin);
	for (size_t i = 0; i < v->n_device; i++) {
		s->cell[i] = cell_fold(&v->arena, v->device[i].cell);
		s->counts[i] = battery_counts(v, (int32_t)i);
		if (s->counts[i])
			s->kin[s->n_kin++] = (int32_t)i;
	}
	if (s->n_kin)
		qsort_r(s->kin, s->n_kin, sizeof *s->kin, by_cell, s);
}

/* ---- numbers for the fleet pass --------------------------------------------- */

/* Covered days of one device since `from`: from its learning to its end. */
static double
device_days(const struct site *s, int32_t device, int64_t from)
{
	const struct device *d = &s->v->device[device];
	int64_t to = s->v->now;

	if (d->learned != NO_TIME && d->learned > from
	    && (d->first_heard == NO_TIME || d->first_heard >= d->learned))
		from = d->learned;
	if (d->unlearned != NO_TIME && d->unlearned < to)
		to = d->unlearned;
	return to > from ? (double)view_cover_within(s->v, from, to) / DAY : 0;
}

/* By cell type for the fleet; gives what the site's own lookback holds of it. */
static double
note_exposure(struct site *s)
{
	double days = (double)view_cover_within(s->v, s->noted, s->v->now) / DAY, own = 0;

	for (size_t i = 0, end; i < s->n_kin; i = end) {
		double sum = 0;

		end = kin_end(s, i);
		for (size_t k = i; k < end; k++) {
			double noted = device_days(s, s->kin[k], s->noted);

			sum += noted;
			own += s->from == s->noted ? noted : device_days(s, s->kin[k], s->from);
		}
		summary_add(s->out, arena_fmt(&s->out->arena, "exposure:%s", cell_key(s, s->kin[i])),
		    s->v->now, sum, days);
		if (*s->cell[s->kin[i]].key)
			battery_note_lives(s->out, s->v, &s->cells, s->kin + i, end - i,
			    s->cell[s->kin[i]].key);
	}
	return own;
}

/* a: 1 when the onset is of a cell that still counts; b: 1 for life safety, 0.5 where it may
 * be. */
static double
note_onsets(struct site *s)
{
	double own = 0;

	for (size_t i = 0; i < s->cells.n_onset; i++) {
		const struct battery_onset *o = &s->cells.onset[i];

		if (o->at < s->noted || o->at > s->v->now || !s->counts[o->device])
			continue;
		own += o->at >= s->from;
		summary_add(s->out, arena_fmt(&s->out->arena, "onset:%s", cell_key(s, o->device)), o->at,
		    is_counted(s, o->device, s->noted) && battery_of(s, o->device)->onset == o->at,
		    s->v->device[o->device].life ? 1 : may_be_life(s, o->device) ? 0.5 : 0);
	}
	return own;
}

/* ---- the crowd --------------------------------------------------------------- */

static int
by_onset(const void *a, const void *b, void *ctx)
{
	const struct site *s = ctx;
	int32_t x = *(const int32_t *)a, y = *(const int32_t *)b;
	int64_t p = battery_of(s, x)->onset, q = battery_of(s, y)->onset;

	return p != q ? (p < q ? -1 : 1) : (x > y) - (x < y);
}

/* The first fullest window; both its ends count. */
static void
find_crowd(struct site *s, int64_t window)
{
	s->crowd = arena_take(&s->v->arena, s->v->n_device * sizeof *s->crowd);
	for (size_t i = 0; i < s->v->n_device; i++)
		if (is_counted(s, (int32_t)i, s->from))
			s->crowd[s->n_crowd++] = (int32_t)i;
	if (s->n_crowd)
		qsort_r(s->crowd, s->n_crowd, sizeof *s->crowd, by_onset, s);
	for (size_t lo = 0, hi = 0; hi < s->n_crowd; hi++) {
		while (battery_of(s, s->crowd[hi])->onset - battery_of(s, s->crowd[lo])->onset > window)
			lo++;
		if (hi - lo + 1 > s->most) {
			s->first = lo;
			s->most = hi - lo + 1;
		}
	}
}

/* Low by night and good again by day in more than half of the crowd. */
static bool
is_cold(const struct site *s)
{
	size_t night = 0;

	for (size_t i = s->first; i < s->first + s->most; i++)
		night += battery_of(s, s->crowd[i])->night;
	return night >= 2 && 2 * night > s->most;
}

/* ---- what to do --------------------------------------------------------------- */

static const char *
local_day(struct site *s, const struct battery *b)
{
	const struct event *ev = &s->v->event[b->onset == NO_TIME ? b->last_event : b->onset_event];
	char text[CIVIL_TEXT];

	return arena_fmt(&s->out->arena, "%.10s", civil_short(ev->at + ev->offset * SECOND, text));
}

static void
say_due(struct site *s, int32_t device)
{
	const struct battery *b = battery_of(s, device);
	struct arena *a = &s->out->arena;
	const char *how;

	if (b->onset == NO_TIME)
		how = arena_fmt(a, "low since before the log, told on %s", local_day(s, b));
	else if (b->state == CELL_LOW)
		how = arena_fmt(a, "low since %s%s", local_day(s, b), b->flips ? ", comes and goes" : "");
	else
		how = arena_fmt(a, "low on %s%s, good now, no sign of a new cell: change it all the same",
		    local_day(s, b), b->flips ? " and again since" : "");
	finding_check(s->out, s->f, arena_fmt(a, "Change: %s: %s: %s%s", device_label(s->v, device),
	    *s->cell[device].label ? s->cell[device].label : "cell not in the roster, see its label",
	    how, s->v->device[device].life ? " (life safety: first)" : ""));
}

/* Cells to bring for the devices that are due, or for their siblings, by type. */
static const char *
bring_text(const struct site *s, bool siblings)
{
	struct arena *a = &s->out->arena;
	const char *text = "";

	for (size_t i = 0, end; i < s->n_kin; i = end) {
		const struct cell *cell = &s->cell[s->kin[i]];
		long cells = 0, devices = 0;
		bool guess = false;

		end = kin_end(s, i);
		for (size_t k = i; k < end; k++) {
			int32_t device = s->kin[k];
			int each = s->v->device[device].cells ? s->v->device[device].cells
			    : s->cell[device].count;

			if (siblings ? !s->sibling[device] : !is_due(s, device))
				continue;
			devices++;
			cells += each ? each : 1;
			guess |= !each;
		}
		if (devices && *cell->key)
			text = arena_fmt(a, "%s%s%s%ld x %s", text, *text ? ", " : "",
			    guess ? "at least " : "", cells, cell->label);
		else if (devices)
			text = arena_fmt(a, "%s%scells of unknown type for %ld device%s", text,
			    *text ? ", " : "", devices, devices == 1 ? "" : "s");
	}
	return text;
}

/* Marks the devices kin[i..end), all of one cell type, that are of the age of those in the
 * crowd and did not go low so far. Where an age is not known, it may be the same. The cell
 * of a device that was changed in this log is younger. */
static void
find_siblings(struct site *s, size_t i, size_t end)
{
	int64_t age = setting_ms(s->v, &rule_battery_cluster, "siblings", -1);
	int64_t oldest = INT64_MAX, newest = INT64_MIN;
	bool known = true;

	for (size_t k = i; k < end; k++) {
		int64_t installed = s->v->device[s->kin[k]].installed;

		if (!is_counted(s, s->kin[k], s->from))
			continue;
		known &= installed != NO_TIME;
		oldest = installed < oldest ? installed : oldest;
		newest = installed > newest ? installed : newest;
	}
	if (oldest == INT64_MAX)
		return;
	for (size_t k = i; k < end; k++) {
		const struct device *d = &s->v->device[s->kin[k]];
		const struct battery *b = battery_of(s, s->kin[k]);

		if (d->unlearned == NO_TIME && b->last_low == NO_TIME && b->changed == NO_TIME
		    && (!known || d->installed == NO_TIME
		    || (d->installed >= oldest - age && d->installed <= newest + age)))
			s->sibling[s->kin[k]] = true;
	}
}

/* How likely each is due the fleet pass says, from all cells of the type. */
static void
note_siblings(struct site *s)
{
	for (size_t i = 0, end; i < s->n_kin; i = end) {
		long good = 0, low = 0;

		end = kin_end(s, i);
		for (size_t k = i; k < end; k++)
			low += is_counted(s, s->kin[k], s->from);
		for (size_t k = i; k < end; k++) {
			if (!s->sibling[s->kin[k]])
				continue;
			good++;
			battery_note_sibling(s->out, s->v, &s->cells, s->kin[k],
			    s->cell[s->kin[k]].key, low);
		}
		if (good)
			finding_measure(s->out, s->f, arena_fmt(&s->out->arena, "siblings %s",
			    s->cell[s->kin[i]].key), (double)good, "devices");
	}
}

static void
describe(struct site *s, bool cold)
{
	struct findings *out = s->out;
	struct finding *f = s->f;
	struct arena *a = &out->arena;
	long due = 0, watched = 0;
	const char *extra;

	for (int pass = 0; pass < 2; pass++)	/* life safety first */
		for (size_t i = 0; i < s->v->n_device; i++) {
			if (!is_due(s, (int32_t)i) || s->v->device[i].life != (pass == 0))
				continue;
			if (due++ == 0)
				finding_check(out, f, arena_fmt(a, "Bring %s", bring_text(s, false)));
			say_due(s, (int32_t)i);
		}
	for (size_t i = 0, end; i < s->n_kin; i = end) {
		end = kin_end(s, i);
		if (*s->cell[s->kin[i]].key)
			find_siblings(s, i, end);
	}
	extra = bring_text(s, true);
	if (*extra)
		finding_check(out, f, arena_fmt(a, "To spare a second visit, bring also %s", extra));
	note_siblings(s);
	if (cold)
		finding_check(out, f, "Low by night and good again by day: cold brings out weak cells. "
		    "Check them, they are not fixed");
	finding_check(out, f, "After each change see that the low battery is restored, and keep an "
	    "eye on it for two weeks");
	for (size_t i = 0; i < s->n_crowd; i++) {
		int32_t device = s->crowd[i];
		const struct battery *b = battery_of(s, device);
		const struct device *d = &s->v->device[device];

		watched += b->state == CELL_WATCHED;
		finding_evidence(out, f, b->onset_event);
		finding_evidence(out, f, b->last_event);
		finding_member(out, f, *d->serial_key ? arena_fmt(a, "serial:%s", d->serial_key)
		    : arena_fmt(a, "zone:%s", d->zone_key));
		f->life |= d->life;
		if (d->maybe_life)
			finding_caution(out, f, CARE_MAYBE_LIFE);
		if (f->last == NO_TIME || b->last_low > f->last)
			f->last = b->last_low;
	}
	finding_caution(out, f, CARE_SITE_TEST);
	finding_measure(out, f, "cells_due", (double)due, "devices");
	finding_measure(out, f, "watched", (double)watched, "devices");
	f->number[N_DUE] = (double)due;
	f->level = due ? LEVEL_SOON : LEVEL_LATER;
}

static bool
is_overridden(const struct view *v)
{
	for (size_t i = 0; i < v->n_override; i++)
		if (strcmp(v->override[i].rule, rule_battery_cluster.id) == 0)
			return true;
	return false;
}

static void
judge(struct view *v, struct findings *out)
{
	const struct rule *rule = &rule_battery_cluster;
	struct site s = { .v = v, .out = out };
	double window = setting_value(v, rule, "window", -1);
	double days, exposure, onsets;
	int flags = is_overridden(v) ? BATTERY_SET : 0;
	bool cold;

	s.from = v->now - setting_ms(v, rule, "lookback", -1);
	s.noted = v->now - (int64_t)(battery_usual("lookback") * DAY);
	s.noted = s.from < s.noted ? s.from : s.noted;
	days = (double)view_cover_within(v, s.from, v->now) / DAY;
	batteries_find(v, &s.cells);
	find_kin(&s);
	exposure = note_exposure(&s);
	onsets = note_onsets(&s);
	find_crowd(&s, setting_ms(v, rule, "window", -1));
	if (s.n_crowd < 2)
		return;
	cold = is_cold(&s);
	for (size_t i = 0; i < s.n_crowd; i++)
		flags |= may_be_life(&s, s.crowd[i]) ? BATTERY_LIFE : 0;
	s.f = finding_add(out, v, rule, -1, "site");
	s.f->pending = true;
	s.f->onset = battery_of(&s, s.crowd[s.first])->onset;
	s.f->count = (long)s.n_crowd;
	s.f->number[N_CROWD] = (double)s.most;
	s.f->number[N_DEVICE_DAYS] = exposure;
	s.f->number[N_DAYS] = days;
	s.f->number[N_ONSETS] = onsets;
	s.f->number[N_WINDOW] = window;
	s.f->number[N_FLAGS] = flags | (cold ? BATTERY_COLD : 0);
	finding_measure(out, s.f, "crowd", (double)s.most, "onsets");
	finding_measure(out, s.f, "span", (double)(battery_of(&s, s.crowd[s.first + s.most - 1])->onset
	    - s.f->onset) / DAY, "d");
	if (days > window)
		finding_measure(out, s.f, "p_own_history", stats_scan_fixed((long)s.most,
		    (long)s.n_crowd, window / days), "");
	if (cold)
		finding_measure_text(out, s.f, "pattern", "cold");
	finding_summary(out, s.f, "%zu low batteries within %g days", s.most, window);
	describe(&s, cold);
}

const struct rule rule_battery_cluster = {
	.id = "battery-cluster",
	.title = "Cells of one site run down together",
	.why = "Cells fitted on one day run down within weeks of each other. Changed one by one, they "
	    "cost a visit each; changed together, one.",
	.quiet_on = "Repeats of one device; one device whose battery flag flips (a marginal cell, "
	    "listed where other cells are due); cells that were changed and stayed good for 14 days.",
	.limits = "Chance is measured against the rate of all other accounts and a prior of one low "
	    "battery in three years for each device. It knows no temperatures, and the age of a "
	    "cell only from a roster's date or a change in the log.",
	.setting = settings,
	.judge = judge,
	.fleet = battery_fleet_judge,
};
