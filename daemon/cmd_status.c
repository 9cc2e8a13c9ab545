#include <string.h>
#include <sys/stat.h>
#include <sys/statvfs.h>

#include "daemon/backups.h"
#include "daemon/cmd.h"
#include "daemon/drop.h"
#include "daemon/lock.h"
#include "daemon/report/json.h"
#include "daemon/retain.h"
#include "rules/rule.h"

struct options {
	struct opts_common common;
	int                format;
};

static const struct opt options[] = {
	{ 'f', "format", "WORD", "text or json (default: text)", OPT_CHOICE,
	  offsetof(struct options, format), 0, 0, "text|json" },
	OPTS_COMMON(struct options),
	OPTS_END
};

struct status {
	struct store_status  store;
	struct account_info *uncovered;
	size_t               n_uncovered;
	const char          *path;
	struct lock_look     lock;
	struct night         night;
	struct home          home;
	struct drop_census   drop;	/* -1 = not known */
	int64_t              now;	/* wall clock */
	int64_t              backup;	/* when the newest was made; NO_TIME */
	int64_t              log_bytes;	/* of the write-ahead log */
	int64_t              disk_free;	/* bytes; -1 = not known */
	int                  disk_days;	/* until it is full; -1 = not within a year */
	struct retained      kept[KEPT_KINDS];
	const char          *need[16];	/* what asks for a person */
	size_t               n_need;
};

/* Common practice, no source: a daemon leaves a sign every 10 s; a backup is made each night. */
#define DEAF   (5 * MINUTE)
#define BACKUP (2 * DAY)

/* For how long, and since when. */
static const char *
keeps(struct page *p, const struct status *x)
{
	const char *text = "", *since = "";

	for (int k = 0; k < KEPT_KINDS; k++)
		if (x->kept[k].days)
			text = arena_fmt(&p->arena, "%s%s %s, ", text, retained_kind(x->kept[k].kind),
			    text_count(p, x->kept[k].days, "day", "days"));
	if (x->store.kept_from != NO_TIME)
		since = arena_fmt(&p->arena, "; events are whole from %s on at the earliest",
		    text_day(p, x->store.kept_from));
	return *text ? arena_fmt(&p->arena, "%sthe rest for good%s", text, since) : "everything, for good";
}

static void
status_text(struct page *p, const struct status *x)
{
	static const struct text_column column[] = { { "", false, false }, { "", false, true } };
	const struct store_status *s = &x->store;
	struct table t;

	table_init(&t, p, column, 2);
	table_add(&t, "store");
	table_fmt(&t, "%s, %.1f MiB%s, schema %d%s", x->path, (double)s->bytes / 1048576.0,
	    x->log_bytes ? arena_fmt(&p->arena, " and %.1f MiB of log",
	    (double)x->log_bytes / 1048576.0) : "", s->schema, strcmp(s->journal, "wal") == 0 ? "" : ", without write-ahead log (a "
	    "network share?): readers wait while something is written");
	table_add(&t, "free disk");
	table_fmt(&t, x->disk_free < 0 ? "not known" : x->disk_days < 0 ? "%.1f GiB" :
	    "%.1f GiB, full in %s", (double)x->disk_free / 1073741824.0,
	    text_count(p, x->disk_days, "day", "days"));
	table_add(&t, "last taken in");
	table_add(&t, s->last_taken == NO_TIME ? "nothing yet" : text_time(p, s->last_taken));
	table_add(&t, "files");
	table_fmt(&t, "%lld, %s = %lld stored + %lld repeated + %lld set aside%s",
	    (long long)s->files, text_count(p, s->rows, "row", "rows"), (long long)s->stored,
	    (long long)s->repeated, (long long)s->set_aside, s->expired ? arena_fmt(&p->arena,
	    " + %lld expired", (long long)s->expired) : "");
	table_add(&t, "holds");
	table_fmt(&t, "%s of %s, %s",
	    text_count(p, s->events, "event", "events"),
	    text_count(p, s->accounts, "account", "accounts"),
	    text_count(p, s->devices_known, "device", "devices"));
	table_add(&t, "keeps");
	table_add(&t, keeps(p, x));
	table_add(&t, "covers");
	table_fmt(&t, "%s to %s", text_time(p, s->cover_from), text_time(p, s->cover_to));
	table_add(&t, "open findings");
	table_fmt(&t, "%lld now, %lld soon, %lld later", (long long)s->open[LEVEL_NOW],
	    (long long)s->open[LEVEL_SOON], (long long)s->open[LEVEL_LATER]);
	table_add(&t, "last night told");
	table_add(&t, x->night.id ? text_time(p, x->night.at) : "none yet");
	table_add(&t, "daemon");
	table_fmt(&t, *x->lock.holder ? "%s; last sign of life %s ago" : "none", x->lock.holder,
	    x->lock.beat == NO_TIME ? "-" : text_span(p, x->now > x->lock.beat ? x->now - x->lock.beat : 0));
	if (*x->lock.doing) {
		table_add(&t, "at work");
		table_add(&t, text_safe(p, x->lock.doing));
	}
	if (*x->home.folder) {
		table_add(&t, "its folder");
		table_fmt(&t, "%s: %s, %s", x->home.folder, x->drop.waiting < 0 ? "waiting: not known" :
		    arena_fmt(&p->arena, "%lld waiting", (long long)x->drop.waiting),
		    x->drop.failed < 0 ? "failed: not known" : arena_fmt(&p->arena, "%lld failed",
		    (long long)x->drop.failed));
	}
	if (*x->home.backup) {
		table_add(&t, "last backup");
		table_fmt(&t, x->backup == NO_TIME ? "none" : "%s, %s ago", text_time(p, x->backup),
		    text_span(p, x->now > x->backup ? x->now - x->backup : 0));
	}
	table_add(&t, "to be judged");
	table_add(&t, text_count(p, s->due, "account", "accounts"));
	table_print(&t, 0);
	page_fmt(p, "", "Times are %s.", p->zone.name);
	page_blank(p);
	for (size_t i = 0; i < x->n_need; i++)
		page_para(p, "ATTENTION: ", x->need[i]);
	if (!x->n_need)
		page_para(p, "", *x->lock.doing || x->drop.waiting > 0 || s->due ?
		    "What has come in is being read and judged." : "All is read and judged.");
}

