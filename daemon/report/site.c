#include "daemon/report/site.h"

#include <stdlib.h>
#include <string.h>

#include "daemon/report/notes.h"
#include "daemon/report/phrase.h"
#include "daemon/report/silent.h"
#include "daemon/report/site_part.h"
#include "rules/care.h"
#include "rules/rule.h"

enum { CHECKS_SHOWN = 3 };

/* ---- what the sheet is made from -------------------------------------------------- */

/* Zones as numbers where they are; then those without; the newest device of a zone first. */
static int
device_order(const void *pa, const void *pb, void *ctx)
{
	const struct view *v = ctx;
	const struct device *a = &v->device[*(const int32_t *)pa];
	const struct device *b = &v->device[*(const int32_t *)pb];
	int64_t x = INT64_MAX, y = INT64_MAX;
	int c;

	span_to_int(span_of(a->zone_key), 0, INT64_MAX - 1, &x);
	span_to_int(span_of(b->zone_key), 0, INT64_MAX - 1, &y);
	if (x != y)
		return x < y ? -1 : 1;
	if ((c = strcmp(a->zone_key, b->zone_key)) != 0 ||
	    (c = strcmp(a->partition, b->partition)) != 0)
		return c;
	if (site_gone(a) != site_gone(b))
		return site_gone(a) ? 1 : -1;
	if (a->unlearned != b->unlearned)
		return a->unlearned > b->unlearned ? -1 : 1;
	return strcmp(a->serial_key, b->serial_key);
}

void
site_build(struct site *s, struct view *v, const struct stored_finding *finding, size_t n)
{
	*s = (struct site){ .v = v, .finding = finding, .n_finding = n };
	state_of(v, &v->arena, &s->state);
	losses_find(v, &v->arena, &s->losses);
	sessions_find(v, &s->sessions);
	verdicts_find(v, &s->sessions, &s->verdicts);
	s->order = arena_take(&v->arena, (v->n_device + 1) * sizeof *s->order);
	for (size_t i = 0; i < v->n_device; i++)
		s->order[i] = (int32_t)i;
	qsort_r(s->order, v->n_device, sizeof *s->order, device_order, v);
}

bool
site_belongs(const struct device *d)
{
	return *d->zone || d->rostered || d->learned != NO_TIME;
}

bool
site_gone(const struct device *d)
{
	return d->unlearned != NO_TIME;
}

const char *
site_where(struct page *p, const struct device *d)
{
	return *d->zone ? arena_fmt(&p->arena, "zone %s", d->zone) :
	    arena_fmt(&p->arena, "serial %s", d->serial);
}

const char *
site_holding(struct page *p, const char *what, const struct holding *h)
{
	return arena_fmt(&p->arena, "%s %s %s", what, h->before ? "since before" : "since",
	    text_time(p, h->since));
}

/* ---- head ------------------------------------------------------------------------ */

/* A device of unknown kind may be life safety, so that caution holds for it too. */
size_t
site_caution_texts(const struct view *v, const char *out[SITE_CAUTIONS])
{
	bool life = false, maybe = false;
	size_t n = 0;

	for (size_t i = 0; i < v->n_device; i++) {
		life |= v->device[i].life;
		maybe |= v->device[i].maybe_life && site_belongs(&v->device[i]);
	}
	out[n++] = CARE_SITE_TEST;
	out[n++] = CARE_SITE_MAINS;
	out[n++] = CARE_SITE_AUTHORISED;
	if (life || maybe)
		out[n++] = CARE_LIFE;
	if (maybe)
		out[n++] = "Where it says \"may be LIFE SAFETY\": " CARE_MAYBE_LIFE;
	return n;
}

void
site_cautions(struct page *p, const struct view *v)
{
	const char *text[SITE_CAUTIONS];
	size_t n = site_caution_texts(v, text);

	for (size_t i = 0; i < n; i++)
		page_para(p, "! ", text[i]);
}

void
site_cautions_json(struct json *j, const struct view *v)
{
	const char *text[SITE_CAUTIONS];
	size_t n = site_caution_texts(v, text);

	json_open(j, "cautions", '[');
	for (size_t i = 0; i < n; i++)
		json_text(j, NULL, text[i]);
	json_close(j, ']');
}

