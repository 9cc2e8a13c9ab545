#include "daemon/report/triage.h"

#include <string.h>

#include "daemon/report/notes.h"
#include "daemon/report/phrase.h"
#include "rules/rule.h"

static void
one_finding(struct page *p, const struct triage *t, size_t i, const struct notes *notes,
    int id_width)
{
	const struct stored_finding *f = &t->finding[i];
	const char *lead = arena_fmt(&p->arena, " %-*s  ", id_width, f->id);
	const char *under = arena_fmt(&p->arena, "%*s", id_width + 3, "");
	const char *parent = phrase_parent(t->finding, t->n_finding, f);
	const char *place = phrase_place(f), *letters;
	struct text_zone own = p->zone;

	page_fmt(p, lead, "%s%s%s", phrase_site(p, f->account, f->site_name),
	    *place ? phrase_between(p) : "", place);
	page_para(p, under, f->summary);
	letters = notes_letters(notes, p, f->caution, f->n_caution);
	if (t->zone)
		p->zone = t->zone[i];
	page_fmt(p, under, "%s%s%s%s%s", phrase_facts(p, f),
	    parent ? arena_fmt(&p->arena, "%spart of ", phrase_between(p)) : "",
	    parent ? parent : "", *letters ? arena_fmt(&p->arena, "%scaution ",
	    phrase_between(p)) : "", letters);
	p->zone = own;
	if (f->decision)
		page_para(p, under, phrase_decision(p, f->decision));
}

static void
head(struct page *p, const struct triage *t)
{
	page_fmt(p, "", "%s Times of findings are by each site's own clock.",
	    phrase_cover(p, t->accounts, t->cover_from, t->cover_to));
	if (t->due)
		page_fmt(p, "", "%s still to be judged: the next ingest does it.",
		    text_count(p, t->due, "account is", "accounts are"));
}

/* Who is missing comes first: no finding about them does not mean that all is well. */
static void
missing(struct page *p, const struct triage *t)
{
	enum { NAMED = 8 };
	const char *names = "";

	if (t->n_uncovered) {
		page_heading(p, STYLE_STRONG, "NOT IN THE EXPORTS");
		page_para(p, "  ", phrase_uncovered(p, t->n_uncovered, phrase_sites(p, t->uncovered,
		    t->n_uncovered, NAMED)));
	}
	if (t->n_twin) {
		page_heading(p, STYLE_STRONG, "ACCOUNTS THAT DIFFER ONLY IN LEADING ZEROS");
		for (size_t i = 0; i < t->n_twin && i < NAMED; i++)
			names = arena_fmt(&p->arena, "%s%s%s and %s", names, i ? "; " : "",
			    t->twin[2 * i], t->twin[2 * i + 1]);
		page_fmt(p, "  ", "%s%s. They are kept apart; one customer may be split over two.",
		    names, t->n_twin > NAMED ? "; and more" : "");
	}
}

static void
counts(struct page *p, const struct triage *t)
{
	int64_t n[LEVEL_COUNT] = { 0 }, fresh[LEVEL_COUNT] = { 0 }, decided = 0, cleared = 0, shown;
	const char *text = "";

	for (size_t i = 0; i < t->n_finding; i++) {
		const struct stored_finding *f = &t->finding[i];

		if (f->cleared != NO_TIME) {
			cleared++;
			continue;
		}
		n[f->level]++;
		fresh[f->level] += strcmp(f->state, "new") == 0;
		decided += f->decision && f->decision->holds;
	}
	shown = n[LEVEL_NOW] + n[LEVEL_SOON] + n[LEVEL_LATER];
	for (int l = 0; l < LEVEL_COUNT; l++)
		text = arena_fmt(&p->arena, "%s%s%lld %s (%lld new)", text, l ? ", " : "",
		    (long long)n[l], level_text((enum level)l), (long long)fresh[l]);
	page_blank(p);
	/* A filter must not make it look as if nothing else were open. */
	if (*t->filter)
		page_fmt(p, "", "Open over all accounts: %lld now, %lld soon, %lld later. Shown here, "
		    "%s: %s.", (long long)t->open[LEVEL_NOW], (long long)t->open[LEVEL_SOON],
		    (long long)t->open[LEVEL_LATER], t->filter,
		    text_count(p, (int64_t)t->n_finding, "finding", "findings"));
	else
		page_fmt(p, "", "%s open: %s.%s", text_count(p, shown, "finding", "findings"), text,
		    decided ? arena_fmt(&p->arena, " Somebody has decided on %lld.",
		    (long long)decided) : "");
	if (cleared)
		page_fmt(p, "", "%s cleared.", text_count(p, cleared, "finding", "findings"));
	if (t->since != NO_TIME)
		page_fmt(p, "", "New means first raised after %s.", text_time(p, t->since));
}