/* Below 0 is not known: null. */
static void
json_count(struct json *j, const char *key, int64_t n)
{
	if (n < 0)
		json_null(j, key);
	else
		json_int(j, key, n);
}

static void
status_json(const struct status *x)
{
	const struct store_status *s = &x->store;
	struct json j = { .f = stdout };

	json_open(&j, NULL, '{');
	json_text(&j, "store", x->path);
	json_int(&j, "bytes", s->bytes);
	json_int(&j, "schema", s->schema);
	json_text(&j, "journal", s->journal);
	json_time(&j, "last_taken", s->last_taken);
	json_int(&j, "files", s->files);
	json_int(&j, "rows", s->rows);
	json_int(&j, "stored", s->stored);
	json_int(&j, "repeated", s->repeated);
	json_int(&j, "set_aside", s->set_aside);
	json_int(&j, "expired", s->expired);
	json_int(&j, "events", s->events);
	json_int(&j, "accounts", s->accounts);
	json_int(&j, "devices", s->devices_known);
	json_time(&j, "covers_from", s->cover_from);
	json_time(&j, "covers_to", s->cover_to);
	json_open(&j, "open", '{');
	for (int l = 0; l < LEVEL_COUNT; l++)
		json_int(&j, level_text((enum level)l), s->open[l]);
	json_close(&j, '}');
	json_int(&j, "due", s->due);
	json_open(&j, "not_covered", '[');
	for (size_t i = 0; i < x->n_uncovered; i++)
		json_text(&j, NULL, x->uncovered[i].account);
	json_close(&j, ']');
	json_open(&j, "attention", '[');
	for (size_t i = 0; i < x->n_need; i++)
		json_text(&j, NULL, x->need[i]);
	json_close(&j, ']');
	json_time(&j, "last_night", x->night.at);
	json_text(&j, "daemon", x->lock.holder);
	json_text(&j, "at_work", x->lock.doing);
	json_time(&j, "sign_of_life", *x->lock.holder && x->lock.beat != NO_TIME ? x->lock.beat / SECOND * SECOND
	    : NO_TIME);
	json_text(&j, "folder", x->home.folder);
	json_count(&j, "waiting", *x->home.folder ? x->drop.waiting : -1);
	json_count(&j, "failed", *x->home.folder ? x->drop.failed : -1);
	json_text(&j, "backups", x->home.backup);
	json_time(&j, "last_backup", x->backup);
	json_int(&j, "log_bytes", x->log_bytes);
	json_count(&j, "disk_free", x->disk_free);
	json_count(&j, "disk_days", x->disk_days);
	json_open(&j, "kept_days", '{');
	for (int k = 0; k < KEPT_KINDS; k++) {
		if (x->kept[k].days)
			json_int(&j, x->kept[k].kind, x->kept[k].days);
		else
			json_null(&j, x->kept[k].kind);
	}
	json_close(&j, '}');
	json_time(&j, "kept_from", s->kept_from);
	json_close(&j, '}');
	json_end(&j);
}