void
site_head(struct page *p, const struct site *s, struct site_head *out)
{
	const struct view *v = s->v;
	const struct state *st = &s->state;
	int64_t last = v->n_event ? v->event[v->n_event - 1].at : NO_TIME, heard = NO_TIME;
	int32_t device = -1;
	const char *text;

	for (size_t i = 0; i < v->n_device; i++) {
		if (st->device[i].last_heard > heard) {
			heard = st->device[i].last_heard;
			device = (int32_t)i;
		}
	}
	out->covered = !v->n_cover ? "by no export: nothing is known of this site." :
	    arena_fmt(&p->arena, "from %s to %s%s.", text_time(p, v->cover[0].from),
	    text_time(p, v->cover[v->n_cover - 1].to), v->n_cover > 1 ? arena_fmt(&p->arena,
	    ", with %s in which nothing is known", text_count(p, (int64_t)v->n_cover - 1,
	    "gap", "gaps")) : "");
	out->heard = arena_fmt(&p->arena, "last event %s; last device heard %s%s%s.",
	    text_time(p, last), text_time(p, heard), device >= 0 ? ", " : "", device >= 0 ?
	    silent_label(s->v, device) : "");
	text = arena_fmt(&p->arena, "times are %s", p->zone.name);
	if (st->clock_set != NO_TIME)
		text = arena_fmt(&p->arena, "%s; panel clock set %s", text,
		    text_time(p, st->clock_set));
	if (st->restart != NO_TIME)
		text = arena_fmt(&p->arena, "%s; panel restarted %s", text, text_time(p, st->restart));
	if (st->log_cleared != NO_TIME)
		text = arena_fmt(&p->arena, "%s; log cleared %s, events are missing", text,
		    text_time(p, st->log_cleared));
	if (st->log_overflow != NO_TIME)
		text = arena_fmt(&p->arena, "%s; log overflowed %s, events are missing", text,
		    text_time(p, st->log_overflow));
	out->clock = arena_fmt(&p->arena, "%s.", text);
	out->as_of = !s->looking_back ? NULL : arena_fmt(&p->arena, "%s. Findings are those of the "
	    "last judging that had begun by then.", text_time(p, v->now));
}

/* ---- what to check first ----------------------------------------------------------- */

/* The place in the list, from 0, of the first finding with the very same checks. */
static size_t
same_checks(const struct site *s, size_t i)
{
	const struct stored_finding *f = &s->finding[i];

	for (size_t k = 0; k < i; k++) {
		const struct stored_finding *g = &s->finding[k];
		size_t same = 0;

		while (same < f->n_check && g->n_check == f->n_check &&
		    strcmp(f->check[same], g->check[same]) == 0)
			same++;
		if (f->n_check && same == f->n_check && !silent_finding(s->v, g))
			return k;
	}
	return i;
}

void
site_checks(struct lines *out, const struct site *s, size_t i)
{
	const struct stored_finding *f = &s->finding[i];
	size_t same = same_checks(s, i), shown = 0;
	size_t most = f->life ? SIZE_MAX : CHECKS_SHOWN;	/* life safety is never shortened */

	if (same != i) {
		lines_fmt(out, "check the same as at %zu", same + 1);
		return;
	}
	for (size_t k = 0; k < f->n_check && shown < most; k++) {
		if (silent_text(f->check[k]))
			continue;
		lines_add(out, f->check[k]);
		shown++;
	}
	if (f->n_check > shown)
		lines_fmt(out, "more: tripsift explain %s", f->id);
}

const char *
site_facts(struct page *p, const struct site *s, const struct notes *notes, size_t i)
{
	const struct stored_finding *f = &s->finding[i];
	const char *letters = notes_letters(notes, p, f->caution, f->n_caution);
	const char *parent = phrase_parent(s->finding, s->n_finding, f);

	return arena_fmt(&p->arena, "%s%s%s%s%s%s%s", f->id, phrase_between(p), phrase_facts(p, f),
	    parent ? arena_fmt(&p->arena, "%spart of ", phrase_between(p)) : "",
	    parent ? parent : "", *letters ? arena_fmt(&p->arena, "%scaution ",
	    phrase_between(p)) : "", letters);
}

