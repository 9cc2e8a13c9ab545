/* trend.c - counts put together, and the page of them. */
#include "daemon/report/trend.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/civil.h"
#include "daemon/report/phrase.h"
#include "daemon/report/rows.h"
#include "rules/care.h"

enum { WEEK_MINUTES = 7 * 24 * 60, RECENT = 4 /* weeks against as many before */ };

/* ---- put together ------------------------------------------------------------ */

void
trend_init(struct trend *t, struct arena *a, int64_t now, int64_t at)
{
	int64_t day = now == NO_TIME ? 0 : (now - (now % DAY + DAY) % DAY) / DAY;

	*t = (struct trend){ .arena = a, .at = at,
	    .monday = day - civil_weekday(day * DAY) - 7 * (TREND_WEEKS - 1),
	    .rule = arena_take(a, rule_count * sizeof *t->rule) };
	for (size_t i = 0; i < rule_count; i++)
		t->rule[i] = (struct trend_rule){ .rule = rule_table[i] };
}

void
trend_release(struct trend *t)
{
	free(t->group);
	free(t->account);
}

static struct trend_group *
group_of(struct trend *t, const char *name)
{
	for (size_t i = 0; i < t->n_group; i++)
		if (span_eq_fold(span_of(t->group[i].name), span_of(name)))
			return &t->group[i];
	t->group = x_grow(t->group, &t->cap_group, t->n_group + 1, sizeof *t->group);
	t->group[t->n_group] = (struct trend_group){ .name = arena_text(t->arena, span_of(name)) };
	return &t->group[t->n_group++];
}

/* Which of the weeks shown, or -1. `day` is days since 1970. */
static int
week_of(const struct trend *t, int64_t day)
{
	return day < t->monday || day >= t->monday + 7 * TREND_WEEKS ? -1 : (int)((day - t->monday) / 7);
}

int
trend_account(void *ctx, const struct account_weeks *w)
{
	struct trend *t = ctx;
	struct trend_group *g = group_of(t, w->group);
	struct trend_account *x;

	t->account = x_grow(t->account, &t->cap_account, t->n_account + 1, sizeof *t->account);
	x = &t->account[t->n_account++];
	*x = (struct trend_account){ .account = arena_text(t->arena, span_of(w->account)),
	    .site_name = arena_text(t->arena, span_of(w->site_name)), .group = g->name };
	g->accounts++;
	for (size_t i = 0; i < w->n; i++) {
		const struct load_week *n = &w->week[i];
		int k = week_of(t, w->monday + 7 * (int64_t)i);

		x->covered += n->covered;
		x->alarms += n->alarms;
		x->life += n->life;
		for (int both = 0; k >= 0 && both < 2; both++) {
			struct trend_week *to = both ? &t->week[k] : &g->week[k];

			to->covered += n->covered;
			to->activations += n->activations;
			to->alarms += n->alarms;
			to->life += n->life;
		}
	}
	return 0;
}

static struct trend_rule *
rule_of(struct trend *t, const char *id)
{
	for (size_t i = 0; i < rule_count; i++)
		if (strcmp(t->rule[i].rule->id, id) == 0)
			return &t->rule[i];
	return NULL;
}

/* A finding of the whole fleet is of no group. */
void
trend_cases(struct trend *t, const struct case_times *list, size_t n)
{
	for (size_t i = 0; i < n; i++) {
		struct trend_rule *r = rule_of(t, list[i].rule);

		if (r)
			r->all++;
	}
	for (size_t i = 0; i < rule_count; i++) {
		struct trend_rule *r = &t->rule[i];

		r->decided = arena_take(t->arena, ((size_t)r->all + 1) * sizeof(double));
		r->cleared = arena_take(t->arena, ((size_t)r->all + 1) * sizeof(double));
		r->settled = arena_take(t->arena, ((size_t)r->all + 1) * sizeof(double));
	}
	for (size_t i = 0; i < n; i++) {
		const struct case_times *c = &list[i];
		struct trend_rule *r = rule_of(t, c->rule);
		struct trend_group *g = group_of(t, c->group);
		int begun = week_of(t, c->onset / DAY);
		int cleared = c->cleared == NO_TIME ? -1 : week_of(t, c->cleared / DAY);

		if (!r)
			continue;
		r->open += c->cleared == NO_TIME;
		if (begun >= 0) {
			t->week[begun].begun++;
			g->week[begun].begun++;
			r->week[begun].begun++;
		}
		if (cleared >= 0) {
			t->week[cleared].cleared++;
			g->week[cleared].cleared++;
			r->week[cleared].cleared++;
		}
		if (c->decided != NO_TIME)
			r->decided[r->n_decided++] = (double)(c->decided - c->raised);
		if (c->cleared != NO_TIME)
			r->cleared[r->n_cleared++] = (double)(c->cleared - c->onset);
		/* What the log showed as over before anybody decided waited for nobody. */
		if (c->cleared != NO_TIME && c->decided != NO_TIME && c->cleared >= c->decided)
			r->settled[r->n_settled++] = (double)(c->cleared - c->decided);
	}
}