/* Whether the daemon that feeds the store is well. */
static void
needs_daemon(struct page *p, struct status *x)
{
	if (!*x->lock.holder)
		x->need[x->n_need++] = arena_fmt(&p->arena, "no daemon runs; one fed this store from %s: "
		    "tripsift watch.", x->home.folder);
	else if (x->lock.beat != NO_TIME && x->now - x->lock.beat > DEAF)
		x->need[x->n_need++] = arena_fmt(&p->arena, "the daemon (%s) has left no sign of life for "
		    "%s: look at its log, and start it anew.", x->lock.holder, text_span(p, x->now - x->lock.beat));
	if (x->drop.failed > 0)
		x->need[x->n_need++] = arena_fmt(&p->arena, "%s in %s/failed: the note beside each says "
		    "what to do.", text_count(p, x->drop.failed, "file lies", "files lie"),
		    x->home.folder);
	if (*x->home.backup && (x->backup == NO_TIME || x->now - x->backup > BACKUP))
		x->need[x->n_need++] = x->backup == NO_TIME ? arena_fmt(&p->arena, "there is no backup in "
		    "%s yet, or it may not be looked at.", x->home.backup) : arena_fmt(&p->arena, "the last backup "
		    "is %s old.", text_span(p, x->now - x->backup));
}

static void
needs(struct page *p, struct status *x)
{
	if (x->store.last_taken == NO_TIME)
		x->need[x->n_need++] = "nothing was taken in yet: tripsift ingest FILE...";
	/* A daemon that lives judges them by itself, within a minute of what came last. */
	if (x->store.due && !(*x->lock.holder && x->now - x->lock.beat <= DEAF))
		x->need[x->n_need++] = arena_fmt(&p->arena, "%s not judged since something changed: "
		    "the next ingest does it.",
		    text_count(p, x->store.due, "account was", "accounts were"));
	if (x->n_uncovered)
		x->need[x->n_need++] = arena_fmt(&p->arena, "%s not in the exports of the last 3 "
		    "days, first %s.", text_count(p, (int64_t)x->n_uncovered,
		    "account of sites is", "accounts of sites are"), x->uncovered[0].account);
	if (*x->home.folder)
		needs_daemon(p, x);
	if (x->disk_days >= 0 && x->disk_days < BACKUPS_DISK_DAYS)
		x->need[x->n_need++] = arena_fmt(&p->arena, "the disk of the store is full in %s, as it "
		    "goes.", text_count(p, x->disk_days, "day", "days"));
}

/* What lies around the store. */
static int
look_around(struct tools *t, struct status *x, struct err *e)
{
	struct statvfs disk;
	struct stat log;

	if (store_home(t->s, &t->p.arena, &x->home, e) < 0 ||
	    backups_disk_days(t->s, x->now, &x->disk_days, e) < 0)
		return -1;
	x->lock = lock_look(&t->p.arena, x->path);
	x->drop = *x->home.folder ? drop_count(x->home.folder, x->home.groups) : (struct drop_census){ -1, -1 };
	x->backup = *x->home.backup ? backups_newest(t->s, x->home.backup) : NO_TIME;
	x->log_bytes = stat(arena_fmt(&t->p.arena, "%s-wal", x->path), &log) ? 0 : log.st_size;
	x->disk_free = statvfs(x->path, &disk) ? -1 : (int64_t)disk.f_bavail * (int64_t)disk.f_frsize;
	return 0;
}

static int
show(struct tools *t, void *ctx, struct err *e)
{
	const struct options *o = ctx;
	struct status x = { .path = store_path(t->s), .now = cmd_now() };

	if (store_status(t->s, &t->p.arena, &x.store, e) < 0 ||
	    store_uncovered(t->s, &t->p.arena, &x.uncovered, &x.n_uncovered, e) < 0 ||
	    store_night(t->s, &x.night, e) < 0 || retain_settings(t->s, x.kept, e) < 0)
		return -1;
	if (look_around(t, &x, e) < 0)
		return -1;
	needs(&t->p, &x);
	if (o->format == 0)
		status_text(&t->p, &x);
	else
		status_json(&x);
	return x.n_need ? OUT_ATTENTION : OUT_DONE;
}

static int
run(const struct command *self, int argc, char **argv)
{
	struct options o = { 0 };
	int out = cmd_options(self, &argc, argv, &o, 0, 0);

	return out == OUT_GO_ON ? cmd_show(&o.common, STORE_READ, show, &o) : out;
}

const struct command cmd_status = {
	.name = "status",
	.operands = "",
	.purpose = "what the store holds and covers, whether the daemon is well",
	.about = "Says what the store holds, which span the exports cover, when something was last "
	    "taken in, how many findings are open, whether the daemon lives and what waits for it, "
	    "and what needs attention: accounts that were not judged, accounts of sites that the "
	    "exports do not reach, a daemon that is gone or has left no sign of life for 5 minutes, files "
	    "that failed, a backup older than 2 days, a disk that is full within 30 days.",
	.examples = "tripsift status\n"
	    "tripsift status --format json\n",
	.exits = "0 all well; 1 something needs attention; 2 wrong usage; 3 no store, or it "
	    "failed.",
	.opt = options,
	.run = run,
};
