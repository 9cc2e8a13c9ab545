/* extra_device.c - a device that the panel heard and does not know.
 *
 * learn-mismatch speaks of learn sessions, and of planned devices that were left out; this
 * rule of what is heard at other times (`extra-device`). A neighbour's device is no fault
 * and may still be taken for one of ours in the next learn session, so it is told after
 * `heard` times, and where it belongs if that is known. A device of the roster that the
 * panel does not know is told at once: it looks fitted, and nobody is watching it.
 *
 * A stranger is no device of this site, so its finding has a serial and no device.
 */
#include <stdlib.h>
#include <string.h>

#include "daemon/base/serial.h"
#include "rules/arming.h"
#include "rules/care.h"
#include "rules/repeats.h"
#include "rules/when.h"

extern const struct rule rule_extra_device;

static const struct setting settings[] = {
	{ "heard", 3, 1, 1000, "", "common practice, no source" },
	{ "within", 30, 30, 366, "d", "common practice, no source" },
	{ NULL, 0, 0, 0, NULL, NULL }
};

enum sort { ROSTERED, TAKEN_OUT, NAMELESS, STRANGER };

/* By serial, then zone, then time. */
static int
by_place(const void *pa, const void *pb, void *ctx)
{
	const struct view *v = ctx;
	uint32_t a = *(const uint32_t *)pa, b = *(const uint32_t *)pb;
	const struct point *x = &v->point[v->event[a].point], *y = &v->point[v->event[b].point];
	int c = strcmp(x->serial_key, y->serial_key);

	if (c == 0 && !*x->serial_key)
		c = strcmp(x->zone_key, y->zone_key);
	return c ? c : (a > b) - (a < b);
}

static bool
same_place(const struct view *v, uint32_t a, uint32_t b)
{
	const struct point *x = &v->point[v->event[a].point], *y = &v->point[v->event[b].point];

	return strcmp(x->serial_key, y->serial_key) == 0 &&
	    (*x->serial_key || strcmp(x->zone_key, y->zone_key) == 0);
}

static const struct elsewhere *
elsewhere_of(const struct view *v, const char *serial_key)
{
	for (size_t i = 0; *serial_key && i < v->n_elsewhere; i++)
		if (strcmp(v->elsewhere[i].serial_key, serial_key) == 0)
			return &v->elsewhere[i];
	return NULL;
}

static bool
is_planned(const struct view *v, const char *key)
{
	struct arena scratch = { 0 };
	bool found = false;

	for (size_t i = 0; *key && i < v->n_plan && !found; i++)
		found = strcmp(serial_key(&scratch, span_of(v->plan[i].serial)), key) == 0;
	arena_release(&scratch);
	return found;
}

static void
say(struct view *v, struct findings *out, struct finding *f, enum sort sort,
    const struct point *p)
{
	const struct elsewhere *e = elsewhere_of(v, p->serial_key);
	struct arena *a = &out->arena;
	const char *times = f->count == 1 ? "once" : arena_fmt(a, "%ld times", f->count);
	const char *last = when_local(v, a, f->last), *what = "";

	switch (sort) {
	case ROSTERED:
		what = "the roster lists it, and the panel does not know it: nobody watches it";
		finding_check(out, f, "Learn it, or find out why it was left out; then test it in "
		    "its place.");
		break;
	case TAKEN_OUT:
		what = "it was taken out of this panel and still sends";
		finding_check(out, f, "Is it still fitted? Then nobody watches its place. Learn it "
		    "again, or take it down and its cell out.");
		break;
	case NAMELESS:
		what = "the log names no serial";
		finding_check(out, f, "Read at the panel which serial it heard, and whether one of "
		    "ours was put in the place of another without us.");
		break;
	case STRANGER:
		what = e ? arena_fmt(a, "known at account %s%s%s", e->account, *e->zone ? ", zone " : "",
		    e->zone) : "no list knows it";
		finding_check(out, f, "Nothing to mend here. Keep it in mind at the next learn "
		    "session: it will offer itself; compare each sticker.");
		if (e)
			finding_check(out, f, "Look at the account that it belongs to: does its "
			    "own panel hear it?");
		break;
	}
	finding_summary(out, f, "%s: heard %s outside learning, last at %s; %s.",
	    f->device >= 0 ? device_label(v, f->device) : *p->serial ?
	    arena_fmt(a, "serial %s", p->serial) : "A device that is not of this site", times, last,
	    what);
}