/* ---- small words ---------------------------------------------------------------- */

static const char *
day_text(struct html *h, int64_t day)
{
	char text[CIVIL_TEXT];

	return arena_fmt(&h->p->arena, "%.10s", civil_short(day * DAY, text));
}

static void
day(struct html *h, int64_t at_day)
{
	html_open(h, "time");
	html_text(h, day_text(h, at_day));
	html_close(h, "time");
}

static int64_t
percent(int64_t part, int64_t whole)
{
	return whole > 0 ? (100 * part + whole / 2) / whole : 0;
}

static void
section(struct html *h, const char *id, const char *title)
{
	html_open(h, "h2");
	html_attr(h, "id", id);
	html_text(h, title);
	html_close(h, "h2");
}

static void
site_cell(struct html *h, const struct trend *t, const char *account, const char *name)
{
	html_open(h, "th");
	html_attr(h, "scope", "row");
	html_site(h, &t->sites, account, phrase_site(h->p, account, name));
	html_close(h, "th");
}

/* ---- bars ------------------------------------------------------------------------ */

enum { BAR = 8, STEP = 10, TALL = 60, LOW = 18 };

/* How a week is shown: as a bar; in outline where less than three quarters of it is covered
 * (ours, no source); as a slanted line where nothing is. */
static int
look_of(const struct trend_week *w, int64_t accounts)
{
	return w->covered == 0 ? 2 : w->covered * 4 < accounts * WEEK_MINUTES * 3;
}

/* One path for each look. Heights are shares of the tallest. */
static void
bars(struct html *h, const char *class, const int64_t *n, const struct trend_week *cover,
    int64_t accounts, int height, const char *label)
{
	static const char *const look[] = { "bar", "part", "gap" };
	int64_t most = 1;

	for (int i = 0; i < TREND_WEEKS; i++)
		most = n[i] > most ? n[i] : most;
	html_svg(h, class, TREND_WEEKS * STEP, height, label);
	html_attr(h, "preserveAspectRatio", "none");
	for (int k = 0; k < 3; k++) {
		bool any = false;

		for (int i = 0; i < TREND_WEEKS; i++) {
			int x = i * STEP, tall = (int)(((double)n[i] * (height - 2)) / (double)most + 0.5);

			if (look_of(&cover[i], accounts) != k || (k < 2 && n[i] == 0))
				continue;
			if (!any) {
				html_open(h, "path");
				html_attr(h, "class", look[k]);
				html_attr_open(h, "d");
			}
			any = true;
			if (k == 2)
				html_fmt(h, "M%d %dl%d-%d", x + 1, height - 1, BAR - 2, BAR - 2);
			else
				html_fmt(h, "M%d %dh%dv-%dh-%dz", x + 1, height - 1, BAR - 1,
				    tall < 1 ? 1 : tall, BAR - 1);
		}
		if (any) {
			html_attr_close(h);
			html_close(h, "path");
		}
	}
	html_close(h, "svg");
}

enum what { ACTIVATIONS, ALARMS, BEGUN, CLEARED };

static void
pick(const struct trend_week *week, enum what what, int64_t *n)
{
	for (int i = 0; i < TREND_WEEKS; i++)
		n[i] = what == ACTIVATIONS ? week[i].activations : what == ALARMS ? week[i].alarms :
		    what == BEGUN ? week[i].begun : week[i].cleared;
}

static int64_t
sum(const int64_t *n, int from, int to)
{
	int64_t all = 0;

	for (int i = from; i < to; i++)
		all += n[i];
	return all;
}

