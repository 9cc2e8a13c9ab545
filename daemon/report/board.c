#include "daemon/report/board.h"

#include <string.h>

#include "daemon/report/html.h"
#include "daemon/report/notes.h"
#include "daemon/report/phrase.h"
#include "rules/rule.h"

enum { MANY = 200 };	/* rows of one part from which on only those in view are laid out */

/* The parts of the page; each finding stands in one of them. */
enum part { PART_NOW, PART_NEW, PART_GOES_ON, PART_CLEARED, PARTS };

struct work {
	struct html         *h;
	const struct board  *b;
	struct notes         notes;
	int64_t              last_day;	/* of every strip, so that they stand under each other */
	bool                *kept;	/* of each finding: it stands on the page */
	size_t               left[LEVEL_COUNT], left_cleared;
};

static enum digest_change
change_of(const struct board *b, size_t i)
{
	const struct stored_finding *f = &b->finding[i];

	if (b->change)
		return b->change[i];
	if (f->cleared != NO_TIME)
		return DIGEST_CLEARED;
	return strcmp(f->state, "new") == 0 ? DIGEST_NEW : DIGEST_SAME;
}

static enum part
part_of(const struct board *b, size_t i)
{
	const struct stored_finding *f = &b->finding[i];

	if (f->cleared != NO_TIME)
		return PART_CLEARED;
	if (f->level == LEVEL_NOW)
		return PART_NOW;
	return change_of(b, i) == DIGEST_SAME ? PART_GOES_ON : PART_NEW;
}

/* ---- head -------------------------------------------------------------------- */

/* Few names stand in the sentence, many behind it: nobody may be missing from the page. */
static void
accounts(struct html *h, const char *(*sentence)(struct page *, size_t, int64_t, const char *),
    int64_t expected, const struct account_info *a, size_t n)
{
	enum { NAMED = 8 };

	if (!n)
		return;
	if (n <= NAMED) {
		html_leaf(h, "p", NULL, sentence(h->p, n, expected, phrase_sites(h->p, a, n, NAMED)));
		return;
	}
	html_open(h, "details");
	html_leaf(h, "summary", NULL, sentence(h->p, n, expected, ""));
	html_open(h, "ul");
	html_attr(h, "class", "names");
	for (size_t i = 0; i < n; i++)
		html_leaf(h, "li", NULL, phrase_site(h->p, a[i].account, a[i].name));
	html_close(h, "ul");
	html_close(h, "details");
}

static const char *
uncovered(struct page *p, size_t n, int64_t expected, const char *names)
{
	(void)expected;
	return phrase_uncovered(p, n, names);
}

static void
coverage(struct html *h, const struct board *b)
{
	html_open(h, "section");
	html_attr(h, "class", *b->alert || b->n_uncovered || b->n_behind || b->n_failed ? "care" : NULL);
	html_attr(h, "aria-label", "Coverage");
	if (*b->alert)
		html_leaf(h, "p", "loud", b->alert);
	html_leaf(h, "p", NULL, phrase_cover(h->p, b->accounts, b->cover_from, b->cover_to));
	if (b->n_uncovered || b->n_behind)
		html_leaf(h, "h2", NULL, "Not in the exports");
	accounts(h, uncovered, NO_TIME, b->uncovered, b->n_uncovered);
	accounts(h, phrase_behind, b->expected, b->behind, b->n_behind);
	if (b->n_failed) {
		html_leaf(h, "h2", NULL, "Files that failed, and are whole outside");
		html_open(h, "ul");
		for (size_t i = 0; i < b->n_failed; i++)
			html_leaf(h, "li", NULL, digest_failure(h->p, &b->failed[i]));
		html_close(h, "ul");
	}
	if (b->due)
		html_leaf_fmt(h, "p", NULL, "%s still to be judged: the next ingest does it.",
		    text_count(h->p, b->due, "account is", "accounts are"));
	html_close(h, "section");
}

static void
counts(struct html *h, const struct board *b)
{
	const char *text = arena_fmt(&h->p->arena, "%lld now, %lld soon, %lld later",
	    (long long)b->open[LEVEL_NOW], (long long)b->open[LEVEL_SOON],
	    (long long)b->open[LEVEL_LATER]);

	if (*b->filter)
		html_leaf_fmt(h, "p", NULL, "Open over all accounts: %s. Shown here, %s: %s.", text,
		    b->filter, text_count(h->p, (int64_t)b->n_finding, "finding", "findings"));
	else
		html_leaf_fmt(h, "p", "sum", "Open: %s.", text);
	html_leaf_fmt(h, "p", "soft", "%s%sTimes of findings are by each site's own clock; where it is "
	    "not %s, its name stands beside.", b->since, *b->since ? " " : "", h->p->zone.name);
}

