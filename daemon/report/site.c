#include "daemon/report/site.h"

#include <stdlib.h>
#include <string.h>

#include "daemon/report/notes.h"
#include "daemon/report/phrase.h"
#include "daemon/report/silent.h"
#include "rules/activation.h"
#include "rules/care.h"
#include "rules/cells.h"
#include "rules/rule.h"

enum { SESSIONS_SHOWN = 10, SERVICES_SHOWN = 5, CHECKS_SHOWN = 3, COMPARED_DAYS = 14 };

/* ---- what the sheet is made from -------------------------------------------------- */

/* Was it ever of this site? A serial that was only heard here is a neighbour's until
 * somebody learns it. */
static bool
belongs(const struct device *d)
{
	return *d->zone || d->rostered || d->learned != NO_TIME;
}

static bool
gone(const struct device *d)
{
	return d->unlearned != NO_TIME;
}

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
	if (gone(a) != gone(b))
		return gone(a) ? 1 : -1;
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

/* ---- head ------------------------------------------------------------------------ */

void
site_cautions(struct page *p, const struct view *v)
{
	bool life = false, maybe = false;

	for (size_t i = 0; i < v->n_device; i++) {
		life |= v->device[i].life;
		maybe |= v->device[i].maybe_life;
	}
	page_para(p, "! ", CARE_SITE_TEST);
	page_para(p, "! ", CARE_SITE_MAINS);
	page_para(p, "! ", CARE_SITE_AUTHORISED);
	/* A device of unknown kind may be life safety, so the caution holds for it too. */
	if (life || maybe)
		page_para(p, "! ", CARE_LIFE);
	if (maybe)
		page_fmt(p, "! ", "Where it says \"may be LIFE SAFETY\": %s", CARE_MAYBE_LIFE);
}

static void
three_lines(struct page *p, const struct site *s)
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
	if (!v->n_cover)
		page_para(p, "Covered  ", "by no export: nothing is known of this site.");
	else
		page_fmt(p, "Covered  ", "from %s to %s%s.", text_time(p, v->cover[0].from),
		    text_time(p, v->cover[v->n_cover - 1].to), v->n_cover > 1 ? arena_fmt(&p->arena,
		    ", with %s in which nothing is known", text_count(p, (int64_t)v->n_cover - 1,
		    "gap", "gaps")) : "");
	page_fmt(p, "Heard    ", "last event %s; last device heard %s%s%s.", text_time(p, last),
	    text_time(p, heard), device >= 0 ? ", " : "", device >= 0 ?
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
	page_fmt(p, "Clock    ", "%s.", text);
}

/* ---- what to bring --------------------------------------------------------------- */

/* The device that a member of a finding stands for: the id of another finding, or a
 * subject such as "zone:5" or "serial:4A0071". -1 = none of this site. */
static int32_t
member_device(const struct site *s, const char *member)
{
	const char *zone = "", *serial = "";

	for (size_t i = 0; i < s->n_finding; i++) {
		if (strcmp(s->finding[i].id, member) == 0) {
			zone = s->finding[i].zone;
			serial = s->finding[i].serial;
		}
	}
	if (strncmp(member, "serial:", 7) == 0) {
		serial = member + 7;
	} else if (strncmp(member, "zone:", 5) == 0) {
		const char *slash = strrchr(member, '/');	/* "zone:PARTITION/5" */

		zone = slash ? slash + 1 : member + 5;
	}
	if (!*zone && !*serial)
		return -1;
	return view_device_find(s->v, zone, serial, NO_TIME);
}

/* Marks every device that an open finding about cells names. */
static bool *
cells_due(const struct site *s)
{
	bool *due = arena_take(&s->v->arena, s->v->n_device + 1);

	for (size_t i = 0; i < s->v->n_device; i++)
		due[i] = !gone(&s->v->device[i]) &&
		    (s->state.device[i].cond[COND_BATTERY].since != NO_TIME ||
		    s->state.device[i].cond[COND_LOST].since != NO_TIME);
	for (size_t i = 0; i < s->n_finding; i++) {
		const struct stored_finding *f = &s->finding[i];
		int32_t d;

		if (strcmp(f->rule, "low-battery") != 0 && strcmp(f->rule, "battery-cluster") != 0)
			continue;
		if (*f->zone || *f->serial) {
			d = view_device_find(s->v, f->zone, f->serial, NO_TIME);
			if (d >= 0)
				due[d] = true;
		}
		for (size_t k = 0; k < f->n_member; k++) {
			d = member_device(s, f->member[k]);
			if (d >= 0)
				due[d] = true;
		}
	}
	return due;
}

