/* The panel's own test reports stopped, though the exports cover the time.
 *
 * The interval is learned: the median of the newest gaps between reports, if nearly all of
 * them are alike. When the last two gaps are both longer, the interval was changed and the
 * shorter of them counts; one longer gap is enough where the panel was programmed at its
 * begin, before a report was missed, and not again until the next one came, which would
 * look like a repair.
 *
 * One cause, one finding: where the log tells of lost communication that began before the
 * second missed report was due and did not end, that is the cause, and trouble-left's; when
 * the account says nothing at all, account-silent tells it. Either names the missed
 * reports. This rule speaks when the account goes on to speak, but the report that proves
 * its line has stopped, and before account-silent is sure. */
#include "rules/test_report.h"

#include "rules/account_silent.h"
#include "rules/care.h"
#include "rules/state.h"
#include "rules/stats.h"
#include "rules/trouble_left.h"
#include "rules/when.h"

#define USUAL "common practice, no source"

static const struct setting settings[] = {
	{ "learn", 8, 4, 100, "reports", USUAL },
	{ "spread", 10, 1, 40, "%", USUAL },
	{ "share", 75, 50, 100, "%", USUAL },
	{ "missed", 2, 1, 100, "reports", USUAL },
	{ NULL, 0, 0, 0, NULL, NULL }
};

extern const struct rule rule_test_report_missed;

#define SAME_REPORT (5 * MINUTE)	/* over two lines, or twice; common practice, no source */
#define SHORTEST    (30 * MINUTE)	/* quicker ones are the line's polling, not a test */

static void
collect(const struct view *v, struct test_reports *r)
{
	for (size_t i = v->n_event; i-- > 0;) {
		const struct event *ev = &v->event[i];

		if (ev->word != W_TEST_REPORT || (ev->marks & (MARK_STILL | MARK_RESET)) ||
		    ev->at > v->now)
			continue;
		if (r->n && v->event[r->event[r->n - 1]].at - ev->at <= SAME_REPORT)
			continue;
		r->event[r->n++] = (uint32_t)i;
		if (r->n > TEST_REPORT_GAPS)
			break;
	}
}

/* Was the panel programmed within the first `old` ms of the newest gap, and not later in it? */
static bool
is_set_anew(const struct view *v, const struct test_reports *r, double old)
{
	int64_t from = v->event[r->event[1]].at;
	bool told = false;

	for (size_t i = r->event[1]; i < r->event[0]; i++) {
		const struct event *ev = &v->event[i];

		if (ev->word != W_PROGRAM_ENTRY && ev->word != W_PROGRAM_EXIT &&
		    ev->word != W_PROGRAMMING_CHANGED)
			continue;
		if ((double)(ev->at - from) > old || (ev->marks & MARK_RESET))
			return false;
		told = true;
	}
	return told && view_covered(v, from, v->event[r->event[0]].at);
}

/* In ms; 0 = too few or not regular. */
static int64_t
learn(const struct view *v, const struct test_reports *r)
{
	double gap[TEST_REPORT_GAPS], sorted[TEST_REPORT_GAPS], middle, last = 0;
	double spread = setting_value(v, &rule_test_report_missed, "spread", -1) / 100;
	size_t n = 0, near = 0, after = 0;

	for (size_t i = 0; i + 1 < r->n; i++) {
		int64_t to = v->event[r->event[i]].at, from = v->event[r->event[i + 1]].at;

		if (!view_covered(v, from, to))
			continue;
		gap[n] = (double)(to - from);
		sorted[n] = gap[n];
		n++;
	}
	if ((double)n + 1 < setting_value(v, &rule_test_report_missed, "learn", -1))
		return 0;
	middle = stats_median(sorted, n);
	for (size_t i = 0; i < n; i++)
		near += gap[i] >= middle * (1 - spread) && gap[i] <= middle * (1 + spread);
	/* Newer gaps that are all longer, and alike among themselves. */
	while (after < n && gap[after] > middle * (1 + spread)) {
		last = after == 0 || gap[after] < last ? gap[after] : last;
		after++;
	}
	if (middle < SHORTEST || 100 * (double)near <
	    setting_value(v, &rule_test_report_missed, "share", -1) * (double)(n - after))
		return 0;
	return (int64_t)(after >= 2 || (after == 1 && is_set_anew(v, r, middle)) ? last : middle);
}

