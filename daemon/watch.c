#include "daemon/watch.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/backups.h"
#include "daemon/cmd.h"
#include "daemon/drop.h"
#include "daemon/group.h"
#include "daemon/judge.h"
#include "daemon/lock.h"
#include "daemon/log.h"
#include "daemon/loop.h"
#include "daemon/nightly.h"
#include "daemon/notify.h"
#include "daemon/report/json.h"
#include "daemon/report/outfile.h"
#include "daemon/retain.h"
#include "parsers/reader.h"

/* Common practice, no source: files a round; rest after a fault of the store or a folder;
 * how long judging may wait while files keep coming; rest after a backup that failed, which
 * reads the whole store; rest of many events of the folders. */
enum { ROUND = 256 };
#define REST     (30 * SECOND)
#define JUDGE_BY (60 * SECOND)
#define BACKUP_REST HOUR
#define GATHER   INT64_C(100)
/* How often a sign of life is left on the lock. */
#define BEAT     (10 * SECOND)
/* Files may still be moved on for so long after SIGTERM; the rest stays in work/. */
#define LAST_MOVES INT64_C(300)

struct watch {
	struct store               *s;
	const struct watch_options *o;
	struct drop                *drop;
	int64_t  started;		/* wall clock, ms */
	int64_t  since;			/* the same, or the earliest that the clock said since */
	int64_t  watchdog, pinged;	/* ms; monotonic */
	int64_t  beat;			/* monotonic: last sign on the lock */
	int64_t  told_at;		/* monotonic: last STATUS= */
	char     doing[256];		/* as it was told then; "" = waiting for work */
	int64_t  look_at, rest_until;	/* monotonic */
	int64_t  unjudged;		/* monotonic: since when; -1 = all is judged */
	int64_t  night_again;		/* monotonic: not before, after a fault */
	int64_t  backup_again;		/* the same */
	int64_t  backed_up;		/* the night of which there is a backup; 0 = none known */
	int64_t  settings_told;		/* wall clock: settings up to then were logged */
	/* Files of work/ that the store or the system failed at when they were tried alone. The
	 * others go on without them; they are tried again from poor_at (monotonic) on. */
	ino_t   *poor;
	size_t   n_poor, cap_poor;
	int64_t  poor_at;
	bool     alone;			/* one file at a time, to find out which it is */
	int64_t  files, failed, rows;	/* since the start */
	int64_t  last_taken, last_backup;	/* wall clock; NO_TIME */
};

/* ---- being alive ------------------------------------------------------------ */

static void
ping(struct watch *w)
{
	int64_t now = loop_now();

	if (now - w->beat >= BEAT) {
		lock_beat(w->o->lock, w->doing);
		w->beat = now;
	}
	if (w->watchdog && now - w->pinged >= w->watchdog) {
		notify("WATCHDOG=1");
		w->pinged = now;
	}
}

static void
tick(void *watch, const char *doing, int percent)
{
	struct watch *w = watch;
	int64_t now = loop_now();

	ping(w);
	if (now - w->told_at < SECOND)
		return;
	w->told_at = now;
	if (percent < 0)
		snprintf(w->doing, sizeof w->doing, "%.200s", doing);
	else
		snprintf(w->doing, sizeof w->doing, "%.200s, %d %%", doing, percent);
	/* It may be the name of a file, and is one line. */
	for (char *c = w->doing; *c; c++)
		if ((unsigned char)*c < ' ' || *c == 0x7f)
			*c = '?';
	notify("STATUS=%s; %zu files wait", w->doing, drop_waiting(w->drop));
	lock_beat(w->o->lock, w->doing);
}