/* ---- what the script works with -------------------------------------------------- */

static void
choice(struct html *h, const char *name, const char *label, const char *const *word, size_t n)
{
	html_open(h, "label");
	html_text(h, label);
	html_text(h, " ");
	html_open(h, "select");
	html_attr(h, "name", name);
	html_open(h, "option");
	html_attr(h, "value", "");
	html_text(h, "any");
	html_close(h, "option");
	for (size_t i = 0; i < n; i++)
		html_leaf(h, "option", NULL, word[i]);
	html_close(h, "select");
	html_close(h, "label");
}

static void
filters(struct html *h)
{
	static const char *const level[] = { "now", "soon", "later" };
	static const char *const state[] = { "new", "continuing", "cleared" };
	static const char *const decided[] = { "no", "yes" };
	static const struct { const char *key, *what; } keys[] = {
		{ "j, k", "next and previous finding (in the list the arrow keys too)" },
		{ "x", "mark it (or the space bar)" }, { "o", "its site sheet, where there is one" },
		{ "/", "into the text filter; Escape empties it, then leaves it" },
		{ "d", "decide on what is marked" }, { "u", "unmark all" }, { "?", "this list" },
	};

	html_open(h, "div");
	html_attr(h, "id", "filter");
	html_attr(h, "class", "screen");
	html_attr(h, "role", "search");
	html_flag(h, "data-script");
	html_attr(h, "aria-label", "Filter");
	html_flag(h, "hidden");
	html_open(h, "label");
	html_text(h, "text ");
	html_void(h, "input");
	html_attr(h, "name", "text");
	html_attr(h, "type", "search");
	html_attr(h, "autocomplete", "off");
	html_close(h, "label");
	html_open(h, "fieldset");
	html_leaf(h, "legend", NULL, "level");
	for (size_t i = 0; i < sizeof level / sizeof *level; i++) {
		html_open(h, "label");
		html_void(h, "input");
		html_attr(h, "type", "checkbox");
		html_attr(h, "name", "level");
		html_attr(h, "value", level[i]);
		html_fmt(h, " %s", level[i]);
		html_close(h, "label");
	}
	html_close(h, "fieldset");
	choice(h, "rule", "rule", NULL, 0);
	choice(h, "group", "group", NULL, 0);
	choice(h, "kind", "device", NULL, 0);
	choice(h, "state", "state", state, sizeof state / sizeof *state);
	choice(h, "decided", "decided", decided, sizeof decided / sizeof *decided);
	html_open(h, "button");
	html_attr(h, "type", "button");
	html_attr(h, "name", "clear");
	html_text(h, "Show all");
	html_close(h, "button");
	html_open(h, "details");
	html_attr(h, "id", "keys");
	html_leaf(h, "summary", NULL, "Keys");
	html_open(h, "dl");
	for (size_t i = 0; i < sizeof keys / sizeof *keys; i++) {
		html_leaf(h, "dt", NULL, keys[i].key);
		html_leaf(h, "dd", NULL, keys[i].what);
	}
	html_close(h, "dl");
	html_leaf(h, "p", NULL, "The filter and the order stand in the address of the page: it can be "
	    "kept as a bookmark and sent on.");
	html_close(h, "details");
	html_close(h, "div");
	html_open(h, "p");
	html_attr(h, "id", "shown");
	html_flag(h, "data-script");
	html_attr(h, "class", "screen");
	html_attr(h, "role", "status");
	html_close(h, "p");
	html_open(h, "noscript");
	html_leaf(h, "p", "soft", "All findings stand below. Filters, sorting and decisions need the "
	    "page's script, which does not run here.");
	html_close(h, "noscript");
}

static void
field(struct html *h, const char *label, const char *name, const char *type, const char *hint)
{
	html_open(h, "p");
	html_open(h, "label");
	html_text(h, label);
	html_text(h, " ");
	html_void(h, "input");
	html_attr(h, "name", name);
	html_attr(h, "type", type);
	html_attr(h, "aria-describedby", *hint ? arena_fmt(&h->p->arena, "hint-%s", name) : NULL);
	html_close(h, "label");
	html_text(h, " ");
	html_open(h, "span");
	html_attr(h, "id", *hint ? arena_fmt(&h->p->arena, "hint-%s", name) : NULL);
	html_attr(h, "class", "soft");
	html_text(h, hint);
	html_close(h, "span");
	html_close(h, "p");
}

