#include "daemon/report/explain.h"

#include <string.h>

#include "daemon/report/findings.h"
#include "daemon/report/phrase.h"
#include "daemon/report/settings.h"
#include "daemon/report/work.h"
#include "rules/care.h"

static void
measures(struct page *p, const struct stored_finding *f)
{
	static const struct text_column column[] = { { "", false, true }, { "", false, true } };
	struct table t;

	if (!f->n_measure)
		return;
	page_heading(p, STYLE_STRONG, "MEASURES");
	table_init(&t, p, column, 2);
	for (size_t i = 0; i < f->n_measure; i++) {
		const struct stored_measure *m = &f->measure[i];

		table_add(&t, m->name);
		if (m->text)
			table_fmt(&t, "%s%s%s", m->text, *m->unit ? " " : "", m->unit);
		else
			table_fmt(&t, "%.6g%s%s", m->value, *m->unit ? " " : "", m->unit);
	}
	table_print(&t, 2);
}

/* The whole name is in the other formats; here it would push the rows apart. */
static const char *
base_name(const char *path)
{
	const char *slash = strrchr(path, '/');

	return slash ? slash + 1 : path;
}

static void
evidence(struct page *p, const struct stored_finding *f)
{
	static const struct text_column column[] = {
		{ "time", false, false }, { "event", false, false }, { "as read", false, true },
		{ "file:line", false, true },
	};
	struct table t;

	page_heading(p, STYLE_STRONG, "EVIDENCE");
	if (!f->n_evidence) {
		page_para(p, "  ", strcmp(f->account, "*") == 0 ? "The rows stand in the findings of "
		    "the accounts named above." : "No rows: the finding is about what did not come.");
		return;
	}
	if (f->all_evidence > f->n_evidence)
		page_fmt(p, "  ", "The first and the last of %zu rows.", f->all_evidence);
	else
		page_fmt(p, "  ", "%s.", text_count(p, (int64_t)f->n_evidence, "row", "rows"));
	table_init(&t, p, column, sizeof column / sizeof *column);
	for (size_t i = 0; i < f->n_evidence; i++) {
		const struct stored_evidence *e = &f->evidence[i];

		if (f->all_evidence > f->n_evidence && i == f->n_evidence / 2) {
			table_add(&t, "...");
			table_add(&t, "");
			table_fmt(&t, "%zu rows between", f->all_evidence - f->n_evidence);
			table_add(&t, "");
		}
		table_add(&t, text_time(p, e->at));
		table_add(&t, e->event);
		table_add(&t, e->detail);
		table_fmt(&t, "%s:%lld", base_name(e->file), (long long)e->line);
	}
	table_print(&t, 2);
}

static void
work(struct page *p, const struct explain *x)
{
	enum { SHOWN = 5 };
	size_t first = x->n_work > SHOWN ? x->n_work - SHOWN : 0;

	if (!x->n_work)
		return;
	page_heading(p, STYLE_STRONG, "WORK DONE, two weeks before and after");
	if (first)
		page_fmt(p, "  ", "%zu earlier ones are not shown.", first);
	for (size_t i = first; i < x->n_work; i++) {
		const struct service_row *r = x->work[i].row;

		page_fmt(p, "  ", "%s: %s%s%s%s", text_time(p, r->at), r->what, *r->who ? ", " : "",
		    r->who, *r->zone || *r->serial ? "" : " (the whole site)");
		work_table(p, &x->work[i]);
	}
}

static void
settings(struct page *p, const struct explain *x, const struct rule *r)
{
	static const struct text_column column[] = {
		{ "setting", false, false }, { "in force", true, false }, { "from", false, true },
		{ "origin of the default", false, true },
	};
	const struct stored_finding *f = x->finding;
	struct table t;

	if (!r->setting || !r->setting->name)
		return;
	page_heading(p, STYLE_STRONG, "SETTINGS IN FORCE");
	table_init(&t, p, column, sizeof column / sizeof *column);
	for (const struct setting *s = r->setting; s->name; s++) {
		struct setting_now now = settings_resolve(&p->arena, r->id, s, x->setting,
		    x->n_setting, f->account, f->group, x->kind);

		table_add(&t, s->name);
		table_add(&t, now.value);
		if (now.from)
			table_fmt(&t, "%s%s%s", now.from->scope, *now.from->who ? ", " : "",
			    now.from->who);
		else
			table_add(&t, "default");
		table_add(&t, s->origin);
	}
	table_print(&t, 2);
}

