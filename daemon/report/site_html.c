/* site_html.c - the site sheet as a page: for a phone at the door, and for paper. */
#include "daemon/report/site_html.h"

#include <string.h>

#include "daemon/base/serial.h"
#include "daemon/report/phrase.h"
#include "daemon/report/silent.h"
#include "daemon/report/site_part.h"
#include "daemon/report/timeline.h"

void
site_cautions_html(struct html *h, const struct view *v)
{
	const char *text[SITE_CAUTIONS];
	size_t n = site_caution_texts(v, text);

	html_open(h, "section");
	html_attr(h, "class", "care notes");
	html_attr(h, "aria-label", "Cautions before work");
	for (size_t i = 0; i < n; i++)
		html_leaf(h, "p", NULL, text[i]);
	html_close(h, "section");
}

void
site_fact_html(struct html *h, const char *name, const char *text)
{
	if (!text)
		return;
	html_leaf(h, "dt", NULL, name);
	html_leaf(h, "dd", NULL, text);
}

static void
list(struct html *h, struct lines *l, const char *class)
{
	if (l->n) {
		html_open(h, "ul");
		html_attr(h, "class", class);
		for (size_t i = 0; i < l->n; i++)
			html_leaf(h, "li", NULL, l->text[i]);
		html_close(h, "ul");
	}
	lines_release(l);
}

static void
section(struct html *h, const struct site *s, const char *heading,
    void (*gather)(struct lines *out, const struct site *s))
{
	struct lines lines = { .p = h->p };

	html_leaf(h, "h2", NULL, heading);
	gather(&lines, s);
	list(h, &lines, NULL);
}

/* A table that scrolls by itself where the screen is too narrow for it. */
static void
table_open(struct html *h, const char *name, const char *class)
{
	html_open(h, "section");
	html_attr(h, "class", "wide");
	html_attr(h, "tabindex", "0");
	html_attr(h, "aria-label", name);
	html_open(h, "table");
	html_attr(h, "class", class);
}

static void
table_close(struct html *h)
{
	html_close(h, "tbody");
	html_close(h, "table");
	html_close(h, "section");
}

static void
columns(struct html *h, const char *const *head, size_t n)
{
	html_open(h, "thead");
	html_open(h, "tr");
	for (size_t i = 0; i < n; i++)
		html_th(h, "col", NULL, head[i]);
	html_close(h, "tr");
	html_close(h, "thead");
	html_open(h, "tbody");
}

#define COLUMNS(h, head) columns(h, head, sizeof (head) / sizeof *(head))

/* ---- what to check first ------------------------------------------------------------- */

static const char *
base_name(const char *path)
{
	const char *slash = strrchr(path, '/');

	return slash ? slash + 1 : path;
}

static void
evidence(struct html *h, const struct site *s, const struct stored_finding *f)
{
	static const char *const head[] = { "time", "event", "zone, serial, text as read", "file:line" };
	const char *name = arena_fmt(&h->p->arena, "Evidence of %s", f->id);

	if (!f->n_evidence)
		return;
	html_open(h, "details");
	html_leaf_fmt(h, "summary", NULL, "Evidence: %s", text_count(h->p,
	    (int64_t)f->all_evidence, "row", "rows"));
	table_open(h, name, "rows");
	html_leaf(h, "caption", NULL, name);
	COLUMNS(h, head);
	for (size_t i = 0; i < f->n_evidence; i++) {
		const struct stored_evidence *e = &f->evidence[i];
		enum silent_row row = silent_evidence(s->v, e);

		if (f->all_evidence > f->n_evidence && i == f->n_evidence / 2) {
			html_open(h, "tr");
			html_open(h, "td");
			html_attr(h, "colspan", "4");
			html_fmt(h, "... %zu rows between", f->all_evidence - f->n_evidence);
			html_close(h, "td");
			html_close(h, "tr");
		}
		html_open(h, "tr");
		html_open(h, "td");
		html_time(h, e->at, false);
		html_close(h, "td");
		html_leaf(h, "td", NULL, row == SILENT_ROW_SHOWN ? e->event : "-");
		html_leaf(h, "td", NULL, row == SILENT_ROW_SHOWN ? e->detail :
		    row == SILENT_ROW_HIDDEN ? SILENT_TEXT : "the row itself is not at hand any more");
		html_leaf_fmt(h, "td", "file", "%s:%lld", base_name(e->file), (long long)e->line);
		html_close(h, "tr");
	}
	table_close(h);
	html_close(h, "details");
}

