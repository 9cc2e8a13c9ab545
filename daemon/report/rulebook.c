#include "daemon/report/rulebook.h"

#include <string.h>

#include "daemon/report/rows.h"
#include "daemon/report/settings.h"
#include "rules/care.h"
#include "rules/override.h"

/* Rows of rules/RULES.md and rules/SCORE.md, cells as they are written there. */
static const struct manual { const char *rule, *fires, *level, *quiet, *clears; } manual[] = {
#define X(rule, fires, level, quiet, clears) { rule, fires, level, quiet, clears },
#include "rules/rules_md.h"
#undef X
};

static const struct score {
	const char *rule, *planted, *found, *missed, *level, *wrong, *weak, *plain, *strong, *hours;
} scores[] = {
#define X(...) { __VA_ARGS__ },
#define Y(text)
#include "rules/score_md.h"
#undef X
#undef Y
};

static const char measured[] =
#define X(...)
#define Y(text) text
#include "rules/score_md.h"
#undef X
#undef Y
    ;

static const struct manual *
manual_of(const struct rule *r)
{
	for (size_t i = 0; i < sizeof manual / sizeof *manual; i++)
		if (strcmp(manual[i].rule, r->id) == 0)
			return &manual[i];
	return NULL;
}

static const struct score *
score_of(const struct rule *r)
{
	for (size_t i = 0; i < sizeof scores / sizeof *scores; i++)
		if (strcmp(scores[i].rule, r->id) == 0)
			return &scores[i];
	return NULL;
}

static struct rule_count
count_of(const struct rulebook *b, const struct rule *r)
{
	for (size_t i = 0; i < b->n_count; i++)
		if (strcmp(b->count[i].rule, r->id) == 0)
			return b->count[i];
	return (struct rule_count){ .rule = r->id };
}

/* A cell of the table: what stands between ` and ` is a name. Each cell is a phrase, so its
 * first letter is made a large one. */
static void
marked(struct html *h, const char *text)
{
	struct arena *a = &h->p->arena;
	bool name = false, first = true;

	while (*text) {
		size_t n = strcspn(text, "`");
		char *part = arena_text(a, (struct span){ text, n });

		if (first && !name && *part >= 'a' && *part <= 'z')
			*part += 'A' - 'a';
		if (n) {
			if (name)
				html_leaf(h, "code", NULL, part);
			else
				html_text(h, part);
			first = false;
		}
		text += n;
		if (*text == '`') {
			name = !name;
			text++;
		}
	}
	html_text(h, ".");
}

static void
fact(struct html *h, const char *name, const char *text, bool phrase)
{
	html_leaf(h, "dt", NULL, name);
	html_open(h, "dd");
	if (phrase)
		marked(h, text);
	else
		html_text(h, text);
	html_close(h, "dd");
}

static void
fired(struct html *h, const struct rule_count *n)
{
	html_leaf(h, "dt", NULL, "Fired here");
	html_open(h, "dd");
	if (n->open + n->cleared == 0)
		html_text(h, "Never.");
	else
		html_fmt(h, "%s: %lld open (%lld new), %lld cleared.", text_count(h->p,
		    n->open + n->cleared, "finding", "findings"), (long long)n->open,
		    (long long)n->fresh, (long long)n->cleared);
	html_close(h, "dd");
}

static void
score(struct html *h, const struct score *s)
{
	html_leaf(h, "dt", NULL, "Measured");
	html_open(h, "dd");
	if (s) {
		html_fmt(h, "Of %s causes planted in simulated towns %s found, %s missed (weak ones %s, "
		    "plain %s, strong %s); %s with another level than deserved; %s false.", s->planted,
		    s->found, s->missed, s->weak, s->plain, s->strong, s->level, s->wrong);
		if (strcmp(s->hours, "-") != 0)
			html_fmt(h, " Read night by night, half of the causes were shown within %s hours.",
			    s->hours);
	} else {
		html_text(h, "Not yet.");
	}
	html_close(h, "dd");
}

