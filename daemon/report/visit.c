#include "daemon/report/visit_part.h"

#include "daemon/report/silent.h"
#include "daemon/report/site.h"
#include "rules/care.h"
#include "rules/state.h"

/* ---- what is said -------------------------------------------------------------------- */

static bool
silent(const struct view *v, const struct visit_device *d)
{
	return d->kind == KIND_PANIC || d->kind == KIND_HOLD_UP || silent_text(d->name) ||
	    silent_device(v, d->device);
}

const char *
visit_serial(const struct view *v, const struct visit_device *d)
{
	return silent(v, d) ? "" : *d->serial ? d->serial : "no serial";
}

const char *
visit_named(struct page *p, const struct view *v, const struct visit_device *d)
{
	const char *kind = d->kind == KIND_UNKNOWN ? "" : kind_heading(d->kind);

	if (silent(v, d))
		return SILENT_TEXT;
	return arena_fmt(&p->arena, "%s%s%s%s", d->name, *d->name && *kind ? ", " : "", kind,
	    d->life ? ", LIFE SAFETY" : "");
}

const char *
visit_unnamed(struct view *v, const char *text)
{
	return silent_names(v, text) ? SILENT_TEXT : text;
}

void
visit_head(struct page *p, const struct view *v, const struct visit_check *x,
    struct visit_head *out)
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
	out->visit = arena_fmt(&p->arena, "from %s: %s.", text_time(p, x->since), session);
	out->against = x->by_plan ? "the plan." : x->by_roster ?
	    arena_fmt(&p->arena, "the roster as of %s: there is no plan for this visit.",
	    text_day(p, x->roster_as_of)) : "nothing: there is neither plan nor roster.";
	out->log = arena_fmt(&p->arena, "read up to %s. Times are %s.", text_time(p, v->now),
	    p->zone.name);
}

bool
visit_device_done(const struct visit_device *d)
{
	return visit_status_done(d->status) && d->old != VISIT_OLD_THERE &&
	    d->old != VISIT_OLD_UNKNOWN;
}

const char *
visit_expected(struct page *p, const struct visit_check *x)
{
	size_t done = 0;

	for (size_t i = 0; i < x->n_device; i++)
		done += visit_device_done(&x->device[i]);
	return arena_fmt(&p->arena, "%zu of %zu done by the log", done, x->n_device);
}

const char *
visit_device_state(struct page *p, struct view *v, const struct visit_device *d)
{
	return arena_fmt(&p->arena, "%s%s%s%s", visit_status_text(d->status),
	    d->learned != NO_TIME ? arena_fmt(&p->arena, "; learned %s",
	    text_time(p, d->learned)) : "",
	    d->heard != NO_TIME ? arena_fmt(&p->arena, "; heard %s", text_time(p, d->heard)) :
	    "", *d->text ? arena_fmt(&p->arena, "; %s", visit_unnamed(v, d->text)) : "");
}

const char *
visit_device_old(struct page *p, const struct view *v, const struct visit_device *d)
{
	if (d->old == VISIT_OLD_NONE)
		return NULL;
	return arena_fmt(&p->arena, "replaces %s: %s", silent(v, d) ? "another" : d->old_serial,
	    d->old == VISIT_OLD_GONE ? "taken out" : d->old == VISIT_OLD_THERE ? "STILL IN THE PANEL by the log" :
	    "NOT NAMED IN THE LOG, look at the panel");
}

const char *
visit_extra_text(struct page *p, const struct view *v, const struct visit_extra *e)
{
	if (silent_device(v, e->item->device) || silent_text(e->text))
		return arena_fmt(&p->arena, "%s%s%s: %s", *e->item->zone ? "zone " : "", e->item->zone,
		    *e->item->zone ? ", " SILENT_TEXT : SILENT_TEXT, verdict_text(e->verdict));
	return arena_fmt(&p->arena, "%s%s%s", e->text, e->life ? "; LIFE SAFETY" : e->maybe_life ?
	    "; may be LIFE SAFETY" : "", e->removed == NO_TIME ? "" : arena_fmt(&p->arena,
	    "; taken out %s", text_time(p, e->removed)));
}

void
visit_refused(struct lines *out, struct view *v, const struct visit_check *x)
{
	for (size_t i = 0; i < x->n_refused; i++)
		lines_fmt(out, "%s at %s", visit_unnamed(v, x->refused[i]->serial),
		    text_time(out->p, x->refused[i]->at));
}

void
visit_waits(struct lines *out, struct view *v, const struct visit_check *x)
{
	for (size_t i = 0; i < x->n_wait; i++)
		lines_fmt(out, "%s for %s, waiting for an answer to %s",
		    text_time(out->p, x->wait[i]->from), text_span(out->p, x->wait[i]->to -
		    x->wait[i]->from), visit_unnamed(v, x->wait[i]->serial));
}

