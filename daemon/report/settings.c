#include "daemon/report/settings.h"

#include <string.h>
#include <strings.h>

#include "daemon/base/civil.h"
#include "daemon/base/span.h"
#include "daemon/report/csvout.h"
#include "daemon/report/rows.h"
#include "rules/override.h"

static bool
same(const char *a, const char *b)
{
	return span_eq_fold(span_of(a), span_of(b));
}

/* Every rule, and after them what belongs to the store; NULL behind the last. */
static const struct rule *
nth(size_t i)
{
	return i < rule_count ? rule_table[i] : override_of_the_store(i - rule_count);
}

/* How narrow a scope is where it reaches, 1..4; 0 where it does not reach. */
static int
reach(const char *scope, const char *account, const char *group, const char *kind)
{
	const struct { const char *word, *value; } form[] = {
		{ "group=", group }, { "device=", kind }, { "account=", account },
	};

	if (!*scope || strcmp(scope, "*") == 0)
		return 1;
	for (int i = 0; account && i < 3; i++) {
		size_t n = strlen(form[i].word);

		if (strncasecmp(scope, form[i].word, n) == 0)
			return *form[i].value && same(scope + n, form[i].value) ? i + 2 : 0;
	}
	return 0;
}

const char *
settings_value(struct arena *a, double value, const char *unit)
{
	return arena_fmt(a, "%.10g%s%s", value, *unit ? " " : "", unit);
}

/* NULL and the value in the setting's own unit, or why it cannot be used. */
static const char *
read_value(const struct setting_row *row, double *out)
{
	return override_read(span_of(row->rule), span_of(row->setting), span_of(row->value), out);
}

static const char *
as_set(struct arena *a, const struct setting_row *row, const struct setting *s)
{
	double value;

	return read_value(row, &value) ? row->value : settings_value(a, value, s->unit);
}

struct setting_now
settings_resolve(struct arena *a, const char *rule, const struct setting *s,
    const struct setting_row *row, size_t n, const char *account, const char *group,
    const char *kind)
{
	struct setting_now now = { settings_value(a, s->value, s->unit), NULL };
	int best = 0;

	for (size_t i = 0; i < n; i++) {
		int r;

		if (!same(row[i].rule, rule) || !same(row[i].setting, s->name))
			continue;
		r = reach(row[i].scope, account, group, kind);
		if (r && r >= best) {
			best = r;
			now.value = as_set(a, &row[i], s);
			now.from = &row[i];
		}
	}
	return now;
}

double
settings_of_the_store(const struct rule *r, const char *name, const struct setting_row *row, size_t n)
{
	double value = override_setting(r, span_of(name))->value;

	for (size_t i = 0; i < n; i++)
		if (same(row[i].rule, r->id) && same(row[i].setting, name) && strcmp(row[i].scope, "*") == 0)
			read_value(&row[i], &value);
	return value;
}

static bool
concerns(const struct setting_row *row, const struct rule *r, const struct setting *s)
{
	return same(row->rule, r->id) && same(row->setting, s->name);
}

/* NULL, or why the row changes nothing. */
static const char *
idle(const struct setting_row *row)
{
	double value;
	const char *why = read_value(row, &value);

	return why ? why : override_scope(span_of(row->rule), span_of(row->scope));
}

const char *
settings_allowed(struct arena *a, const struct setting *s)
{
	double least = override_least(s);

	return arena_fmt(a, "%s%.10g to %.10g", least > s->min ? "0 or " : "", least, s->max);
}

