/* visit_html.c - the visit sheet as a page: to print on one sheet of paper and to sign. */
#include "daemon/report/visit_html.h"

#include "daemon/report/phrase.h"
#include "daemon/report/site_html.h"
#include "daemon/report/visit_part.h"

/* A square to tick. */
static void
box(struct html *h, const char *label)
{
	html_open(h, "span");
	html_attr(h, "class", "box");
	html_attr(h, "role", "img");
	html_attr(h, "aria-label", arena_fmt(&h->p->arena, "box: %s", label));
	html_close(h, "span");
}

static void
verdict(struct html *h, struct view *v, const struct visit_check *x)
{
	html_open(h, "section");
	html_attr(h, "class", "verdict");
	html_attr(h, "aria-label", "Result");
	html_leaf(h, "p", "loud", x->complete ? VISIT_COMPLETE : VISIT_REMAINS);
	if (x->n_reason) {
		html_open(h, "ol");
		for (size_t i = 0; i < x->n_reason; i++)
			html_leaf(h, "li", NULL, visit_unnamed(v, x->reason[i]));
		html_close(h, "ol");
	}
	html_close(h, "section");
	if (!x->n_note)
		return;
	html_leaf(h, "h2", NULL, "What limits the log as proof");
	html_open(h, "ul");
	for (size_t i = 0; i < x->n_note; i++)
		html_leaf(h, "li", NULL, visit_unnamed(v, x->note[i]));
	html_close(h, "ul");
}

static void
one_device(struct html *h, struct view *v, const struct visit_device *d)
{
	bool done = visit_status_done(d->status);
	const char *name = visit_named(h->p, v, d), *serial = visit_serial(v, d);
	const char *old = visit_device_old(h->p, v, d);

	html_open(h, "tr");
	html_leaf(h, "td", done ? "log" : "log loud", done ? "by log" : "REMAINS");
	html_open(h, "th");
	html_attr(h, "scope", "row");
	html_fmt(h, "%s%s%s", *d->zone ? "zone " : "", d->zone, *d->zone ? ", " : "");
	if (*serial)
		html_leaf(h, "code", NULL, serial);
	if (*name) {
		html_text(h, " ");
		html_leaf(h, "span", "name", name);
	}
	html_close(h, "th");
	html_open(h, "td");
	html_attr(h, "class", "state");
	html_text(h, visit_device_state(h->p, v, d));
	if (old)
		html_leaf(h, "p", d->old == VISIT_OLD_GONE ? NULL : "loud", old);
	html_close(h, "td");
	for (int i = 0; i < VISIT_DEVICE_BOXES; i++) {
		html_open(h, "td");
		html_attr(h, "class", "tick");
		box(h, visit_device_boxes[i]);
		html_text(h, " ");
		html_leaf(h, "span", "screen", visit_device_boxes[i]);
		html_close(h, "td");
	}
	html_close(h, "tr");
}

static void
expected(struct html *h, struct view *v, const struct visit_check *x)
{
	static const char *const head[] = { "result", "device", "as the log has it" };

	html_leaf_fmt(h, "h2", NULL, "Expected: %s", visit_expected(h->p, x));
	if (!x->n_device) {
		html_leaf(h, "p", NULL, VISIT_NO_LIST);
		return;
	}
	html_open(h, "table");
	html_attr(h, "class", "devices expected");
	html_leaf(h, "caption", NULL, "Each expected device; the boxes are to be ticked by hand");
	html_open(h, "thead");
	html_open(h, "tr");
	for (size_t i = 0; i < sizeof head / sizeof *head; i++)
		html_th(h, "col", NULL, head[i]);
	for (int i = 0; i < VISIT_DEVICE_BOXES; i++)
		html_th(h, "col", "tick", visit_device_boxes[i]);
	html_close(h, "tr");
	html_close(h, "thead");
	html_open(h, "tbody");
	for (size_t i = 0; i < x->n_device; i++)
		one_device(h, v, &x->device[i]);
	html_close(h, "tbody");
	html_close(h, "table");
}