static void
write_status(struct watch *w, const char *state)
{
	struct arena a = { 0 };
	struct drop_failed *failed;
	struct outfile out;
	struct json j = { 0 };
	struct err e;
	int64_t due = 0, covers_to = NO_TIME;
	size_t n = 0;

	if (store_count_due(w->s, &due, &e) || store_now(w->s, &covers_to, &e) || drop_failures(w->drop, &a, &failed, &n, &e) ||
	    outfile_open(&out, drop_path(w->drop, &a, "status.json"), &e)) {
		log_say(LOG_ERROR, "no-status", "why", e.text);
		goto done;
	}
	j.f = out.f;
	json_open(&j, NULL, '{');
	json_text(&j, "state", state);
	json_int(&j, "process", getpid());
	json_text(&j, "store", store_path(w->s));
	json_time(&j, "written", cmd_now() / SECOND * SECOND);
	json_time(&j, "started", w->started / SECOND * SECOND);
	json_time(&j, "last_taken", w->last_taken == NO_TIME ? NO_TIME
	    : w->last_taken / SECOND * SECOND);
	json_time(&j, "last_backup", w->last_backup == NO_TIME ? NO_TIME
	    : w->last_backup / SECOND * SECOND);
	json_int(&j, "taken", w->files);
	json_int(&j, "rows", w->rows);
	json_int(&j, "waiting", (int64_t)drop_waiting(w->drop));
	json_int(&j, "failed", (int64_t)n);
	json_int(&j, "due", due);
	json_time(&j, "covers_to", covers_to);
	json_close(&j, '}');
	json_end(&j);
	if (outfile_close(&out, &e) < 0)
		log_say(LOG_ERROR, "no-status", "why", e.text);
done:
	arena_release(&a);
}

static void
say_idle(struct watch *w)
{
	w->doing[0] = '\0';
	lock_beat(w->o->lock, w->doing);
	notify("STATUS=%lld files taken, %lld failed since the start; %zu wait",
	    (long long)w->files, (long long)w->failed, drop_waiting(w->drop));
}

/* Settings in force that came after those logged before. */
static void
log_settings(struct watch *w)
{
	struct arena a = { 0 };
	struct setting_row *row;
	struct err e;
	int64_t latest = w->settings_told;
	size_t n = 0, told = 0;

	if (store_settings(w->s, &a, &row, &n, &e)) {
		log_say(LOG_ERROR, "settings", "why", e.text);
		n = 0;
	}
	for (size_t i = 0; i < n; i++) {
		struct log l;

		if (row[i].taken <= w->settings_told)
			continue;
		latest = row[i].taken > latest ? row[i].taken : latest;
		log_begin(&l, LOG_INFO, "setting");
		log_text(&l, "name", arena_fmt(&a, "%s.%s", row[i].rule, row[i].setting));
		log_text(&l, "scope", row[i].scope);
		log_text(&l, "value", row[i].value);
		log_text(&l, "who", row[i].who);
		log_text(&l, "file", row[i].file);
		log_end(&l);
		told++;
	}
	if (!told)
		log_say(LOG_INFO, "settings", "changed", "none");
	w->settings_told = latest;
	arena_release(&a);
}

static void
rest(struct watch *w, const char *what, const struct err *e)
{
	struct log l;

	log_begin(&l, LOG_ERROR, what);
	log_text(&l, "why", e->text);
	log_int(&l, "again_in_s", REST / SECOND);
	log_end(&l);
	w->rest_until = loop_now() + REST;
}

static void
odd(const char *name, const char *why)
{
	struct log l;

	log_begin(&l, LOG_WARNING, "passed-over");
	log_text(&l, "file", name);
	log_text(&l, "why", why);
	log_end(&l);
}

/* ---- one round -------------------------------------------------------------- */

/* Which kinds each folder takes: asked by the one who reads, so that a file that changes
 * under our hands, or is made another kind by wordings, is not let through. */
