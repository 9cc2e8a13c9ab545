#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/cmd.h"
#include "daemon/lock.h"
#include "daemon/report/csvout.h"
#include "daemon/report/outfile.h"
#include "daemon/report/phrase.h"
#include "rules/care.h"

struct options {
	struct opts_common common;
	int                as;
	const char        *who, *why;
	struct opts_when   until;
	int64_t            at, end;	/* now, and `until` as an instant */
	char             **finding;
	int                n_finding;
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
say_recorded(struct tools *t, const char *id, const struct options *o, bool *life, struct err *e)
{
	struct finding_filter filter = { .id = id, .level = -1, .state = "all",
		.since = NO_TIME, .as_of = o->at };
	struct page *p = &t->p;
	struct stored_finding *f;
	const char *lapses;
	size_t n;

	if (store_findings(t->s, &filter, &p->arena, &f, &n, e) < 0)
		return -1;
	if (n == 0)
		return err_set(e, ERR_USAGE, NULL, 0, "no finding %s", id);
	*life |= f->life;
	if (strcmp(f->state, "cleared") == 0 && f->cleared == o->at) {
		lapses = "The log shows the restore, or not the alarm any more, so the finding is "
		    "cleared; another alarm of "
		    "the same point opens it again";
	} else if (f->life) {
		lapses = arena_fmt(&p->arena, "It concerns life safety: the decision moves nothing and "
		    "lapses on %s at the latest", text_time(p, o->end != NO_TIME &&
		    o->end < o->at + DAY ? o->end : o->at + DAY));
	} else if (o->end != NO_TIME) {
		lapses = arena_fmt(&p->arena, "It lapses on %s, or earlier with a new member, a "
		    "higher level or twice the count", text_time(p, o->end));
	} else {
		lapses = "It lapses with a new member, a higher level or twice the count";
	}
	page_fmt(p, "", "%s, %s: recorded as %s by %s%s%s. %s.", f->id, phrase_site(p, f->account,
	    f->site_name), decisions[o->as], o->who, *o->why ? ": " : "", o->why, lapses);
	return 0;
}

/* Each finding for itself: one wrong id does not undo the others. */
static int
record(struct tools *t, void *ctx, struct err *e)
{
	const struct options *o = ctx;
	bool life = false;
	int out = OUT_DONE;