static void
one_rule(struct html *h, const struct rulebook *b, const struct rule *r)
{
	const struct manual *t = manual_of(r);
	struct rule_count n = count_of(b, r);

	html_open(h, "section");
	html_open(h, "h2");
	html_attr(h, "id", r->id);
	html_text(h, r->id);
	html_close(h, "h2");
	html_leaf_fmt(h, "p", "title", "%s.", r->title);
	if (t) {
		html_open(h, "dl");
		html_attr(h, "class", "facts");
		fact(h, "Fires when", t->fires, true);
		fact(h, "Level", t->level, true);
		fact(h, "Stays quiet on", t->quiet, true);
		fact(h, "Clears when", t->clears, true);
		fact(h, "Why it matters", r->why, false);
		fact(h, "Cannot know", r->limits, false);
		fired(h, &n);
		score(h, score_of(r));
		html_close(h, "dl");
	}
	settings_html(h, r, b->row, b->n_row);
	html_close(h, "section");
}

static void
overview(struct html *h, const struct rulebook *b)
{
	static const char *const head[] = { "Rule", "What it finds", "#Open", "#New", "#Cleared",
		"#Planted", "#Found", "#False" };

	html_open(h, "h2");
	html_attr(h, "id", "all");
	html_text(h, "All rules");
	html_close(h, "h2");
	rows_open(h, "How often each rule fired here, and what was measured of it", head,
	    sizeof head / sizeof *head);
	for (size_t i = 0; i < rule_count; i++) {
		const struct rule *r = rule_table[i];
		struct rule_count n = count_of(b, r);
		const struct score *s = score_of(r);
		const int64_t number[] = { n.open, n.fresh, n.cleared };

		html_open(h, "tr");
		html_open(h, "th");
		html_attr(h, "scope", "row");
		html_link(h, NULL, r->id, r->id);
		html_close(h, "th");
		html_leaf(h, "td", NULL, r->title);
		for (int k = 0; k < 3; k++)
			rows_number(h, number[k]);
		html_leaf(h, "td", "number", s ? s->planted : "-");
		html_leaf(h, "td", "number", s ? s->found : "-");
		html_leaf(h, "td", "number", s ? s->wrong : "-");
		html_close(h, "tr");
	}
	rows_close(h);
	html_leaf_fmt(h, "p", "legend", "Planted, found, false: %s No real site is among them, and yours may "
	    "differ.", measured);
}

void
rulebook_html(struct page *p, const struct rulebook *b)
{
	const struct html_page page = { .title = b->only ? b->only->id : "Rules", .here = "rules.html",
		.nav = b->beside, .at = b->at };
	struct html h;

	html_begin(&h, p, &page);
	html_leaf(&h, "h1", NULL, b->only ? arena_fmt(&p->arena, "The rule %s", b->only->id) : "Rules");
	html_open(&h, "div");
	html_attr(&h, "class", "care");
	html_leaf(&h, "p", NULL, CARE_LIFE);
	html_leaf(&h, "p", NULL, "No setting makes a finding of life safety disappear.");
	html_close(&h, "div");
	html_open(&h, "p");
	html_text(&h, "Every number is a setting. A file with the columns ");
	html_leaf(&h, "code", NULL, "rule,setting,value,scope,who");
	html_text(&h, " changes it for all, a group, a kind of device or one account; the narrowest "
	    "scope wins. What a change would do to the history is seen before it holds: ");
	html_leaf(&h, "code", NULL, "tripsift trial --set RULE.SETTING=VALUE");
	html_text(&h, ".");
	html_close(&h, "p");
	if (!b->only)
		overview(&h, b);
	for (size_t i = 0; i < rule_count; i++)
		if (!b->only || rule_table[i] == b->only)
			one_rule(&h, b, rule_table[i]);
	if (!b->only || b->only == &override_nightly)
		one_rule(&h, b, &override_nightly);
	if (!b->only)
		settings_idle_html(&h, b->row, b->n_row);
	html_end(&h, &page);
}
