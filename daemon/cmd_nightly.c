#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/base/disk.h"
#include "daemon/cmd.h"
#include "daemon/group.h"
#include "daemon/lock.h"
#include "daemon/nightly.h"
#include "daemon/retain.h"
#include "daemon/store/backup.h"

struct options {
	struct opts_common common;
	const char        *out, *timezone, *expect, *group;
	int                covers;
	struct opts_when   now;
};

static const struct opt options[] = {
	{ 'o', "out", "FOLDER", "where digest.txt, findings.csv, findings.json, set-aside.csv and "
	  "the pages (board.html, trend.html, rules.html) are written; not the folder that is read",
	  OPT_TEXT, offsetof(struct options, out), 0, 0, NULL },
	{ 'e', "expect", "HH:MM", "the hour of this machine's clock that tonight's exports must "
	  "reach; if they do not, the digest begins with NO NEW DATA (default: the setting "
	  "nightly.expected, 22:00)", OPT_TEXT, offsetof(struct options, expect), 0, 0, NULL },
	{ 'z', "timezone", "NAME", "clock of local times where sites names none (default: this "
	  "machine's own)", OPT_TEXT, offsetof(struct options, timezone), 0, 0, NULL },
	{ 'c', "covers", "WHAT", "which accounts an export speaks for: rows = those that have rows "
	  "in it (default), all = every account of sites", OPT_CHOICE,
	  offsetof(struct options, covers), 0, 0, "rows|all" },
	{ 0, "group", "NAME", GROUP_HELP, OPT_TEXT, offsetof(struct options, group), 0, 0, NULL },
	{ 0, "now", "TIME", NULL, OPT_WHEN, offsetof(struct options, now), 0, 0, NULL },
	OPTS_COMMON(struct options),
	OPTS_END
};

static int
check(const struct options *o, struct tz_set *zones, const char *dir, double *expected,
    struct err *e)
{
	char in[PATH_MAX], out[PATH_MAX];
	struct stat st;

	*expected = -1;
	if (!o->out)
		return err_set(e, ERR_USAGE, NULL, 0, "nightly: say where to write: --out FOLDER");
	if (o->expect && !cmd_clock(o->expect, expected))
		return err_set(e, ERR_USAGE, NULL, 0, "--expect: \"%s\" is no time of day, such as 22:00",
		    o->expect);
	if (o->timezone && !tz_find(zones, span_of(o->timezone), e)) {
		e->code = ERR_USAGE;
		return err_wrap(e, "--timezone");
	}
	if (stat(dir, &st) != 0 || !S_ISDIR(st.st_mode))
		return err_set(e, ERR_USAGE, dir, 0, "is no folder");
	if (disk_folder(o->out) != 0)
		return cmd_no_folder(o->out, e);
	/* The next night would take its own findings.csv for an export. */
	if (realpath(dir, in) && realpath(o->out, out) && strcmp(in, out) == 0)
		return err_set(e, ERR_USAGE, NULL, 0, "--out: must be another folder than the one that "
		    "is read");
	return 0;
}

static size_t
failures(struct arena *a, const struct ingest_result *r, struct digest_failed **out)
{
	struct digest_failed *list = arena_take(a, (r->n_file + 1) * sizeof *list);
	size_t n = 0;

	for (size_t i = 0; i < r->n_file; i++)
		if (r->file[i].failed)
			list[n++] = (struct digest_failed){ r->file[i].name, r->file[i].message };
	*out = list;
	return n;
}

/* What is too old goes, before the digest tells it. False: it was said what went wrong. */
static bool
retain(struct store *s, const char *out, int64_t now)
{
	struct retain_options o = { .how = { .now = now }, .out = out };
	struct retained kept[KEPT_KINDS];
	int64_t gained;
	struct err e;

	if (retain_run(s, &o, kept, &e) == 0 && expire_tidy(s, &gained, &e) == 0)
		return true;
	cmd_fail(&e);
	return false;
}

static int
night(struct store *s, const struct options *o, const char *dir, double expected,
    struct tz_set *zones, struct err *e)
{
	struct ingest_options in = { .timezone = o->timezone, .as_of = NO_TIME,
	    .covers = o->covers ? COVERS_ALL : COVERS_ROWS, .progress = isatty(STDERR_FILENO) };
	struct nightly_options tell = { .out = o->out, .zones = zones, .expected = expected };
	struct ingest_result r = { 0 };
	struct digest_failed *failed;
	struct arena a = { 0 };
	struct page p;
	struct nightly_folder in_it;
	const char *asks;
	bool whole;
	int out = -1;