/* "Alarms: 120 in 26 covered weeks, most 14 in the week of 2026-10-05". */
static const char *
chart_words(struct html *h, const struct trend *t, const char *what, const int64_t *n,
    const struct trend_week *cover)
{
	int top = 0, covered = 0;

	for (int i = 0; i < TREND_WEEKS; i++) {
		top = n[i] > n[top] ? i : top;
		covered += cover[i].covered > 0;
	}
	if (n[top] == 0)
		return arena_fmt(&h->p->arena, "%s: none in %s", what,
		    text_count(h->p, covered, "covered week", "covered weeks"));
	return arena_fmt(&h->p->arena, "%s: %lld in %s, most %lld in the week of %s", what,
	    (long long)sum(n, 0, TREND_WEEKS), text_count(h->p, covered, "covered week",
	    "covered weeks"), (long long)n[top], day_text(h, t->monday + 7 * top));
}

static void
chart(struct html *h, const struct trend *t, const char *what, enum what which)
{
	int64_t n[TREND_WEEKS];

	pick(t->week, which, n);
	html_open(h, "figure");
	html_attr(h, "class", "chart");
	html_leaf(h, "figcaption", NULL, chart_words(h, t, what, n, t->week));
	bars(h, "bars", n, t->week, (int64_t)t->n_account, TALL, NULL);
	html_open(h, "p");
	html_attr(h, "class", "ends");
	html_leaf(h, "span", NULL, day_text(h, t->monday));
	html_leaf(h, "span", NULL, day_text(h, t->monday + 7 * (TREND_WEEKS - 1)));
	html_close(h, "p");
	html_close(h, "figure");
}

/* ---- sections -------------------------------------------------------------------- */

/* The first week of which anything is covered. */
static int
first_week(const struct trend *t)
{
	int i = 0;

	while (i < TREND_WEEKS - 1 && t->week[i].covered == 0)
		i++;
	return i;
}

static void
weeks(struct html *h, const struct trend *t)
{
	static const char *const head[] = { "Week of", "#Covered", "#Activations", "#Each account",
		"#Alarms", "#Life safety", "#Findings begun", "#Cleared" };
	int first = first_week(t);

	section(h, "weeks", "Week by week");
	html_open(h, "div");
	html_attr(h, "class", "charts");
	chart(h, t, "Activations", ACTIVATIONS);
	chart(h, t, "Alarms", ALARMS);
	chart(h, t, "Findings begun", BEGUN);
	chart(h, t, "Findings cleared", CLEARED);
	html_close(h, "div");
	html_leaf(h, "p", "legend", "A bar a week, as tall as its share of the tallest. Outlined: less "
	    "than three quarters of the accounts' time is covered by exports, so do not compare it. A "
	    "slanted line: nothing is covered.");
	rows_open(h, "Signals and findings by week, the newest first", head, sizeof head / sizeof *head);
	for (int i = TREND_WEEKS - 1; i >= first; i--) {
		const struct trend_week *w = &t->week[i];

		html_open(h, "tr");
		html_open(h, "th");
		html_attr(h, "scope", "row");
		day(h, t->monday + 7 * i);
		html_close(h, "th");
		html_leaf_fmt(h, "td", "number", "%lld %%", (long long)percent(w->covered,
		    (int64_t)t->n_account * WEEK_MINUTES));
		rows_number(h, w->activations);
		if (w->covered)
			html_leaf_fmt(h, "td", "number", "%.1f", (double)w->activations * WEEK_MINUTES /
			    (double)w->covered);
		else
			html_leaf(h, "td", "number", "-");
		rows_number(h, w->alarms);
		rows_number(h, w->life);
		rows_number(h, w->begun);
		rows_number(h, w->cleared);
		html_close(h, "tr");
	}
	rows_close(h);
	html_leaf(h, "p", "legend", "Covered: how much of all accounts' time the exports tell of. Each "
	    "account: activations of an account in a week that is covered whole. Life safety: how "
	    "many of the alarms.");
}

/* Four weeks and the four before, as far as they are covered for the better part; the week
 * that has begun is left out. */
static void
recent_cells(struct html *h, const int64_t *n, const struct trend_week *cover, int64_t accounts)
{
	for (int back = 1; back <= 2; back++) {
		int from = TREND_WEEKS - 1 - back * RECENT;
		int64_t covered = 0;

		for (int i = from; i < from + RECENT; i++)
			covered += cover[i].covered;
		if (covered * 2 < accounts * WEEK_MINUTES * RECENT || covered == 0)
			html_leaf(h, "td", "number", "-");
		else
			rows_number(h, sum(n, from, from + RECENT));
	}
}

