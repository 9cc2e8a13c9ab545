/* battery_due.c - how likely cells that said nothing yet are due. */
#include "rules/battery_due.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rules/survival.h"

extern const struct rule rule_battery_cluster;

/* ---- one account -------------------------------------------------------------- */

static double
days(int64_t from, int64_t to)
{
	return (double)(to - from) / DAY;
}

/* The first time that the device's cell went low after `from`; NO_TIME. */
static int64_t
first_low(const struct batteries *b, int32_t device, int64_t from)
{
	for (size_t i = 0; i < b->n_onset; i++)
		if (b->onset[i].device == device && b->onset[i].at > from)
			return b->onset[i].at;
	return NO_TIME;
}

/* Up to two lives: of the cell that the roster tells, and of one put in since. */
static size_t
lives_of(const struct view *v, const struct batteries *b, int32_t device, struct life out[2])
{
	const struct device *d = &v->device[device];
	const struct battery *own = &b->device[device];
	int64_t end = d->unlearned != NO_TIME ? d->unlearned : v->now, low;
	int64_t watch = v->n_cover ? v->cover[0].from : v->now;
	size_t n = 0;

	if (d->learned != NO_TIME && d->learned > watch &&
	    (d->first_heard == NO_TIME || d->first_heard >= d->learned))
		watch = d->learned;
	if (d->installed != NO_TIME && d->installed < end) {
		double from = watch > d->installed ? days(d->installed, watch) : 0;

		low = first_low(b, device, d->installed);
		if (low != NO_TIME)
			out[n++] = (struct life){ from, days(d->installed, low), true, 1 };
		else if (own->last_low == NO_TIME || own->last_low <= d->installed)
			out[n++] = (struct life){ from, days(d->installed, own->changed != NO_TIME &&
			    own->changed > d->installed ? own->changed : end), false, 1 };
	}
	if (own->changed != NO_TIME && own->changed < end &&
	    (d->installed == NO_TIME || own->changed > d->installed))
		out[n++] = (struct life){ 0, days(own->changed, end), false, 1 };
	return n;
}

static int
by_life(const void *a, const void *b)
{
	const struct life *x = a, *y = b;

	if (x->from != y->from)
		return x->from < y->from ? -1 : 1;
	if (x->to != y->to)
		return x->to < y->to ? -1 : 1;
	return (int)x->ended - (int)y->ended;
}

void
battery_note_lives(struct findings *out, const struct view *v, const struct batteries *b,
    const int32_t *device, size_t n, const char *cell)
{
	struct life *life = x_calloc(2 * n + 1, sizeof *life);
	size_t found = 0;

	for (size_t i = 0; i < n; i++)
		found += lives_of(v, b, device[i], life + found);
	if (found)
		qsort(life, found, sizeof *life, by_life);
	for (size_t i = 0, end; i < found; i = end) {
		for (end = i + 1; end < found && by_life(&life[i], &life[end]) == 0; end++)
			;
		summary_add(out, arena_fmt(&out->arena, "%s:%s", life[i].ended ? "lived" : "lives", cell),
		    (int64_t)(end - i), life[i].from, life[i].to);
	}
	free(life);
}

void
battery_note_sibling(struct findings *out, struct view *v, const struct batteries *b,
    int32_t device, const char *cell, long low)
{
	int64_t since = v->device[device].installed;

	if (b->device[device].changed != NO_TIME && b->device[device].changed > since)
		since = b->device[device].changed;	/* NO_TIME is the smallest */
	summary_add(out, arena_fmt(&out->arena, "sibling:%s\t%s", cell, device_label(v, device)),
	    v->now, since != NO_TIME && since <= v->now ? days(since, v->now) : -1,
	    (double)low);
}

/* ---- over all accounts ------------------------------------------------------------ */

struct curve {
	const char *cell;
	struct survival s;
	double n;
};

struct sibling {
	const char *account, *cell, *label;
	double age, due;	/* due: 0..1; -1 = not known */
	double low;
	bool   at_least;	/* no cell was watched to the age that is asked for */
	struct candidate *c;
	const struct curve *curve;
};

static bool
is_of(const struct summary *s, const char *what, const char *cell)
{
	size_t n = strlen(what);

	return strncmp(s->key, what, n) == 0 && strcmp(s->key + n, cell) == 0;
}

static const struct curve *
curve_for(const struct fleet *f, struct arena *a, struct curve *list, size_t *n, const char *cell)
{
	struct life *life;
	struct curve *c;
	size_t found = 0;

	for (size_t i = 0; i < *n; i++)
		if (strcmp(list[i].cell, cell) == 0)
			return &list[i];
	c = &list[(*n)++];
	*c = (struct curve){ .cell = cell };
	life = x_calloc(f->n_summary + 1, sizeof *life);
	for (size_t i = 0; i < f->n_summary; i++) {
		const struct summary *s = &f->summary[i];
		bool ended = is_of(s, "lived:", cell);

		if (!ended && !is_of(s, "lives:", cell))
			continue;
		life[found++] = (struct life){ s->a, s->b, ended, (double)s->at };
		c->n += (double)s->at;
	}
	c->s = survival_of(a, life, found);
	free(life);
	return c;
}