static const char *
refuses(const char *name, const char *kind)
{
	bool events = strcmp(kind, file_kind_text(FILE_EVENTS)) == 0;

	if (strncmp(name, "inbox/", 6) == 0)
		return events ? NULL : "it holds a list or decisions, and inbox/ takes events only; "
		    "whoever may change lists drops it into desk/";
	if (strncmp(name, "desk/", 5) == 0)
		return !events ? NULL : "it holds events, and desk/ takes lists and decisions only; drop "
		    "it into inbox/";
	return NULL;
}

static void
fail(struct watch *w, const struct drop_file *f, const char *why)
{
	struct page p = { 0 };
	const char *note = arena_fmt(&p.arena, "%s\n%s was not taken in, nothing of it is in the "
	    "store.", text_safe(&p, why), text_safe(&p, f->path));
	struct log l;
	struct err e;

	w->failed++;
	log_begin(&l, LOG_WARNING, "failed");
	log_text(&l, "file", f->path);
	log_text(&l, "why", why);
	log_end(&l);
	if (drop_fail(w->drop, f, note, &e) < 0)
		rest(w, "cannot-move", &e);
	page_release(&p);
}

/* *place: where it lies now; NULL = it is still in work/. */
static void
move_on(struct watch *w, const struct drop_file *f, const struct ingest_file *told,
    struct arena *a, const char **place)
{
	struct log l;
	struct err e;
	int rc = drop_done(w->drop, f, loop_stop(), a, place, &e);

	if (rc)
		*place = NULL;

	if (rc < 0) {
		rest(w, "cannot-move", &e);
		return;
	}
	log_begin(&l, LOG_INFO, rc ? "changed-while-read" : "taken");
	log_text(&l, "file", f->path);
	log_text(&l, "kind", told->kind);
	log_int(&l, "rows", told->rows);
	log_int(&l, "stored", told->stored);
	log_int(&l, "repeated", told->repeated);
	log_int(&l, "aside", told->set_aside);
	if (told->expired)
		log_int(&l, "expired", told->expired);
	log_end(&l);
	if (rc)
		return;		/* it is read again */
	w->files++;
	w->rows += told->rows;
	w->last_taken = cmd_now();
}

/* Where the files lie now, for people: nothing hangs on it. */
static void
note_places(struct watch *w, const struct drop_file *const *file, const char *const *place,
    size_t n, struct arena *a)
{
	const char *from = drop_path(w->drop, a, "work");
	struct err e;
	int rc = store_begin(w->s, &e);

	for (size_t i = 0; rc == 0 && i < n; i++)
		if (place[i])
			rc = store_moved(w->s, arena_fmt(a, "%s/%s", from, file[i]->path), place[i], &e);
	if (rc == 0)
		rc = store_commit(w->s, &e);
	if (rc == 0)
		return;
	store_abort(w->s);
	if (!*loop_stop())
		log_say(LOG_WARNING, "places-not-noted", "why", e.text);
}

/* Before they leave work/: what is not noted is read again. */
static int
note_groups(struct watch *w, const struct drop_file *const *file, const struct ingest_result *r,
    struct arena *a, struct err *e)
{
	const char *from = drop_path(w->drop, a, "work");
	int rc = 0;
	bool begun = false;

	for (size_t i = 0; rc == 0 && w->o->groups && i < r->n_file; i++) {
		if (!*file[i]->group || !r->file[i].taken)
			continue;
		if (!begun)
			rc = store_begin(w->s, e);
		begun = true;
		if (rc == 0)
			rc = store_group(w->s, arena_fmt(a, "%s/%s", from, file[i]->path), file[i]->group, e);
	}
	if (rc == 0 && begun)
		rc = store_commit(w->s, e);
	if (rc)
		store_abort(w->s);
	return rc;
}