/* Reports that were due in covered time after the last one and did not come. */
static long
missed(const struct view *v, int64_t last, int64_t interval, double spread)
{
	int64_t late = (int64_t)((double)interval * spread);
	long n = 0;

	for (int64_t due = last + interval; due + late <= v->now && n < 10000; due += interval)
		n += view_covered(v, due - late, due + late);
	return n;
}

bool
test_reports_missed(const struct view *v, struct test_reports *out)
{
	const struct rule *r = &rule_test_report_missed;
	int64_t last;

	*out = (struct test_reports){ .n = 0 };
	collect(v, out);
	last = out->n ? v->event[out->event[0]].at : v->now;
	if (v->now - last < 2 * SHORTEST || !(out->interval = learn(v, out)))
		return false;
	out->missed = missed(v, last, out->interval, setting_value(v, r, "spread", -1) / 100);
	return (double)out->missed >= setting_value(v, r, "missed", -1);
}

/* Does trouble-left tell of a loss of communication that the second missed report fell into? */
static bool
is_explained(struct view *v, const struct test_reports *r)
{
	const struct state *s = view_state(v);
	int64_t last = v->event[r->event[0]].at;

	for (size_t i = 0; i < s->n_open; i++) {
		int64_t since = s->open[i].holding.since;

		if (s->open[i].what == COND_COMM && since >= last - HOUR &&
		    since <= last + 2 * r->interval && trouble_left_tells(v, &s->open[i]))
			return true;
	}
	return account_silent_tells(v);
}

static void
judge(struct view *v, struct findings *out)
{
	const struct rule *r = &rule_test_report_missed;
	struct arena *a = &out->arena;
	struct test_reports found;
	const struct event *last;
	struct finding *f;
	int64_t interval;
	size_t since;
	long n;

	if (!test_reports_missed(v, &found) || is_explained(v, &found))
		return;
	last = &v->event[found.event[0]];
	interval = found.interval;
	n = found.missed;
	since = v->n_event - 1 - found.event[0];
	f = finding_add(out, v, r, -1, "site");
	f->level = LEVEL_SOON;
	f->onset = last->at + interval;
	f->last = last->at;
	f->count = n;
	finding_evidence(out, f, found.event[0]);
	for (size_t i = 1; i < found.n && i < 4; i++)
		finding_evidence(out, f, found.event[i]);
	finding_summary(out, f, "%ld test reports missed: the last came %s, they used to come "
	    "every %s; %s.", n, when_local(v, a, last->at), when_lasting(a, interval), since ?
	    arena_fmt(a, "%zu other event%s came since", since, since == 1 ? "" : "s") :
	    "nothing else came since");
	finding_measure(out, f, "missed", (double)n, "reports");
	finding_measure(out, f, "interval", (double)interval / HOUR, "h");
	finding_measure(out, f, "learned_from", (double)found.n, "reports");
	finding_measure(out, f, "since", (double)since, "events");
	if (!since)
		finding_check(out, f, "Reach the people there: as far as the log goes, no alarm "
		    "of this site would arrive");
	finding_check(out, f, "Station: does the account's test interval run, was a late test "
	    "noted, was the account moved or ended?");
	finding_check(out, f, "Send a test report by hand and see it arrive");
	finding_check(out, f, "Line, mobile or network path, and the panel's supply");
	finding_check(out, f, "Panel: was the interval or the reporting changed in the last "
	    "programming?");
}

const struct rule rule_test_report_missed = {
	.id = "test-report-missed",
	.title = "Test reports of the panel stopped",
	.why = "The test report is the proof that an alarm would get through. When it stops, the "
	    "line may be down with nobody knowing.",
	.quiet_on = "Accounts whose reports never came regularly, or too few to tell; reports "
	    "that were due while no export covers the account; an interval that was changed; one "
	    "report that came late; lost communication and a silent account, which trouble-left "
	    "and account-silent tell.",
	.limits = "The interval is learned from the log, the agreed one is not known. Exports "
	    "that leave out test reports from some day on look the same.",
	.setting = settings,
	.judge = judge,
};