static void
one_finding(struct html *h, const struct site *s, const struct notes *notes, size_t i)
{
	const struct stored_finding *f = &s->finding[i];
	struct lines checks = { .p = h->p };
	const char *place = phrase_place(f);

	html_open(h, "li");
	html_attr(h, "id", arena_fmt(&h->p->arena, "f-%s", f->id));
	html_open(h, "p");
	html_level(h, f->level);
	html_text(h, " ");
	if (silent_finding(s->v, f)) {
		html_fmt(h, "%s (%s)", SILENT_TEXT, f->id);
		html_close(h, "p");
		html_close(h, "li");
		return;
	}
	if (f->life) {
		html_life(h);
		html_text(h, " ");
	}
	if (*place) {
		html_leaf(h, "b", NULL, place);
		html_text(h, ": ");
	}
	html_text(h, f->summary);
	html_close(h, "p");
	html_leaf(h, "p", "soft", site_facts(h->p, s, notes, i));
	if (f->decision)
		html_leaf(h, "p", NULL, phrase_decision(h->p, f->decision));
	site_checks(&checks, s, i);
	list(h, &checks, "checks");
	evidence(h, s, f);
	html_close(h, "li");
}

static void
check_first(struct html *h, const struct site *s, const struct notes *notes)
{
	html_leaf(h, "h2", NULL, "Check first, in this order");
	if (!s->n_finding) {
		html_leaf(h, "p", NULL, SITE_NOTHING_OPEN);
		return;
	}
	html_open(h, "ol");
	html_attr(h, "class", "first");
	for (size_t i = 0; i < s->n_finding; i++)
		one_finding(h, s, notes, i);
	html_close(h, "ol");
}

/* ---- devices -------------------------------------------------------------------------- */

static void
one_device(struct html *h, const struct site *s, int32_t device)
{
	const struct device *d = &s->v->device[device];
	int32_t day[STATE_DAYS];
	int64_t last, sum = 0;

	html_open(h, "tr");
	html_th(h, "row", NULL, *d->zone ? d->zone : "-");
	if (silent_device(s->v, device) || site_gone(d)) {
		html_open(h, "td");
		html_attr(h, "colspan", "3");
		html_text(h, silent_device(s->v, device) ? SILENT_TEXT : site_device_gone(h->p, d));
		html_close(h, "td");
		html_close(h, "tr");
		return;
	}
	html_leaf(h, "td", "device", site_device_line(h->p, d));
	html_leaf(h, "td", "state", site_device_state(h->p, s, device));
	html_open(h, "td");
	html_attr(h, "class", "strips");
	last = site_device_days(h->p, s, device, day);
	html_strip(h, day, STATE_DAYS, last);
	for (int i = 0; i < STATE_DAYS; i++)
		sum += day[i] > 0 ? day[i] : 0;
	html_text(h, " ");
	html_leaf(h, "span", "soft", sum ? text_count(h->p, sum, "activation", "activations") :
	    "no activation");
	html_close(h, "td");
	html_close(h, "tr");
}

static void
devices(struct html *h, const struct site *s)
{
	static const char *const head[] = { "zone", "device", "as the log has it", "last 30 days" };
	struct lines notes = { .p = h->p };
	bool any = false;

	for (size_t i = 0; i < s->v->n_device; i++)
		any |= site_belongs(&s->v->device[i]);
	html_leaf(h, "h2", NULL, "Devices, by zone");
	if (any) {
		html_open(h, "table");
		html_attr(h, "class", "devices");
		html_leaf(h, "caption", NULL, "Devices of the site with their last 30 days");
		COLUMNS(h, head);
		for (size_t i = 0; i < s->v->n_device; i++)
			if (site_belongs(&s->v->device[s->order[i]]))
				one_device(h, s, s->order[i]);
		html_close(h, "tbody");
		html_close(h, "table");
		html_strip_legend(h, "activations");
	}
	site_device_notes(&notes, s);
	list(h, &notes, NULL);
}