/* Takes in files of work/. 0 = done with each; -1: the store or the system failed. */
static int
process(struct watch *w, const struct drop_file *file, size_t n, struct arena *a)
{
	struct ingest_options o = { .timezone = w->o->timezone, .covers = w->o->covers,
	    .refuses = refuses, .batch = w->o->batch, .no_judge = true, .as_of = NO_TIME,
	    .stop = loop_stop(), .tick = tick, .tick_ctx = w };
	const struct drop_file **good = arena_take(a, (n + 1) * sizeof *good);
	const char **path = arena_take(a, (n + 1) * sizeof *path);
	const char **place = arena_take(a, (n + 1) * sizeof *place);
	struct ingest_result r;
	struct err e;
	int64_t stopped = 0;
	size_t m = 0;
	int rc, out;

	for (size_t i = 0; i < n && !*loop_stop(); i++) {
		if (!S_ISREG(file[i].st.st_mode)) {
			fail(w, &file[i], "it was exchanged for something that is no file while it was "
			    "claimed, and was not followed; find out who did that");
			continue;
		}
		good[m] = &file[i];
		path[m++] = file[i].path;
	}
	rc = out = ingest_paths(w->s, path, m, &o, &r, &e);
	if (rc && !*loop_stop())
		rest(w, "store-failed", &e);
	if (note_groups(w, good, &r, a, &e) < 0) {
		if (!*loop_stop())
			rest(w, "store-failed", &e);
		ingest_result_release(&r);
		return -1;
	}
	for (size_t i = 0; i < r.n_file; i++) {
		const struct ingest_file *told = &r.file[i];

		if (*loop_stop() && !stopped)
			stopped = loop_now();
		ping(w);
		if (told->taken) {
			if (w->unjudged < 0)
				w->unjudged = loop_now();
			if (!stopped || loop_now() - stopped < LAST_MOVES)
				move_on(w, good[i], told, a, &place[i]);
			/* Wordings go by the place that they were read from: the next of the same
			 * name replace them. */
			if (strcmp(told->kind, file_kind_text(FILE_WORDINGS)) == 0)
				place[i] = NULL;
		} else if (rc == 0 && told->later) {
			log_say(LOG_ERROR, "cannot-read", "why", told->message);
			out = -1;
		} else if (rc == 0 && told->failed) {
			fail(w, good[i], arena_fmt(a, "%s. Mend it, or export it anew, and drop it "
			    "again.", told->message));
		} else if (*loop_stop() && drop_back(w->drop, good[i], &e) < 0) {
			log_say(LOG_ERROR, "cannot-move", "why", e.text);
		}
	}
	if (drop_flush(w->drop, &e) < 0)
		rest(w, "cannot-move", &e);
	note_places(w, good, place, m, a);
	ingest_result_release(&r);
	return out;
}

static bool
is_poor(const struct watch *w, const struct drop_file *f)
{
	size_t i = 0;

	while (i < w->n_poor && w->poor[i] != f->st.st_ino)
		i++;
	return i < w->n_poor;
}

static void
set_poor(struct watch *w, const struct drop_file *f)
{
	w->poor = x_grow(w->poor, &w->cap_poor, w->n_poor + 1, sizeof *w->poor);
	w->poor[w->n_poor++] = f->st.st_ino;
	w->poor_at = loop_now() + REST;
}

/* The files that nothing is known against, or all of them when there is only one: where
 * the store failed at several, one after the other, until the one is found. */
static void
process_good(struct watch *w, const struct drop_file *good, size_t n, struct arena *a)
{
	size_t m = w->alone ? 1 : n;

	if (process(w, good, m, a) == 0 || *loop_stop()) {
		w->alone &= n > 1;
		return;
	}
	w->alone = m > 1;
	if (m == 1)
		set_poor(w, good);
}

/* Each alone; the first that fails again ends it for now. */
static void
process_poor(struct watch *w, const struct drop_file *poor, size_t n, struct arena *a)
{
	int64_t good_from = w->rest_until;
	size_t i = 0;

	while (i < n && !*loop_stop() && process(w, &poor[i], 1, a) == 0)
		i++;
	w->n_poor = 0;
	/* It stands last the next time: one that fails each time holds up nobody. */
	for (size_t j = i + 1; j < n; j++)
		set_poor(w, &poor[j]);
	if (i < n)
		set_poor(w, &poor[i]);
	w->rest_until = good_from;
}

