/* trouble_left.c - trouble, tamper, sounder, module, panel battery or communication that
 * nothing in the log ended.
 *
 * One device is one finding, whatever holds on it; the panel has one for each condition
 * and module, since each is a work of its own. Not told here, because others do: fire
 * supervisory signals (life-alarm), low cells (low-battery), end of life (end-of-life),
 * mains (power-loss), interference (jam), losses (supervision-loss). Of a lost device that
 * is not life safety only supervision-loss speaks: its trouble has the same cause.
 */
#include "rules/trouble_left.h"

#include <string.h>

#include "rules/care.h"
#include "rules/held.h"
#include "rules/test_report.h"

extern const struct rule rule_trouble_left;

static const struct setting settings[] = {
	{ "age", 24, 1, 720, "h", "usual rule in alarm-management texts (standing: over 24 h)" },
	{ "comm_age", 60, 0, 1440, "min", "common practice, no source" },
	{ NULL, 0, 0, 0, NULL, NULL }
};

static const struct part {
	enum condition what;
	enum word      ends[2];
} on_device[] = {
	{ COND_TROUBLE, { W_TROUBLE_RESTORE, W_OTHER } },
	{ COND_TAMPER, { W_TAMPER_RESTORE, W_OTHER } },
	{ COND_SOUNDER, { W_SOUNDER_RESTORE, W_OTHER } },
};
enum { PARTS = sizeof on_device / sizeof *on_device };

static bool
is_ours(enum condition c)
{
	return c == COND_TROUBLE || c == COND_TAMPER || c == COND_SOUNDER || c == COND_MODULE ||
	    c == COND_PANEL_BATTERY || c == COND_COMM;
}

static void
check(struct findings *out, struct finding *f, enum condition c)
{
	switch (c) {
	case COND_TAMPER:
		finding_check(out, f, "Housing: closed, on its base, tamper spring seated, screws "
		    "and wall firm; who opened it?");
		break;
	case COND_SOUNDER:
		finding_check(out, f, "Sounder: wires, end-of-line resistor, fuse or cell; would "
		    "it be heard today? Test it with the account on test.");
		break;
	case COND_MODULE:
		finding_check(out, f, "Module: its light, supply, cable or bus; which devices "
		    "report through it? They may be without watch.");
		break;
	case COND_PANEL_BATTERY:
		finding_check(out, f, "Panel battery: age, terminals, voltage under load; is mains "
		    "there and the charger well? Without it the first power cut ends the watch.");
		break;
	case COND_COMM:
		finding_check(out, f, "Reach the site by another way: alarms may not arrive until "
		    "communication is back.");
		finding_check(out, f, "Line, router, aerial and account at the provider, in this "
		    "order; then a test report that arrives.");
		break;
	default:
		finding_check(out, f, "Read at the panel which trouble it is; it is often a wire, "
		    "a cell or dirt before it is the device.");
		break;
	}
}

static void
finish(struct held *h, struct finding *f)
{
	if (f->life)
		finding_check(h->out, f, "Until it is mended people here may not be warned: tell "
		    "them, and ask what local codes require until then.");
	finding_check(h->out, f, "After the work: the restore is in the log and the part was "
	    "tested in its place.");
	finding_caution(h->out, f, CARE_SITE_TEST);
	held_unclear(h, f);
}

/* ---- devices ------------------------------------------------------------------- */

static void
judge_device(struct held *h, int32_t device, bool site_life)
{
	const struct device *d = &h->v->device[device];
	const struct holding *cond = h->state->device[device].cond, *held[PARTS], *oldest = NULL;
	bool life = d->life || (site_life && cond[COND_SOUNDER].since != NO_TIME);
	const char *text = "";
	struct finding *f;

	for (size_t i = 0; i < PARTS; i++) {
		const struct holding *x = &cond[on_device[i].what];

		held[i] = x->since == NO_TIME || (!life && held_blurred(h, device, x,
		    on_device[i].ends)) ? NULL : x;
		if (held[i] && (!oldest || x->since < oldest->since))
			oldest = x;
	}
	if (!oldest || d->unlearned != NO_TIME)
		return;
	if (!life && !d->maybe_life && h->v->now - oldest->since <= setting_ms(h->v, h->rule, "age",
	    device))
		return;
	if (!life && held_lost(h, device))
		return;
	f = held_add(h, device, NULL, oldest);
	f->level = life ? LEVEL_NOW : LEVEL_SOON;
	f->life = life;
	f->count = 0;
	for (size_t i = 0; i < PARTS; i++) {
		if (!held[i])
			continue;
		text = arena_fmt(&h->out->arena, "%s%s%s %s", text, *text ? ", " : "",
		    h->v->event[held[i]->event].word == W_SENSITIVITY ?
		    "sensitivity out of its range" : condition_text(on_device[i].what),
		    held_since(h, held[i]));
		finding_evidence(h->out, f, held[i]->event);
		f->count++;
		check(h->out, f, on_device[i].what);
	}
	finding_summary(h->out, f, "%s: %s; no restore in the log.", device_label(h->v, device), text);
	finish(h, f);
}

