#include "daemon/report/visit.h"

#include "daemon/report/silent.h"
#include "daemon/report/site.h"
#include "rules/care.h"
#include "rules/state.h"

/* A device's name and kind, or that it is not to be named here. */
static const char *
planned_name(struct page *p, const struct view *v, const struct visit_device *d)
{
	const char *kind = d->kind == KIND_UNKNOWN ? "" : kind_heading(d->kind);

	if (d->kind == KIND_PANIC || d->kind == KIND_HOLD_UP || silent_text(d->name) ||
	    silent_device(v, d->device))
		return SILENT_TEXT;
	return arena_fmt(&p->arena, "%s%s%s%s", d->name, *d->name && *kind ? ", " : "", kind,
	    d->life ? ", LIFE SAFETY" : "");
}

/* A sentence of the check as it may stand on a sheet that is left in a house. */
static const char *
unnamed(struct view *v, const char *text)
{
	return silent_names(v, text) ? SILENT_TEXT : text;
}

static void
head(struct page *p, const struct view *v, const struct visit_check *x)
{
	const char *session;

	if (x->begin == NO_TIME)
		session = "no learn session in the log";
	else if (x->closed == NO_TIME)
		session = arena_fmt(&p->arena, "%s, begun %s, NOT CLOSED", text_count(p,
		    (int64_t)x->n_session, "learn session", "learn sessions"), text_time(p, x->begin));
	else
		session = arena_fmt(&p->arena, "%s, %s to %s", text_count(p, (int64_t)x->n_session,
		    "learn session", "learn sessions"), text_time(p, x->begin),
		    text_time(p, x->closed));
	page_fmt(p, "Visit    ", "from %s: %s.", text_time(p, x->since), session);
	page_fmt(p, "Against  ", "%s", x->by_plan ? "the plan." : x->by_roster ?
	    arena_fmt(&p->arena, "the roster as of %s: there is no plan for this visit.",
	    text_day(p, x->roster_as_of)) : "nothing: there is neither plan nor roster.");
	page_fmt(p, "Log      ", "read up to %s. Times are %s.", text_time(p, v->now), p->zone.name);
}

static void
lines(struct page *p, struct view *v, const struct visit_check *x)
{
	size_t done = 0;

	for (size_t i = 0; i < x->n_device; i++)
		done += visit_status_done(x->device[i].status) &&
		    x->device[i].old != VISIT_OLD_THERE && x->device[i].old != VISIT_OLD_UNKNOWN;
	page_heading(p, STYLE_STRONG, arena_fmt(&p->arena, "EXPECTED: %zu of %zu done by the log",
	    done, x->n_device));
	for (size_t i = 0; i < x->n_device; i++) {
		const struct visit_device *d = &x->device[i];
		bool ok = visit_status_done(d->status);
		const char *lead = arena_fmt(&p->arena, " %-8s", ok ? "by log" : "REMAINS");
		const char *under = "         ", *name = planned_name(p, v, d);

		page_fmt(p, lead, "%s%s%s%s%s%s", *d->zone ? "zone " : "", d->zone, *d->zone ? ", " :
		    "", *d->serial ? d->serial : "no serial", *name ? ", " : "", name);
		page_fmt(p, under, "%s%s%s%s", visit_status_text(d->status),
		    d->learned != NO_TIME ? arena_fmt(&p->arena, "; learned %s",
		    text_time(p, d->learned)) : "",
		    d->heard != NO_TIME ? arena_fmt(&p->arena, "; heard %s", text_time(p, d->heard)) :
		    "", *d->text ? arena_fmt(&p->arena, "; %s", unnamed(v, d->text)) : "");
		if (d->old != VISIT_OLD_NONE)
			page_fmt(p, under, "replaces %s: %s", d->old_serial, d->old == VISIT_OLD_GONE ?
			    "taken out" : d->old == VISIT_OLD_THERE ? "STILL IN THE PANEL by the log" :
			    "NOT NAMED IN THE LOG, look at the panel");
		page_para(p, under, "[ ] fitted in place   [ ] tripped in place   [ ] signal "
		    "confirmed");
	}
	if (!x->n_device)
		page_para(p, "  ", "There is no list to hold the log against.");
}

static void
others(struct page *p, const struct view *v, const struct visit_check *x)
{
	if (x->n_extra)
		page_heading(p, STYLE_STRONG, "LEARNED, BUT NOT EXPECTED");
	for (size_t i = 0; i < x->n_extra; i++) {
		const struct visit_extra *e = &x->extra[i];
		const char *lead = e->removed == NO_TIME ? " REMAINS " : " gone    ";

		if (silent_device(v, e->item->device) || silent_text(e->text))
			page_fmt(p, lead, "%s: %s (%s)", *e->item->serial ? e->item->serial :
			    "no serial", verdict_text(e->verdict), SILENT_TEXT);
		else
			page_fmt(p, lead, "%s%s%s", e->text, e->life ? "; LIFE SAFETY" : e->maybe_life ?
			    "; may be LIFE SAFETY" : "", e->removed == NO_TIME ? "" : arena_fmt(&p->arena,
			    "; taken out %s", text_time(p, e->removed)));
	}
	if (x->n_refused)
		page_heading(p, STYLE_STRONG, "HEARD AND NOT ACCEPTED");
	for (size_t i = 0; i < x->n_refused; i++)
		page_fmt(p, "  ", "%s at %s", x->refused[i]->serial, text_time(p, x->refused[i]->at));
	if (x->n_wait) {
		page_heading(p, STYLE_STRONG, "THE PANEL COULD HEAR NO OTHER DEVICE");
		for (size_t i = 0; i < x->n_wait; i++)
			page_fmt(p, "  ", "%s for %s, waiting for an answer to %s",
			    text_time(p, x->wait[i]->from), text_span(p, x->wait[i]->to -
			    x->wait[i]->from), x->wait[i]->serial);
	}
}