/* A stranger heard while somebody works here or next to it is no neighbour's: rows inside a
 * learn session or test do not count. Returns how many are left. */
static size_t
leave_out_visits(const struct arming *arming, uint32_t *event, size_t n)
{
	size_t kept = 0;

	for (size_t i = 0; i < n; i++)
		if (!arming->of[event[i]].session && !arming->of[event[i]].test)
			event[kept++] = event[i];
	return kept;
}

/* The rows [0, n) of one place, in time order. */
static void
judge_place(struct view *v, struct findings *out, const struct arming *arming, uint32_t *event,
    size_t n)
{
	const struct point *p = &v->point[v->event[event[n - 1]].point];
	int64_t last = v->event[event[n - 1]].at;
	int32_t device = *p->serial_key ? view_device_find(v, "", p->serial, NO_TIME) :
	    v->event[event[n - 1]].device;
	const struct device *d = device < 0 ? NULL : &v->device[device];
	enum sort sort = STRANGER;
	struct repeats r = { .event = event };
	size_t least = 1, first, past;
	struct finding *f;

	if (!*p->serial_key)
		sort = NAMELESS;
	else if (d && d->unlearned != NO_TIME)
		sort = TAKEN_OUT;
	else if (d && (d->learned >= last || d->last_heard >= last))
		return;		/* NO_TIME is before all */
	else if (d && d->rostered)
		sort = ROSTERED;
	else if (is_planned(v, p->serial_key))
		return;
	if (sort == STRANGER) {
		least = (size_t)setting_value(v, &rule_extra_device, "heard", -1);
		n = leave_out_visits(arming, event, n);
	}
	r.n = n;
	if (!repeats_due(v, &r, least, setting_ms(v, &rule_extra_device, "within", -1), &first, &past))
		return;
	f = finding_add(out, v, &rule_extra_device, sort == STRANGER ? -1 : device,
	    *p->serial_key ? arena_fmt(&out->arena, "serial:%s", p->serial_key) :
	    device < 0 ? "panel:extra-device" : NULL);
	f->level = sort == STRANGER ? LEVEL_LATER :
	    d && d->life && sort != TAKEN_OUT ? LEVEL_NOW : LEVEL_SOON;
	f->serial = p->serial;
	f->onset = v->event[event[first]].at;
	f->last = v->event[event[past - 1]].at;
	f->count = (long)(past - first);
	for (size_t i = first; i < past; i++)
		finding_evidence(out, f, event[i]);
	say(v, out, f, sort, p);
}

static void
judge(struct view *v, struct findings *out)
{
	struct arming arming;
	uint32_t *list = NULL;
	size_t n = 0, cap = 0;

	for (size_t i = 0; i < v->n_event; i++) {
		const struct event *ev = &v->event[i];

		if (ev->word != W_EXTRA_DEVICE || (ev->marks & MARK_STILL))
			continue;
		list = x_grow(list, &cap, n + 1, sizeof *list);
		list[n++] = (uint32_t)i;
	}
	if (!n)
		return;
	arming_of(v, &out->arena, ARMING_TEST_MAX, ARMING_SESSION_MAX, &arming);
	if (n > 1)
		qsort_r(list, n, sizeof *list, by_place, v);
	for (size_t i = 0, end; i < n; i = end) {
		for (end = i + 1; end < n && same_place(v, list[i], list[end]); end++)
			;
		judge_place(v, out, &arming, list + i, end - i);
	}
	free(list);
}

const struct rule rule_extra_device = {
	.id = "extra-device",
	.title = "Heard, and not of this panel",
	.why = "What the panel hears and does not know may be a neighbour's, or one of ours that "
	    "nobody watches.",
	.quiet_on = "A stranger heard once or twice within 30 days, or during a learn session, test or "
	    "service; serials that were learned or "
	    "otherwise heard as a device of the site since; planned devices, which are "
	    "learn-mismatch's.",
	.limits = "A serial garbled on the air looks like a stranger. A panel that does not write "
	    "what it does not know shows nothing.",
	.setting = settings,
	.judge = judge,
};