static void
rule_text(struct page *p, const struct rule *r, const struct setting_row *row, size_t n,
    bool whole)
{
	static const struct text_column column[] = {
		{ "setting", false, false }, { "value", true, false }, { "scope", false, true },
		{ "allowed", false, false }, { "origin, or who changed it", false, true },
	};
	struct table t;

	page_heading(p, STYLE_STRONG, r->id);
	page_fmt(p, "  ", "%s.", r->title);
	if (whole) {
		page_fmt(p, "  - ", "Why it matters: %s", r->why);
		page_fmt(p, "  - ", "Quiet on: %s", r->quiet_on);
		page_fmt(p, "  - ", "Cannot know: %s", r->limits);
	}
	if (!r->setting || !r->setting->name)
		return;
	table_init(&t, p, column, sizeof column / sizeof *column);
	for (const struct setting *s = r->setting; s->name; s++) {
		table_add(&t, s->name);
		table_add(&t, settings_value(&p->arena, s->value, s->unit));
		table_add(&t, "default");
		table_add(&t, settings_allowed(&p->arena, s));
		table_add(&t, s->origin);
		for (size_t i = 0; i < n; i++) {
			if (!concerns(&row[i], r, s))
				continue;
			table_add(&t, "");
			table_add(&t, as_set(&p->arena, &row[i], s));
			table_add(&t, *row[i].scope ? row[i].scope : "*");
			table_add(&t, "");
			table_fmt(&t, "%s%s%s, %s", *row[i].who ? row[i].who : "nobody named",
			    *row[i].file ? ", " : "", row[i].file, text_day(p, row[i].taken));
		}
	}
	page_blank(p);
	table_print(&t, 2);
}

void
settings_text(struct page *p, const struct rule *only, const struct setting_row *row, size_t n)
{
	bool told = false;

	for (size_t i = 0; nth(i); i++) {
		if (!only || nth(i) == only)
			rule_text(p, nth(i), row, n, only != NULL);
	}
	for (size_t i = 0; i < n && !only; i++) {
		const char *why = idle(&row[i]);

		if (!why)
			continue;
		if (!told)
			page_heading(p, STYLE_STRONG, "SETTINGS WITHOUT EFFECT");
		told = true;
		page_fmt(p, "  ", "%s.%s = %s for %s (%s): %s", row[i].rule, row[i].setting,
		    row[i].value, row[i].scope, row[i].file, why);
	}
}

/* One row a value: the default, then what changes it. */
void
settings_csv(FILE *f, const struct rule *only, const struct setting_row *row, size_t n)
{
	struct csvout w;

	csvout_init(&w, f);
	csvout_header(&w, "rule,setting,value,unit,scope,default,min,max,origin,who,file,taken");
	for (size_t k = 0; nth(k); k++) {
		const struct rule *r = nth(k);

		for (const struct setting *s = r->setting; s && s->name; s++) {
			for (size_t i = 0; i <= n; i++) {
				const struct setting_row *from = i ? &row[i - 1] : NULL;

				if ((only && r != only) || (from && !concerns(from, r, s)))
					continue;
				csvout_text(&w, r->id);
				csvout_text(&w, s->name);
				double value = s->value;

				if (from && read_value(from, &value))
					csvout_text(&w, from->value);
				else
					csvout_num(&w, value);
				csvout_text(&w, s->unit);
				csvout_text(&w, from ? from->scope : "default");
				csvout_num(&w, s->value);
				csvout_num(&w, s->min);
				csvout_num(&w, s->max);
				csvout_text(&w, s->origin);
				csvout_text(&w, from ? from->who : "");
				csvout_text(&w, from ? from->file : "");
				csvout_time(&w, from ? from->taken : NO_TIME);
				csvout_end(&w);
			}
		}
	}
}

void
settings_json(struct json *j, const struct rule *only, const struct setting_row *row, size_t n)
{
	json_open(j, "rules", '[');
	for (size_t k = 0; nth(k); k++) {
		const struct rule *r = nth(k);

		if (only && r != only)
			continue;
		json_open(j, NULL, '{');
		json_text(j, "rule", r->id);
		json_text(j, "title", r->title);
		json_text(j, "why", r->why);
		json_text(j, "quiet_on", r->quiet_on);
		json_text(j, "limits", r->limits);
		json_open(j, "settings", '[');
		for (const struct setting *s = r->setting; s && s->name; s++) {
			json_open(j, NULL, '{');
			json_text(j, "setting", s->name);
			json_text(j, "unit", s->unit);
			json_num(j, "default", s->value);
			json_num(j, "min", s->min);
			json_num(j, "max", s->max);
			json_text(j, "origin", s->origin);
			json_open(j, "changed", '[');
			for (size_t i = 0; i < n; i++) {
				double value;

				if (!concerns(&row[i], r, s))
					continue;
				json_open(j, NULL, '{');
				json_text(j, "scope", row[i].scope);
				if (read_value(&row[i], &value))
					json_text(j, "value", row[i].value);
				else
					json_num(j, "value", value);
				json_text(j, "who", row[i].who);
				json_text(j, "file", row[i].file);
				json_time(j, "taken", row[i].taken);
				json_close(j, '}');
			}
			json_close(j, ']');
			json_close(j, '}');
		}
		json_close(j, ']');
		json_close(j, '}');
	}
	json_close(j, ']');
}