static void
button(struct html *h, const char *id, const char *type, const char *text)
{
	html_open(h, "button");
	html_attr(h, "id", id);
	html_attr(h, "type", type);
	html_text(h, text);
	html_close(h, "button");
	html_text(h, " ");
}

static void
dialog(struct html *h, const char *id, const char *title)
{
	html_open(h, "dialog");
	html_attr(h, "id", id);
	html_attr(h, "class", "screen");
	html_flag(h, "data-script");
	html_attr(h, "aria-labelledby", arena_fmt(&h->p->arena, "%s-title", id));
	html_open(h, "h2");
	html_attr(h, "id", arena_fmt(&h->p->arena, "%s-title", id));
	html_text(h, title);
	html_close(h, "h2");
}

#define UNRECORDED "Nothing is recorded by this page. What you decide here becomes a file, and " \
	"stands only once that file was read: put it into the folder desk/ of the running " \
	"\"tripsift watch\", or give it to \"tripsift ingest\"."

static void
decide_dialog(struct html *h)
{
	static const struct { const char *word, *means; } kinds[] = {
		{ "seen", "somebody has looked at it" },
		{ "planned", "work is planned; it holds until that day" },
		{ "expected", "the cause is known and will last until that day" },
	};

	dialog(h, "decide", "Decide");
	html_leaf(h, "p", "marks", "");
	html_leaf(h, "p", NULL, UNRECORDED);
	html_leaf(h, "p", "care", "A decision moves a finding below the undecided ones of its level and "
	    "hides nothing. On life safety it moves nothing and lapses after 24 h.");
	html_open(h, "form");
	html_attr(h, "method", "dialog");
	html_open(h, "fieldset");
	html_leaf(h, "legend", NULL, "decision");
	for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
		html_open(h, "label");
		html_void(h, "input");
		html_attr(h, "type", "radio");
		html_attr(h, "name", "decision");
		html_attr(h, "value", kinds[i].word);
		html_fmt(h, " %s ", kinds[i].word);
		html_leaf_fmt(h, "span", "soft", "(%s)", kinds[i].means);
		html_close(h, "label");
	}
	html_close(h, "fieldset");
	field(h, "until", "until", "date", "planned and expected need it; it holds until that day begins");
	field(h, "who", "who", "text", "your name, as the others know it");
	field(h, "why", "why", "text", "");
	html_open(h, "p");
	html_attr(h, "id", "wrong");
	html_attr(h, "role", "alert");
	html_close(h, "p");
	button(h, "add", "submit", "Add to the file");
	button(h, "cancel", "button", "Leave");
	html_close(h, "form");
	html_close(h, "dialog");
}

static void
file_dialog(struct html *h)
{
	dialog(h, "file", "Decisions, not recorded yet");
	html_leaf(h, "p", NULL, UNRECORDED);
	html_open(h, "ul");
	html_attr(h, "id", "pending");
	html_close(h, "ul");
	html_open(h, "label");
	html_attr(h, "for", "csv");
	html_text(h, "the file, to copy where saving does not work");
	html_close(h, "label");
	html_open(h, "textarea");
	html_attr(h, "id", "csv");
	html_attr(h, "rows", "6");
	html_attr(h, "cols", "60");
	html_attr(h, "spellcheck", "false");
	html_flag(h, "readonly");
	html_close(h, "textarea");
	html_open(h, "p");
	button(h, "save", "button", "Save the file");
	button(h, "back", "button", "Leave");
	html_close(h, "p");
	html_close(h, "dialog");
}

/* What is marked and what is decided, at the foot of the window. */
static void
bar(struct html *h)
{
	html_open(h, "section");
	html_attr(h, "id", "bar");
	html_attr(h, "class", "screen");
	html_flag(h, "data-script");
	html_attr(h, "aria-label", "Marked findings");
	html_flag(h, "hidden");
	html_open(h, "p");
	html_attr(h, "role", "status");
	html_close(h, "p");
	html_open(h, "p");
	button(h, "to-decide", "button", "Decide");
	button(h, "unmark", "button", "Unmark all");
	button(h, "to-file", "button", "Decisions file");
	html_close(h, "p");
	html_close(h, "section");
}

/* ---- findings ------------------------------------------------------------------ */

/* Every strip ends with the same day; for an account whose cover ends earlier, the days
 * after it are not covered. */
static void
strip(struct work *w, const struct stored_finding *f)
{
	int32_t day[FINDING_DAYS];
	int64_t shift = w->last_day - f->day_to;

	if (!f->day) {
		html_text(w->h, "-");
		return;
	}
	for (int64_t i = 0; i < FINDING_DAYS; i++)
		day[i] = i + shift < FINDING_DAYS ? f->day[i + shift] : -1;
	html_strip(w->h, day, FINDING_DAYS, w->last_day);
}

