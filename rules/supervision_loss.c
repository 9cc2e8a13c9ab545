/* supervision_loss.c - a device that is not heard any more, or the whole site. */
#include <stdlib.h>
#include <string.h>

#include "rules/care.h"
#include "rules/loss_checks.h"
#include "rules/losses.h"
#include "rules/rule.h"
#include "rules/when.h"

extern const struct rule rule_supervision_loss;

#define USUAL "common practice, no source"

static const struct setting settings[] = {
	{ "loss_age", 60, 0, 10080, "min", USUAL },
	{ "losses", 3, 2, 1000, "", USUAL },
	{ "losses_within", 7, 1, 90, "d", USUAL },
	{ "missed", 4, 2, 1000, "", USUAL },
	{ "shown_share", 50, 1, 100, "%", USUAL },
	{ "never_heard", 24, 1, 720, "h", USUAL },
	{ "site_share", 50, 10, 100, "%", USUAL },
	{ "site_least", 2, 2, 1000, "", USUAL },
	{ "site_window", 90, 1, 1440, "min",
	  "burglary transmitters check in every 60 to 90 min: trade practice, from memory" },
	{ "site_floor", 10, 1, 1440, "min",
	  "common practice, no source; above the 200 s (NFPA 72, 23.16) and 300 s (EN 54-25, "
	  "4.2.6) in which fire radio shows a loss, both at second hand" },
	{ "straggler", 60, 0, 10080, "min", USUAL },
	{ "keep_cleared", 7, 0, 90, "d", USUAL },
	{ "declares", 24, 0, 168, "h",
	  "panels declare a loss after 4, 12 or 24 h: trade practice, from memory" },
	{ "lookback", 30, 7, 365, "d", USUAL },
	{ "cell_sign", 60, 1, 365, "d",
	  "common practice, no source; low-battery leads of 7 days (NFPA 72, second hand) and 30 "
	  "days (EN 54-25, second hand), doubled" },
	{ "tamper_sign", 24, 1, 720, "h", USUAL },
	{ "signal_drop", 6, 1, 60, "dB",
	  "half the field strength, by arithmetic; as a sign: common practice, no source" },
	{ "signal_drop_share", 20, 1, 100, "%", USUAL },
	{ "signal_chance", 0.05, 0.0001, 0.5, "", "usual level of a test" },
	{ "missed_sign", 10, 1, 100, "%", USUAL },
	{ "together_share", 75, 50, 100, "%", USUAL },
	{ "hours_share", 75, 26, 100, "%",
	  "common practice, no source; chance alone gives 25 % of six hours" },
	{ "learn_gaps", 8, 3, 256, "", USUAL },
	{ "learn_spread", 25, 1, 100, "%", USUAL },
	{ "learn_stray", 25, 1, 100, "%", USUAL },
	{ "regular_spread", 10, 1, 50, "%", USUAL },
	{ "regular_share", 90, 50, 100, "%", USUAL },
	{ "regular_floor", 10, 1, 1440, "min", USUAL },
	{ 0 },
};

/* ---- words ------------------------------------------------------------------- */

static const char *
plural(size_t n)
{
	return n == 1 ? "" : "s";
}

/* To a tenth. */
static double
hours(int64_t ms)
{
	return (double)(ms / (HOUR / 10)) / 10;
}

static void
measure_time(struct findings *out, struct finding *f, const char *name, int64_t at)
{
	char text[CIVIL_TEXT];

	if (at != NO_TIME)
		finding_measure_text(out, f, name,
		    arena_bytes(&out->arena, text, strlen(civil_rfc3339(at, text))));
}

/* ---- one device ------------------------------------------------------------------ */

/* Losses that count against one device: not those of the whole site, which have one
 * cause of their own, except that life safety is never folded away. */
static bool
counts(const struct view *v, const struct loss *loss)
{
	return loss->sort == LOSS_TOLD && !loss->still &&
	    (loss->group < 0 || v->device[loss->device].life);
}

/* Where losses began to come again and again: back from `k`, as long as each comes within
 * the run's span of the one before. */