/* By site and cell, the likeliest first. */
static int
by_due(const void *a, const void *b)
{
	const struct sibling *x = a, *y = b;
	int c;

	if (x->c != y->c)
		return x->c < y->c ? -1 : 1;
	if ((c = strcmp(x->cell, y->cell)) != 0)
		return c;
	if (x->due != y->due)
		return x->due > y->due ? -1 : 1;
	return strcmp(x->label, y->label);
}

static const char *
say_one(struct arena *a, const struct sibling *s)
{
	if (s->age < 0)
		return arena_fmt(a, "%s (age not known)", s->label);
	if (s->due < 0)
		return arena_fmt(a, "%s (%.1f years old)%s", s->label, s->age / 365.25, s->at_least ?
		    ": not known, no cell was watched for so long" : "");
	return arena_fmt(a, "%s (%.1f years old): %s%.0f %%", s->label, s->age / 365.25,
	    s->at_least ? "at least " : "", 100 * s->due);
}

/* One check on the siblings[from..to) of one site and cell. */
static void
say(struct findings *out, const struct sibling *s, size_t n, double within, double least)
{
	struct arena *a = &out->arena;
	struct candidate *c = s->c;
	const char *list = "", *how;

	for (size_t i = 0; i < n; i++)
		list = arena_fmt(a, "%s%s%s", list, i ? "; " : "", say_one(a, &s[i]));
	if (s->curve->s.ended >= least)
		how = arena_fmt(a, "how likely each goes low within %g days, by the survival of %.0f cells "
		    "of this type at all sites, %.0f of which went low", within, s->curve->n,
		    s->curve->s.ended);
	else
		how = arena_fmt(a, "how likely each is due cannot be told, for of cells of this type and "
		    "known age %.0f went low so far, and %g are needed", s->curve->s.ended, least);
	c->check[c->n_check++] = arena_fmt(a, "Same cell (%s) and age, not low yet: %s (%s). At this "
	    "site %.0f of %.0f already went low, which makes the others likelier still", s->cell, list,
	    how, s->low, s->low + (double)n);
	if (s->due >= 0)
		c->measure[c->n_measure++] = (struct measure){ arena_fmt(a, "due %s", s->cell), "%",
			100 * s->due, NULL };
}

/* The siblings of sites that fire, with the curve of their cell type. */
static size_t
find_siblings(struct fleet *f, struct findings *out, struct sibling *list)
{
	struct curve *curve = arena_take(&out->arena, (f->n_summary + 1) * sizeof *curve);
	double within = setting_fleet(f, &rule_battery_cluster, "due_within");
	double least = setting_fleet(f, &rule_battery_cluster, "survival_least");
	size_t n = 0, n_curve = 0;

	for (size_t i = 0; i < f->n_summary; i++) {
		const struct summary *s = &f->summary[i];
		const char *cell, *tab;

		if (strncmp(s->key, "sibling:", 8) != 0)
			continue;
		cell = s->key + 8;
		tab = strchr(cell, '\t');
		for (size_t k = 0; tab && k < f->n_candidate; k++) {
			struct sibling *one = &list[n];

			if (!f->candidate[k].fires || strcmp(f->candidate[k].account, s->account) != 0)
				continue;
			*one = (struct sibling){ .account = s->account, .label = tab + 1, .age = s->a, .low = s->b,
				.cell = arena_bytes(&out->arena, cell, (size_t)(tab - cell)), .due = -1,
				.c = &f->candidate[k] };
			one->curve = curve_for(f, &out->arena, curve, &n_curve, one->cell);
			if (s->a >= 0 && one->curve->s.ended >= least) {
				one->due = survival_due(&one->curve->s, s->a, within);
				one->at_least = s->a + within > one->curve->s.oldest;
				if (one->at_least && one->due == 0)
					one->due = -1;	/* "at least 0 %" tells nothing */
			}
			n++;
			break;
		}
	}
	return n;
}

void
battery_due_judge(struct fleet *f, struct findings *out)
{
	struct sibling *list = arena_take(&out->arena, (f->n_summary + 1) * sizeof *list);
	double within = setting_fleet(f, &rule_battery_cluster, "due_within");
	double least = setting_fleet(f, &rule_battery_cluster, "survival_least");
	size_t n = find_siblings(f, out, list);

	if (n)
		qsort(list, n, sizeof *list, by_due);
	for (size_t i = 0, end; i < n; i = end) {
		size_t types = 0, last = i;

		/* Room for all cell types of one site. */
		for (; last < n && list[last].c == list[i].c; last++)
			types += last == i || strcmp(list[last].cell, list[last - 1].cell) != 0;
		if (!list[i].c->check) {
			struct candidate *c = list[i].c;
			struct measure *more = arena_take(&out->arena, (c->n_measure + types) *
			    sizeof *more);

			memcpy(more, c->measure, c->n_measure * sizeof *more);
			c->measure = more;
			c->check = arena_take(&out->arena, types * sizeof *c->check);
		}
		for (end = i + 1; end < last && strcmp(list[end].cell, list[i].cell) == 0; end++)
			;
		say(out, &list[i], end - i, within, least);
	}
}
