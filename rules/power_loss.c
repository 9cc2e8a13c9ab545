/* Mains power that is away too long, or too often, at one account or a whole group.
 *
 * Beside trouble-left, which speaks of the panel's battery after a day: here a weak battery
 * counts only together with mains that is away, for then the site is about to go blind. A
 * loss of mains that a module or a mains-powered device reports belongs to the site, that
 * of a life-safety device stands for itself. */
#include "rules/power_loss.h"

#include "rules/care.h"
#include "rules/spells.h"
#include "rules/state.h"
#include "rules/when.h"

#define USUAL "common practice, no source"

static const struct setting settings[] = {
	{ "open", 4, 0.1, 72, "h", USUAL },
	{ "standby", 72, 1, 720, "h", "longer than the battery of most panels lasts: common "
	    "practice, no source" },
	{ "times", 3, 2, P_AT_MOST, "", USUAL },
	{ "within", 7, 1, 90, "d", USUAL },
	{ "lookback", 30, 7, 366, "d", USUAL },
	{ "together", 10, 1, 240, "min", USUAL },
	{ "accounts", 3, 2, 10000, "accounts", USUAL },
	{ "chance", 0.001, 0.000001, 0.1, "", USUAL },
	{ "keep_cleared", 7, 0, 90, "d", USUAL },
	{ NULL, 0, 0, 0, NULL, NULL }
};

struct site {
	struct view     *v;
	struct findings *out;
	struct spells    all;
	const struct spell *open;	/* the longest open loss that is not a life device's */
	bool             old;		/* ... and long enough to tell */
	const struct panel_holding *battery;	/* weak as well */
	size_t           times, first;	/* newest losses of the panel close together */
};

static void
check(struct site *s, struct finding *f)
{
	struct findings *out = s->out;

	finding_check(out, f, "Does the place have power? Ask the people there, or a neighbour");
	finding_check(out, f, "Breaker, socket or plug of the panel's transformer: switched off, "
	    "shared with cleaning gear, tripped by something else");
	finding_check(out, f, "Panel battery: age, voltage under load, how long it still lasts; "
	    "while it runs down, agree with the people there who watches the place");
	finding_check(out, f, "When power is back: did every device and the line to the station "
	    "come back with it?");
	finding_caution(out, f, CARE_SITE_MAINS);
	finding_caution(out, f, CARE_SITE_TEST);
}

static const char *
plural(size_t n)
{
	return n == 1 ? "" : "s";
}

static size_t
life_devices(const struct view *v)
{
	size_t n = 0;

	for (size_t i = 0; i < v->n_device; i++)
		n += v->device[i].life && v->device[i].unlearned == NO_TIME;
	return n;
}

static bool
is_life(const struct site *s, const struct spell *spell)
{
	return spell->device >= 0 && s->v->device[spell->device].life;
}

/* A life-safety device without its supply is impaired from the first minute. */
static void
judge_devices(struct site *s)
{
	for (size_t i = 0; i < s->all.n; i++) {
		const struct spell *spell = &s->all.spell[i];
		struct finding *f;

		if (!is_life(s, spell) || spell->to != NO_TIME ||
		    s->v->device[spell->device].unlearned != NO_TIME)
			continue;
		f = finding_add(s->out, s->v, &rule_power_loss, spell->device, NULL);
		f->level = LEVEL_NOW;
		f->onset = f->last = spell->from;
		f->count = 1;
		finding_evidence(s->out, f, spell->event);
		finding_summary(s->out, f, "%s: without mains power since %s, no restore in the "
		    "log.",
		    device_label(s->v, spell->device),
		    when_local(s->v, &s->out->arena, spell->from));
		finding_measure(s->out, f, "open", (double)(s->v->now - spell->from) / HOUR, "h");
		check(s, f);
	}
}

/* A restore may lie in a gap between exports; a panel that goes on to speak for longer than
 * a battery lasts has had it. */
static bool
is_over(const struct view *v, const struct spell *spell)
{
	return !view_covered(v, spell->from, v->now) && v->event[v->n_event - 1].at - spell->from >
	    setting_ms(v, &rule_power_loss, "standby", -1);
}

