#include "daemon/report/digest.h"

#include <stdlib.h>
#include <string.h>

#include "daemon/report/phrase.h"
#include "daemon/report/retained.h"
#include "rules/care.h"
#include "rules/rule.h"

/* So many lines of one kind are shown below `now` and where no life hangs on it; the rest
 * stands in findings.csv. A page of a hundred lines is read in about five minutes. */
enum { SHOWN = 25, NAMED = 8 };

static int
by_finding(const void *key, const void *item)
{
	return strcmp(key, ((const struct told *)item)->finding);
}

static const struct told *
told_of(const struct digest *d, const struct stored_finding *f)
{
	return d->n_told ? bsearch(f->id, d->told, d->n_told, sizeof *d->told, by_finding) : NULL;
}

enum digest_change
digest_change(const struct digest *d, const struct stored_finding *f)
{
	const struct told *t = told_of(d, f);
	bool cleared = f->cleared != NO_TIME;

	if (!t)
		return cleared ? DIGEST_PASSED : DIGEST_NEW;
	if (t->cleared)
		return cleared ? DIGEST_GONE : DIGEST_BACK;
	if (cleared)
		return DIGEST_CLEARED;
	if (f->level < t->level)
		return DIGEST_RISEN;
	if (t->count > 0 && f->count >= 2 * t->count)
		return DIGEST_MORE;
	return f->onset < t->onset ? DIGEST_EARLIER : DIGEST_SAME;
}

bool
digest_reached(const struct digest *d)
{
	return d->cover_to != NO_TIME && d->cover_to >= d->expected;
}

const char *
digest_stale(struct page *p, const struct digest *d)
{
	if (digest_reached(d))
		return "";
	return arena_fmt(&p->arena, "NO NEW DATA since %s (%s). Exports were expected to reach %s. A "
	    "quiet list does not mean a quiet night.", d->cover_to == NO_TIME ? "ever" :
	    text_time(p, d->cover_to), p->zone.name, text_time(p, d->expected));
}

const char *
digest_against(struct page *p, const struct digest *d)
{
	return d->last.id ? arena_fmt(&p->arena, "against the night of %s", text_time(p, d->last.at)) :
	    "the first night: all that is open is new";
}

const char *
digest_failure(struct page *p, const struct digest_failed *f)
{
	/* Most reasons begin with the name. */
	if (strncmp(f->why, f->name, strlen(f->name)) == 0)
		return f->why;
	return arena_fmt(&p->arena, "%s: %s", f->name, f->why);
}

size_t
digest_behind(const struct digest *d, struct arena *a, struct account_info **out)
{
	size_t n = 0;

	*out = arena_take(a, (d->n_account + 1) * sizeof **out);
	for (size_t i = 0; i < d->n_account; i++) {
		const struct account_info *x = &d->account[i];

		if (x->in_sites && (x->cover_to == NO_TIME || x->cover_to < d->expected))
			(*out)[n++] = *x;
	}
	return n;
}

static bool
asks(enum digest_change c)
{
	return c == DIGEST_NEW || c == DIGEST_RISEN || c == DIGEST_BACK;
}

/* Rows of files that are read for the first time; the others were told before. */
static double
aside_share(const struct digest *d, int64_t *aside, int64_t *rows)
{
	*aside = *rows = 0;
	for (size_t i = 0; i < d->n_file; i++) {
		if (d->file[i].again)
			continue;
		*aside += d->file[i].set_aside;
		*rows += d->file[i].rows;
	}
	return *rows ? 100.0 * (double)*aside / (double)*rows : 0;
}

static void
ask(struct page *p, const char **text, const char *what)
{
	*text = arena_fmt(&p->arena, "%s%s%s", *text, **text ? "; " : "", what);
}

const char *
digest_attention(struct page *p, const struct digest *d)
{
	int64_t aside, rows, urgent = 0, unknown = 0;
	const char *text = "";

	for (size_t i = 0; i < d->n_finding; i++)
		urgent += d->finding[i].level == LEVEL_NOW && asks(digest_change(d, &d->finding[i]));
	for (size_t i = 0; i < d->n_reason; i++)
		unknown += d->reason[i].first;
	if (d->damage && *d->damage)
		ask(p, &text, "the store is damaged");
	if (!digest_reached(d))
		ask(p, &text, "no new data");
	if (urgent)
		ask(p, &text, text_count(p, urgent, "new finding at now", "new findings at now"));
	if (d->n_failed)
		ask(p, &text, text_count(p, (int64_t)d->n_failed, "file failed", "files failed"));
	if (aside_share(d, &aside, &rows) > d->aside_limit)
		ask(p, &text, arena_fmt(&p->arena, "%lld of %lld rows set aside", (long long)aside,
		    (long long)rows));
	if (unknown)
		ask(p, &text, arena_fmt(&p->arena, "rows set aside for %s never seen before",
		    text_count(p, unknown, "reason", "reasons")));
	return text;
}