/* ---- what was learned and done ---------------------------------------------------------- */

/* Which characters of `a` are not those of `b`: place by place where they are of one
 * length, else what lies between their common ends. */
static void
differs(const char *a, const char *b, size_t *from, size_t *to)
{
	size_t na = strlen(a), nb = strlen(b), least = na < nb ? na : nb, head = 0, tail = 0;

	while (head < least && a[head] == b[head])
		head++;
	while (tail < least - head && a[na - 1 - tail] == b[nb - 1 - tail])
		tail++;
	*from = head;
	*to = na - tail;
}

void
site_serial_html(struct html *h, const char *serial, const char *against)
{
	size_t n = strlen(serial), from = n, to = n;
	bool same_length = against && strlen(against) == n;

	if (against && *against)
		differs(serial, against, &from, &to);
	html_open(h, "code");
	for (size_t i = 0; i < n;) {
		bool mark = i >= from && i < to && !(same_length && serial[i] == against[i]);
		size_t end = i;

		while (end < n && mark == (end >= from && end < to &&
		    !(same_length && serial[end] == against[end])))
			end++;
		if (mark)
			html_open(h, "mark");
		html_fmt(h, "%.*s", (int)(end - i), serial + i);
		if (mark)
			html_close(h, "mark");
		i = end;
	}
	html_close(h, "code");
}

static const char *
plain(struct html *h, const char *serial)
{
	enum serial_fault fault;
	const char *text = serial_plain(&h->p->arena, span_of(serial), &fault);

	return *text ? text : serial;
}

static void
one_item(struct html *h, const struct site *s, size_t i, size_t k)
{
	const struct session_item *item = &s->sessions.session[i].accepted[k];
	const struct verdict_item *x = &s->verdicts.session[i].item[k];
	const char *serial = *item->plain ? item->plain : item->serial;
	const char *wanted = x->wanted ? x->wanted : x->plan ? x->plan->serial : NULL;
	bool silent = site_session_silent(s, i, k);

	html_open(h, "tr");
	html_leaf(h, "td", site_accepted_well(x) ? NULL : "loud", site_accepted_well(x) ? "ok" :
	    "CHECK");
	html_open(h, "td");
	if (*serial)
		site_serial_html(h, serial, wanted && *wanted ? plain(h, wanted) : NULL);
	else
		html_text(h, "no serial");
	html_close(h, "td");
	html_open(h, "td");
	if (wanted && *wanted)
		site_serial_html(h, plain(h, wanted), *serial ? serial : NULL);
	else
		html_text(h, "-");
	html_close(h, "td");
	html_leaf(h, "td", NULL, *item->zone ? item->zone : "-");
	if (silent)
		html_leaf_fmt(h, "td", NULL, "%s (%s)", verdict_text(x->verdict), SILENT_TEXT);
	else
		html_leaf(h, "td", NULL, x->text);
	html_close(h, "tr");
}

static void
one_session(struct html *h, const struct site *s, size_t i)
{
	static const char *const head[] = { "", "learned", "planned", "zone", "what is to be made of it" };
	const struct session *x = &s->sessions.session[i];
	const char *refused = site_session_refused(h->p, x);
	const char *title = site_session_head(h->p, s, i);

	if (!x->n_accepted)
		html_leaf(h, "p", NULL, title);
	if (x->n_accepted) {
		table_open(h, arena_fmt(&h->p->arena, "Session %zu", i + 1), "serials");
		html_leaf(h, "caption", NULL, title);
		html_open(h, "thead");
		html_open(h, "tr");
		html_leaf(h, "td", NULL, head[0]);
		for (size_t k = 1; k < sizeof head / sizeof *head; k++)
			html_th(h, "col", NULL, head[k]);
		html_close(h, "tr");
		html_close(h, "thead");
		html_open(h, "tbody");
		for (size_t k = 0; k < x->n_accepted; k++)
			one_item(h, s, i, k);
		table_close(h);
	}
	if (*refused)
		html_leaf_fmt(h, "p", NULL, "heard and refused: %s", refused);
}