static void
marked(struct html *h, bool remains, const char *mark, const char *text)
{
	html_open(h, "li");
	html_leaf(h, "span", remains ? "loud" : NULL, remains ? "REMAINS" : mark);
	html_fmt(h, " %s", text);
	html_close(h, "li");
}

static void
listed(struct html *h, const char *heading, struct view *v, const struct visit_check *x,
    void (*gather)(struct lines *out, struct view *v, const struct visit_check *x))
{
	struct lines l = { .p = h->p };

	gather(&l, v, x);
	if (l.n) {
		html_leaf(h, "h2", NULL, heading);
		html_open(h, "ul");
		for (size_t i = 0; i < l.n; i++)
			html_leaf(h, "li", NULL, l.text[i]);
		html_close(h, "ul");
	}
	lines_release(&l);
}

static void
others(struct html *h, struct view *v, const struct visit_check *x)
{
	if (x->n_extra) {
		html_leaf(h, "h2", NULL, "Learned, but not expected");
		html_open(h, "ul");
		for (size_t i = 0; i < x->n_extra; i++)
			marked(h, x->extra[i].removed == NO_TIME, "gone",
			    visit_extra_text(h->p, v, &x->extra[i]));
		html_close(h, "ul");
	}
	listed(h, "Heard and not accepted", v, x, visit_refused);
	listed(h, "The panel could hear no other device", v, x, visit_waits);
	html_leaf(h, "h2", NULL, "Still open by the log");
	if (!x->n_open) {
		html_leaf(h, "p", NULL, VISIT_NOTHING_OPEN);
		return;
	}
	html_open(h, "ul");
	for (size_t i = 0; i < x->n_open; i++)
		marked(h, x->open[i].blocks, "open", visit_open_text(h->p, v, &x->open[i]));
	html_close(h, "ul");
}

static void
sign(struct html *h)
{
	static const char *const line[] = { "Date", "Name", "Signature" };

	html_open(h, "section");
	html_attr(h, "class", "sign");
	html_attr(h, "aria-label", "To be filled in by hand");
	html_leaf(h, "h2", NULL, "By hand");
	html_open(h, "ul");
	html_attr(h, "class", "boxes");
	for (int i = 0; i < VISIT_BOXES; i++) {
		html_open(h, "li");
		box(h, visit_boxes[i]);
		html_fmt(h, " %s", visit_boxes[i]);
		html_close(h, "li");
	}
	html_close(h, "ul");
	html_open(h, "div");
	html_attr(h, "class", "signature");
	for (size_t i = 0; i < sizeof line / sizeof *line; i++)
		html_leaf(h, "p", NULL, line[i]);
	html_close(h, "div");
	html_close(h, "section");
}

void
visit_html(struct page *p, struct view *v, const struct visit_check *x,
    const struct visit_page *o)
{
	const char *name = phrase_site(p, v->account, v->name);
	const struct html_page page = { .title = arena_fmt(&p->arena, "%s: visit check", name),
		.nav = o->beside, .root = "../", .at = o->at };
	struct visit_head head;
	struct html h;

	html_begin(&h, p, &page);
	html_leaf(&h, "h1", NULL, name);
	html_open(&h, "p");
	html_attr(&h, "class", "soft");
	html_text(&h, "Visit check.");
	if (o->site) {
		html_text(&h, " ");
		html_link(&h, o->site, NULL, "Site sheet");
	}
	html_close(&h, "p");
	site_cautions_html(&h, v);
	visit_head(p, v, x, &head);
	html_open(&h, "dl");
	html_attr(&h, "class", "facts");
	site_fact_html(&h, "Visit", head.visit);
	site_fact_html(&h, "Against", head.against);
	site_fact_html(&h, "Log", head.log);
	html_close(&h, "dl");
	verdict(&h, v, x);
	expected(&h, v, x);
	others(&h, v, x);
	sign(&h);
	html_end(&h, &page);
}
