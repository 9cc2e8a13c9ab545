#include <limits.h>
#include <stdlib.h>
#include <unistd.h>

#include "daemon/cmd.h"
#include "daemon/lock.h"
#include "daemon/retain.h"

struct options {
	struct opts_common common;
	int                format;
	const char        *backup, *out;
	bool               yes;
	struct opts_when   now;
};

static const struct opt options[] = {
	{ 'y', "yes", NULL, "remove it; without this nothing is changed, it is only shown", OPT_FLAG,
	  offsetof(struct options, yes), 0, 0, NULL },
	{ 'b', "backup", "FOLDER", "where watch --backup puts the backups of the store", OPT_TEXT,
	  offsetof(struct options, backup), 0, 0, NULL },
	{ 'o', "out", "FOLDER", "where the nights write", OPT_TEXT, offsetof(struct options, out), 0, 0,
	  NULL },
	{ 'f', "format", "WORD", "text or json (default: text)", OPT_CHOICE,
	  offsetof(struct options, format), 0, 0, "text|json" },
	{ 0, "now", "TIME", NULL, OPT_WHEN, offsetof(struct options, now), 0, 0, NULL },
	OPTS_COMMON(struct options),
	OPTS_END
};

/* Files in done/ are known to the store by their full paths. */
static int
full_path(const char *folder, char full[PATH_MAX], const char **out, struct err *e)
{
	if (folder && !realpath(folder, full))
		return err_set(e, ERR_USAGE, folder, 0, "is no folder");
	*out = folder ? full : NULL;
	return 0;
}

static int
expire(struct store *s, const struct options *o, const char *dir, struct tz_set *zones, struct err *e)
{
	struct retain_options how = { .how = { .dry = !o->yes }, .backup = o->backup, .out = o->out };
	struct retained kept[KEPT_KINDS];
	char full[PATH_MAX];
	int64_t gained = 0;
	struct page p;

	how.how.now = cmd_when(&o->now, tz_machine(zones), NO_TIME, 1);
	if (how.how.now == NO_TIME)
		how.how.now = cmd_now();
	if (full_path(dir, full, &how.folder, e) || retain_run(s, &how, kept, e) ||
	    (o->yes && expire_tidy(s, &gained, e)))
		return -1;
	page_init(&p, stdout);
	cmd_zone(&p, tz_machine(zones));
	if (o->format == 0)
		retained_text(&p, kept, o->yes, gained);
	else
		retained_json(stdout, kept, o->yes, gained);
	page_release(&p);
	return OUT_DONE;
}

static int
run(const struct command *self, int argc, char **argv)
{
	struct options o = { 0 };
	struct tz_set *zones;
	struct store *s;
	struct err e;
	int lock = -1, out = cmd_options(self, &argc, argv, &o, 0, 1);

	if (out != OUT_GO_ON)
		return out;
	out = -1;
	zones = tz_set_open();
	s = cmd_store(&o.common, o.yes ? STORE_WRITE : STORE_READ, &e);
	if (s && (!o.yes || (lock = lock_take(store_path(s), "expire", &e)) >= 0))
		out = expire(s, &o, argc ? argv[0] : NULL, zones, &e);
	if (out < 0)
		out = cmd_fail(&e);
	store_close(s);
	if (lock >= 0)
		close(lock);
	tz_set_close(zones);
	return out;
}

const struct command cmd_expire = {
	.name = "expire",
	.operands = "[FOLDER]",
	.purpose = "what is older than it is to be kept; with --yes it is removed",
	.about = "Shows what would be removed because of its age, and removes it with --yes. For how "
	    "long each kind of copy is kept is a setting (tripsift rules kept); without one all is "
	    "kept for good, but for backups, of which watch --keep says how many. FOLDER is that of "
	    "tripsift watch, which removes the same every night by itself, as tripsift nightly does "
	    "with the store and its own files. Events are counted back from the end of their "
	    "account's cover, or from the wall clock where that is earlier. The last event of each "
	    "kind at each place, the first that was heard of a place, and what an open finding cites "
	    "always stay, so that open findings are the same before and after. Rows of old files that "
	    "are read again are counted as expired and not stored. Removing cannot be undone but from "
	    "a backup.",
	.examples = "tripsift expire\n"
	    "tripsift expire /srv/tripsift --backup /mnt/b --out /srv/pages\n"
	    "tripsift expire /srv/tripsift --yes\n",
	.exits = "0 done; 2 wrong usage; 3 no store, it failed, or another tripsift works on the "
	    "store.",
	.opt = options,
	.run = run,
};