static void
sessions(struct html *h, const struct site *s)
{
	size_t first = site_sessions_left_out(s);
	struct lines missing = { .p = h->p };

	html_leaf(h, "h2", NULL, "Learn sessions");
	if (first)
		html_leaf_fmt(h, "p", "soft", "%zu earlier ones are not shown.", first);
	if (!s->sessions.n)
		html_leaf(h, "p", NULL, SITE_NO_SESSION);
	for (size_t i = first; i < s->sessions.n; i++)
		one_session(h, s, i);
	site_missing(&missing, s);
	for (size_t i = 0; i < missing.n; i++) {
		html_open(h, "p");
		html_leaf(h, "b", NULL, "MISSING");
		html_fmt(h, " %s", missing.text[i]);
		html_close(h, "p");
	}
	lines_release(&missing);
}

static void
service_side(struct html *h, const char *name, const struct repair_side *x)
{
	const int64_t number[] = { x->activations, x->alarms, x->losses, x->low };

	html_open(h, "tr");
	html_th(h, "row", NULL, name);
	html_leaf(h, "td", "number", text_span(h->p, x->covered));
	for (size_t i = 0; i < sizeof number / sizeof *number; i++)
		html_leaf_fmt(h, "td", "number", "%lld", (long long)number[i]);
	html_close(h, "tr");
}

static void
services(struct html *h, const struct site *s)
{
	static const char *const head[] = { "side", "covered", "activations", "alarms", "losses", "low cells" };

	if (!s->v->n_service)
		return;
	html_leaf(h, "h2", NULL, "Work done, two weeks before and after");
	for (size_t i = site_services_left_out(s); i < s->v->n_service; i++) {
		struct repair x;
		const char *what = site_service(h->p, s, i, &x);

		if (!what) {
			html_open(h, "p");
			html_time(h, s->v->service[i].at, false);
			html_text(h, ", " SILENT_TEXT);
			html_close(h, "p");
			continue;
		}
		table_open(h, arena_fmt(&h->p->arena, "Work %zu", i + 1), NULL);
		html_open(h, "caption");
		html_time(h, s->v->service[i].at, false);
		html_fmt(h, ", %s", what);
		html_close(h, "caption");
		COLUMNS(h, head);
		service_side(h, "before", &x.before);
		service_side(h, "after", &x.after);
		table_close(h);
	}
}

/* ---- the page --------------------------------------------------------------------------- */

static void
past(struct html *h, const struct site *s)
{
	struct timeline t;

	timeline_of(s, &h->p->zone, &t);
	if (!t.n_lane)
		return;
	html_leaf_fmt(h, "h2", NULL, "The last %d days", (int)t.days);
	timeline_html(h, s, &t);
}

void
site_html(struct page *p, const struct site *s, const struct site_page *o)
{
	const char *name = phrase_site(p, s->v->account, s->v->name);
	const struct html_page page = { .title = arena_fmt(&p->arena, "%s: site sheet", name),
		.nav = o->beside, .root = "../", .at = o->at };
	struct site_head head;
	struct notes notes;
	struct html h;

	html_begin(&h, p, &page);
	html_leaf(&h, "h1", NULL, name);
	html_open(&h, "p");
	html_attr(&h, "class", "soft");
	html_text(&h, "Site sheet");
	if (o->visit) {
		html_text(&h, ". A visit is planned: ");
		html_link(&h, o->visit, NULL, "visit sheet");
	}
	html_text(&h, ".");
	html_close(&h, "p");
	site_cautions_html(&h, s->v);
	site_head(p, s, &head);
	html_open(&h, "dl");
	html_attr(&h, "class", "facts");
	site_fact_html(&h, "Covered", head.covered);
	site_fact_html(&h, "Heard", head.heard);
	site_fact_html(&h, "Clock", head.clock);
	site_fact_html(&h, "As of", head.as_of);
	html_close(&h, "dl");
	site_notes(s, &notes);
	section(&h, s, "Bring", site_bring);
	check_first(&h, s, &notes);
	notes_html(&notes, &h);
	section(&h, s, "Open troubles", site_troubles);
	past(&h, s);
	devices(&h, s);
	sessions(&h, s);
	services(&h, s);
	html_end(&h, &page);
}