	for (int i = 0; i < o->n_finding; i++) {
		if (store_decide(t->s, o->finding[i], decisions[o->as], o->who, o->end, o->why, o->at,
		    e) < 0 || say_recorded(t, o->finding[i], o, &life, e) < 0) {
			int rc = cmd_fail(e);

			out = rc > out ? rc : out;
		}
	}
	if (life)
		page_para(&t->p, "", CARE_LIFE);
	page_fmt(&t->p, "", "Times are %s.", t->p.zone.name);
	return out;
}

/* One row for each finding that there is; how many. */
static int
write_rows(struct tools *t, const struct options *o, FILE *f, bool *life, int *out, struct err *e)
{
	struct csvout w;
	int rows = 0;

	csvout_init(&w, f);
	csvout_header(&w, "finding,decision,who,until,why");
	for (int i = 0; i < o->n_finding; i++) {
		struct finding_filter filter = { .id = o->finding[i], .level = -1, .state = "all",
		    .since = NO_TIME, .as_of = o->at };
		struct stored_finding *found;
		size_t n;

		if (store_findings(t->s, &filter, &t->p.arena, &found, &n, e) < 0)
			return -1;
		if (n == 0) {
			cmd_say("no finding %s", o->finding[i]);
			*out = OUT_USAGE;
			continue;
		}
		*life |= found->life;
		rows++;
		csvout_text(&w, found->id);
		csvout_text(&w, decisions[o->as]);
		csvout_text(&w, o->who);
		csvout_time(&w, o->end);
		csvout_text(&w, o->why);
		csvout_end(&w);
	}
	return rows;
}

/* Who may read the store and not write to it leaves the decision with the daemon, in a file
 * at its desk. */
static int
leave(struct tools *t, void *ctx, struct err *e)
{
	const struct options *o = ctx;
	struct page *p = &t->p;
	struct outfile file;
	struct home home;
	const char *path;
	bool life = false;
	int out = OUT_DONE, rows;

	if (store_home(t->s, &p->arena, &home, e) < 0)
		return -1;
	if (!*home.folder)
		return err_set(e, ERR_STORE, store_path(t->s), 0, "may not be written to by you, and no "
		    "daemon ever fed it that could take a decision in");
	/* No two have the same name: user, moment and process. */
	path = arena_fmt(&p->arena, "%s/desk/decision-%ld-%lld-%ld.csv", home.folder, (long)getuid(),
	    (long long)o->at / SECOND, (long)getpid());
	if (outfile_open(&file, path, e) < 0)
		return err_wrap(e, "the store may not be written to by you, and neither may the "
		    "daemon's desk");
	rows = write_rows(t, o, file.f, &life, &out, e);
	/* The daemon is another user. */
	if (rows > 0 && (fchmod(fileno(file.f), 0644) != 0 || outfile_close(&file, e) < 0))
		rows = -1;
	outfile_drop(&file);
	if (rows <= 0)
		return rows < 0 ? -1 : out;
	page_fmt(p, "", "The store may not be written to by you. %s as %s by %s, left at the desk: %s. "
	    "%s", text_count(p, rows, "finding", "findings"), decisions[o->as], o->who, path,
	    *lock_look(&p->arena, store_path(t->s)).holder ? "The daemon takes that in within moments."
	    : "No daemon runs now: it is recorded once one does.");
	if (life)
		page_para(p, "", CARE_LIFE);
	return out;
}

/* What is missing or cannot be, before the store is asked for. */
static int
check_options(struct options *o, struct err *e)
{
	struct tz_set *zones = tz_set_open();

	o->at = cmd_now() / SECOND * SECOND;
	/* A span is counted from the next full minute, so that a decision typed twice is one. */
	o->end = cmd_when(&o->until, tz_machine(zones), (o->at / MINUTE + 1) * MINUTE, 1);
	tz_set_close(zones);
	if (o->as < 0)
		return err_set(e, ERR_USAGE, NULL, 0, "decide: say what: --as seen, planned or "
		    "expected");
	if (!o->who || !*o->who)
		return err_set(e, ERR_USAGE, NULL, 0, "decide: say who decides: --who NAME, or set "
		    "$TRIPSIFT_WHO");
	if (o->as > 0 && o->end == NO_TIME)
		return err_set(e, ERR_USAGE, NULL, 0, "decide: %s needs --until: a time, or a span "
		    "such as 14d", decisions[o->as]);
	if (o->end != NO_TIME && o->end <= o->at)
		return err_set(e, ERR_USAGE, NULL, 0, "decide: --until is not in the future");
	return 0;
}

static int
run(const struct command *self, int argc, char **argv)
{
	struct options o = { .as = -1, .who = getenv("TRIPSIFT_WHO"), .why = "" };
	struct err e;
	int out = cmd_options(self, &argc, argv, &o, 1, -1);

	if (out != OUT_GO_ON)
		return out;
	if (check_options(&o, &e) < 0)
		return cmd_fail(&e);
	o.finding = argv;
	o.n_finding = argc;
	if (access(cmd_db(&o.common), F_OK) == 0 && access(cmd_db(&o.common), W_OK) != 0)
		return cmd_show(&o.common, STORE_READ, leave, &o);
	return cmd_show(&o.common, STORE_WRITE, record, &o);
}

const struct command cmd_decide = {
	.name = "decide",
	.operands = "FINDING...",
	.purpose = "record who deals with a finding, and until when",
	.about = "Records a decision on one or more findings. Decisions are only ever added, with "
	    "name and time. A decided finding stands below the undecided of its level and is "
	    "never hidden. On a life-safety finding a decision moves nothing and lapses after "
	    "24 h. Who may read the store and not write to it leaves the decision at the daemon's "
	    "desk, and it says so.",
	.examples = "tripsift decide FINDING --as seen --who \"R. Moser\"\n"
	    "tripsift decide FINDING --as planned --who \"R. Moser\" --until 14d --why Friday\n",
	.exits = "0 done; 2 wrong usage or unknown finding (the others are recorded); 3 the "
	    "store failed.",
	.opt = options,
	.run = run,
};