static const struct loss *
run_begin(const struct view *v, const struct losses *l, int32_t device, size_t k, int64_t within)
{
	const struct loss *first = &l->loss[k];

	while (k-- > l->first[device])
		if (counts(v, &l->loss[k])) {
			if (first->at - l->loss[k].at > within)
				break;
			first = &l->loss[k];
		}
	return first;
}

/* The newest run of enough losses close together that still stands: its first loss; NULL
 * if there is none. */
static const struct loss *
find_run(const struct view *v, const struct losses *l, int32_t device)
{
	size_t least = (size_t)losses_limit(v, "losses", device);
	int64_t within = losses_limit_ms(v, "losses_within", device);

	for (size_t end = l->first[device + 1]; end > l->first[device]; end--) {
		const struct loss *last = &l->loss[end - 1];
		size_t n = 0;

		if (view_cover_within(v, last->at, v->now) >= within)
			return NULL;
		if (!counts(v, last))
			continue;
		for (size_t k = end; k-- > l->first[device] && last->at - l->loss[k].at <= within;)
			if (counts(v, &l->loss[k]) && ++n == least)
				return run_begin(v, l, device, k, within);
	}
	return NULL;
}

static const char *
summary_of(struct view *v, const struct losses *l, const struct loss *loss, size_t lately,
    struct arena *a)
{
	const char *label = device_label(v, loss->device);
	const struct checkin *c = &l->checkin[loss->device];
	long missed = losses_missed(v, l, loss->device);
	const char *misses = missed ? arena_fmt(a, ", %ld check-in%s of %s missed", missed,
	    plural((size_t)missed), checkin_text(a, c)) : "";
	const char *often = lately > 1 ? arena_fmt(a, "; lost %zu times in %lld days", lately,
	    (long long)(losses_limit_ms(v, "losses_within", loss->device) / DAY)) : "";

	if (loss->end != NO_TIME)
		return arena_fmt(a, "%s: lost %zu times in %lld days and back each time, last "
		    "lost at %s for %s.", label, lately,
		    (long long)(losses_limit_ms(v, "losses_within", loss->device) / DAY),
		    when_local(v, a, loss->at), when_lasting(a, loss->end - loss->at));
	switch (loss->sort) {
	case LOSS_NEVER:
		return arena_fmt(a, "%s: learned at %s and not heard since, in %s of the log, "
		    "while %s.", label, when_local(v, a, loss->gone),
		    when_lasting(a, view_cover_within(v, loss->gone, v->now)), l->dark ?
		    "the panel goes on reporting" : "others here were");
	case LOSS_SILENT:
		return arena_fmt(a, "%s: silent since %s (%s)%s, while %s%s.", label,
		    when_local(v, a, loss->gone), when_lasting(a, v->now - loss->gone), misses,
		    l->dark ? "the panel goes on reporting" : "others here were heard", often);
	default:
		return arena_fmt(a, "%s: supervision lost %s%s (%s)%s%s%s.", label,
		    loss->still ? "at or before " : "since ", when_local(v, a, loss->at),
		    when_lasting(a, v->now - loss->at),
		    loss->gone == NO_TIME ? "" :
		    arena_fmt(a, ", last heard at %s", when_local(v, a, loss->gone)),
		    misses, often);
	}
}

/* How many check-ins were missed, also if the interval is the longest that its gaps allow,
 * and by how much that is over the limit. */
static void
measure_checkins(const struct view *v, const struct losses *l, int32_t device,
    struct findings *out, struct finding *f)
{
	const struct checkin *c = &l->checkin[device];
	long missed = losses_missed(v, l, device), surely = losses_missed_of(v, l, device, c->high);

	finding_measure(out, f, "missed", (double)missed, "check-ins");
	if (surely != missed)
		finding_measure(out, f, "missed_at_least", (double)surely, "check-ins");
	if (missed)
		finding_measure(out, f, "margin", (double)surely - losses_limit(v, "missed", device),
		    "check-ins");
	finding_measure(out, f, "interval", (double)c->interval / SECOND, "s");
	if (c->low < c->high) {
		finding_measure(out, f, "interval_low", (double)c->low / SECOND, "s");
		finding_measure(out, f, "interval_high", (double)c->high / SECOND, "s");
	}
}