static void
check_first(struct page *p, const struct site *s, const struct notes *notes)
{
	page_heading(p, STYLE_STRONG, "CHECK FIRST, in this order");
	if (!s->n_finding)
		page_para(p, "  ", SITE_NOTHING_OPEN);
	for (size_t i = 0; i < s->n_finding; i++) {
		const struct stored_finding *f = &s->finding[i];
		const char *lead = arena_fmt(&p->arena, " %2zu. %-5s ", i + 1,
		    level_text((enum level)f->level));
		const char *under = arena_fmt(&p->arena, "%*s", text_width(lead), "");
		struct lines checks = { .p = p };

		if (silent_finding(s->v, f)) {
			page_fmt(p, lead, "%s (%s)", SILENT_TEXT, f->id);
			continue;
		}
		page_fmt(p, lead, "%s%s%s", phrase_place(f), *phrase_place(f) ? ": " : "", f->summary);
		page_para(p, under, site_facts(p, s, notes, i));
		if (f->decision)
			page_para(p, under, phrase_decision(p, f->decision));
		site_checks(&checks, s, i);
		lines_print(&checks, arena_fmt(&p->arena, "%s- ", under));
	}
}

/* ---- what holds ------------------------------------------------------------------ */

void
site_troubles(struct lines *out, const struct site *s)
{
	struct page *p = out->p;
	const struct view *v = s->v;

	for (size_t i = 0; i < s->state.n_open; i++) {
		const struct panel_holding *h = &s->state.open[i];

		if (silent_event(v, h->holding.event)) {
			lines_add(out, SILENT_TEXT);
			continue;
		}
		lines_fmt(out, "%s%s%s%s%s", site_holding(p, condition_text(h->what), &h->holding),
		    *h->zone ? ", number " : "", h->zone, *h->partition ? ", partition " : "",
		    h->partition);
	}
	for (int c = 0; c < COND_COUNT; c++) {
		const char *where = "";

		/* A door that stands open is told at the device: it is no trouble yet. */
		for (size_t i = 0; i < v->n_device && c != COND_OPEN; i++) {
			int32_t d = s->order[i];
			const struct holding *h = &s->state.device[d].cond[c];

			if (h->since == NO_TIME || silent_device(v, d))
				continue;
			where = arena_fmt(&p->arena, "%s%s%s", where, *where ? "; " : "", site_holding(p,
			    arena_fmt(&p->arena, "%s%s", site_where(p, &v->device[d]),
			    v->device[d].life ? " LIFE SAFETY" : ""), h));
		}
		if (*where)
			lines_fmt(out, "%s: %s", condition_text((enum condition)c), where);
	}
	for (size_t i = 0; i < v->n_device; i++) {
		bool holds = false;

		for (int c = 0; c < COND_COUNT; c++)
			holds |= c != COND_OPEN &&
			    s->state.device[s->order[i]].cond[c].since != NO_TIME;
		if (holds && silent_device(v, s->order[i]))
			lines_add(out, silent_label(s->v, s->order[i]));
	}
	if (s->state.unclear)
		lines_fmt(out, "%s could have meant several things and ended none.",
		    text_count(p, s->state.unclear, "restore", "restores"));
	if (!out->n)
		lines_add(out, "None.");
}

/* ---- the sheet ------------------------------------------------------------------- */

static void
section(struct page *p, const struct site *s, const char *heading,
    void (*gather)(struct lines *out, const struct site *s))
{
	struct lines lines = { .p = p };

	page_heading(p, STYLE_STRONG, heading);
	gather(&lines, s);
	lines_print(&lines, "  ");
}

void
site_notes(const struct site *s, struct notes *out)
{
	*out = (struct notes){ 0 };
	for (size_t i = 0; i < s->n_finding; i++)
		notes_add(out, s->finding[i].life, s->finding[i].caution, s->finding[i].n_caution);
	out->life = false;	/* said with the other cautions above */
}

void
site_text(struct page *p, const struct site *s)
{
	const struct view *v = s->v;
	struct site_head head;
	struct notes notes;

	site_notes(s, &notes);
	site_head(p, s, &head);
	page_fmt(p, "SITE SHEET  ", "%s%s%s", v->account, *v->name ? "  " : "", v->name);
	site_cautions(p, v);
	page_blank(p);
	page_para(p, "Covered  ", head.covered);
	page_para(p, "Heard    ", head.heard);
	page_para(p, "Clock    ", head.clock);
	if (head.as_of)
		page_para(p, "As of    ", head.as_of);
	notes_print(&notes, p);
	section(p, s, "BRING", site_bring);
	check_first(p, s, &notes);
	section(p, s, "OPEN TROUBLES", site_troubles);
	site_devices(p, s);
	site_sessions(p, s);
	site_services(p, s);
	page_blank(p);
	page_para(p, "", CARE_POINTERS);
}