/* Into `good` and `poor`, the latter in the order of w->poor; who is gone is forgotten. */
static void
part(struct watch *w, const struct drop_file *file, size_t n, struct drop_file *good,
    size_t *n_good, struct drop_file *poor, size_t *n_poor)
{
	*n_good = *n_poor = 0;
	for (size_t i = 0; i < n; i++)
		if (!is_poor(w, &file[i]))
			good[(*n_good)++] = file[i];
	for (size_t k = 0; k < w->n_poor; k++)
		for (size_t i = 0; i < n; i++)
			if (file[i].st.st_ino == w->poor[k])
				poor[(*n_poor)++] = file[i];
	w->n_poor = 0;
	for (size_t k = 0; k < *n_poor; k++)
		w->poor[w->n_poor++] = poor[k].st.st_ino;
}

static void
judge(struct watch *w)
{
	struct judge_options o = { .as_of = NO_TIME, .stop = loop_stop(), .tick = tick,
	    .tick_ctx = w };
	int64_t judged, raised, cleared;
	struct log l;
	struct err e;

	if (judge_due(w->s, &o, &judged, &raised, &cleared, &e) < 0) {
		if (!*loop_stop())
			rest(w, "judging-failed", &e);
		return;
	}
	w->unjudged = -1;
	if (!judged)
		return;
	log_begin(&l, LOG_INFO, "judged");
	log_int(&l, "accounts", judged);
	log_int(&l, "raised", raised);
	log_int(&l, "cleared", cleared);
	log_end(&l);
}

/* What lies in failed/ now. */
static int
failures(struct watch *w, struct arena *a, struct nightly_options *o, struct err *e)
{
	struct digest_failed *list;
	struct drop_failed *failed;
	size_t n;

	if (drop_failures(w->drop, a, &failed, &n, e) < 0)
		return -1;
	list = arena_take(a, (n + 1) * sizeof *list);
	for (size_t i = 0; i < n; i++)
		list[i] = (struct digest_failed){ failed[i].name, failed[i].why };
	o->failed = list;
	o->n_failed = n;
	return 0;
}

/* Decisions of the day and what came in stand on the board before the next night. */
static void
write_board(struct watch *w)
{
	struct nightly_options o = { .out = w->o->out, .zones = w->o->zones, .now = cmd_now(),
	    .expected = -1 };
	struct arena a = { 0 };
	struct err e;

	if (w->o->out && (failures(w, &a, &o, &e) < 0 || nightly_board(w->s, &o, &e) < 0))
		log_say(LOG_ERROR, "no-board", "why", e.text);
	arena_release(&a);
}

/* What lies in work/, or is claimed now; true: there was something to do. */
static bool
take_in(struct watch *w, struct arena *a, struct err *e, int *rc)
{
	struct drop_file *file, *good, *poor;
	size_t n, n_good = 0, n_poor = 0;
	int64_t now = loop_now();

	for (bool claimed = false;; claimed = true) {
		*rc = drop_work(w->drop, a, &file, &n, e);
		if (*rc)
			return false;
		good = arena_take(a, (n + 1) * sizeof *good);
		poor = arena_take(a, (n + 1) * sizeof *poor);
		part(w, file, n, good, &n_good, poor, &n_poor);
		if (n_good || claimed || drop_next(w->drop, now) != 0)
			break;
		*rc = drop_claim(w->drop, now, ROUND, e);
		if (*rc)
			return false;
	}
	if (n_good)
		process_good(w, good, n_good, a);
	else if (n_poor && now >= w->poor_at)
		process_poor(w, poor, n_poor, a);
	else
		return false;
	return true;
}

