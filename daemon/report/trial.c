#include "daemon/report/trial.h"

#include <string.h>

#include "daemon/report/csvout.h"
#include "daemon/report/notes.h"
#include "daemon/report/phrase.h"
#include "daemon/report/settings.h"
#include "rules/care.h"

enum { BAR = 24 };	/* columns of the longest bar */

size_t
trial_lost_life(const struct trial_diff *d)
{
	size_t n = 0;

	for (size_t i = 0; i < d->n_lost; i++)
		n += d->lost[i].life;
	return n;
}

/* The rule whose findings a sweep counts. */
static size_t
swept(const struct trial *t)
{
	const struct rule *r = t->only ? t->only : t->sweep->rule;
	size_t i = 0;

	while (rule_table[i] != r)
		i++;
	return i;
}

/* Findings of other rules that come or go with the swept value. */
static size_t
others(const struct trial *t, const struct trial_diff *d)
{
	size_t n = 0;

	for (size_t i = 0; i < rule_count; i++)
		if (i != swept(t))
			n += d->rule[i].gained + d->rule[i].lost;
	return n;
}

/* ---- text -------------------------------------------------------------------- */

static const char *
value_text(struct page *p, const struct trial_set *s, double value)
{
	return settings_value(&p->arena, value, s->setting->unit);
}

static const char *
scope_text(const struct trial *t)
{
	return strcmp(t->scope, "*") == 0 ? "everywhere" : t->scope;
}

static void
head(struct page *p, const struct trial *t)
{
	for (size_t i = 0; i < t->n_set; i++) {
		const struct trial_set *s = &t->set[i];

		page_fmt(p, i ? "       " : "TRIAL  ", "%s.%s = %s, %s (today %s)", s->rule->id,
		    s->setting->name, value_text(p, s, s->value), scope_text(t),
		    value_text(p, s, s->today));
	}
	if (t->sweep)
		page_fmt(p, "SWEEP  ", "%s.%s from %s to %s, %s (today %s)", t->sweep->rule->id,
		    t->sweep->setting->name, value_text(p, t->sweep, t->value[0]),
		    value_text(p, t->sweep, t->value[t->n_value - 1]), scope_text(t),
		    value_text(p, t->sweep, t->sweep->today));
	page_fmt(p, "", "The whole history of %s, judged under today's settings and under these. "
	    "Nothing was stored or changed; what people decided is left aside.",
	    text_count(p, (int64_t)t->n_account, "account", "accounts"));
	if (t->only || t->account)
		page_fmt(p, "", "Shown:%s%s%s%s.", t->only ? " rule " : "", t->only ? t->only->id : "",
		    t->account ? " account " : "", t->account ? t->account : "");
}

/* One line, filled: level, site, device, sentence. */
static void
one(struct page *p, const struct stored_finding *f, const struct notes *notes)
{
	const char *place = phrase_place(f);
	const char *letters = notes_letters(notes, p, f->caution, f->n_caution);

	page_fmt(p, arena_fmt(&p->arena, "  %-5s  ", level_text((enum level)f->level)),
	    "%s%s: %s%s%s (%s, %s%s%s)", f->life ? "LIFE SAFETY " : "",
	    phrase_site(p, f->account, f->site_name), place, *place ? ": " : "", f->summary, f->rule,
	    f->state, *letters ? ", caution " : "", letters);
}

/* Up to `most` lines (0 = all) with their cautions taken up first; `life`: only those of life
 * safety, or only the others. */
static void
lines(struct page *p, const char *title, const struct stored_finding *f, size_t n, bool life,
    bool both, size_t most, struct notes *notes)
{
	size_t all = 0, shown = 0;

	for (size_t i = 0; i < n; i++)
		all += both || f[i].life == life;
	if (!all)
		return;
	page_heading(p, life && !both ? STYLE_LOUD : STYLE_STRONG, arena_fmt(&p->arena, "%s: %zu",
	    title, all));
	for (size_t i = 0; i < n && (!most || shown < most); i++) {
		if (!both && f[i].life != life)
			continue;
		notes_add(notes, f[i].life, f[i].caution, f[i].n_caution);
		one(p, &f[i], notes);
		shown++;
	}
	if (shown < all)
		page_fmt(p, "  ", "and %zu more; --limit 0 shows all", all - shown);
}