static const char *
zone_or_serial(struct page *p, const struct device *d)
{
	return *d->zone ? arena_fmt(&p->arena, "zone %s", d->zone) :
	    arena_fmt(&p->arena, "serial %s", d->serial);
}

static void
bring(struct page *p, const struct site *s)
{
	const struct view *v = s->v;
	const bool *due = cells_due(s);
	bool *told = arena_take(&p->arena, v->n_device + 1), any = false;

	page_heading(p, STYLE_STRONG, "BRING");
	for (size_t i = 0; i < v->n_device; i++) {
		const struct device *d = &v->device[s->order[i]];
		struct cell cell = cell_fold(&p->arena, d->cell);
		const char *where = "";
		int64_t count = 0, devices = 0;

		if (!due[s->order[i]] || told[s->order[i]])
			continue;
		for (size_t k = i; k < v->n_device; k++) {
			const struct device *other = &v->device[s->order[k]];
			struct cell same = cell_fold(&p->arena, other->cell);
			int64_t each = other->cells ? other->cells : same.count ? same.count : 1;

			if (!due[s->order[k]] || strcmp(same.key, cell.key) != 0)
				continue;
			told[s->order[k]] = true;
			count += each;
			devices++;
			where = arena_fmt(&p->arena, "%s%s%s%s", where, *where ? ", " : "",
			    zone_or_serial(p, other), each > 1 ? arena_fmt(&p->arena, " (%lld)",
			    (long long)each) : "");
		}
		any = true;
		if (*cell.key)
			page_fmt(p, "  ", "%lld x %s: %s", (long long)count, cell.label, where);
		else
			page_fmt(p, "  ", "cells of a kind that no roster names, for %s: %s",
			    text_count(p, devices, "device", "devices"), where);
	}
	for (size_t i = 0; i < v->n_device; i++) {
		int32_t d = s->order[i];
		const struct holding *cond = s->state.device[d].cond;
		const char *why = cond[COND_END_OF_LIFE].since != NO_TIME ? "end of life" :
		    cond[COND_LOST].since != NO_TIME ? "lost; should a new cell not bring it back" : NULL;

		if (!why || gone(&v->device[d]))
			continue;
		any = true;
		page_fmt(p, "  ", "1 spare %s: %s (%s)", silent_device(v, d) ? "device" :
		    kind_heading(v->device[d].kind), zone_or_serial(p, &v->device[d]), why);
	}
	if (!any)
		page_para(p, "  ", "Nothing in particular: no cell and no device is known to be due.");
}

/* ---- what to check first ----------------------------------------------------------- */

static void
check_first(struct page *p, const struct site *s, const struct notes *notes)
{
	page_heading(p, STYLE_STRONG, "CHECK FIRST, in this order");
	if (!s->n_finding)
		page_para(p, "  ", "Nothing is open. What no export covers is not known.");
	for (size_t i = 0; i < s->n_finding; i++) {
		const struct stored_finding *f = &s->finding[i];
		const char *lead = arena_fmt(&p->arena, " %2zu. %-5s ", i + 1,
		    level_text((enum level)f->level));
		const char *under = arena_fmt(&p->arena, "%*s", text_width(lead), "");
		const char *letters;
		size_t shown = 0;

		if (silent_finding(s->v, f)) {
			page_fmt(p, lead, "%s (%s)", SILENT_TEXT, f->id);
			continue;
		}
		page_para(p, lead, *f->device ? f->device : "the whole site");
		page_para(p, under, f->summary);
		letters = notes_letters(notes, p, f->caution, f->n_caution);
		page_fmt(p, under, "%s, %s%s%s", f->id, phrase_facts(p, f), *letters ? ", caution " :
		    "", letters);
		if (f->decision)
			page_para(p, under, phrase_decision(p, f->decision));
		for (size_t k = 0; k < f->n_check && shown < CHECKS_SHOWN; k++) {
			if (silent_text(f->check[k]))
				continue;
			page_para(p, arena_fmt(&p->arena, "%s- ", under), f->check[k]);
			shown++;
		}
		if (f->n_check > shown)
			page_fmt(p, arena_fmt(&p->arena, "%s- ", under), "more: tripsift explain %s",
			    f->id);
	}
}

/* ---- what holds ------------------------------------------------------------------ */

static const char *
holding_text(struct page *p, const char *what, const struct holding *h)
{
	return arena_fmt(&p->arena, "%s %s %s", what, h->before ? "since before" : "since",
	    text_time(p, h->since));
}