/* ---- findings --------------------------------------------------------------- */

/* Whole where it is urgent or life safety, or was told otherwise before; else one line, cut
 * where it ends. */
static void
one(struct page *p, const struct digest *d, size_t i)
{
	const struct stored_finding *f = &d->finding[i];
	const char *lead = arena_fmt(&p->arena, " %-7s  ", f->id), *place = phrase_place(f), *text;
	const struct told *t = told_of(d, f);
	bool earlier = t && f->cleared == NO_TIME && f->onset < t->onset;
	struct text_zone own = p->zone;

	p->zone = d->zone[i];
	text = arena_fmt(&p->arena, "%s%s%s%s%s: %s", f->life ? "LIFE SAFETY " : "",
	    phrase_site(p, f->account, f->site_name), *place ? ": " : "", place,
	    f->cleared != NO_TIME ? arena_fmt(&p->arena, ": %s, cleared %s", f->rule,
	        text_time(p, f->cleared)) : arena_fmt(&p->arena, ": %s since %s%s", f->rule,
	        text_time(p, f->onset), earlier ? arena_fmt(&p->arena,
	        " (told before as since %s)", text_time(p, t->onset)) : ""), f->summary);
	p->zone = own;
	if (f->level != LEVEL_NOW && !f->life && !earlier)
		text = text_cut(p, text_safe(p, text), p->width - text_width(lead));
	page_para(p, lead, text);
	if (f->decision)
		page_para(p, arena_fmt(&p->arena, "%*s", text_width(lead), ""),
		    phrase_decision(p, f->decision));
}

/* All findings of that kind and level (-1: any). */
static void
findings(struct page *p, const struct digest *d, const char *title, enum digest_change change,
    int level)
{
	size_t shown = 0, left = 0;

	for (size_t i = 0, n = 0; i < d->n_finding; i++) {
		const struct stored_finding *f = &d->finding[i];

		if ((level >= 0 && f->level != level) || digest_change(d, f) != change)
			continue;
		if (f->level != LEVEL_NOW && !f->life && shown++ >= SHOWN) {
			left++;
			continue;
		}
		if (n++ == 0)
			page_heading(p, STYLE_STRONG, title);
		one(p, d, i);
	}
	if (left)
		page_fmt(p, "  ", "%zu more of these stand in findings.csv.", left);
}

/* What goes on is counted; what cannot wait is named every night. */
static void
continuing(struct page *p, const struct digest *d)
{
	int64_t n[LEVEL_COUNT] = { 0 }, decided[LEVEL_COUNT] = { 0 }, all = 0, more = 0;
	const char *text = "";

	for (size_t i = 0; i < d->n_finding; i++) {
		const struct stored_finding *f = &d->finding[i];

		if (digest_change(d, f) != DIGEST_SAME)
			continue;
		all++;
		n[f->level]++;
		decided[f->level] += f->decision && f->decision->holds;
	}
	if (!all)
		return;
	for (int l = 0; l < LEVEL_COUNT; l++)
		text = arena_fmt(&p->arena, "%s%s%lld %s (decided on: %lld)", text, l ? ", " : "",
		    (long long)n[l], level_text((enum level)l), (long long)decided[l]);
	page_heading(p, STYLE_STRONG, "CONTINUING");
	page_fmt(p, "  ", "%s: %s. All stand in findings.csv.",
	    text_count(p, all, "finding", "findings"), text);
	for (size_t i = 0; i < d->n_finding; i++) {
		const struct stored_finding *f = &d->finding[i];

		if ((!f->life && f->level != LEVEL_NOW) || digest_change(d, f) != DIGEST_SAME)
			continue;
		if (more++ == 0)
			page_para(p, "  ", "Of life safety or at now, named every night until cleared:");
		page_para(p, arena_fmt(&p->arena, " %-7s  ", f->id), text_cut(p, text_safe(p,
		    arena_fmt(&p->arena, "%s%s, %s: %s %s", f->life ? "LIFE SAFETY " : "",
		    phrase_site(p, f->account, f->site_name), level_text((enum level)f->level), f->rule,
		    f->device)), p->width - 10));
	}
}

/* ---- what people did -------------------------------------------------------- */

static const struct stored_finding *
find(const struct digest *d, const char *id)
{
	for (size_t i = 0; i < d->n_finding; i++)
		if (strcmp(d->finding[i].id, id) == 0)
			return &d->finding[i];
	return NULL;
}

/* Where it came from. */
static const char *
by_list(struct page *p, const char *file, const char *owner)
{
	return *owner ? arena_fmt(&p->arena, "%s, file of %s", file, owner) : file;
}