/* One claim and what follows from it; false: there was nothing to do. */
static bool
work(struct watch *w)
{
	struct arena a = { 0 };
	struct err e;
	int64_t now;
	int rc;
	bool busy = take_in(w, &a, &e, &rc);

	if (rc < 0)
		rest(w, "cannot-claim", &e);
	arena_release(&a);
	now = loop_now();
	if (w->unjudged >= 0 && !*loop_stop() && now >= w->rest_until &&
	    (drop_next(w->drop, now) != 0 || now - w->unjudged >= JUDGE_BY)) {
		judge(w);
		busy = true;
	}
	if (busy && !*loop_stop() && drop_next(w->drop, now) != 0) {
		write_board(w);
		write_status(w, "watching");
		say_idle(w);
	}
	return busy;
}

/* ---- the night -------------------------------------------------------------- */

/* The last time at which a night was to be told. One that was missed is made up for, but
 * not one before the very first start. A clock that was set back over the night that was
 * told last makes no second one of it; where that night lies more than a day ahead, it was
 * told by a clock that was wrong, and says nothing. 1 = it is, 0 = not, -1 = *e. */
static int
night_is_due(struct watch *w, int64_t now, struct err *e)
{
	struct night last;
	int64_t moment = nightly_last(tz_machine(w->o->zones), w->o->nightly, now);

	w->since = now < w->since ? now : w->since;
	if (store_night(w->s, &last, e))
		return -1;
	return (last.id && last.at <= now + DAY ? last.at : w->since - 1) < moment;
}

/* Is none newer than the night that was told last? So one that was cut short, or failed, is
 * made up for. A backup that lies more than a day ahead is of a clock that was wrong. */
static bool
backup_is_due(struct watch *w, struct night *last)
{
	struct err e;
	int64_t newest;

	if (!w->o->backup || loop_now() < w->backup_again || store_night(w->s, last, &e) < 0 ||
	    last->id == w->backed_up)
		return false;
	newest = backups_newest(w->s, w->o->backup);
	if (newest == NO_TIME || newest < last->at || newest > cmd_now() + DAY)
		return true;
	w->backed_up = last->id;
	return false;
}

static void
back_up(struct watch *w)
{
	struct arena a = { 0 };
	struct night last;
	const char *path;
	struct log l;
	struct err e;
	int64_t begun = loop_now(), now = cmd_now();

	if (!backup_is_due(w, &last))
		return;
	if (backups_make(w->s, w->o->backup, w->o->keep, now, loop_stop(), tick, w, &a, &path,
	    &e) == 0) {
		w->last_backup = now;
		w->backed_up = last.id;
		log_begin(&l, LOG_INFO, "backup");
		log_text(&l, "file", path);
		log_int(&l, "ms", loop_now() - begun);
		log_end(&l);
	} else if (!*loop_stop()) {
		w->backup_again = loop_now() + BACKUP_REST;
		log_begin(&l, LOG_ERROR, "backup-failed");
		log_text(&l, "why", e.text);
		log_int(&l, "again_in_s", BACKUP_REST / SECOND);
		log_end(&l);
	}
	arena_release(&a);
	write_status(w, "watching");
}

static void
look_at_the_disk(struct watch *w)
{
	struct log l;
	struct err e;
	int days;

	if (!*loop_stop() && backups_disk_days(w->s, cmd_now(), &days, &e) == 0 && days >= 0 &&
	    days < BACKUPS_DISK_DAYS) {
		log_begin(&l, LOG_WARNING, "disk-filling");
		log_int(&l, "days_left", days);
		log_end(&l);
	}
}