static void
open_troubles(struct page *p, const struct site *s)
{
	const struct view *v = s->v;
	bool any = false;

	page_heading(p, STYLE_STRONG, "OPEN TROUBLES");
	for (size_t i = 0; i < s->state.n_open; i++) {
		const struct panel_holding *h = &s->state.open[i];

		any = true;
		page_fmt(p, "  ", "%s%s%s%s%s", holding_text(p, condition_text(h->what), &h->holding),
		    *h->zone ? ", number " : "", h->zone, *h->partition ? ", partition " : "",
		    h->partition);
	}
	for (size_t i = 0; i < v->n_device; i++) {
		int32_t d = s->order[i];
		const char *text = "";

		for (int c = 0; c < COND_COUNT; c++) {
			const struct holding *h = &s->state.device[d].cond[c];

			/* A door that stands open is told at the device: it is no trouble yet. */
			if (h->since == NO_TIME || c == COND_OPEN)
				continue;
			text = arena_fmt(&p->arena, "%s%s%s", text, *text ? "; " : "",
			    holding_text(p, condition_text((enum condition)c), h));
		}
		if (!*text)
			continue;
		any = true;
		if (silent_device(v, d))
			page_para(p, "  ", silent_label(s->v, d));
		else
			page_fmt(p, "  ", "%s: %s", device_label(s->v, d), text);
	}
	if (s->state.unclear)
		page_fmt(p, "  ", "%s could have meant several things and ended none.",
		    text_count(p, s->state.unclear, "restore", "restores"));
	if (!any)
		page_para(p, "  ", "None.");
}

/* ---- devices --------------------------------------------------------------------- */

/* One character a day, oldest first, in groups of five: how often the input went off.
 * A digit is exact, + is 10 to 99, * is more, . is none, ? is a day no export covers. */
static const char *
strip(struct page *p, const struct view *v, const unsigned day[STATE_DAYS], int64_t *sum)
{
	char *out = arena_take(&p->arena, STATE_DAYS + STATE_DAYS / 5 + 1), *to = out;
	int64_t now = v->now == NO_TIME ? 0 : v->now;
	int64_t ahead = p->zone.offset ? p->zone.offset(p->zone.zone, now / SECOND) * SECOND : 0;
	int64_t midnight = (now + ahead) / DAY * DAY - ahead;

	*sum = 0;
	for (int i = 0; i < STATE_DAYS; i++) {
		int64_t from = midnight - (STATE_DAYS - 1 - i) * DAY;
		unsigned n = day[i];

		if (i && i % 5 == 0)
			*to++ = ' ';
		*to++ = n == 0 ? view_cover_within(v, from, from + DAY) > 0 ? '.' : '?' :
		    n < 10 ? (char)('0' + n) : n < 100 ? '+' : '*';
		*sum += n;
	}
	*to = '\0';
	return out;
}

/* "no low reported", "LOW since ...", "was low 3 times, last ...". */
static const char *
battery_text(struct page *p, const struct site *s, int32_t device)
{
	const struct view *v = s->v;
	const struct device *d = &v->device[device];
	const struct holding *low = &s->state.device[device].cond[COND_BATTERY];
	int64_t times = 0, last = NO_TIME;

	for (size_t i = 0; i < d->n_event; i++) {
		const struct event *ev = &v->event[d->event[i]];

		if (ev->word == W_LOW_BATTERY && !(ev->marks & MARK_STILL)) {
			times++;
			last = ev->at;
		}
	}
	if (low->since != NO_TIME)
		return arena_fmt(&p->arena, "cell %s", holding_text(p, "LOW", low));
	if (times)
		return arena_fmt(&p->arena, "cell was low %s, last %s",
		    text_count(p, times, "time", "times"), text_day(p, last));
	return d->wireless ? "no low cell told" : "";
}

static const char *
supervision_text(struct page *p, const struct site *s, int32_t device)
{
	static const char *const source[] = { "", "stated", "learned", "learned" };
	const struct checkin *c = &s->losses.checkin[device];
	const struct holding *lost = &s->state.device[device].cond[COND_LOST];
	const char *text = "";
	int64_t recent = 0, last = NO_TIME;
	long missed;

	for (size_t i = s->losses.first[device]; i < s->losses.first[device + 1]; i++) {
		const struct loss *l = &s->losses.loss[i];

		if (l->at >= s->v->now - STATE_DAYS * DAY) {
			recent++;
			last = l->at;
		}
	}
	if (c->source != CHECKIN_NONE)
		text = arena_fmt(&p->arena, "checks in every %s (%s)", text_span(p, c->interval),
		    source[c->source]);
	missed = losses_missed(s->v, &s->losses, device);
	if (missed > 0)
		text = arena_fmt(&p->arena, "%s, %s missed", text,
		    text_count(p, missed, "check-in", "check-ins"));
	if (lost->since != NO_TIME)
		text = arena_fmt(&p->arena, "%s%s%s", text, *text ? ", " : "",
		    holding_text(p, "LOST", lost));
	else if (recent)
		text = arena_fmt(&p->arena, "%s%slost %s in 30 days, last %s", text, *text ? ", " : "",
		    text_count(p, recent, "time", "times"), text_time(p, last));
	return text;
}