static void
judge_device(struct view *v, struct losses *l, int32_t device, struct findings *out)
{
	const struct device *d = &v->device[device];
	const struct loss *last = &l->loss[l->first[device + 1] - 1], *run;
	int64_t lookback = losses_limit_ms(v, "lookback", device);
	int64_t within = losses_limit_ms(v, "losses_within", device), gone;
	bool open = last->end == NO_TIME, apart;
	size_t told = 0, lately = 0;
	struct finding *f;

	/* Newest first in time; a loss that nobody told comes last in the list as well. */
	apart = d->life || last->group < 0 || !l->group[last->group].open;
	if (last->sort == LOSS_TOLD)
		open = open && v->now - last->at >= losses_limit_ms(v, "loss_age", device);
	run = find_run(v, l, device);
	if (!(open && apart) && !run)
		return;

	checkin_range(v, device, &l->checkin[device]);
	f = finding_add(out, v, &rule_supervision_loss, device, NULL);
	f->level = d->life ? LEVEL_NOW : LEVEL_SOON;
	f->onset = last->sort == LOSS_TOLD ? last->at : last->gone;
	if (run && run->at < f->onset)
		f->onset = run->at;
	f->last = last->end == NO_TIME ? v->now : last->at;
	for (size_t k = l->first[device]; k < l->first[device + 1]; k++) {
		const struct loss *loss = &l->loss[k];

		if (loss->at <= v->now - lookback && loss->end != NO_TIME)
			continue;
		told += loss->sort == LOSS_TOLD && !loss->still;
		lately += counts(v, loss) && last->at - loss->at <= within;
		finding_evidence(out, f, loss->event);
		if (loss->end != NO_TIME || loss->doubtful)
			finding_evidence(out, f, loss->end_event);
	}
	f->count = told ? (long)told : 1;

	gone = last->gone != NO_TIME ? last->gone : last->at;
	finding_measure(out, f, "losses", (double)told, "");
	if (last->end == NO_TIME) {
		measure_time(out, f, "gone_since", gone);
		finding_measure(out, f, "gone", hours(v->now - gone), "h");
	}
	measure_time(out, f, "last_heard", d->last_heard);
	if (l->checkin[device].interval) {
		measure_checkins(v, l, device, out, f);
		finding_measure_text(out, f, "interval_from",
		    l->checkin[device].source == CHECKIN_STATED ? "stated" : "learned");
	}
	f->summary = summary_of(v, l, last, lately, &out->arena);
	loss_checks(v, l, last, out, f);
}

/* A loss that was told for no device that is known. */
static void
judge_unknown(struct view *v, const struct losses *l, struct findings *out)
{
	for (size_t k = l->first[v->n_device]; k < l->n; k++) {
		const struct loss *loss = &l->loss[k];
		struct finding *f;

		if (loss->end != NO_TIME || v->now - loss->at < losses_limit_ms(v, "loss_age", -1))
			continue;
		f = finding_add(out, v, &rule_supervision_loss, -1, "zone:0");
		f->level = LEVEL_SOON;
		f->onset = loss->at;
		f->last = v->now;
		f->count = 1;
		finding_evidence(out, f, loss->event);
		measure_time(out, f, "gone_since", loss->at);
		finding_measure(out, f, "gone", hours(v->now - loss->at), "h");
		finding_summary(out, f, "Supervision lost since %s (%s); the log does not say of "
		    "which device.", when_local(v, &out->arena, loss->at),
		    when_lasting(&out->arena, v->now - loss->at));
		finding_check(out, f, "Read at the panel which device is meant.");
		finding_caution(out, f, CARE_MAYBE_LIFE);
	}
}

/* ---- the whole site ---------------------------------------------------------------- */

struct cause {
	const char *name, *check;
	size_t      signs;
	int         usual;	/* order without signs */
};