static void
bars_cell(struct html *h, const struct trend *t, const char *what, const int64_t *n,
    const struct trend_week *cover, int64_t accounts)
{
	html_open(h, "td");
	bars(h, "bars small", n, cover, accounts, LOW, chart_words(h, t, what, n, cover));
	html_close(h, "td");
}

/* All numbers, behind a line that opens: row by row for who wants them. */
static void
matrix_open(struct html *h, const struct trend *t, const char *name, const char *row)
{
	const char *head[TREND_WEEKS + 1] = { row };
	size_t n = 1;

	for (int i = first_week(t); i < TREND_WEEKS; i++)
		head[n++] = arena_fmt(&h->p->arena, "#%s", day_text(h, t->monday + 7 * i));
	html_open(h, "details");
	html_leaf(h, "summary", NULL, name);
	rows_open(h, name, head, n);
}

static void
matrix_row(struct html *h, const struct trend *t, const char *name, const int64_t *n)
{
	html_open(h, "tr");
	html_th(h, "row", NULL, name);
	for (int i = first_week(t); i < TREND_WEEKS; i++)
		rows_number(h, n[i]);
	html_close(h, "tr");
}

static void
matrix_close(struct html *h)
{
	rows_close(h);
	html_close(h, "details");
}

static void
rules_section(struct html *h, const struct trend *t)
{
	static const char *const head[] = { "Rule", "Findings begun, by week", "#Last 4 weeks",
		"#4 before", "#Open", "#Cleared" };
	int64_t n[TREND_WEEKS];
	const char *none = "";

	section(h, "rules", "By rule");
	rows_open(h, "Findings by rule", head, sizeof head / sizeof *head);
	for (size_t i = 0; i < rule_count; i++) {
		const struct trend_rule *r = &t->rule[i];

		if (!r->all) {
			none = arena_fmt(&h->p->arena, "%s%s%s", none, *none ? ", " : "", r->rule->id);
			continue;
		}
		pick(r->week, BEGUN, n);
		html_open(h, "tr");
		html_open(h, "th");
		html_attr(h, "scope", "row");
		html_link(h, "rules.html", r->rule->id, r->rule->id);
		html_close(h, "th");
		bars_cell(h, t, r->rule->id, n, t->week, (int64_t)t->n_account);
		recent_cells(h, n, t->week, (int64_t)t->n_account);
		rows_number(h, r->open);
		rows_number(h, r->all - r->open);
		html_close(h, "tr");
	}
	rows_close(h);
	if (*none)
		html_leaf_fmt(h, "p", "legend", "Never a finding: %s.", none);
	html_leaf(h, "p", "legend", "The last 4 weeks are whole ones: the week that has begun is not "
	    "among them. A dash: less than half of that time is covered. A finding counts in the week in which the log shows it to begin.");
	matrix_open(h, t, "Findings begun by rule and week, in numbers", "Rule");
	for (size_t i = 0; i < rule_count; i++) {
		if (!t->rule[i].all)
			continue;
		pick(t->rule[i].week, BEGUN, n);
		matrix_row(h, t, t->rule[i].rule->id, n);
	}
	matrix_close(h);
}

static int64_t
group_activity(const struct trend_group *g)
{
	int64_t n[TREND_WEEKS];

	pick(g->week, ACTIVATIONS, n);
	return sum(n, 0, TREND_WEEKS);
}

static int
by_activity(const void *a, const void *b)
{
	const struct trend_group *x = a, *y = b;
	int64_t n = group_activity(x), m = group_activity(y);

	return n != m ? (n < m) - (n > m) : strcmp(x->name, y->name);
}

/* Beyond TREND_GROUPS all are one. */
static void
fold_groups(struct trend *t)
{
	struct trend_group *rest;

	qsort(t->group, t->n_group, sizeof *t->group, by_activity);
	if (t->n_group <= TREND_GROUPS)
		return;
	rest = &t->group[TREND_GROUPS];
	for (size_t i = TREND_GROUPS + 1; i < t->n_group; i++) {
		const struct trend_group *g = &t->group[i];

		rest->accounts += g->accounts;
		for (int k = 0; k < TREND_WEEKS; k++) {
			rest->week[k].covered += g->week[k].covered;
			rest->week[k].activations += g->week[k].activations;
			rest->week[k].alarms += g->week[k].alarms;
			rest->week[k].life += g->week[k].life;
			rest->week[k].begun += g->week[k].begun;
			rest->week[k].cleared += g->week[k].cleared;
		}
	}
	rest->name = arena_fmt(t->arena, "all %zu others", t->n_group - TREND_GROUPS);
	t->n_group = TREND_GROUPS + 1;
}

