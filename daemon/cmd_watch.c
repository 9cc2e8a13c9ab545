#include <errno.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "daemon/base/disk.h"
#include "daemon/cmd.h"
#include "daemon/group.h"
#include "daemon/lock.h"
#include "daemon/watch.h"

struct options {
	struct opts_common common;
	const char        *nightly, *out, *backup, *timezone, *group;
	long               keep;
	long               settle, look;	/* s */
	long               batch;
	int                covers;
	bool               groups, once;
};

static const struct opt options[] = {
	{ 'n', "nightly", "HH:MM", "tell the night at this time of this machine's clock, as "
	  "\"tripsift nightly\" does; needs --out (default: never)", OPT_TEXT,
	  offsetof(struct options, nightly), 0, 0, NULL },
	{ 'o', "out", "FOLDER", "where the night writes digest.txt, its lists and pages; "
	  "board.html is written anew after what comes in by day", OPT_TEXT,
	  offsetof(struct options, out), 0, 0, NULL },
	{ 'b', "backup", "FOLDER", "after each night a checked copy of the store goes here, as "
	  "STORE.2026-10-01; better on another disk", OPT_TEXT, offsetof(struct options, backup), 0,
	  0, NULL },
	{ 'k', "keep", "N", "the newest backups that stay (default: 7)", OPT_COUNT,
	  offsetof(struct options, keep), 1, 10000, NULL },
	{ 'z', "timezone", "NAME", "clock of local times where sites names none (default: this "
	  "machine's own)", OPT_TEXT, offsetof(struct options, timezone), 0, 0, NULL },
	{ 'c', "covers", "WHAT", "which accounts an export speaks for: rows = those that have rows "
	  "in it (default), all = every account of sites", OPT_CHOICE,
	  offsetof(struct options, covers), 0, 0, "rows|all" },
	{ 0, "settle", "SECONDS", "a file that was not renamed in is whole when it has been closed, "
	  "or not been changed, for so long (default: 5)", OPT_COUNT,
	  offsetof(struct options, settle), 0, 3600, NULL },
	{ 0, "look", "SECONDS", "look through the folders at least so often, also where the system "
	  "does not tell of new files, as on a network share (default: 120)", OPT_COUNT,
	  offsetof(struct options, look), 1, 86400, NULL },
	{ 0, "groups", NULL, "folders in inbox/ are groups: inbox/NORTH/a.csv tells of accounts of the "
	  "group NORTH, unless sites names another", OPT_FLAG, offsetof(struct options, groups), 0, 0,
	  NULL },
	{ 0, "group", "NAME", GROUP_HELP, OPT_TEXT, offsetof(struct options, group), 0, 0, NULL },
	{ 0, "batch", "ROWS", NULL, OPT_COUNT, offsetof(struct options, batch), 1, 1 << 24, NULL },
	{ 0, "once", NULL, NULL, OPT_FLAG, offsetof(struct options, once), 0, 0, NULL },
	OPTS_COMMON(struct options),
	OPTS_END
};

/* The daemon changes its folder, so full paths are needed. */
static int
full_path(const char *folder, char full[PATH_MAX], const char **out, struct err *e)
{
	if (!folder)
		return 0;
	if (disk_folder(folder) != 0 || !realpath(folder, full))
		return cmd_no_folder(folder, e);
	*out = full;
	return 0;
}

static int
prepare(const struct options *o, const char *dir, char path[2][PATH_MAX],
    struct watch_options *w, struct err *e)
{
	if (group_begin(o->group, &w->group, e))
		return -1;
	w->dir = dir;
	w->timezone = o->timezone;
	w->covers = o->covers ? COVERS_ALL : COVERS_ROWS;
	w->settle = o->settle * SECOND;
	w->look = o->look * SECOND;
	w->keep = (size_t)o->keep;
	w->batch = (size_t)o->batch;
	w->groups = o->groups;
	w->once = o->once;
	w->nightly = -1;
	if (o->timezone && !tz_find(w->zones, span_of(o->timezone), e)) {
		e->code = ERR_USAGE;
		return err_wrap(e, "--timezone");
	}
	if (o->nightly && !cmd_clock(o->nightly, &w->nightly))
		return err_set(e, ERR_USAGE, NULL, 0, "--nightly: \"%s\" is no time of day, such as "
		    "05:30", o->nightly);
	if (!o->nightly != !o->out)
		return err_set(e, ERR_USAGE, NULL, 0, "--nightly and --out go together");
	if (o->backup && !o->nightly)
		return err_set(e, ERR_USAGE, NULL, 0, "--backup needs --nightly, which says when");
	if (full_path(o->out, path[0], &w->out, e) || full_path(o->backup, path[1], &w->backup, e) ||
	    group_folder(w->out, w->group, e))
		return -1;
	/* The store may lie in the folder itself. */
	if (w->group != GROUP_NONE && disk_folder(dir) != 0)
		return err_set(e, ERR_IO, dir, 0, "cannot be made: %s", strerror(errno));
	return group_folder(dir, w->group, e) || group_place(cmd_db(&o->common), w->group, e) ? -1 : 0;
}

static int
run(const struct command *self, int argc, char **argv)
{
	struct options o = { .keep = 7, .settle = 5, .look = 120 };
	struct watch_options w = { .lock = -1 };
	struct store *s = NULL;
	char path[2][PATH_MAX];
	struct err e;
	int rc = -1, out = cmd_options(self, &argc, argv, &o, 1, 1);

	if (out != OUT_GO_ON)
		return out;
	w.zones = tz_set_open();
	if (prepare(&o, argv[0], path, &w, &e) == 0 &&
	    (s = cmd_store(&o.common, STORE_CREATE, &e)) != NULL &&
	    (w.lock = lock_take(store_path(s), "watch", &e)) >= 0 &&
	    group_store(store_path(s), w.group, &e) == 0)
		rc = watch_run(s, &w, &e);
	out = rc < 0 ? cmd_fail(&e) : OUT_DONE;
	store_close(s);
	if (w.lock >= 0)
		close(w.lock);
	tz_set_close(w.zones);
	return out;
}

const struct command cmd_watch = {
	.name = "watch",
	.operands = "FOLDER",
	.purpose = "the daemon: takes in what is dropped into its folders",
	.about = "Runs in the foreground, for a supervisor, until SIGTERM. In FOLDER, inbox/ takes "
	    "exported events from whoever may export, desk/ takes rosters, sites, plans, service "
	    "records, settings, wordings and decisions from those who may write there. A file that is whole is "
	    "read, the accounts it touches are judged, and it goes to done/ (compressed, by day) or "
	    "to failed/ with a note NAME.why.txt. Write files under a name that ends in .part or "
	    ".tmp and rename them: these are left alone. Nothing is lost or read twice, whenever the "
	    "machine stops. SIGHUP looks at once and logs changed settings; SIGUSR1 writes "
	    "status.json. Logs are key=value lines on standard error.",
	.examples = "tripsift watch /srv/tripsift\n"
	    "tripsift watch /srv/tripsift --nightly 05:30 --out /srv/pages --backup /mnt/b\n",
	.exits = "0 ended by SIGTERM or SIGINT; 2 wrong usage; 3 the store or a folder failed at "
	    "the start, or another tripsift works on the store.",
	.opt = options,
	.run = run,
};