/* Counts the signs for each cause between when the first member went and the last loss. */
static void
find_causes(const struct view *v, const struct losses *l, const bool *reported, int64_t from,
    int64_t to, struct findings *out, struct finding *f, struct cause cause[4])
{
	enum { POWER, RECEIVER, REPEATER, RADIO };

	cause[POWER] = (struct cause){ "power loss", "Panel power: see that the panel, its "
		"receiver and repeaters have mains and a good standby battery.", 0, POWER };
	cause[RECEIVER] = (struct cause){ "communication or module lost", "Receiver: see its "
		"light, its cable or bus and its aerial; read what the panel says of the module.",
		0, RECEIVER };
	cause[REPEATER] = (struct cause){ "repeater lost", "Repeater: are the lost devices those "
		"behind one? See its supply and its place.", 0, REPEATER };
	cause[RADIO] = (struct cause){ "radio interference", "Interference: ask what was "
		"switched on or moved at that time; read the noise at the receiver.", 0, RADIO };
	for (size_t i = 0; i < v->n_event && v->event[i].at <= to; i++) {
		const struct event *ev = &v->event[i];
		int which = -1;

		if (ev->at < from)
			continue;
		switch (ev->word) {
		case W_POWER_LOSS:
		case W_PANEL_BATTERY_LOW:
		case W_RESTART:
			which = POWER;
			break;
		case W_MODULE_LOSS:
		case W_COMM_LOSS:
			which = RECEIVER;
			break;
		case W_JAM:
			which = RADIO;
			break;
		default:
			break;
		}
		if (which >= 0) {
			cause[which].signs++;
			finding_evidence(out, f, (uint32_t)i);
		}
	}
	for (size_t i = 0; i < l->n_by_time; i++) {
		const struct loss *loss = &l->loss[l->by_time[i]];

		if (loss->group >= 0 && reported[loss->group] &&
		    v->device[loss->device].kind == KIND_REPEATER)
			cause[REPEATER].signs++;
	}
}

static int
more_signs(const void *pa, const void *pb)
{
	const struct cause *a = pa, *b = pb;

	if (a->signs != b->signs)
		return a->signs > b->signs ? -1 : 1;
	return a->usual - b->usual;
}

/* Marks the groups that the one case "site" reports: all that stand, else the newest if
 * it came back not long ago. False if there is none. */
static bool
choose_groups(const struct view *v, const struct losses *l, bool *reported)
{
	int64_t keep = setting_ms(v, &rule_supervision_loss, "keep_cleared", -1);
	bool any = false;

	for (size_t i = 0; i < l->n_group; i++)
		any |= reported[i] = l->group[i].open;
	if (any || l->n_group == 0)
		return any;
	return reported[l->n_group - 1] = v->now - l->group[l->n_group - 1].back <= keep;
}