static const char *
first_line(struct page *p, const struct device *d)
{
	struct cell cell = cell_fold(&p->arena, d->cell);
	const char *text = *d->name ? arena_fmt(&p->arena, "%s, %s", d->name,
	    kind_heading(d->kind)) : kind_heading(d->kind);

	if (*d->serial)
		text = arena_fmt(&p->arena, "%s, serial %s", text, d->serial);
	if (*d->partition)
		text = arena_fmt(&p->arena, "%s, partition %s", text, d->partition);
	if (*cell.key)
		text = arena_fmt(&p->arena, "%s, cell %s", text, cell.key);
	if (d->life)
		text = arena_fmt(&p->arena, "%s, LIFE SAFETY", text);
	else if (d->maybe_life)
		text = arena_fmt(&p->arena, "%s, may be LIFE SAFETY", text);
	return text;
}

static void
one_device(struct page *p, const struct site *s, int32_t device, int zone_width)
{
	const struct view *v = s->v;
	const struct device *d = &v->device[device];
	const struct device_state *st = &s->state.device[device];
	const char *lead = arena_fmt(&p->arena, " %*s  ", zone_width, *d->zone ? d->zone : "-");
	const char *under = arena_fmt(&p->arena, "%*s", text_width(lead), "");
	const char *text, *part;
	unsigned day[STATE_DAYS] = { 0 };
	int64_t sum;

	if (silent_device(v, device)) {
		page_para(p, lead, SILENT_TEXT);
		return;
	}
	if (gone(d)) {
		page_fmt(p, lead, "before: %s, taken out %s", first_line(p, d),
		    text_time(p, d->unlearned));
		return;
	}
	page_para(p, lead, first_line(p, d));
	text = st->last_heard == NO_TIME ? "never heard in what is covered" :
	    arena_fmt(&p->arena, "heard %s", text_time(p, st->last_heard));
	if (*(part = battery_text(p, s, device)))
		text = arena_fmt(&p->arena, "%s; %s", text, part);
	if (*(part = supervision_text(p, s, device)))
		text = arena_fmt(&p->arena, "%s; %s", text, part);
	for (int c = 0; c < COND_COUNT; c++) {
		if (c != COND_BATTERY && c != COND_LOST && st->cond[c].since != NO_TIME)
			text = arena_fmt(&p->arena, "%s; %s", text, holding_text(p,
			    condition_text((enum condition)c), &st->cond[c]));
	}
	page_para(p, under, text);
	state_days(v, device, day);
	part = strip(p, v, day, &sum);
	if (sum)
		page_fmt(p, under, "%s  %s", part, text_count(p, sum, "activation", "activations"));
}

static void
devices(struct page *p, const struct site *s)
{
	const struct view *v = s->v;
	const char *heard = "";
	size_t listed = 0;
	int zone_width = 2;

	for (size_t i = 0; i < v->n_device; i++) {
		const struct device *d = &v->device[s->order[i]];
		int w = text_width(text_safe(p, d->zone));

		if (belongs(d)) {
			listed++;
			zone_width = w > zone_width ? w : zone_width;
		} else {
			heard = arena_fmt(&p->arena, "%s%s%s", heard, *heard ? ", " : "", d->serial);
		}
	}
	page_heading(p, STYLE_STRONG, "DEVICES, by zone");
	if (listed)
		page_para(p, "  ", "The row of marks is the last 30 days, oldest first: how often the "
		    "input went off that day (. none, 1 to 9, + 10 or more, * 100 or more, ? not "
		    "covered by any export).");
	for (size_t i = 0; i < v->n_device; i++) {
		if (belongs(&v->device[s->order[i]]))
			one_device(p, s, s->order[i], zone_width);
	}
	if (!listed)
		page_para(p, "  ", "None is known.");
	if (*heard)
		page_fmt(p, "  ", "Also heard here, not of this site: %s.", heard);
}

/* ---- learn sessions --------------------------------------------------------------- */

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
		const char *mark = verdict_is_fine(v->verdict) ? "    ok     " : "    CHECK  ";

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