static void
what(struct work *w, const struct stored_finding *f)
{
	struct html *h = w->h;
	struct page *p = h->p;
	const char *dot = phrase_between(p), *place = phrase_place(f);
	const char *parent = phrase_parent(w->b->finding, w->b->n_finding, f);
	const char *letters = notes_letters(&w->notes, p, f->caution, f->n_caution);

	if (*place)
		html_leaf(h, "p", "place", place);
	html_leaf(h, "p", NULL, f->summary);
	html_open(h, "p");
	html_attr(h, "class", "soft");
	html_text(h, f->rule);
	if (f->count > 1)
		html_fmt(h, "%s%ld times", dot, f->count);
	if (f->n_member)
		html_fmt(h, "%sstands for %zu", dot, f->n_member);
	if (parent) {
		html_fmt(h, "%spart of ", dot);
		html_link(h, NULL, parent, parent);
	}
	if (*letters)
		html_fmt(h, "%scaution %s", dot, letters);
	html_close(h, "p");
}

static void
since(struct work *w, const struct stored_finding *f, const char *page_zone)
{
	struct html *h = w->h;

	html_time(h, f->onset, false);
	if (f->last != NO_TIME && f->last != f->onset) {
		html_open(h, "span");
		html_attr(h, "class", "soft");
		html_text(h, " last ");
		html_time(h, f->last, false);
		html_close(h, "span");
	}
	if (f->cleared != NO_TIME) {
		html_text(h, " cleared ");
		html_time(h, f->cleared, false);
	}
	if (strcmp(h->p->zone.name, page_zone) != 0)
		html_leaf_fmt(h, "span", "soft", " %s", h->p->zone.name);
}

static void
site(struct work *w, const struct stored_finding *f)
{
	html_site(w->h, &w->b->sites, f->account, phrase_site(w->h->p, f->account, f->site_name));
}

static void
row(struct work *w, size_t i)
{
	static const char *const word[DIGEST_CHANGES] = {
		[DIGEST_SAME] = "continuing", [DIGEST_NEW] = "new", [DIGEST_RISEN] = "risen",
		[DIGEST_MORE] = "twice as many", [DIGEST_EARLIER] = "began earlier than told",
		[DIGEST_BACK] = "back", [DIGEST_CLEARED] = "cleared",
		[DIGEST_PASSED] = "raised and cleared in between", [DIGEST_GONE] = "cleared",
	};
	const struct stored_finding *f = &w->b->finding[i];
	enum digest_change change = change_of(w->b, i);
	struct html *h = w->h;
	struct text_zone own = h->p->zone;

	h->p->zone = w->b->zone[i];
	html_open(h, "tr");
	html_attr(h, "id", f->id);
	html_attr(h, "data-level", level_text((enum level)f->level));
	html_attr(h, "data-rule", f->rule);
	html_attr(h, "data-group", f->group);
	html_attr(h, "data-kind", f->kind);
	html_attr(h, "data-state", f->cleared != NO_TIME ? "cleared" :
	    change == DIGEST_SAME ? "continuing" : "new");
	html_attr(h, "data-decided", f->decision && f->decision->holds ? "yes" : "no");
	if (f->life)
		html_flag(h, "data-life");
	html_open(h, "th");
	html_attr(h, "scope", "row");
	html_link(h, NULL, f->id, f->id);
	html_close(h, "th");
	html_open(h, "td");
	html_level(h, f->level);
	if (f->life)
		html_life(h);
	html_leaf(h, "span", "soft", word[change]);
	html_close(h, "td");
	html_open(h, "td");
	site(w, f);
	if (*f->group)
		html_leaf(h, "p", "soft", f->group);
	html_close(h, "td");
	html_open(h, "td");
	what(w, f);
	html_close(h, "td");
	html_open(h, "td");
	since(w, f, own.name);
	html_close(h, "td");
	html_open(h, "td");
	strip(w, f);
	html_close(h, "td");
	html_open(h, "td");
	html_text(h, f->decision ? phrase_decision(h->p, f->decision) : "undecided");
	html_close(h, "td");
	html_close(h, "tr");
	h->p->zone = own;
}