	if (nightly_files(s, dir, o->covers, &a, &in_it, e) ||
	    ingest_paths(s, in_it.path, in_it.n, &in, &r, e))
		goto done;
	tell.n_known = in_it.n_known;
	tell.now = cmd_when(&o->now, tz_machine(zones), NO_TIME, 1);
	if (tell.now == NO_TIME)
		tell.now = cmd_now();
	tell.n_failed = failures(&a, &r, &failed);
	tell.failed = failed;
	if (store_check(s, NULL, NULL, NULL, &a, &tell.damage, e))
		goto done;
	/* Nothing is removed from a store that is damaged. */
	whole = *tell.damage || retain(s, o->out, tell.now);
	if (nightly_tell(s, &tell, &a, &asks, e))
		goto done;
	page_init(&p, stdout);
	page_fmt(&p, "", "%s read, %s left alone: read before.%s",
	    text_count(&p, (int64_t)in_it.n, "file", "files"),
	    text_count(&p, (int64_t)tell.n_known, "file", "files"),
	    tell.n_failed ? arena_fmt(&a, " %s.", text_count(&p, (int64_t)tell.n_failed,
	    "file failed and is whole outside", "files failed and are whole outside")) : "");
	if (in_it.inside.n)
		page_para(&p, "", ingest_inside_text(&a, &in_it.inside));
	page_fmt(&p, "", "Written to %s: digest.txt, findings.csv, findings.json, set-aside.csv, "
	    "board.html, trend.html, rules.html, and the sheets of sites in site/.",
	    o->out);
	if (*asks)
		page_fmt(&p, "A person is needed: ", "%s.", asks);
	page_release(&p);
	out = !whole || *tell.damage ? OUT_FAILED : *asks ? OUT_ATTENTION : OUT_DONE;
done:
	ingest_result_release(&r);
	arena_release(&a);
	return out;
}

static int
run(const struct command *self, int argc, char **argv)
{
	struct options o = { 0 };
	struct tz_set *zones;
	struct store *s = NULL;
	struct err e;
	double expected;
	gid_t group;
	int lock = -1, out = cmd_options(self, &argc, argv, &o, 1, 1);

	if (out != OUT_GO_ON)
		return out;
	out = -1;
	zones = tz_set_open();
	if (group_begin(o.group, &group, &e) == 0 && check(&o, zones, argv[0], &expected, &e) == 0 &&
	    group_folder(o.out, group, &e) == 0 && group_place(cmd_db(&o.common), group, &e) == 0 &&
	    (s = cmd_store(&o.common, STORE_CREATE, &e)) != NULL &&
	    (lock = lock_take(store_path(s), "nightly", &e)) >= 0 &&
	    group_store(store_path(s), group, &e) == 0)
		out = night(s, &o, argv[0], expected, zones, &e);
	if (out < 0)
		out = cmd_fail(&e);
	store_close(s);
	if (lock >= 0)
		close(lock);
	tz_set_close(zones);
	return out;
}

const struct command cmd_nightly = {
	.name = "nightly",
	.operands = "FOLDER",
	.purpose = "read a folder, judge, and say what the night changed",
	.about = "For cron. Reads every file of a folder that was not read before, judges, and "
	    "writes digest.txt (what changed, in five minutes), findings.csv, findings.json, "
	    "set-aside.csv, and the pages board.html (the findings), trend.html (how it went over "
	    "the weeks), rules.html (every rule and its settings), and in the folder site/ a sheet "
	    "for each site with findings and for each planned visit: each there whole or not at "
	    "all. The files that were read stay where they are. What a completed run has told is "
	    "\"continuing\" from then on. Where "
	    "\"tripsift watch\" runs on the store, it does the same by itself, and this one says "
	    "so and leaves.",
	.examples = "tripsift nightly exports --out pages\n"
	    "30 5 * * * cd /srv && tripsift nightly exports --covers all --out out\n",
	.exits = "0 done, nothing asks for a person; 1 done, and there is a new finding at now, a "
	    "file that failed (it is whole outside), no new data, or rows were set aside above "
	    "the setting nightly.set_aside or for a reason never seen before; 2 wrong usage; 3 "
	    "the store failed or is damaged, the writing failed, or another tripsift works on the "
	    "store.",
	.opt = options,
	.run = run,
};