static void
sessions(struct page *p, const struct site *s)
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
			const char *lead = arena_fmt(&p->arena, "  planned for %s, missing: ",
			    text_day(p, visit->from));

			if (m->resolved != NO_TIME)
				continue;
			if (silent_text(m->text) || silent_device(s->v, m->device))
				page_fmt(p, lead, "%s (%s)", m->plan->serial, SILENT_TEXT);
			else
				page_para(p, lead, m->text);
		}
	}
}

/* ---- before and after a repair ------------------------------------------------------ */

struct measures { int64_t covered, activations, alarms, losses, low; };

static void
measure(const struct site *s, int32_t device, int64_t from, int64_t to, struct measures *m)
{
	const struct view *v = s->v;
	const struct device *d = &v->device[device];
	struct activations list = { 0 };

	activations_of(v, device, from, &list);
	for (size_t i = 0; i < list.n && list.one[i].start < to; i++) {
		m->activations++;
		m->alarms += list.one[i].alarm;
	}
	activations_release(&list);
	for (size_t i = s->losses.first[device]; i < s->losses.first[device + 1]; i++)
		m->losses += s->losses.loss[i].at >= from && s->losses.loss[i].at < to;
	for (size_t i = 0; i < d->n_event; i++) {
		const struct event *ev = &v->event[d->event[i]];

		m->low += ev->word == W_LOW_BATTERY && !(ev->marks & MARK_STILL) && ev->at >= from &&
		    ev->at < to;
	}
}

/* The same measures two weeks before and after; for the zone's devices, or the whole site. */
static struct measures
measures_of(const struct site *s, const struct service_row *r, int64_t from, int64_t to)
{
	const struct view *v = s->v;
	struct measures m = { .covered = view_cover_within(v, from, to) };
	int32_t one = *r->zone || *r->serial ? view_device_find(v, r->zone, r->serial, r->at) : -1;

	for (size_t i = 0; i < v->n_device; i++) {
		const struct device *d = &v->device[i];
		bool same_zone = one >= 0 && *d->zone_key && !*r->serial &&
		    strcmp(d->zone_key, v->device[one].zone_key) == 0;

		if ((one < 0 && !*r->zone && !*r->serial) || (int32_t)i == one || same_zone)
			measure(s, (int32_t)i, from, to, &m);
	}
	return m;
}

static void
services(struct page *p, const struct site *s)
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
		const int64_t span = COMPARED_DAYS * DAY;
		const struct measures side[] = { measures_of(s, r, r->at - span, r->at),
			measures_of(s, r, r->at, r->at + span) };
		int32_t d = *r->zone || *r->serial ? view_device_find(v, r->zone, r->serial, r->at) : -1;
		struct table t;

		if (silent_device(v, d) || silent_text(r->what)) {
			page_fmt(p, "  ", "%s, %s", text_time(p, r->at), SILENT_TEXT);
			continue;
		}
		page_fmt(p, "  ", "%s, %s%s%s%s%s", text_time(p, r->at), d >= 0 ?
		    device_label(s->v, d) : *r->zone ? arena_fmt(&p->arena, "zone %s", r->zone) :
		    "the whole site", ": ", r->what, *r->who ? ", " : "", r->who);
		table_init(&t, p, column, sizeof column / sizeof *column);
		for (int k = 0; k < 2; k++) {
			table_add(&t, k ? "after" : "before");
			table_add(&t, text_span(p, side[k].covered));
			table_fmt(&t, "%lld", (long long)side[k].activations);
			table_fmt(&t, "%lld", (long long)side[k].alarms);
			table_fmt(&t, "%lld", (long long)side[k].losses);
			table_fmt(&t, "%lld", (long long)side[k].low);
		}
		table_print(&t, 4);
	}
}

/* ---- the sheet ------------------------------------------------------------------- */

void
site_text(struct page *p, const struct site *s)
{
	const struct view *v = s->v;
	struct notes notes = { 0 };

	for (size_t i = 0; i < s->n_finding; i++)
		notes_add(&notes, s->finding[i].life, s->finding[i].caution, s->finding[i].n_caution);
	page_fmt(p, "SITE SHEET  ", "%s%s%s", v->account, *v->name ? "  " : "", v->name);
	site_cautions(p, v);
	page_blank(p);
	three_lines(p, s);
	notes.life = false;	/* said with the other cautions above */
	notes_print(&notes, p);
	bring(p, s);
	check_first(p, s, &notes);
	open_troubles(p, s);
	devices(p, s);
	sessions(p, s);
	services(p, s);
	page_blank(p);
	page_para(p, "", CARE_POINTERS);
}