static int64_t
percent(int64_t part, int64_t whole)
{
	return whole ? (part * 200 + whole) / (2 * whole) : 0;
}

static void
load(struct page *p, const struct triage *t)
{
	static const struct text_column column[] = {
		{ "share", true, false }, { "alarms", true, false }, { "activations", true, false },
		{ "account", false, false }, { "device", false, false },
	};
	enum { ACCOUNT = 22, NUMBERS = 2 + 5 + 6 + 11 + 4 * 2 };
	struct table table;
	int64_t alarms = 0, activations = 0;
	int account = 7;

	if (!t->n_load || !t->all_alarms)
		return;
	for (size_t i = 0; i < t->n_load; i++) {
		alarms += t->load[i].alarms;
		activations += t->load[i].activations;
		int w = text_width(text_safe(p, phrase_site(p, t->load[i].account,
		    t->load[i].site_name)));

		account = w > account ? w : account;
	}
	if (account > ACCOUNT)
		account = ACCOUNT;
	page_heading(p, STYLE_STRONG, "WHO MAKES THE WORK, last 30 days");
	page_fmt(p, "  ", "%s made %lld %% of the %lld alarm signals that somebody had to handle, "
	    "and %lld %% of the %lld activations.",
	    text_count(p, (int64_t)t->n_load, "device", "devices"),
	    (long long)percent(alarms, t->all_alarms), (long long)t->all_alarms,
	    (long long)percent(activations, t->all_activations), (long long)t->all_activations);
	table_init(&table, p, column, sizeof column / sizeof *column);
	for (size_t i = 0; i < t->n_load; i++) {
		const struct load_row *r = &t->load[i];

		table_fmt(&table, "%lld %%", (long long)percent(r->alarms, t->all_alarms));
		table_fmt(&table, "%lld", (long long)r->alarms);
		table_fmt(&table, "%lld", (long long)r->activations);
		/* One line each: what is cut off stands at the finding. */
		table_add(&table, text_cut(p, text_safe(p, phrase_site(p, r->account, r->site_name)),
		    account));
		table_add(&table, text_cut(p, text_safe(p, arena_fmt(&p->arena, "%s%s",
		    r->life ? "LIFE SAFETY " : "", r->device)), p->width - NUMBERS - account));
	}
	table_print(&table, 2);
}

void
triage_text(struct page *p, const struct triage *t)
{
	struct notes notes = { 0 };
	size_t below = 0, left[LEVEL_COUNT] = { 0 }, all_left = 0;
	int id_width = 2, level = -1;

	for (size_t i = 0; i < t->n_finding; i++) {
		const struct stored_finding *f = &t->finding[i];
		int w = text_width(f->id);

		notes_add(&notes, f->life, f->caution, f->n_caution);
		id_width = w > id_width ? w : id_width;
	}
	for (size_t i = 0; i < t->n_load; i++)
		notes.life |= t->load[i].life;
	head(p, t);
	missing(p, t);
	counts(p, t);
	notes_print(&notes, p);
	load(p, t);
	for (size_t i = 0; i < t->n_finding; i++) {
		static const enum style style[] = { STYLE_LOUD, STYLE_STRONG, STYLE_STRONG };
		static const char *const name[] = {
			"NOW", "SOON", "LATER"
		};
		const struct stored_finding *f = &t->finding[i];

		/* Urgent and life-safety findings are never left out. */
		if (f->level != LEVEL_NOW && !f->life && t->limit && below++ >= t->limit) {
			left[f->level]++;
			all_left++;
			continue;
		}
		if (f->level != level)
			page_heading(p, style[f->level], name[f->level]);
		level = f->level;
		one_finding(p, t, i, &notes, id_width);
	}
	if (all_left) {
		page_blank(p);
		page_fmt(p, "", "%zu more are not shown (%zu soon, %zu later): --limit 0 shows all.",
		    all_left, left[LEVEL_SOON], left[LEVEL_LATER]);
	}
	page_blank(p);
	if (!t->n_finding)
		page_para(p, "", "Nothing to show. What no export covers is not known.");
	else
		page_fmt(p, "Next: ", "tripsift explain %s; tripsift site ACCOUNT; "
		    "tripsift decide %s --as seen --who NAME", t->finding[0].id, t->finding[0].id);
}