static void
decisions(struct page *p, const struct digest *d)
{
	size_t first = d->n_decision > SHOWN ? d->n_decision - SHOWN : 0;

	if (!d->n_decision)
		return;
	page_heading(p, STYLE_STRONG, "DECIDED SINCE THE LAST NIGHT");
	for (size_t i = first; i < d->n_decision; i++) {
		const struct night_decision *x = &d->decision[i];
		const struct stored_finding *f = find(d, x->finding);

		page_fmt(p, arena_fmt(&p->arena, " %-7s  ", x->finding), "%s%s%s%s%s",
		    f ? phrase_site(p, f->account, f->site_name) : "", f ? ": " : "",
		    phrase_decision(p, &x->d), *x->file ? arena_fmt(&p->arena, " (%s)",
		    by_list(p, x->file, x->owner)) : "",
		    f && f->life ? "; life safety: it moves nothing and lapses after 24 h" : "");
	}
	if (first)
		page_fmt(p, "  ", "%zu earlier ones: tripsift export decisions.", first);
}

/* One by one, what concerns life safety always; of a long list the first ones. */
static void
changes(struct page *p, const struct digest *d)
{
	size_t shown = 0, left = 0;

	if (!d->n_change)
		return;
	page_heading(p, STYLE_STRONG, "CHANGED BY LISTS");
	for (size_t i = 0; i < d->n_change; i++) {
		const struct night_change *c = &d->change[i];
		bool last = i + 1 == d->n_change || strcmp(c[1].file, c->file) != 0;

		if (!*c->now)
			shown = 0;
		if (!*c->now)
			page_fmt(p, "  ", "%s: %s (%s)", c->kind, c->what, by_list(p, c->file, c->owner));
		else if (!c->life && shown++ >= SHOWN)
			left++;
		else
			page_fmt(p, "  ", "%s%s: %s instead of %s (%s%s%s)", c->life ? "LIFE SAFETY " : "",
			    c->what, c->now, c->before, by_list(p, c->file, c->owner),
			    *c->who ? ", set by " : "", c->who);
		if (last && left)
			page_fmt(p, "  ", "%zu more changes by %s.", left, c->file);
		left = last ? 0 : left;
		shown = last ? 0 : shown;
	}
}

static void
removals(struct page *p, const struct digest *d)
{
	if (!d->n_removal)
		return;
	page_heading(p, STYLE_STRONG, "REMOVED BECAUSE OF ITS AGE");
	for (size_t i = 0; i < d->n_removal; i++) {
		const struct night_removal *r = &d->removal[i];

		page_fmt(p, "  ", "%s: %lld, of %s to %s, %s; kept for %s.", retained_kind(r->kind),
		    (long long)r->sum.n, text_day(p, r->sum.oldest), text_day(p, r->sum.newest),
		    retained_size(p, r->sum.bytes), text_count(p, r->days, "day", "days"));
	}
}

/* ---- what was read ---------------------------------------------------------- */

static void
coverage(struct page *p, const struct digest *d)
{
	struct account_info *behind;
	size_t n = digest_behind(d, &p->arena, &behind);

	page_heading(p, STYLE_STRONG, "COVERAGE");
	page_para(p, "  ", phrase_cover(p, (int64_t)d->n_account, d->cover_from, d->cover_to));
	if (n)
		page_para(p, "  ", phrase_behind(p, n, d->expected, phrase_sites(p, behind, n, NAMED)));
	if (d->due)
		page_fmt(p, "  ", "%s still to be judged.", text_count(p, d->due, "account is",
		    "accounts are"));
}

static void
files(struct page *p, const struct digest *d)
{
	int64_t aside, rows, stored = 0, repeated = 0, all = 0, all_aside = 0, expired = 0;
	double share = aside_share(d, &aside, &rows);

	for (size_t i = 0; i < d->n_file; i++) {
		all += d->file[i].rows;
		stored += d->file[i].stored;
		repeated += d->file[i].repeated;
		all_aside += d->file[i].set_aside;
		expired += d->file[i].expired;
	}
	page_heading(p, STYLE_STRONG, "FILES");
	page_fmt(p, "  ", "%s: %s = %lld stored + %lld repeated + %lld set aside%s.%s",
	    text_count(p, (int64_t)d->n_file, "file taken in", "files taken in"),
	    text_count(p, all, "row", "rows"), (long long)stored, (long long)repeated,
	    (long long)all_aside, expired ? arena_fmt(&p->arena, " + %lld expired (older than what is "
	    "kept)", (long long)expired) : "", d->n_known ? arena_fmt(&p->arena, " %s read before and left alone.",
	    text_count(p, (int64_t)d->n_known, "file was", "files were")) : "");
	if (!d->n_reason)
		return;
	page_heading(p, STYLE_STRONG, "ROWS SET ASIDE");
	page_fmt(p, "  ", "%lld of %s (%.3g %%, asked for above %.3g %%): set-aside.csv has them; "
	    "\"tripsift export aside\" writes them so that they can be mended and read again.",
	    (long long)aside, text_count(p, rows, "row", "rows"), share, d->aside_limit);
	for (size_t i = 0; i < d->n_reason; i++)
		page_fmt(p, "  ", "%s of %s: %s%s", text_count(p, d->reason[i].rows, "row", "rows"),
		    d->reason[i].kind, d->reason[i].reason,
		    d->reason[i].first ? " (never seen before)" : "");
}