/* What is too old goes, before the digest tells it. */
static void
retain(struct watch *w, int64_t now)
{
	struct arena a = { 0 };
	struct retain_options o = { .how = { .now = now, .stop = loop_stop(), .tick = tick,
	    .tick_ctx = w }, .folder = drop_path(w->drop, &a, ""), .backup = w->o->backup,
	    .out = w->o->out };
	struct retained kept[KEPT_KINDS] = { 0 };
	struct log l;
	struct err e;
	int64_t gained = 0;
	int rc = retain_run(w->s, &o, kept, &e);

	for (int k = 0; k < KEPT_KINDS; k++) {
		if (!kept[k].sum.n)
			continue;
		log_begin(&l, LOG_INFO, "removed");
		log_text(&l, "kind", kept[k].kind);
		log_int(&l, "days", kept[k].days);
		log_int(&l, "count", kept[k].sum.n);
		log_int(&l, "bytes", kept[k].sum.bytes);
		log_end(&l);
	}
	if (rc == 0)
		rc = expire_tidy(w->s, &gained, &e);
	if (gained) {
		log_begin(&l, LOG_INFO, "store-smaller");
		log_int(&l, "bytes", gained);
		log_end(&l);
	}
	if (rc && !*loop_stop())
		log_say(LOG_ERROR, "not-removed", "why", e.text);
	arena_release(&a);
}

static void
tell(struct watch *w)
{
	struct nightly_options o = { .out = w->o->out, .zones = w->o->zones, .now = cmd_now(),
	    .expected = -1, .stop = loop_stop(), .tick = tick, .tick_ctx = w };
	struct arena a = { 0 };
	const char *asks;
	struct err e = { 0 };
	int due;

	if (loop_now() < w->night_again || !(due = night_is_due(w, o.now, &e)))
		return;
	if (due > 0 && store_check(w->s, loop_stop(), tick, w, &a, &o.damage, &e) < 0)
		due = -1;
	/* Nothing is removed from a store that is damaged. */
	if (due > 0 && *o.damage)
		log_say(LOG_ERROR, "store-damaged", "why", o.damage);
	else if (due > 0)
		retain(w, o.now);
	if (*loop_stop()) {
		arena_release(&a);
		return;
	}
	if (due > 0 && failures(w, &a, &o, &e) == 0 && nightly_tell(w->s, &o, &a, &asks, &e) == 0) {
		log_say(LOG_INFO, "night", "person", *asks ? asks : "not needed");
		look_at_the_disk(w);
		write_status(w, "watching");
	} else if (!*loop_stop()) {
		log_say(LOG_ERROR, "night-failed", "why", e.text);
		w->night_again = loop_now() + 10 * MINUTE;
	}
	arena_release(&a);
}

static void
night(struct watch *w)
{
	if (!w->o->out)
		return;
	tell(w);
	if (!*loop_stop())
		back_up(w);
}

/* ---- the loop --------------------------------------------------------------- */

static int64_t
least(int64_t a, int64_t b)
{
	return b < 0 || (a >= 0 && a < b) ? a : b;
}

/* How long nothing needs to be done, unless something happens. At most half a minute, so
 * that a clock that is set is noticed. */
static int64_t
idle_ms(const struct watch *w, int64_t now)
{
	int64_t ms = least(30 * SECOND, w->look_at > now ? w->look_at - now : 0);

	if (now < w->rest_until)
		ms = least(ms, w->rest_until - now);
	else
		ms = least(ms, drop_next(w->drop, now));
	if (w->n_poor && now >= w->rest_until)
		ms = least(ms, w->poor_at > now ? w->poor_at - now : 0);
	return w->watchdog ? least(ms, w->watchdog / 2 + 1) : ms;
}

static void
look(struct watch *w)
{
	int64_t now = loop_now();
	struct err e;

	if (now < w->look_at)
		return;
	drop_listen(w->drop);
	w->look_at = now + w->o->look;
	if (drop_look(w->drop, now, odd, &e) < 0) {
		rest(w, "cannot-look", &e);
		w->look_at = w->rest_until;
	}
}

static void
reload(struct watch *w)
{
	notify_reloading();
	log_say(LOG_INFO, "reload", NULL, NULL);
	log_settings(w);
	w->look_at = w->rest_until = w->poor_at = 0;
	look(w);
	notify("READY=1");
}

