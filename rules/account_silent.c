/* An account that used to speak says nothing at all any more, inside cover.
 *
 * Its usual longest silence is the second longest gap between two of its events: one past
 * outage or holiday is left out. An account is regular when that is short against its
 * history. Two voices are told apart: what panel and devices send by themselves (check-ins,
 * test reports) goes on while nobody is there, so its silence means that the site is
 * blind; where only people's doings speak, it may be a holiday.
 *
 * Beside others: a loss of communication that the log tells and that did not end is the cause,
 * and trouble-left's; then this rule is quiet. supervision-loss never speaks of the silence
 * of all devices at once. test-report-missed speaks earlier, at a lower level, and is quiet
 * once this one speaks: then its reports are named here. */
#include "rules/account_silent.h"

#include "rules/care.h"
#include "rules/held.h"
#include "rules/test_report.h"
#include "rules/when.h"

#define USUAL "common practice, no source"

static const struct setting settings[] = {
	{ "times", 4, 2, 100, "", USUAL },
	{ "least", 24, 1, 720, "h", USUAL },
	{ "events", 30, 10, 100000, "", USUAL },
	{ "history", 14, 2, 366, "d", USUAL },
	{ "regular", 15, 15, 50, "%", USUAL },
	{ NULL, 0, 0, 0, NULL, NULL }
};

extern const struct rule rule_account_silent;

/* One voice of the account: its gaps inside cover. */
struct voice {
	int64_t first, last;	/* NO_TIME = no event */
	int64_t longest, second;
	size_t  n;
};

static void
hear(const struct view *v, struct voice *voice, const struct event *ev, bool broken)
{
	int64_t gap = voice->n ? ev->at - voice->last : 0;

	if (voice->n++ == 0)
		voice->first = ev->at;
	if (gap > voice->second && !broken && view_covered(v, voice->last, ev->at)) {
		voice->second = gap < voice->longest ? gap : voice->longest;
		voice->longest = gap > voice->longest ? gap : voice->longest;
	}
	voice->last = ev->at;
}

/* Is `silence` far above what this voice ever kept? With life safety on the site no setting
 * makes the rule laxer. */
static bool
is_silent(const struct held *h, const struct voice *voice, int64_t silence)
{
	int64_t history = voice->last - voice->first;

	return (double)voice->n >= held_limit(h, "events", -1) &&
	    history >= held_limit_ms(h, "history", -1) &&
	    100 * (double)voice->second <= setting_value(h->v, h->rule, "regular", -1) *
	    (double)history &&
	    (double)silence >= held_limit(h, "times", -1) * (double)voice->second;
}

static size_t
life_devices(const struct view *v)
{
	size_t n = 0;

	for (size_t i = 0; i < v->n_device; i++)
		n += v->device[i].life && v->device[i].unlearned == NO_TIME;
	return n;
}

struct silence {
	struct voice all, own;
	int64_t      lasts;
	bool         blind;	/* what the panel sends by itself has stopped */
};

static bool
find_silence(struct view *v, struct silence *out)
{
	struct held h = { .v = v, .rule = &rule_account_silent };
	const struct panel_holding *comm;
	bool broken = false;

	*out = (struct silence){ .all = { .last = NO_TIME }, .own = { .last = NO_TIME } };
	if (v->n_event == 0 ||
	    v->now - v->event[v->n_event - 1].at < held_limit_ms(&h, "least", -1) ||
	    (double)v->n_event < held_limit(&h, "events", -1))
		return false;
	for (size_t i = 0; i < v->n_event; i++) {
		const struct event *ev = &v->event[i];

		/* A reset clock spoils the gaps at either end; it spoke all the same. */
		broken |= (ev->marks & MARK_RESET) != 0;
		hear(v, &out->all, ev, broken);
		if (ev->word == W_CHECK_IN || ev->word == W_TEST_REPORT)
			hear(v, &out->own, ev, broken);
		broken = (ev->marks & MARK_RESET) != 0;
	}
	out->lasts = view_cover_within(v, out->all.last, v->now);
	if (out->lasts < held_limit_ms(&h, "least", -1))
		return false;
	out->blind = is_silent(&h, &out->own, out->lasts);
	if (!out->blind && !is_silent(&h, &out->all, out->lasts))
		return false;
	comm = state_open(view_state(v), COND_COMM);
	return !comm || out->all.last - comm->holding.since > HOUR;
}

bool
account_silent_tells(struct view *v)
{
	struct silence s;

	return find_silence(v, &s);
}

static void
judge(struct view *v, struct findings *out)
{
	const struct rule *r = &rule_account_silent;
	struct arena *a = &out->arena;
	struct test_reports reports;
	struct silence s;
	struct finding *f;
	size_t life;

	if (!find_silence(v, &s))
		return;
	life = life_devices(v);
	f = finding_add(out, v, r, -1, "site");
	f->level = s.blind ? LEVEL_NOW : life ? LEVEL_SOON : LEVEL_LATER;
	f->life = life > 0;
	f->onset = f->last = s.all.last;
	f->count = 1;
	finding_evidence(out, f, (uint32_t)v->n_event - 1);
	finding_summary(out, f, "Nothing at all for %s, since %s; the usual longest silence is "
	    "%s%s.",
	    when_lasting(a, s.lasts), when_local(v, a, s.all.last),
	    rule_span_text(a, s.blind ? s.own.second : s.all.second), s.blind ?
	    ": what panel and devices send by themselves has stopped too" :
	    "; the log has no regular reports of the panel itself, so the place may just be "
	    "empty");
	finding_measure(out, f, "silence", (double)s.lasts / HOUR, "h");
	finding_measure(out, f, "usual", (double)(s.blind ? s.own.second : s.all.second) / HOUR, "h");
	finding_measure(out, f, "events", (double)s.all.n, "");
	if (test_reports_missed(v, &reports))
		finding_measure(out, f, "test_reports_missed", (double)reports.missed, "");
	finding_measure(out, f, "life_safety", (double)life, "devices");
	finding_check(out, f, "Reach the people there: as far as the log goes, no alarm of this "
	    "site would arrive");
	finding_check(out, f, "Station: is the account still taken in and exported, was it "
	    "moved, ended or given another number?");
	finding_check(out, f, "Line, mobile or network path, then the panel's supply and "
	    "battery");
	finding_check(out, f, "Let the panel send a test report and see it arrive");
	finding_caution(out, f, CARE_SITE_TEST);
}

const struct rule rule_account_silent = {
	.id = "account-silent",
	.title = "An account that used to speak is silent",
	.why = "A site that says nothing raises no alarm either. Nobody misses what does not "
	    "come.",
	.quiet_on = "Time that no export covers; accounts that never spoke regularly or have a "
	    "short history; pauses as long as the account kept before; a loss of communication "
	    "that the log tells.",
	.limits = "An export covers an account only where it has rows of it, unless it is said "
	    "to cover all. A holiday looks like a dead line where only people make the account "
	    "speak.",
	.setting = settings,
	.judge = judge,
};