static void
rules_text(struct page *p, const struct trial_diff *d)
{
	static const struct text_column column[] = {
		{ "rule", false, false }, { "today", true, false }, { "trial", true, false },
		{ "gained", true, false }, { "lost", true, false }, { "the same", true, false },
		{ "open today", true, false }, { "open in trial", true, false },
	};
	struct trial_rule sum = { 0 };
	struct table t;

	table_init(&t, p, column, sizeof column / sizeof *column);
	for (size_t i = 0; i <= rule_count; i++) {
		const struct trial_rule *r = i < rule_count ? &d->rule[i] : &sum;

		if (i < rule_count && !r->today && !r->trial)
			continue;
		table_add(&t, i < rule_count ? rule_table[i]->id : "all of these");
		table_fmt(&t, "%zu", r->today);
		table_fmt(&t, "%zu", r->trial);
		table_fmt(&t, "%zu", r->gained);
		table_fmt(&t, "%zu", r->lost);
		table_fmt(&t, "%zu", r->same);
		table_fmt(&t, "%zu", r->open_today);
		table_fmt(&t, "%zu", r->open_trial);
		sum.today += r->today;
		sum.trial += r->trial;
		sum.gained += r->gained;
		sum.lost += r->lost;
		sum.same += r->same;
		sum.open_today += r->open_today;
		sum.open_trial += r->open_trial;
	}
	page_heading(p, STYLE_STRONG, "FINDINGS OVER THE WHOLE HISTORY, cleared ones too");
	table_print(&t, 2);
}

static void
diff_text(struct page *p, const struct trial *t)
{
	const struct trial_diff *d = &t->diff[0];
	struct notes notes = { 0 };

	lines(p, "LIFE SAFETY FINDINGS WOULD BE LOST", d->lost, d->n_lost, true, false, 0, &notes);
	lines(p, "LIFE SAFETY FINDINGS WOULD STAND LOWER OR AS CLEARED", d->lowered, d->n_lowered,
	    true, false, 0, &notes);
	if (notes.life)
		page_para(p, "  ", "Do not put these settings into force before a qualified person "
		    "has looked at each of them. One may still be told among the gained ones, by another "
		    "rule or device by device.");
	rules_text(p, d);
	lines(p, "GAINED", d->gained, d->n_gained, false, true, t->limit, &notes);
	lines(p, "LOST", d->lost, d->n_lost, false, false, t->limit, &notes);
	if (!d->n_gained && !d->n_lost) {
		page_blank(p);
		page_para(p, "", "No finding comes and none goes.");
	}
	notes_print(&notes, p);
}

static const char *
bar(struct page *p, size_t n, size_t most)
{
	size_t columns = most ? (n * BAR + most - 1) / most : 0;
	const char *out = "";

	for (size_t i = 0; i < columns; i++)
		out = arena_fmt(&p->arena, "%s%s", out, p->utf8 ? "\xe2\x96\x88" : "#");
	return out;
}

static void
sweep_row(struct table *table, const char *value, size_t open, size_t all, size_t most)
{
	table_add(table, value);
	table_fmt(table, "%zu", open);
	table_fmt(table, "%zu", all);
	table_add(table, bar(table->page, open, most));
}