static const char *
group_name(const struct trend_group *g)
{
	return *g->name ? g->name : g->accounts ? "(no group)" : "(the whole fleet)";
}

static void
group_matrix(struct html *h, const struct trend *t, const char *name, enum what what)
{
	int64_t n[TREND_WEEKS];

	matrix_open(h, t, name, "Group");
	for (size_t i = 0; i < t->n_group; i++) {
		pick(t->group[i].week, what, n);
		matrix_row(h, t, group_name(&t->group[i]), n);
	}
	matrix_close(h);
}

static void
groups_section(struct html *h, struct trend *t)
{
	static const char *const head[] = { "Group", "#Accounts", "Activations, by week",
		"#Last 4 weeks", "#4 before", "Findings begun, by week", "#Last 4 weeks", "#4 before" };
	int64_t n[TREND_WEEKS];

	section(h, "groups", "By group");
	fold_groups(t);
	rows_open(h, "Activations and findings by group", head, sizeof head / sizeof *head);
	for (size_t i = 0; i < t->n_group; i++) {
		const struct trend_group *g = &t->group[i];

		html_open(h, "tr");
		html_th(h, "row", NULL, group_name(g));
		rows_number(h, g->accounts);
		pick(g->week, ACTIVATIONS, n);
		bars_cell(h, t, "Activations", n, g->week, g->accounts);
		recent_cells(h, n, g->week, g->accounts);
		pick(g->week, BEGUN, n);
		bars_cell(h, t, "Findings begun", n, g->week, g->accounts);
		recent_cells(h, n, g->week, g->accounts);
		html_close(h, "tr");
	}
	rows_close(h);
	group_matrix(h, t, "Activations by group and week, in numbers", ACTIVATIONS);
	group_matrix(h, t, "Alarms by group and week, in numbers", ALARMS);
	group_matrix(h, t, "Findings begun by group and week, in numbers", BEGUN);
}

static void
share_cell(struct html *h, int64_t part, int64_t whole)
{
	int64_t n = percent(part, whole);

	html_open(h, "td");
	html_attr(h, "class", "number short");
	html_fmt(h, "%lld %% ", (long long)n);
	html_svg(h, "share", 100, 10, NULL);
	html_open(h, "path");
	html_attr(h, "class", "frame");
	html_attr(h, "d", "M.5 .5h99v9h-99z");
	html_close(h, "path");
	html_open(h, "path");
	html_attr(h, "class", "bar");
	html_attr_open(h, "d");
	html_fmt(h, "M0 0h%lldv10h-%lldz", (long long)n, (long long)n);
	html_attr_close(h);
	html_close(h, "path");
	html_close(h, "svg");
	html_close(h, "td");
}

static void
top_section(struct html *h, const struct trend *t)
{
	static const char *const head[] = { "Account", "Device", "#Alarms", "#Share of all alarms",
		"#Activations", "#Share of all activations" };
	int64_t alarms = 0, activations = 0;

	section(h, "top", "Who makes the work");
	if (!t->n_load || !t->all_alarms) {
		html_leaf(h, "p", NULL, "No alarm in the last 30 days that somebody had to handle.");
		return;
	}
	for (size_t i = 0; i < t->n_load; i++) {
		alarms += t->load[i].alarms;
		activations += t->load[i].activations;
	}
	html_leaf_fmt(h, "p", NULL, "In the 30 days before the end of cover %s made %lld %% of the %s "
	    "that somebody had to handle, and %lld %% of the %s.",
	    text_count(h->p, (int64_t)t->n_load, "device", "devices"),
	    (long long)percent(alarms, t->all_alarms),
	    text_count(h->p, t->all_alarms, "alarm", "alarms"),
	    (long long)percent(activations, t->all_activations),
	    text_count(h->p, t->all_activations, "activation", "activations"));
	rows_open(h, "The devices with the most alarms of the last 30 days", head,
	    sizeof head / sizeof *head);
	for (size_t i = 0; i < t->n_load; i++) {
		const struct load_row *r = &t->load[i];

		html_open(h, "tr");
		site_cell(h, t, r->account, r->site_name);
		html_open(h, "td");
		if (r->life) {
			html_life(h);
			html_text(h, " ");
		}
		html_text(h, r->device);
		html_close(h, "td");
		rows_number(h, r->alarms);
		share_cell(h, r->alarms, t->all_alarms);
		rows_number(h, r->activations);
		share_cell(h, r->activations, t->all_activations);
		html_close(h, "tr");
	}
	rows_close(h);
}