static void
list(struct page *p, const char *heading, const char *const *text, size_t n, bool numbered)
{
	if (!n)
		return;
	page_heading(p, STYLE_STRONG, heading);
	for (size_t i = 0; i < n; i++)
		page_para(p, numbered ? arena_fmt(&p->arena, "  %zu. ", i + 1) : "  - ", text[i]);
}

void
explain_text(struct page *p, const struct explain *x)
{
	const struct stored_finding *f = x->finding;
	const struct rule *r = rule_find(f->rule);
	bool told = !f->life;

	page_fmt(p, "", "%s  %s: %s", f->id, level_text((enum level)f->level),
	    r ? r->title : f->rule);
	page_para(p, "", phrase_site(p, f->account, f->site_name));
	if (*phrase_place(f))
		page_para(p, "", phrase_place(f));
	page_para(p, "", phrase_facts(p, f));
	page_fmt(p, "", "Times are %s.", p->zone.name);
	page_blank(p);
	page_para(p, "", f->summary);
	if (f->n_caution || f->life) {
		page_heading(p, STYLE_STRONG, "CAUTIONS");
		for (size_t i = 0; i < f->n_caution; i++)
			told = told || strcmp(f->caution[i], CARE_LIFE) == 0;
		if (!told)
			page_para(p, "  - ", CARE_LIFE);
		for (size_t i = 0; i < f->n_caution; i++)
			page_para(p, "  - ", f->caution[i]);
	}
	list(p, "CHECK, IN THIS ORDER", f->check, f->n_check, true);
	list(p, "STANDS FOR", x->member ? x->member : f->member, f->n_member, false);
	measures(p, f);
	evidence(p, f);
	work(p, x);
	page_heading(p, STYLE_STRONG, "DECISIONS");
	for (size_t i = 0; i < x->n_decision; i++)
		page_para(p, "  - ", phrase_decision(p, &x->decision[i]));
	if (!x->n_decision)
		page_para(p, "  ", "None yet.");
	if (r) {
		settings(p, x, r);
		page_heading(p, STYLE_STRONG, "THE RULE");
		page_fmt(p, "  - ", "Why it matters: %s", r->why);
		page_fmt(p, "  - ", "Quiet on: %s", r->quiet_on);
		page_fmt(p, "  - ", "Cannot know: %s", r->limits);
	}
	page_blank(p);
	page_para(p, "", CARE_POINTERS);
}

void
explain_json(struct json *j, const struct explain *x)
{
	const struct stored_finding *f = x->finding;
	const struct rule *r = rule_find(f->rule);
	struct arena a = { 0 };

	findings_json(j, f, 1);
	json_open(j, "decisions", '[');
	for (size_t i = 0; i < x->n_decision; i++)
		decision_json(j, NULL, &x->decision[i]);
	json_close(j, ']');
	json_open(j, "settings", '[');
	for (const struct setting *s = r ? r->setting : NULL; s && s->name; s++) {
		struct setting_now now = settings_resolve(&a, r->id, s, x->setting, x->n_setting,
		    f->account, f->group, x->kind);

		json_open(j, NULL, '{');
		json_text(j, "setting", s->name);
		json_text(j, "value", now.value);
		json_text(j, "scope", now.from ? now.from->scope : "default");
		json_text(j, "who", now.from ? now.from->who : NULL);
		json_text(j, "origin", s->origin);
		json_close(j, '}');
	}
	json_close(j, ']');
	json_open(j, "work", '[');
	for (size_t i = 0; i < x->n_work; i++)
		work_json(j, &x->work[i]);
	json_close(j, ']');
	arena_release(&a);
}