/* ---- the whole -------------------------------------------------------------- */

static void
head(struct page *p, const struct digest *d, const int64_t *n, bool changed)
{
	const char *ask_for = digest_attention(p, d), *stale = digest_stale(p, d);
	struct account_info *list;
	size_t behind = digest_behind(d, &p->arena, &list);

	if (d->damage && *d->damage)
		page_fmt(p, "", "THE STORE IS DAMAGED: %s. Put the newest sound backup in its place; what "
		    "came in since is read again.", d->damage);
	if (*stale)
		page_para(p, "", stale);
	page_fmt(p, "", "NIGHT DIGEST of %s (%s), %s.", text_time(p, d->at), p->zone.name,
	    digest_against(p, d));
	if (*ask_for)
		page_fmt(p, "A PERSON IS NEEDED: ", "%s.", ask_for);
	if (d->n_uncovered) {
		page_heading(p, STYLE_STRONG, "NOT IN THE EXPORTS");
		page_para(p, "  ", phrase_uncovered(p, d->n_uncovered, phrase_sites(p, d->uncovered,
		    d->n_uncovered, NAMED)));
	}
	for (size_t i = 0; i < d->n_failed; i++) {
		if (i == 0)
			page_heading(p, STYLE_STRONG, "FILES THAT FAILED, and are whole outside");
		page_para(p, "  ", digest_failure(p, &d->failed[i]));
	}
	page_blank(p);
	if (!changed && digest_reached(d))
		page_fmt(p, "", "Nothing new%s.", behind ? arena_fmt(&p->arena, " in what was covered; "
		    "%s not covered tonight, see COVERAGE", text_count(p, (int64_t)behind,
		    "account was", "accounts were")) : "");
	else
		page_fmt(p, "", "New: %lld. Risen or twice as many: %lld. Back: %lld. Cleared: %lld.%s",
		    (long long)n[DIGEST_NEW], (long long)(n[DIGEST_RISEN] + n[DIGEST_MORE]),
		    (long long)n[DIGEST_BACK], (long long)n[DIGEST_CLEARED], arena_fmt(&p->arena,
		    "%s%s", n[DIGEST_EARLIER] ? arena_fmt(&p->arena, " Began earlier than told: %lld.",
		    (long long)n[DIGEST_EARLIER]) : "", n[DIGEST_PASSED] ? arena_fmt(&p->arena,
		    " Raised and cleared in between: %lld.", (long long)n[DIGEST_PASSED]) : ""));
}

void
digest_text(struct page *p, const struct digest *d)
{
	static const char *const title[LEVEL_COUNT] = { "NEW, NOW", "NEW, SOON", "NEW, LATER" };
	int64_t n[DIGEST_CHANGES] = { 0 };
	bool life = false, changed;

	for (size_t i = 0; i < d->n_finding; i++) {
		enum digest_change c = digest_change(d, &d->finding[i]);

		n[c]++;
		life |= d->finding[i].life && c != DIGEST_GONE;
	}
	changed = n[DIGEST_NEW] + n[DIGEST_RISEN] + n[DIGEST_MORE] + n[DIGEST_EARLIER] +
	    n[DIGEST_BACK] + n[DIGEST_CLEARED] + n[DIGEST_PASSED] > 0 || d->n_failed;
	head(p, d, n, changed);
	if (life) {
		page_blank(p);
		page_para(p, "", CARE_LIFE);
	}
	for (int l = 0; l < LEVEL_COUNT; l++)
		findings(p, d, title[l], DIGEST_NEW, l);
	findings(p, d, "RISEN to a higher level", DIGEST_RISEN, -1);
	findings(p, d, "BACK after it had cleared", DIGEST_BACK, -1);
	findings(p, d, "TWICE AS MANY as in the last night, or more", DIGEST_MORE, -1);
	findings(p, d, "BEGAN EARLIER than was told: rows came late, or a list changed",
	    DIGEST_EARLIER, -1);
	findings(p, d, "CLEARED", DIGEST_CLEARED, -1);
	if (d->last.id)
		findings(p, d, "RAISED AND CLEARED in between", DIGEST_PASSED, -1);
	decisions(p, d);
	changes(p, d);
	removals(p, d);
	continuing(p, d);
	coverage(p, d);
	files(p, d);
	page_blank(p);
	page_para(p, "", CARE_POINTERS);
}