static double
a_year(const struct trend_account *x)
{
	return x->covered ? (double)x->alarms * 365.25 * 24 * 60 / (double)x->covered : 0;
}

/* Those with too little cover come last. */
static int
by_rate(const void *a, const void *b)
{
	const struct trend_account *x = a, *y = b;
	bool short_x = x->covered < TREND_COVERED, short_y = y->covered < TREND_COVERED;
	double n = a_year(x), m = a_year(y);

	if (short_x != short_y)
		return short_x - short_y;
	return n != m ? (n < m) - (n > m) : strcmp(x->account, y->account);
}

/* How the accounts spread: bounds are alarms a year, ours, no source. */
static void
spread(struct html *h, const struct trend_account *list, size_t n)
{
	static const struct { double below; const char *name; } step[] = {
		{ 1e-9, "none" }, { 1, "under 1" }, { 2, "1 to under 2" }, { 4, "2 to under 4" },
		{ 12, "4 to under 12" }, { HUGE_VAL, "12 and more" },
	};
	enum { STEPS = sizeof step / sizeof *step };
	static const char *const head[] = { "Alarms a year", "#Accounts", "#Share of accounts",
		"#Alarms", "#Share of alarms" };
	int64_t accounts[STEPS] = { 0 }, alarms[STEPS] = { 0 }, all = 0;

	for (size_t i = 0; i < n; i++) {
		int k = 0;

		while (a_year(&list[i]) >= step[k].below)
			k++;
		accounts[k]++;
		alarms[k] += list[i].alarms;
		all += list[i].alarms;
	}
	rows_open(h, "Accounts by their alarms a year", head, sizeof head / sizeof *head);
	for (int k = 0; k < STEPS; k++) {
		html_open(h, "tr");
		html_th(h, "row", NULL, step[k].name);
		rows_number(h, accounts[k]);
		share_cell(h, accounts[k], (int64_t)n);
		rows_number(h, alarms[k]);
		share_cell(h, alarms[k], all);
		html_close(h, "tr");
	}
	rows_close(h);
}

static void
year_section(struct html *h, struct trend *t)
{
	static const char *const head[] = { "Account", "Group", "#Covered", "#Alarms", "#Life safety",
		"#Alarms a year" };
	struct trend_account all = { 0 };
	size_t n = 0, shown = 0;

	section(h, "year", "Alarms of an account and year");
	qsort(t->account, t->n_account, sizeof *t->account, by_rate);
	while (n < t->n_account && t->account[n].covered >= TREND_COVERED) {
		all.covered += t->account[n].covered;
		all.alarms += t->account[n].alarms;
		all.life += t->account[n++].life;
	}
	if (n == 0) {
		html_leaf(h, "p", NULL, "No account is covered for four weeks yet.");
		return;
	}
	html_leaf_fmt(h, "p", NULL, "%s with %s in the time that the exports cover (a year at the most): "
	    "%.2f alarms of an account and year. %lld of them are of life safety.",
	    text_count(h->p, (int64_t)n, "account", "accounts"),
	    text_count(h->p, all.alarms, "alarm", "alarms"), a_year(&all), (long long)all.life);
	if (n < t->n_account)
		html_leaf_fmt(h, "p", NULL, "Left out: %s covered for less than four weeks.",
		    text_count(h->p, (int64_t)(t->n_account - n), "account", "accounts"));
	spread(h, t->account, n);
	/* A single alarm makes no rate. */
	for (size_t i = 0; i < n && shown < TREND_ACCOUNTS; i++) {
		const struct trend_account *x = &t->account[i];

		if (x->alarms < 2)
			continue;
		if (shown++ == 0)
			rows_open(h, "The accounts with the most alarms a year, of those with two or more",
			    head, sizeof head / sizeof *head);
		html_open(h, "tr");
		site_cell(h, t, x->account, x->site_name);
		html_leaf(h, "td", NULL, x->group);
		html_leaf(h, "td", "number", text_span(h->p, x->covered * MINUTE));
		rows_number(h, x->alarms);
		rows_number(h, x->life);
		html_leaf_fmt(h, "td", "number", "%.1f", a_year(x));
		html_close(h, "tr");
	}
	if (shown)
		rows_close(h);
}