/* The value that holds everywhere else, and where it comes from. */
static void
default_row(struct html *h, const struct rule *r, const struct setting *s,
    const struct setting_row *row, size_t n)
{
	struct arena *a = &h->p->arena;
	struct setting_now now = settings_resolve(a, r->id, s, row, n, NULL, NULL, NULL);

	html_open(h, "tr");
	html_th(h, "row", NULL, s->name);
	html_leaf(h, "td", now.from ? "short changed" : "short", now.value);
	html_leaf(h, "td", "short", settings_value(a, s->value, s->unit));
	html_leaf(h, "td", NULL, "everywhere");
	html_leaf(h, "td", "short", settings_allowed(a, s));
	html_leaf(h, "td", NULL, s->origin);
	html_close(h, "tr");
}

static void
changed_row(struct html *h, const struct setting *s, const struct setting_row *row)
{
	const char *why = idle(row);

	html_open(h, "tr");
	html_open(h, "th");
	html_attr(h, "scope", "row");
	html_leaf(h, "span", "soft", s->name);
	html_close(h, "th");
	html_leaf(h, "td", why ? NULL : "changed", as_set(&h->p->arena, row, s));
	html_leaf(h, "td", NULL, "");
	html_leaf(h, "td", NULL, row->scope);
	html_leaf(h, "td", NULL, "");
	html_open(h, "td");
	html_fmt(h, "%s%sset by %s in %s, ", why ? why : "", why ? ", so without effect; " : "",
	    *row->who ? row->who : "somebody", row->file);
	html_time(h, row->taken, true);
	html_close(h, "td");
	html_close(h, "tr");
}

void
settings_html(struct html *h, const struct rule *r, const struct setting_row *row, size_t n)
{
	static const char *const head[] = { "Setting", "In force", "Default", "Scope", "Allowed",
		"Where the number comes from, or who changed it" };

	if (!r->setting || !r->setting->name)
		return;
	rows_open(h, arena_fmt(&h->p->arena, "Settings of %s", r->id), head, sizeof head / sizeof *head);
	for (const struct setting *s = r->setting; s->name; s++) {
		default_row(h, r, s, row, n);
		for (size_t i = 0; i < n; i++)
			if (concerns(&row[i], r, s))
				changed_row(h, s, &row[i]);
	}
	rows_close(h);
}

void
settings_idle_html(struct html *h, const struct setting_row *row, size_t n)
{
	static const char *const head[] = { "Setting", "Value", "Scope", "File", "Why it has no effect" };
	bool any = false;

	for (size_t i = 0; i < n; i++) {
		const char *why = idle(&row[i]);

		if (!why)
			continue;
		if (!any) {
			html_leaf(h, "h2", NULL, "Settings without effect");
			rows_open(h, "Rows of settings files that change nothing", head,
			    sizeof head / sizeof *head);
		}
		any = true;
		html_open(h, "tr");
		html_th(h, "row", NULL, arena_fmt(&h->p->arena, "%s.%s", row[i].rule, row[i].setting));
		html_leaf(h, "td", NULL, row[i].value);
		html_leaf(h, "td", NULL, row[i].scope);
		html_leaf(h, "td", NULL, row[i].file);
		html_leaf(h, "td", NULL, why);
		html_close(h, "tr");
	}
	if (any)
		rows_close(h);
}