static void
loop(struct watch *w)
{
	bool busy = true;

	for (;;) {
		int64_t now = loop_now();

		switch (loop_wait(drop_fd(w->drop), busy ? 0 : idle_ms(w, now))) {
		case WAKE_STOP:
			return;
		case WAKE_RELOAD:
			reload(w);
			break;
		case WAKE_STATUS:
			write_status(w, "watching");
			break;
		case WAKE_INPUT:
			drop_listen(w->drop);
			w->look_at = least(w->look_at, loop_now() + GATHER);
			break;
		case WAKE_TIME:
			break;
		}
		ping(w);
		look(w);
		/* Of one moment: what rests now is not over when it ends a moment later. */
		now = loop_now();
		busy = now >= w->rest_until && work(w);
		if (!busy && !*loop_stop())
			night(w);
		if (w->o->once && !busy && w->unjudged < 0 && drop_waiting(w->drop) == 0 &&
		    w->n_poor == 0 && now >= w->rest_until && now >= w->night_again &&
		    now >= w->backup_again)
			return;
	}
}

/* Who may only read the store finds our folder by it. */
static int
settle_in(struct watch *w, struct err *e)
{
	static const char *const folder[] = { "inbox", "desk", "done", "failed" };
	struct arena a = { 0 };
	struct home home = { drop_path(w->drop, &a, ""), w->o->backup ? w->o->backup : "",
	    w->o->groups };
	struct home noted;
	int rc = store_home(w->s, &a, &noted, e);

	if (rc == 0 && (strcmp(noted.folder, home.folder) != 0 ||
	    strcmp(noted.backup, home.backup) != 0 || noted.groups != home.groups) && store_set_home(w->s, &home, e) < 0 && !*loop_stop())
		log_say(LOG_WARNING, "folder-not-noted", "why", e->text);
	for (size_t i = 0; rc == 0 && i < sizeof folder / sizeof *folder; i++)
		rc = group_folder(drop_path(w->drop, &a, folder[i]), w->o->group, e);
	arena_release(&a);
	return rc;
}

int
watch_run(struct store *s, const struct watch_options *o, struct err *e)
{
	struct watch w = { .s = s, .o = o, .started = cmd_now(), .since = cmd_now(),
	    .last_taken = NO_TIME, .last_backup = NO_TIME, .watchdog = notify_watchdog_ms(),
	    .beat = loop_now() };
	struct arena a = { 0 };
	struct log l;
	int rc = 0;

	if (loop_init(e) || !(w.drop = drop_open(o->dir, o->settle, o->groups, e)))
		return -1;
	/* From here names are as dropped: "inbox/a.csv", below work/. */
	if (chdir(drop_path(w.drop, &a, "work")) != 0)
		rc = err_set(e, ERR_IO, o->dir, 0, "work/ cannot be entered");
	store_stop(s, loop_stop());
	if (rc == 0)
		rc = settle_in(&w, e);
	if (rc) {
		drop_close(w.drop);
		arena_release(&a);
		return -1;
	}
	log_begin(&l, LOG_INFO, "start");
	log_text(&l, "store", store_path(s));
	log_text(&l, "folder", drop_path(w.drop, &a, ""));
	log_text(&l, "notifications", drop_fd(w.drop) < 0 ? "no: looking only" : "yes");
	log_int(&l, "process", getpid());
	log_end(&l);
	log_settings(&w);
	write_status(&w, "watching");
	notify("READY=1\nSTATUS=watching %.300s", drop_path(w.drop, &a, ""));
	loop(&w);
	notify("STOPPING=1");
	store_stop(s, NULL);
	if (*loop_stop())
		store_hurry(s);
	write_status(&w, "stopped");
	log_say(LOG_INFO, "stop", NULL, NULL);
	drop_close(w.drop);
	free(w.poor);
	arena_release(&a);
	return 0;
}