static void
still_open(struct page *p, struct view *v, const struct visit_check *x)
{
	page_heading(p, STYLE_STRONG, "STILL OPEN BY THE LOG");
	for (size_t i = 0; i < x->n_open; i++) {
		const struct visit_open *o = &x->open[i];

		if (silent_device(v, o->device) || silent_event(v, o->event) ||
		    silent_text(o->text))
			page_para(p, o->blocks ? " REMAINS " : " open    ", o->device >= 0 ?
			    silent_label(v, o->device) : SILENT_TEXT);
		else
			page_fmt(p, o->blocks ? " REMAINS " : " open    ", "%s%s", o->text,
			    o->life ? "; LIFE SAFETY" : "");
	}
	if (!x->n_open)
		page_para(p, "  ", "Nothing: no bypass, tamper, trouble, programming session or test.");
}

static void
verdict(struct page *p, struct view *v, const struct visit_check *x)
{
	page_blank(p);
	if (x->complete) {
		page_para(p, "", "ENROLMENT COMPLETE BY THE LOG. Not a functional test.");
	} else {
		page_para(p, "", "NOT COMPLETE BY THE LOG. What remains:");
		for (size_t i = 0; i < x->n_reason; i++)
			page_para(p, arena_fmt(&p->arena, " %2zu. ", i + 1), unnamed(v, x->reason[i]));
	}
	if (x->n_note)
		page_heading(p, STYLE_STRONG, "WHAT LIMITS THE LOG AS PROOF");
	for (size_t i = 0; i < x->n_note; i++)
		page_para(p, "  - ", unnamed(v, x->note[i]));
}

/* By hand, because no log can tell. */
static void
sign(struct page *p)
{
	static const char *const box[] = {
		"every device fitted in place, not on the bench",
		"every device tripped in place",
		"each signal confirmed with the station",
		"account off test, confirmed by the station",
	};

	page_heading(p, STYLE_STRONG, "BY HAND");
	for (size_t i = 0; i < sizeof box / sizeof *box; i++)
		page_para(p, "  [ ] ", box[i]);
	page_blank(p);
	fprintf(p->f, "  Date ____________________   Name ____________________________________\n\n");
	fprintf(p->f, "  Signature ____________________________________________________________\n\n");
	page_para(p, "", CARE_POINTERS);
}

void
visit_text(struct page *p, struct view *v, const struct visit_check *x)
{
	page_fmt(p, "VISIT CHECK  ", "%s%s%s", v->account, *v->name ? "  " : "", v->name);
	site_cautions(p, v);
	page_blank(p);
	head(p, v, x);
	verdict(p, v, x);
	lines(p, v, x);
	others(p, v, x);
	still_open(p, v, x);
	sign(p);
}

void
visit_json(struct json *j, const struct view *v, const struct visit_check *x)
{
	json_text(j, "account", v->account);
	json_text(j, "name", v->name);
	site_cautions_json(j, v);
	json_time(j, "as_of", v->now);
	json_time(j, "since", x->since);
	json_text(j, "against", x->by_plan ? "plan" : x->by_roster ? "roster" : NULL);
	json_bool(j, "complete", x->complete);
	json_time(j, "session_from", x->begin);
	json_time(j, "session_to", x->closed);
	json_open(j, "devices", '[');
	for (size_t i = 0; i < x->n_device; i++) {
		const struct visit_device *d = &x->device[i];
		static const char *const old[] = { "", "gone", "there", "unknown" };

		json_open(j, NULL, '{');
		json_text(j, "serial", d->serial);
		json_text(j, "zone", d->zone);
		json_text(j, "name", d->name);
		json_text(j, "device", d->kind == KIND_UNKNOWN ? NULL : kind_text(d->kind));
		json_bool(j, "life_safety", d->life);
		json_bool(j, "done", visit_status_done(d->status));
		json_text(j, "status", visit_status_text(d->status));
		json_time(j, "learned", d->learned);
		json_time(j, "heard", d->heard);
		json_text(j, "replaces", d->old_serial);
		json_text(j, "replaced", old[d->old]);
		json_text(j, "text", d->text);
		json_close(j, '}');
	}
	json_close(j, ']');
	json_open(j, "not_expected", '[');
	for (size_t i = 0; i < x->n_extra; i++) {
		json_open(j, NULL, '{');
		json_text(j, "serial", x->extra[i].item->serial);
		json_text(j, "zone", x->extra[i].item->zone);
		json_text(j, "verdict", verdict_text(x->extra[i].verdict));
		json_time(j, "removed", x->extra[i].removed);
		json_text(j, "text", x->extra[i].text);
		json_close(j, '}');
	}
	json_close(j, ']');
	json_open(j, "refused", '[');
	for (size_t i = 0; i < x->n_refused; i++)
		json_text(j, NULL, x->refused[i]->serial);
	json_close(j, ']');
	json_open(j, "open", '[');
	for (size_t i = 0; i < x->n_open; i++) {
		json_open(j, NULL, '{');
		json_text(j, "what", condition_text((enum condition)x->open[i].what));
		json_time(j, "since", x->open[i].since);
		json_bool(j, "blocks", x->open[i].blocks);
		json_text(j, "text", x->open[i].text);
		json_close(j, '}');
	}
	json_close(j, ']');
	json_open(j, "remains", '[');
	for (size_t i = 0; i < x->n_reason; i++)
		json_text(j, NULL, x->reason[i]);
	json_close(j, ']');
	json_open(j, "notes", '[');
	for (size_t i = 0; i < x->n_note; i++)
		json_text(j, NULL, x->note[i]);
	json_close(j, ']');
}