static void
sweep_text(struct page *p, const struct trial *t)
{
	static const struct text_column column[] = {
		{ "value", true, false }, { "open", true, false }, { "all", true, false },
		{ "open findings", false, false }, { "gained", true, false }, { "lost", true, false },
		{ "others", true, false },
	};
	const struct trial_rule *first = &t->diff[0].rule[swept(t)];
	size_t most = first->open_today, life = 0, lowered = 0, other = 0;
	struct table table;

	for (size_t i = 0; i < t->n_diff; i++) {
		const struct trial_diff *d = &t->diff[i];

		if (d->rule[swept(t)].open_trial > most)
			most = d->rule[swept(t)].open_trial;
		life += trial_lost_life(d) > 0;
		lowered += d->n_lowered > 0;
		other += others(t, d);
	}
	for (size_t i = 0; i < t->n_diff && (life || lowered); i++) {
		const struct trial_diff *d = &t->diff[i];

		if (trial_lost_life(d) || d->n_lowered)
			page_heading(p, STYLE_LOUD, arena_fmt(&p->arena, "LIFE SAFETY: at %s, %zu of its "
			    "findings would be lost and %zu would stand lower", value_text(p, t->sweep,
			    d->value), trial_lost_life(d), d->n_lowered));
	}
	if (life || lowered)
		page_fmt(p, "  ", "tripsift trial --set %s.%s=VALUE lists them.", t->sweep->rule->id,
		    t->sweep->setting->name);
	page_heading(p, STYLE_STRONG, arena_fmt(&p->arena, "FINDINGS OF %s, BY VALUE",
	    rule_table[swept(t)]->id));
	table_init(&table, p, column, sizeof column / sizeof *column - (other ? 0 : 1));
	sweep_row(&table, "today", first->open_today, first->today, most);
	for (size_t i = other ? 0 : 1; i < 3; i++)
		table_add(&table, "");
	for (size_t i = 0; i < t->n_diff; i++) {
		const struct trial_rule *r = &t->diff[i].rule[swept(t)];

		sweep_row(&table, value_text(p, t->sweep, t->diff[i].value), r->open_trial, r->trial,
		    most);
		table_fmt(&table, "%zu", r->gained);
		table_fmt(&table, "%zu", r->lost);
		if (other)
			table_fmt(&table, "%zu", others(t, &t->diff[i]));
	}
	table_print(&table, 2);
	page_fmt(p, "  ", "All: over the whole history, cleared ones too. Gained and lost are against "
	    "today's.%s", other ? " Others: findings of other rules that come or go with it." : "");
	if (life || lowered) {
		page_blank(p);
		page_para(p, "", CARE_LIFE);
	}
}

void
trial_text(struct page *p, const struct trial *t)
{
	head(p, t);
	if (t->sweep)
		sweep_text(p, t);
	else
		diff_text(p, t);
	page_blank(p);
	page_para(p, "", CARE_POINTERS);
}

/* ---- for programs --------------------------------------------------------------- */

static void
rows_csv(struct csvout *w, const char *change, const struct stored_finding *f, size_t n)
{
	for (size_t i = 0; i < n; i++) {
		csvout_text(w, change);
		csvout_text(w, f[i].rule);
		csvout_text(w, f[i].account);
		csvout_text(w, f[i].zone);
		csvout_text(w, f[i].serial);
		csvout_text(w, f[i].device);
		csvout_text(w, level_text((enum level)f[i].level));
		csvout_text(w, f[i].life ? "yes" : "no");
		csvout_text(w, f[i].state);
		csvout_time(w, f[i].onset);
		csvout_time(w, f[i].last);
		csvout_int(w, f[i].count);
		csvout_text(w, f[i].summary);
		csvout_end(w);
	}
}

void
trial_csv(FILE *f, const struct trial *t)
{
	const struct trial_rule *first;
	struct csvout w;

	csvout_init(&w, f);
	if (!t->sweep) {
		csvout_header(&w, "change,rule,account,zone,serial,device,level,life_safety,state,onset,"
		    "last,count,summary");
		rows_csv(&w, "gained", t->diff[0].gained, t->diff[0].n_gained);
		rows_csv(&w, "lost", t->diff[0].lost, t->diff[0].n_lost);
		rows_csv(&w, "lowered", t->diff[0].lowered, t->diff[0].n_lowered);
		return;
	}
	csvout_header(&w, "value,open,all,gained,lost,others,life_safety_lost,life_safety_lowered");
	first = &t->diff[0].rule[swept(t)];
	csvout_text(&w, "today");
	csvout_int(&w, (int64_t)first->open_today);
	csvout_int(&w, (int64_t)first->today);
	for (int i = 0; i < 5; i++)
		csvout_int(&w, 0);
	csvout_end(&w);
	for (size_t i = 0; i < t->n_diff; i++) {
		const struct trial_diff *d = &t->diff[i];
		const struct trial_rule *r = &d->rule[swept(t)];

		csvout_num(&w, d->value);
		csvout_int(&w, (int64_t)r->open_trial);
		csvout_int(&w, (int64_t)r->trial);
		csvout_int(&w, (int64_t)r->gained);
		csvout_int(&w, (int64_t)r->lost);
		csvout_int(&w, (int64_t)others(t, d));
		csvout_int(&w, (int64_t)trial_lost_life(d));
		csvout_int(&w, (int64_t)d->n_lowered);
		csvout_end(&w);
	}
}

