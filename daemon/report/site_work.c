/* site_work.c - what was done on a site: learn sessions, and measures around repairs. */
#include "daemon/report/site_part.h"

#include <string.h>

#include "daemon/report/silent.h"
#include "rules/repair.h"

enum { SESSIONS_SHOWN = 10, SERVICES_SHOWN = 5 };

bool
site_accepted_well(const struct verdict_item *x)
{
	bool other_kind = x->planned_kind != KIND_UNKNOWN && x->seen_kind != KIND_UNKNOWN;

	return verdict_is_fine(x->verdict) && !x->other_zone && !x->planned_zone && !other_kind &&
	    !x->elsewhere;
}

static void
one_session(struct page *p, const struct site *s, size_t i)
{
	const struct session *x = &s->sessions.session[i];
	const struct session_verdict *verdict = &s->verdicts.session[i];
	const char *refused = "", *deaf = "", *end;

	end = x->end != NO_TIME ? arena_fmt(&p->arena, "to %s", text_time(p, x->end)) :
	    arena_fmt(&p->arena, "NEVER CLOSED, last entry %s", text_time(p, x->last));
	if (session_waited(x))
		deaf = arena_fmt(&p->arena, "; for %s the panel waited for answers and could hear "
		    "nothing else", text_span(p, session_waited(x)));
	page_fmt(p, "  ", "%s %s: %zu accepted, %zu refused, %zu taken out%s%s",
	    text_time(p, x->begin), end, x->n_accepted, x->n_refused, x->n_unlearned, deaf,
	    verdict->outside ? "; OUTSIDE ANY PLAN" : "");
	for (size_t k = 0; k < x->n_accepted; k++) {
		const struct session_item *item = &x->accepted[k];
		const struct verdict_item *v = &verdict->item[k];
		const char *mark = site_accepted_well(v) ? "    ok       " : "    CHECK    ";

		if (silent_device(s->v, item->device) || silent_text(v->text))
			page_fmt(p, mark, "%s on zone %s: %s (%s)", *item->serial ? item->serial :
			    "no serial", *item->zone ? item->zone : "-", verdict_text(v->verdict),
			    SILENT_TEXT);
		else
			page_para(p, mark, v->text);
	}
	for (size_t k = 0; k < x->n_refused; k++)
		refused = arena_fmt(&p->arena, "%s%s%s", refused, k ? ", " : "", x->refused[k].serial);
	if (*refused)
		page_para(p, "    heard and refused: ", refused);
}

void
site_sessions(struct page *p, const struct site *s)
{
	size_t n = s->sessions.n, first = n > SESSIONS_SHOWN ? n - SESSIONS_SHOWN : 0;

	page_heading(p, STYLE_STRONG, "LEARN SESSIONS");
	if (first)
		page_fmt(p, "  ", "%zu earlier ones are not shown.", first);
	for (size_t i = first; i < n; i++)
		one_session(p, s, i);
	if (!n)
		page_para(p, "  ", "None in what is covered.");
	for (size_t i = 0; i < s->sessions.n_visit; i++) {
		const struct visit_verdict *x = &s->verdicts.visit[i];
		const struct visit *visit = &s->sessions.visit[i];

		for (size_t k = 0; k < x->n_missing; k++) {
			const struct verdict_missing *m = &x->missing[k];
			if (m->resolved != NO_TIME)
				continue;
			if (silent_text(m->text) || silent_device(s->v, m->device))
				page_fmt(p, "    MISSING  ", "%s (%s), planned for %s", m->plan->serial,
				    SILENT_TEXT, text_day(p, visit->from));
			else
				page_fmt(p, "    MISSING  ", "%s, planned for %s", m->text,
				    text_day(p, visit->from));
		}
	}
}

void
site_services(struct page *p, const struct site *s)
{
	static const struct text_column column[] = {
		{ "", false, false }, { "covered", true, false }, { "activations", true, false },
		{ "alarms", true, false }, { "losses", true, false }, { "low cells", true, false },
	};
	const struct view *v = s->v;
	size_t first = v->n_service > SERVICES_SHOWN ? v->n_service - SERVICES_SHOWN : 0;

	if (!v->n_service)
		return;
	page_heading(p, STYLE_STRONG, "WORK DONE, two weeks before and after");
	for (size_t i = first; i < v->n_service; i++) {
		const struct service_row *r = &v->service[i];
		struct repair x;
		const struct repair_side *side[] = { &x.before, &x.after };
		struct table t;

		repair_measure(v, &s->losses, r, &x);
		if (silent_device(v, x.device) || silent_text(r->what)) {
			page_fmt(p, "  ", "%s, %s", text_time(p, r->at), SILENT_TEXT);
			continue;
		}
		page_fmt(p, "  ", "%s, %s%s%s%s%s", text_time(p, r->at), x.device >= 0 ?
		    device_label(s->v, x.device) : *r->zone ? arena_fmt(&p->arena, "zone %s", r->zone) :
		    "the whole site", ": ", r->what, *r->who ? ", " : "", r->who);
		table_init(&t, p, column, sizeof column / sizeof *column);
		for (int k = 0; k < 2; k++) {
			table_add(&t, k ? "after" : "before");
			table_add(&t, text_span(p, side[k]->covered));
			table_fmt(&t, "%lld", (long long)side[k]->activations);
			table_fmt(&t, "%lld", (long long)side[k]->alarms);
			table_fmt(&t, "%lld", (long long)side[k]->losses);
			table_fmt(&t, "%lld", (long long)side[k]->low);
		}
		table_print(&t, 4);
	}
}