static void
report(struct site *s, bool often, int64_t within)
{
	struct view *v = s->v;
	struct findings *out = s->out;
	struct arena *a = &out->arena;
	struct finding *f = finding_add(out, v, &rule_power_loss, -1, "site");
	size_t life = life_devices(v), first = often ? s->first : s->all.n, at = P_AT;
	bool open = s->old || (s->open && s->battery);

	if (open && (size_t)(s->open - s->all.spell) < first)
		first = (size_t)(s->open - s->all.spell);
	f->level = open && s->battery ? LEVEL_NOW : LEVEL_SOON;
	f->life = f->level == LEVEL_NOW && life;
	f->onset = s->all.spell[first].from;
	for (size_t i = first; i < s->all.n; i++) {
		const struct spell *spell = &s->all.spell[i];

		if (is_life(s, spell))
			continue;
		f->count++;
		f->last = spell->from;
		finding_evidence(out, f, spell->event);
		if (spell->to != NO_TIME)
			finding_evidence(out, f, spell->end_event);
	}
	if (open && s->battery)
		finding_evidence(out, f, s->battery->holding.event);
	finding_summary(out, f, "Mains power %s%s%s%s.", open ? arena_fmt(a,
	    "away since %s, no restore in the log", when_local(v, a, s->open->from)) : "",
	    open && s->battery ? "; the panel's battery is low as well: the site may go blind" : "",
	    open && often ? "; " : "", often ? arena_fmt(a, "lost %zu time%s within %s", s->times,
	    plural(s->times), rule_span_text(a, within)) : "");
	if (open)
		finding_measure(out, f, "open", (double)(v->now - s->open->from) / HOUR, "h");
	finding_measure(out, f, "times", (double)s->times, "");
	finding_measure(out, f, "life_safety", (double)life, "devices");
	check(s, f);
	/* Most of the group may be without. A site about to go blind is told in any case. */
	f->pending = f->level != LEVEL_NOW;
	f->number[P_OPEN] = open ? (double)s->open->from : 0;
	f->number[P_NEED] = often ? setting_value(v, &rule_power_loss, "times", -1) : 0;
	for (size_t i = s->all.n; i-- > 0 && i >= first && at < P_AT + P_AT_MOST;)
		if (s->all.spell[i].device < 0)
			f->number[at++] = (double)s->all.spell[i].from;
	f->number[P_TIMES] = (double)(at - P_AT);
}

/* A supply that flickers all day tells the group nothing more by its older losses. */
static void
note(const struct site *s)
{
	enum { MOST = 100 };
	size_t noted = 0;
	int64_t from = s->v->now - setting_ms(s->v, &rule_power_loss, "lookback", -1);
	bool life = life_devices(s->v) > 0;

	for (size_t i = s->all.n; i-- > 0 && noted < MOST;) {
		const struct spell *spell = &s->all.spell[i];

		if (spell->device < 0 && !spell->before && spell->from >= from && ++noted)
			summary_add(s->out, arena_fmt(&s->out->arena, "loss:%s", s->v->group),
			    spell->from, spell->to == NO_TIME ? 0 : (double)spell->to, life);
	}
}

static void
judge(struct view *v, struct findings *out)
{
	struct site s = { .v = v, .out = out };
	int64_t within;
	size_t last = 0;
	size_t often;

	spells_find(v, W_POWER_LOSS, W_POWER_RESTORE, &s.all);
	if (!s.all.n)
		return;
	note(&s);
	judge_devices(&s);
	for (size_t i = s.all.n; i-- > 0;)
		if (s.all.spell[i].to == NO_TIME && !is_life(&s, &s.all.spell[i]) &&
		    !is_over(v, &s.all.spell[i]))
			s.open = &s.all.spell[i];
	s.old = s.open && view_cover_within(v, s.open->from, v->now) >=
	    setting_ms(v, &rule_power_loss, "open", -1);
	s.battery = state_open(view_state(v), COND_PANEL_BATTERY);
	within = setting_ms(v, &rule_power_loss, "within", -1);
	s.times = spells_newest(&s.all, within, &s.first, &last);
	often = spells_due(v, &s.all, (size_t)setting_value(v, &rule_power_loss, "times", -1), within,
	    &s.first, &last);
	s.times = often ? often : s.times;
	if (s.old || (s.open && s.battery) || often)
		report(&s, often, within);
}

const struct rule rule_power_loss = {
	.id = "power-loss",
	.title = "Mains power away too long or too often",
	.why = "A panel without mains lives on its battery for hours, then the site is blind; "
	    "and whatever is powered beside it (receiver, repeater, line) may be blind already.",
	.quiet_on = "One or two losses that were restored; time that no export covers; a loss "
	    "before a gap in the export when the panel spoke on for longer than a battery lasts; "
	    "an account whose whole group is without (one finding for the group stands for it).",
	.limits = "A restore that the export lacks looks like power that is still away. The "
	    "group is that of the list of sites; accounts without one are taken as one group. "
	    "How long the battery lasts is not known.",
	.setting = settings,
	.judge = judge,
	.fleet = power_fleet_judge,
};