static void
set_json(struct json *j, const struct trial_set *s, bool value)
{
	json_text(j, "rule", s->rule->id);
	json_text(j, "setting", s->setting->name);
	json_text(j, "unit", s->setting->unit);
	json_num(j, "today", s->today);
	if (value)
		json_num(j, "value", s->value);
}

static void
findings_to(struct json *j, const char *key, const struct stored_finding *f, size_t n)
{
	json_open(j, key, '[');
	for (size_t i = 0; i < n; i++) {
		json_open(j, NULL, '{');
		json_text(j, "rule", f[i].rule);
		json_text(j, "account", f[i].account);
		json_text(j, "zone", f[i].zone);
		json_text(j, "serial", f[i].serial);
		json_text(j, "device", f[i].device);
		json_text(j, "level", level_text((enum level)f[i].level));
		json_bool(j, "life_safety", f[i].life);
		json_text(j, "state", f[i].state);
		json_time(j, "onset", f[i].onset);
		json_time(j, "last", f[i].last);
		json_int(j, "count", f[i].count);
		json_text(j, "summary", f[i].summary);
		json_open(j, "cautions", '[');
		for (size_t c = 0; c < f[i].n_caution; c++)
			json_string(j, NULL, f[i].caution[c]);
		json_close(j, ']');
		json_close(j, '}');
	}
	json_close(j, ']');
}

static void
rules_json(struct json *j, const struct trial_diff *d)
{
	json_open(j, "rules", '[');
	for (size_t i = 0; i < rule_count; i++) {
		const struct trial_rule *r = &d->rule[i];

		json_open(j, NULL, '{');
		json_text(j, "rule", rule_table[i]->id);
		json_int(j, "today", (int64_t)r->today);
		json_int(j, "trial", (int64_t)r->trial);
		json_int(j, "gained", (int64_t)r->gained);
		json_int(j, "lost", (int64_t)r->lost);
		json_int(j, "same", (int64_t)r->same);
		json_int(j, "open_today", (int64_t)r->open_today);
		json_int(j, "open_trial", (int64_t)r->open_trial);
		json_close(j, '}');
	}
	json_close(j, ']');
}

void
trial_json(struct json *j, const struct trial *t)
{
	json_open(j, NULL, '{');
	json_text(j, "scope", t->scope);
	json_int(j, "accounts", (int64_t)t->n_account);
	json_open(j, "settings", '[');
	for (size_t i = 0; i < t->n_set; i++) {
		json_open(j, NULL, '{');
		set_json(j, &t->set[i], true);
		json_close(j, '}');
	}
	json_close(j, ']');
	if (t->sweep) {
		json_open(j, "sweep", '{');
		set_json(j, t->sweep, false);
		json_close(j, '}');
		json_open(j, "values", '[');
	}
	for (size_t i = 0; i < t->n_diff; i++) {
		const struct trial_diff *d = &t->diff[i];

		if (t->sweep) {
			json_open(j, NULL, '{');
			json_num(j, "value", d->value);
		}
		json_int(j, "life_safety_lost", (int64_t)trial_lost_life(d));
		rules_json(j, d);
		findings_to(j, "gained", d->gained, d->n_gained);
		findings_to(j, "lost", d->lost, d->n_lost);
		findings_to(j, "lowered", d->lowered, d->n_lowered);
		if (t->sweep)
			json_close(j, '}');
	}
	if (t->sweep)
		json_close(j, ']');
	json_close(j, '}');
}
