/* site_work.c - what was done on a site: learn sessions, and measures around repairs. */
#include "daemon/report/site_part.h"

#include <string.h>

#include "daemon/report/silent.h"
#include "daemon/report/work.h"

enum { SESSIONS_SHOWN = 10, SERVICES_SHOWN = 5 };

bool
site_accepted_well(const struct verdict_item *x)
{
	bool other_kind = x->planned_kind != KIND_UNKNOWN && x->seen_kind != KIND_UNKNOWN;

	return verdict_is_fine(x->verdict) && !x->other_zone && !x->planned_zone && !other_kind &&
	    !x->elsewhere;
}

const char *
site_session_head(struct page *p, const struct site *s, size_t i)
{
	const struct session *x = &s->sessions.session[i];
	const char *deaf = "", *end;

	end = x->end != NO_TIME ? arena_fmt(&p->arena, "to %s", text_time(p, x->end)) :
	    arena_fmt(&p->arena, "NEVER CLOSED, last entry %s", text_time(p, x->last));
	if (session_waited(x))
		deaf = arena_fmt(&p->arena, "; for %s the panel waited for answers and could hear "
		    "nothing else", text_span(p, session_waited(x)));
	return arena_fmt(&p->arena, "%s %s: %zu accepted, %zu refused, %zu taken out%s%s",
	    text_time(p, x->begin), end, x->n_accepted, x->n_refused, x->n_unlearned, deaf,
	    s->verdicts.session[i].outside ? "; OUTSIDE ANY PLAN" : "");
}

bool
site_session_silent(const struct site *s, size_t i, size_t k)
{
	return silent_device(s->v, s->sessions.session[i].accepted[k].device) ||
	    silent_text(s->verdicts.session[i].item[k].text);
}

const char *
site_session_refused(struct page *p, const struct session *x)
{
	const char *refused = "";

	for (size_t k = 0; k < x->n_refused; k++)
		refused = arena_fmt(&p->arena, "%s%s%s", refused, k ? ", " : "", x->refused[k].serial);
	return refused;
}

static void
one_session(struct page *p, const struct site *s, size_t i)
{
	const struct session *x = &s->sessions.session[i];
	const char *refused = site_session_refused(p, x);

	page_para(p, "  ", site_session_head(p, s, i));
	for (size_t k = 0; k < x->n_accepted; k++) {
		const struct session_item *item = &x->accepted[k];
		const struct verdict_item *v = &s->verdicts.session[i].item[k];
		const char *mark = site_accepted_well(v) ? "    ok       " : "    CHECK    ";

		if (site_session_silent(s, i, k))
			page_fmt(p, mark, "%s on zone %s: %s (%s)", *item->serial ? item->serial :
			    "no serial", *item->zone ? item->zone : "-", verdict_text(v->verdict),
			    SILENT_TEXT);
		else
			page_para(p, mark, v->text);
	}
	if (*refused)
		page_para(p, "    heard and refused: ", refused);
}

size_t
site_sessions_left_out(const struct site *s)
{
	return s->sessions.n > SESSIONS_SHOWN ? s->sessions.n - SESSIONS_SHOWN : 0;
}

void
site_missing(struct lines *out, const struct site *s)
{
	for (size_t i = 0; i < s->sessions.n_visit; i++) {
		const struct visit_verdict *x = &s->verdicts.visit[i];
		const char *day = text_day(out->p, s->sessions.visit[i].from);

		for (size_t k = 0; k < x->n_missing; k++) {
			const struct verdict_missing *m = &x->missing[k];
			if (m->resolved != NO_TIME)
				continue;
			if (silent_text(m->text) || silent_device(s->v, m->device))
				lines_fmt(out, "%s (%s), planned for %s", m->plan->serial, SILENT_TEXT,
				    day);
			else
				lines_fmt(out, "%s, planned for %s", m->text, day);
		}
	}
}

void
site_sessions(struct page *p, const struct site *s)
{
	size_t first = site_sessions_left_out(s);
	struct lines missing = { .p = p };

	page_heading(p, STYLE_STRONG, "LEARN SESSIONS");
	if (first)
		page_fmt(p, "  ", "%zu earlier ones are not shown.", first);
	for (size_t i = first; i < s->sessions.n; i++)
		one_session(p, s, i);
	if (!s->sessions.n)
		page_para(p, "  ", SITE_NO_SESSION);
	site_missing(&missing, s);
	lines_print(&missing, "    MISSING  ");
}

size_t
site_services_left_out(const struct site *s)
{
	return s->v->n_service > SERVICES_SHOWN ? s->v->n_service - SERVICES_SHOWN : 0;
}

const char *
site_service(struct page *p, const struct site *s, size_t i, struct repair *x)
{
	const struct service_row *r = &s->v->service[i];

	repair_measure(s->v, &s->losses, r, x);
	if (silent_device(s->v, x->device) || silent_text(r->what))
		return NULL;
	return arena_fmt(&p->arena, "%s: %s%s%s", x->device >= 0 ?
	    device_label(s->v, x->device) : *r->zone ? arena_fmt(&p->arena, "zone %s", r->zone) :
	    "the whole site", r->what, *r->who ? ", " : "", r->who);
}

void
site_services(struct page *p, const struct site *s)
{
	const struct view *v = s->v;

	if (!v->n_service)
		return;
	page_heading(p, STYLE_STRONG, "WORK DONE, two weeks before and after");
	for (size_t i = site_services_left_out(s); i < v->n_service; i++) {
		struct repair x;
		const char *what = site_service(p, s, i, &x), *at = text_time(p, v->service[i].at);

		page_fmt(p, "  ", "%s, %s", at, what ? what : SILENT_TEXT);
		if (what)
			work_table(p, &x);
	}
}