const char *
visit_open_text(struct page *p, struct view *v, const struct visit_open *o)
{
	if (silent_device(v, o->device) || silent_event(v, o->event) || silent_text(o->text))
		return o->device >= 0 ? silent_label(v, o->device) : SILENT_TEXT;
	return arena_fmt(&p->arena, "%s%s", o->text, o->life ? "; LIFE SAFETY" : "");
}

/* By hand, because no log can tell. */
const char *const visit_boxes[VISIT_BOXES] = {
	"every device fitted in place, not on the bench",
	"every device tripped in place",
	"each signal confirmed with the station",
	"account off test, confirmed by the station",
};
const char *const visit_device_boxes[VISIT_DEVICE_BOXES] = {
	"fitted in place", "tripped in place", "signal confirmed",
};

/* ---- as text --------------------------------------------------------------------------- */

static void
lines(struct page *p, struct view *v, const struct visit_check *x)
{
	page_heading(p, STYLE_STRONG, arena_fmt(&p->arena, "EXPECTED: %s", visit_expected(p, x)));
	for (size_t i = 0; i < x->n_device; i++) {
		const struct visit_device *d = &x->device[i];
		bool ok = visit_status_done(d->status);
		const char *lead = arena_fmt(&p->arena, " %-8s", ok ? "by log" : "REMAINS");
		const char *under = "         ", *name = visit_named(p, v, d);
		const char *serial = visit_serial(v, d), *old = visit_device_old(p, v, d), *boxes = "";

		page_fmt(p, lead, "%s%s%s%s%s%s", *d->zone ? "zone " : "", d->zone, *d->zone ? ", " :
		    "", serial, *serial && *name ? ", " : "", name);
		page_para(p, under, visit_device_state(p, v, d));
		if (old)
			page_para(p, under, old);
		for (int k = 0; k < VISIT_DEVICE_BOXES; k++)
			boxes = arena_fmt(&p->arena, "%s%s[ ] %s", boxes, k ? "   " : "",
			    visit_device_boxes[k]);
		page_para(p, under, boxes);
	}
	if (!x->n_device)
		page_para(p, "  ", VISIT_NO_LIST);
}

static void
listed(struct page *p, const char *heading, struct view *v, const struct visit_check *x,
    void (*gather)(struct lines *out, struct view *v, const struct visit_check *x))
{
	struct lines l = { .p = p };

	gather(&l, v, x);
	if (l.n)
		page_heading(p, STYLE_STRONG, heading);
	lines_print(&l, "  ");
}

static void
others(struct page *p, struct view *v, const struct visit_check *x)
{
	if (x->n_extra)
		page_heading(p, STYLE_STRONG, "LEARNED, BUT NOT EXPECTED");
	for (size_t i = 0; i < x->n_extra; i++)
		page_para(p, x->extra[i].removed == NO_TIME ? " REMAINS " : " gone    ",
		    visit_extra_text(p, v, &x->extra[i]));
	listed(p, "HEARD AND NOT ACCEPTED", v, x, visit_refused);
	listed(p, "THE PANEL COULD HEAR NO OTHER DEVICE", v, x, visit_waits);
}

static void
still_open(struct page *p, struct view *v, const struct visit_check *x)
{
	page_heading(p, STYLE_STRONG, "STILL OPEN BY THE LOG");
	for (size_t i = 0; i < x->n_open; i++)
		page_para(p, x->open[i].blocks ? " REMAINS " : " open    ",
		    visit_open_text(p, v, &x->open[i]));
	if (!x->n_open)
		page_para(p, "  ", VISIT_NOTHING_OPEN);
}

static void
verdict(struct page *p, struct view *v, const struct visit_check *x)
{
	page_blank(p);
	page_para(p, "", x->complete ? VISIT_COMPLETE : VISIT_REMAINS);
	for (size_t i = 0; i < x->n_reason; i++)
		page_para(p, arena_fmt(&p->arena, " %2zu. ", i + 1), visit_unnamed(v, x->reason[i]));
	if (x->n_note)
		page_heading(p, STYLE_STRONG, "WHAT LIMITS THE LOG AS PROOF");
	for (size_t i = 0; i < x->n_note; i++)
		page_para(p, "  - ", visit_unnamed(v, x->note[i]));
}

static void
sign(struct page *p)
{
	page_heading(p, STYLE_STRONG, "BY HAND");
	for (int i = 0; i < VISIT_BOXES; i++)
		page_para(p, "  [ ] ", visit_boxes[i]);
	page_blank(p);
	fprintf(p->f, "  Date ____________________   Name ____________________________________\n\n");
	fprintf(p->f, "  Signature ____________________________________________________________\n\n");
	page_para(p, "", CARE_POINTERS);
}

void
visit_text(struct page *p, struct view *v, const struct visit_check *x)
{
	struct visit_head head;

	visit_head(p, v, x, &head);
	page_fmt(p, "VISIT CHECK  ", "%s%s%s", v->account, *v->name ? "  " : "", v->name);
	site_cautions(p, v);
	page_blank(p);
	page_para(p, "Visit    ", head.visit);
	page_para(p, "Against  ", head.against);
	page_para(p, "Log      ", head.log);
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
