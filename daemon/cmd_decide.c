#include <stdlib.h>

#include "daemon/cmd.h"
#include "daemon/report/phrase.h"
#include "rules/care.h"

struct options {
	struct opts_common common;
	int                as;
	const char        *who, *why;
	struct opts_when   until;
};

static const char *const decisions[] = { "seen", "planned", "expected" };

static const struct opt options[] = {
	{ 'a', "as", "WORD", "seen = somebody looks after it; planned = work is arranged; expected "
	  "= known and explained. The last two need --until", OPT_CHOICE,
	  offsetof(struct options, as), 0, 0, "seen|planned|expected" },
	{ 'w', "who", "NAME", "who decides (default: $TRIPSIFT_WHO)", OPT_TEXT,
	  offsetof(struct options, who), 0, 0, NULL },
	{ 'u', "until", "TIME", "when the decision lapses: a time by this machine's clock, or a "
	  "span from now, such as 14d", OPT_WHEN, offsetof(struct options, until), 0, 0, NULL },
	{ 'y', "why", "TEXT", "the reason, for those who read it later", OPT_TEXT,
	  offsetof(struct options, why), 0, 0, NULL },
	OPTS_COMMON(struct options),
	OPTS_END
};

/* What was recorded and when it lapses; `life` when the finding concerns life safety. */
static int
say_recorded(struct store *s, struct page *p, const char *id, const struct options *o,
    int64_t until, int64_t at, bool *life, struct err *e)
{
	struct finding_filter filter = { .id = id, .level = -1, .state = "all",
		.since = NO_TIME, .as_of = at };
	struct stored_finding *f;
	const char *lapses;
	size_t n;

	if (store_findings(s, &filter, &p->arena, &f, &n, e) < 0)
		return -1;
	if (n == 0)
		return err_set(e, ERR_USAGE, NULL, 0, "no finding %s", id);
	if (f->life) {
		*life = true;
		lapses = arena_fmt(&p->arena, "It concerns life safety: the decision moves nothing and "
		    "lapses on %s at the latest", text_time(p, until != NO_TIME &&
		    until < at + DAY ? until : at + DAY));
	} else if (until != NO_TIME) {
		lapses = arena_fmt(&p->arena, "It lapses on %s, or earlier with a new member, a "
		    "higher level or twice the count", text_time(p, until));
	} else {
		lapses = "It lapses with a new member, a higher level or twice the count";
	}
	page_fmt(p, "", "%s, %s: recorded as %s by %s%s%s. %s.", f->id, phrase_site(p, f->account,
	    f->site_name), decisions[o->as], o->who, *o->why ? ": " : "", o->why,
	    lapses);
	return 0;
}

static int
run(const struct command *self, int argc, char **argv)
{
	struct options o = { .as = -1, .who = getenv("TRIPSIFT_WHO"), .why = "" };
	struct tz_set *zones = NULL;
	struct store *s = NULL;
	struct page p;
	struct err e;
	int64_t at = cmd_now() / SECOND * SECOND, until;
	bool life = false;
	int out = cmd_options(self, &argc, argv, &o, 1, -1);

	if (out != OUT_GO_ON)
		return out;
	page_init(&p, stdout);
	zones = tz_set_open();
	cmd_zone(&p, tz_machine(zones));
	/* A span is counted from the next full minute, so that a decision typed twice is one. */
	until = cmd_when(&o.until, tz_machine(zones), (at / MINUTE + 1) * MINUTE, 1);
	out = OUT_DONE;
	if (o.as < 0)
		err_set(&e, ERR_USAGE, NULL, 0, "decide: say what: --as seen, planned or expected");
	else if (!o.who || !*o.who)
		err_set(&e, ERR_USAGE, NULL, 0, "decide: say who decides: --who NAME, or set "
		    "$TRIPSIFT_WHO");
	else if (o.as > 0 && until == NO_TIME)
		err_set(&e, ERR_USAGE, NULL, 0, "decide: %s needs --until: a time, or a span such "
		    "as 14d", decisions[o.as]);
	else if (until != NO_TIME && until <= at)
		err_set(&e, ERR_USAGE, NULL, 0, "decide: --until is not in the future");
	else
		s = cmd_store(&o.common, STORE_WRITE, &e);
	if (!s) {
		out = cmd_fail(&e);
		goto done;
	}
	/* Each finding for itself: one wrong id does not undo the others. */
	for (int i = 0; i < argc; i++) {
		if (store_decide(s, argv[i], decisions[o.as], o.who, until, o.why, at, &e) < 0 ||
		    say_recorded(s, &p, argv[i], &o, until, at, &life, &e) < 0) {
			int rc = cmd_fail(&e);

			out = rc > out ? rc : out;
		}
	}
	if (life)
		page_para(&p, "", CARE_LIFE);
	page_fmt(&p, "", "Times are %s.", p.zone.name);
done:
	store_close(s);
	tz_set_close(zones);
	page_release(&p);
	return out;
}

const struct command cmd_decide = {
	.name = "decide",
	.operands = "FINDING...",
	.purpose = "record who deals with a finding, and until when",
	.about = "Records a decision on one or more findings. Decisions are only ever added, with "
	    "name and time. A decided finding stands below the undecided of its level and is "
	    "never hidden. On a life-safety finding a decision moves nothing and lapses after "
	    "24 h.",
	.examples = "tripsift decide FINDING --as seen --who \"R. Moser\"\n"
	    "tripsift decide FINDING --as planned --who \"R. Moser\" --until 14d --why Friday\n",
	.exits = "0 done; 2 wrong usage or unknown finding (the others are recorded); 3 the "
	    "store failed.",
	.opt = options,
	.run = run,
};