static void
head_row(struct html *h)
{
	static const struct { const char *name, *text; } column[] = {
		{ "finding", "Finding" }, { "level", "Level" }, { "site", "Site" },
		{ "what", "Device, and what is the matter" }, { "since", "Since" },
		{ "days", "30 days" }, { "decision", "Decision" },
	};

	html_open(h, "thead");
	html_open(h, "tr");
	for (size_t i = 0; i < sizeof column / sizeof *column; i++) {
		html_open(h, "th");
		html_attr(h, "scope", "col");
		html_attr(h, "class", column[i].name);
		html_text(h, column[i].text);
		html_close(h, "th");
	}
	html_close(h, "tr");
	html_close(h, "thead");
}

/* Urgent and life-safety findings are never left out. */
static void
keep(struct work *w)
{
	size_t n = 0;

	w->kept = arena_take(&w->h->p->arena, w->b->n_finding + 1);
	for (enum part which = 0; which < PARTS; which++) {
		for (size_t i = 0; i < w->b->n_finding; i++) {
			const struct stored_finding *f = &w->b->finding[i];

			if (part_of(w->b, i) != which)
				continue;
			w->kept[i] = n < BOARD_ROWS || f->level == LEVEL_NOW || f->life;
			n += w->kept[i];
			if (w->kept[i])
				continue;
			if (f->cleared != NO_TIME)
				w->left_cleared++;
			else
				w->left[f->level]++;
		}
	}
}

static void
part(struct work *w, enum part which)
{
	static const struct { const char *id, *title, *none; } is[PARTS] = {
		[PART_NOW] = { "now", "Now", "Nothing is at now." },
		[PART_NEW] = { "new", "New or changed", "Nothing new below now." },
		[PART_GOES_ON] = { "continuing", "Continuing", "Nothing goes on below now." },
		[PART_CLEARED] = { "cleared", "Cleared", "Nothing cleared." },
	};
	struct html *h = w->h;
	size_t n = 0, written = 0;

	for (size_t i = 0; i < w->b->n_finding; i++)
		n += part_of(w->b, i) == which;
	html_open(h, "section");
	html_attr(h, "class", n > MANY ? "list many" : "list");
	html_attr(h, "aria-labelledby", is[which].id);
	html_open(h, "h2");
	html_attr(h, "id", is[which].id);
	html_fmt(h, "%s ", is[which].title);
	html_leaf_fmt(h, "span", "soft", "%zu", n);
	html_close(h, "h2");
	/* A filter must not make it look as if nothing else were open. */
	if (!n && *w->b->filter)
		html_leaf_fmt(h, "p", NULL, "None here: %s.", w->b->filter);
	else if (!n)
		html_leaf(h, "p", NULL, is[which].none);
	for (size_t i = 0; i < w->b->n_finding; i++) {
		if (part_of(w->b, i) != which || !w->kept[i])
			continue;
		if (written++ == 0) {
			html_open(h, "table");
			html_attr(h, "aria-labelledby", is[which].id);
			head_row(h);
			html_open(h, "tbody");
		}
		row(w, i);
	}
	if (written) {
		html_close(h, "tbody");
		html_close(h, "table");
	}
	html_close(h, "section");
}

static void
left_out(struct work *w)
{
	size_t open = w->left[LEVEL_SOON] + w->left[LEVEL_LATER];

	if (open + w->left_cleared == 0)
		return;
	html_leaf_fmt(w->h, "p", "care", "%zu more are left out of this page, which holds %d rows, and "
	    "always all of now and of life safety (left out: %zu soon, %zu later, %zu cleared). All "
	    "stand in %s.", open + w->left_cleared, BOARD_ROWS, w->left[LEVEL_SOON], w->left[LEVEL_LATER],
	    w->left_cleared, w->b->rest);
}

void
board_html(struct page *p, const struct board *b)
{
	const struct html_page page = { .title = "Board", .here = "board.html", .nav = b->beside,
		.script = "board", .at = b->at };
	struct html h;
	struct work w = { .h = &h, .b = b, .last_day = INT64_MIN };

	for (size_t i = 0; i < b->n_finding; i++) {
		const struct stored_finding *f = &b->finding[i];

		notes_add(&w.notes, f->life, f->caution, f->n_caution);
		if (f->day && f->day_to > w.last_day)
			w.last_day = f->day_to;
	}
	html_begin(&h, p, &page);
	keep(&w);
	html_leaf(&h, "h1", NULL, "Board");
	coverage(&h, b);
	counts(&h, b);
	left_out(&w);
	notes_html(&w.notes, &h);
	filters(&h);
	html_strip_legend(&h, "rows that the finding rests on");
	for (enum part i = 0; i < PARTS; i++)
		part(&w, i);
	bar(&h);
	decide_dialog(&h);
	file_dialog(&h);
	html_end(&h, &page);
}