/* ---- the panel ------------------------------------------------------------------ */

static bool
panel_life(const struct view *v, const struct panel_holding *p, bool site_life)
{
	return (v->event[p->holding.event].marks & MARK_LIFE_CODE) ||
	    (site_life && (p->what == COND_SOUNDER || p->what == COND_MODULE));
}

static bool
is_old(const struct held *h, const struct panel_holding *p)
{
	return h->v->now - p->holding.since >
	    held_limit_ms(h, p->what == COND_COMM ? "comm_age" : "age", -1);
}

bool
trouble_left_tells(struct view *v, const struct panel_holding *p)
{
	struct held h = { .v = v, .rule = &rule_trouble_left };

	return is_ours(p->what) && (panel_life(v, p, held_site_life(v, 0)) || is_old(&h, p));
}

static void
judge_panel(struct held *h, const struct panel_holding *p, bool site_life)
{
	const struct event *ev = &h->v->event[p->holding.event];
	struct arena *a = &h->out->arena;
	const char *key = *p->zone ? h->v->point[ev->point].zone_key : "";
	bool life = panel_life(h->v, p, site_life);
	struct test_reports reports;
	struct finding *f;

	if (!life && !is_old(h, p))
		return;
	f = held_add(h, -1, arena_fmt(a, "panel:%s%s%s", word_text(ev->word), *key ? ":" : "", key),
	    &p->holding);
	f->level = life || p->what == COND_COMM ? LEVEL_NOW : LEVEL_SOON;
	f->life = life || (site_life && p->what == COND_COMM);
	finding_summary(h->out, f, "The panel%s%s: %s %s; no restore in the log.",
	    *p->zone ? ", number " : "", p->zone, condition_text(p->what), held_since(h, &p->holding));
	if (p->what == COND_COMM && test_reports_missed(h->v, &reports))
		finding_measure(h->out, f, "test_reports_missed", (double)reports.missed, "");
	check(h->out, f, p->what);
	finish(h, f);
}

static void
judge(struct view *v, struct findings *out)
{
	struct held h = held_begin(v, out, &rule_trouble_left);
	int site_life = -1;

	for (size_t i = 0; i < v->n_device; i++) {
		const struct holding *cond = h.state->device[i].cond;

		if (cond[COND_TROUBLE].since == NO_TIME && cond[COND_TAMPER].since == NO_TIME &&
		    cond[COND_SOUNDER].since == NO_TIME)
			continue;
		if (site_life < 0)
			site_life = held_site_life(v, 0);
		judge_device(&h, (int32_t)i, site_life);
	}
	for (size_t i = 0; i < h.state->n_open; i++) {
		if (!is_ours(h.state->open[i].what))
			continue;
		if (site_life < 0)
			site_life = held_site_life(v, 0);
		judge_panel(&h, &h.state->open[i], site_life);
	}
}

const struct rule rule_trouble_left = {
	.id = "trouble-left",
	.title = "Trouble that nobody mended",
	.why = "A trouble that was taken note of and left is the usual beginning of an alarm that "
	    "does not come.",
	.quiet_on = "What was restored; fire supervisory signals, mains, interference, low cells "
	    "and end of life, which have rules of their own; devices that were taken out; lost "
	    "devices, unless they are life safety.",
	.limits = "A panel that does not write restores keeps its troubles on the list. One "
	    "module's number does not say which devices report through it.",
	.setting = settings,
	.judge = judge,
};