static int
by_size(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

/* The median, and the middle half of them; sorts. */
static void
times_cells(struct html *h, double *ms, size_t n)
{
	rows_number(h, (int64_t)n);
	if (n == 0) {
		html_leaf(h, "td", NULL, "-");
		return;
	}
	qsort(ms, n, sizeof *ms, by_size);
	html_open(h, "td");
	html_text(h, text_span(h->p, (int64_t)ms[(n - 1) / 2]));
	if (n > 3)
		html_fmt(h, " (half of them %s to %s)", text_span(h->p, (int64_t)ms[(n - 1) / 4]),
		    text_span(h->p, (int64_t)ms[n - 1 - (n - 1) / 4]));
	html_close(h, "td");
}

static void
times_section(struct html *h, const struct trend *t)
{
	static const char *const head[] = { "Rule", "#Findings", "#Decided", "From new to decided",
		"#Cleared", "From begun to cleared", "#Cleared after", "From decided to cleared" };
	bool any = false;

	section(h, "times", "From new to decided to cleared");
	for (size_t i = 0; i < rule_count; i++)
		any |= t->rule[i].all > 0;
	if (!any) {
		html_leaf(h, "p", NULL, "No findings yet.");
		return;
	}
	html_leaf(h, "p", NULL, "The middle one of all that got so far, and between what the middle half "
	    "of them lies. What still waits is not in it.");
	rows_open(h, "How long findings waited, by rule", head, sizeof head / sizeof *head);
	for (size_t i = 0; i < rule_count; i++) {
		const struct trend_rule *r = &t->rule[i];

		if (!r->all)
			continue;
		html_open(h, "tr");
		html_th(h, "row", NULL, r->rule->id);
		rows_number(h, r->all);
		times_cells(h, r->decided, r->n_decided);
		times_cells(h, r->cleared, r->n_cleared);
		times_cells(h, r->settled, r->n_settled);
		html_close(h, "tr");
	}
	rows_close(h);
	html_leaf(h, "p", "legend", "New to decided is by this machine's clock, begun to cleared by the "
	    "log's. Decided to cleared leaves out what the log shows as over before it was decided.");
}

static bool
comparable(const struct work_row *w)
{
	enum { MOST_OF_IT = 12 * 24 * 60 };	/* 12 of 14 days; common practice, no source */

	return w->before.covered >= MOST_OF_IT && w->after.covered >= MOST_OF_IT;
}

static void
change_cell(struct html *h, int64_t before, int64_t after)
{
	html_leaf_fmt(h, "td", "number", "%lld to %lld", (long long)before, (long long)after);
}

static void
work_summary(struct html *h, const struct trend *t)
{
	static const char *const head[] = { "Measure", "#Two weeks before", "#Two weeks after",
		"#Fewer", "#As many", "#More" };
	static const char *const name[] = { "activations", "alarms", "losses", "low cells" };
	struct { int64_t before, after, fewer, same, more; } m[4] = { 0 };
	int64_t n = 0;

	for (size_t i = 0; i < t->n_work; i++) {
		const struct work_side *b = &t->work[i].before, *a = &t->work[i].after;
		const int64_t pair[4][2] = { { b->activations, a->activations }, { b->alarms, a->alarms },
			{ b->losses, a->losses }, { b->low, a->low } };

		if (!comparable(&t->work[i]))
			continue;
		n++;
		for (int k = 0; k < 4; k++) {
			m[k].before += pair[k][0];
			m[k].after += pair[k][1];
			m[k].fewer += pair[k][1] < pair[k][0];
			m[k].same += pair[k][1] == pair[k][0];
			m[k].more += pair[k][1] > pair[k][0];
		}
	}
	html_leaf_fmt(h, "p", NULL, "%s whose two weeks after are over; %lld of them with at least 12 "
	    "covered days on both sides, which are summed up here.",
	    text_count(h->p, (int64_t)t->n_work, "visit of the service list", "visits of the service "
	    "list"), (long long)n);
	if (n == 0)
		return;
	rows_open(h, "All visits that can be compared", head, sizeof head / sizeof *head);
	for (int k = 0; k < 4; k++) {
		html_open(h, "tr");
		html_th(h, "row", NULL, name[k]);
		rows_number(h, m[k].before);
		rows_number(h, m[k].after);
		rows_number(h, m[k].fewer);
		rows_number(h, m[k].same);
		rows_number(h, m[k].more);
		html_close(h, "tr");
	}
	rows_close(h);
}

static void
work_section(struct html *h, const struct trend *t)
{
	static const char *const head[] = { "Account", "When (UTC)", "What was done", "Device",
		"#Activations", "#Alarms", "#Losses", "#Low cells", "Covered" };

	section(h, "work", "Before and after visits");
	if (!t->n_work) {
		html_leaf(h, "p", NULL, "No visit of the service list is two weeks old yet.");
		return;
	}
	work_summary(h, t);
	rows_open(h, t->n_work > TREND_WORKS ? arena_fmt(&h->p->arena, "The newest %d visits",
	    TREND_WORKS) : "Each visit, the newest first", head, sizeof head / sizeof *head);
	for (size_t i = 0; i < t->n_work && i < TREND_WORKS; i++) {
		const struct work_row *w = &t->work[i];

		html_open(h, "tr");
		site_cell(h, t, w->account, w->site_name);
		html_open(h, "td");
		day(h, w->at / DAY);
		html_close(h, "td");
		html_leaf_fmt(h, "td", NULL, "%s%s%s", w->what, *w->who ? ", " : "", w->who);
		html_leaf(h, "td", NULL, *w->device ? w->device : "the whole site");
		change_cell(h, w->before.activations, w->after.activations);
		change_cell(h, w->before.alarms, w->after.alarms);
		change_cell(h, w->before.losses, w->after.losses);
		change_cell(h, w->before.low, w->after.low);
		html_leaf_fmt(h, "td", NULL, "%s before, %s after", text_span(h->p, w->before.covered *
		    MINUTE), text_span(h->p, w->after.covered * MINUTE));
		html_close(h, "tr");
	}
	rows_close(h);
}

static void
contents(struct html *h)
{
	static const struct { const char *id, *name; } to[] = {
		{ "weeks", "Week by week" }, { "rules", "By rule" }, { "groups", "By group" },
		{ "top", "Who makes the work" }, { "year", "Alarms of an account and year" },
		{ "times", "From new to decided to cleared" }, { "work", "Before and after visits" },
	};

	html_open(h, "nav");
	html_attr(h, "class", "contents screen");
	html_attr(h, "aria-label", "On this page");
	html_open(h, "ul");
	for (size_t i = 0; i < sizeof to / sizeof *to; i++) {
		html_open(h, "li");
		html_link(h, NULL, to[i].id, to[i].name);
		html_close(h, "li");
	}
	html_close(h, "ul");
	html_close(h, "nav");
}

void
trend_html(struct page *p, struct trend *t)
{
	const struct html_page page = { .title = "Trend", .here = "trend.html", .nav = true,
		.at = t->at };
	int first = first_week(t);
	struct html h;

	html_begin(&h, p, &page);
	html_leaf(&h, "h1", NULL, "Trend");
	if (t->week[first].covered == 0) {
		html_leaf(&h, "p", NULL, "Nothing is covered by exports yet, so there is nothing to count.");
		html_end(&h, &page);
		return;
	}
	html_leaf_fmt(&h, "p", NULL, "%s, the weeks of %s to %s. Weeks begin on Monday 00:00 UTC, for all "
	    "sites alike. An alarm is one that somebody had to handle: outside tests, each activation "
	    "once.", text_count(p, (int64_t)t->n_account, "account", "accounts"),
	    day_text(&h, t->monday + 7 * first), day_text(&h, t->monday + 7 * (TREND_WEEKS - 1)));
	html_open(&h, "div");
	html_attr(&h, "class", "care");
	html_leaf(&h, "p", NULL, CARE_LIFE);
	html_leaf(&h, "p", NULL, "Numbers of life safety are here to plan visits, never to do less about "
	    "an alarm.");
	html_close(&h, "div");
	contents(&h);
	weeks(&h, t);
	rules_section(&h, t);
	groups_section(&h, t);
	top_section(&h, t);
	year_section(&h, t);
	times_section(&h, t);
	work_section(&h, t);
	html_end(&h, &page);
}