static void
judge_site(struct view *v, const struct losses *l, struct findings *out)
{
	int64_t lookback = setting_ms(v, &rule_supervision_loss, "lookback", -1);
	bool *reported = arena_take(&out->arena, l->n_group * sizeof *reported + 1);
	int64_t from = NO_TIME, to = NO_TIME, gone = NO_TIME, back = NO_TIME, before;
	int64_t onset = NO_TIME;
	size_t members = 0, lost = 0, of = 0, life = 0, groups = 0;
	struct arena *a = &out->arena;
	struct cause cause[4];
	struct finding *f;
	const char *signs = "", *span;
	bool open = false, silent = true;

	if (!choose_groups(v, l, reported))
		return;
	f = finding_add(out, v, &rule_supervision_loss, -1, "site");
	for (size_t i = 0; i < l->n_group; i++) {
		const struct loss_group *g = &l->group[i];

		groups += g->to > v->now - lookback;
		if (!reported[i])
			continue;
		from = from == NO_TIME ? g->from : from;
		onset = onset == NO_TIME ? g->onset : onset;
		silent &= g->silent;
		to = g->to;
		back = g->back > back ? g->back : back;
		of = g->of > of ? g->of : of;
		open |= g->open;
	}
	for (size_t i = 0; i < v->n_device; i++) {
		bool member = false, still = false;

		for (size_t k = l->first[i]; k < l->first[i + 1]; k++) {
			const struct loss *loss = &l->loss[k];

			if (loss->group < 0 || !reported[loss->group])
				continue;
			member = true;
			still |= loss->end == NO_TIME;
			f->count++;
			finding_evidence(out, f, loss->event);
			if (loss->end != NO_TIME)
				finding_evidence(out, f, loss->end_event);
			if (loss->gone > gone && loss->gone < from)
				gone = loss->gone;
		}
		if (member)
			finding_member(out, f, finding_subject(a, v, (int32_t)i));
		members += member;
		lost += still;
		life += member && v->device[i].life;
	}
	of = of > members ? of : members;
	f->level = LEVEL_NOW;
	f->life = life > 0;
	f->onset = onset;
	f->last = open ? v->now : to;
	f->cleared = open ? NO_TIME : back;

	/* What took the site away came after the last of its members was heard. */
	before = from - setting_ms(v, &rule_supervision_loss, "declares", -1);
	find_causes(v, l, reported, (gone > before ? gone : before) - l->window, to + l->window, out,
	    f, cause);
	qsort(cause, sizeof cause / sizeof *cause, sizeof *cause, more_signs);
	for (size_t i = 0; i < sizeof cause / sizeof *cause && cause[i].signs; i++)
		signs = arena_fmt(a, "%s%s%s", signs, i ? ", " : " Signs near it: ", cause[i].name);
	finding_measure(out, f, "members", (double)members, "devices");
	finding_measure(out, f, "supervised", (double)of, "devices");
	finding_measure(out, f, "still_lost", (double)lost, "devices");
	finding_measure(out, f, "life_safety", (double)life, "devices");
	finding_measure(out, f, "losses", (double)f->count, "");
	measure_time(out, f, "gone_since", gone != NO_TIME ? gone : from);
	finding_measure(out, f, "window", (double)l->window / MINUTE, "min");
	finding_measure(out, f, "site_losses", (double)groups, "");
	span = silent ? arena_fmt(a, "silent since %s", when_local(v, a, onset)) : to == from ? arena_fmt(a, "lost at %s", when_local(v, a, from)) :
	    arena_fmt(a, "lost within %s from %s", when_lasting(a, to - from), when_local(v, a, from));
	finding_summary(out, f, "The site as a whole: %zu of %zu supervised wireless devices "
	    "%s, %s.%s%s", members, of, span, open ? arena_fmt(a, "%zu still %s", lost, silent ? "so" : "lost") :
	    arena_fmt(a, "back by %s", when_local(v, a, back)), signs, *signs ? "." : "");
	if (life && open)
		finding_check(out, f, "Tell the people on the site that its life-safety devices "
		    "may not report until they are heard again; ask what local codes require "
		    "until then.");
	for (size_t i = 0; i < sizeof cause / sizeof *cause; i++)
		finding_check(out, f, cause[i].check);
	if (silent)
		finding_check(out, f, "No loss was told, the check-ins merely end: where many sites "
		    "fell silent on one day, see whether the export still carries them. Until one "
		    "is seen, nothing shows that this site is watched.");
}

static void
judge(struct view *v, struct findings *out)
{
	struct arena scratch = { 0 };
	struct losses l;

	losses_find(v, &scratch, &l);
	if (l.n) {
		judge_site(v, &l, out);
		for (size_t i = 0; i < v->n_device; i++)
			if (l.first[i] < l.first[i + 1])
				judge_device(v, &l, (int32_t)i, out);
		judge_unknown(v, &l, out);
	}
	arena_release(&scratch);
}

const struct rule rule_supervision_loss = {
	.id = "supervision-loss",
	.title = "A device, or the whole site, is no longer heard",
	.why = "What is not heard cannot report: a door, a detector or a whole site may be "
	    "without watch while all looks quiet.",
	.quiet_on = "gaps in the export; devices that were unlearned or replaced on their zone; "
	    "keyfobs; pendants that are merely silent, unless the roster states their interval; "
	    "one or two losses that were restored (they stand on the site sheet)",
	.limits = "Silence counts only where the log shows the check-ins of at least half of the "
	    "devices that have them: then, or before all radio fell silent while the panel went "
	    "on. A device that was never learned nor heard in the log is not "
	    "called lost. Signal strength is known only where the export gives it.",
	.setting = settings,
	.judge = judge,
};
