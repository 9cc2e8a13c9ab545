/* store.h - the one SQLite file, and everything that is asked of it.
 *
 * Only this folder knows SQLite. Texts in results are NUL-terminated, never NULL
 * unless said, and lent by the arena that the caller passes in. Instants are
 * milliseconds UTC; NO_TIME = none. Errors are ERR_STORE with SQLite's own words.
 */
#ifndef DAEMON_STORE_STORE_H
#define DAEMON_STORE_STORE_H

#include <signal.h>
#include <stdbool.h>
#include <stdint.h>

#include "daemon/base/arena.h"
#include "daemon/base/civil.h"
#include "daemon/base/err.h"
#include "daemon/base/words.h"

struct store;
struct view;
struct findings;
struct repair;

enum store_mode {
	STORE_READ,	/* must exist; never written */
	STORE_WRITE,	/* must exist */
	STORE_CREATE,	/* made when it is not there; *made says so */
};

/* Checks application_id and schema version first (a newer version is refused),
 * upgrades an older one, opens defensively. Given; store_close() takes it. */
struct store *store_open(const char *path, enum store_mode mode, bool *made, struct err *e);
void store_close(struct store *s);
const char *store_path(const struct store *s);
/* From when *stop is nonzero on, what takes long ends with an error and is undone. Lent
 * until store_close(). */
void store_stop(struct store *s, const volatile sig_atomic_t *stop);
/* Closing leaves the write-ahead log for the next who opens, because that takes long. */
void store_hurry(struct store *s);

/* SQLite moves what was committed from its log into the file at a commit, and makes that
 * commit wait. Later: not at commits of this handle; begin: now, on a thread of its own
 * (NULL when there is none: then a later commit does it); end: waits for it, or in a
 * hurry has it stop. */
struct store_tidy;
void store_tidy_later(struct store *s, bool later);
struct store_tidy *store_tidy_begin(struct store *s);
void store_tidy_end(struct store_tidy *t, bool hurry);

/* ---- findings ------------------------------------------------------------- */

struct stored_measure { const char *name, *unit, *text; double value; };  /* text NULL: a number */
struct stored_evidence {
	const char *file;
	int64_t     line;
	int64_t     at;
	const char *event;	/* event cell as read */
	const char *detail;	/* zone, serial, text as read, for people */
};
struct stored_decision {
	const char *decision, *who, *why;	/* seen, planned, expected */
	int64_t     at, until;			/* until NO_TIME = none */
	bool        holds;			/* false: lapsed or lifted; `lifted` says why */
	const char *lifted;
};

enum { FINDING_DAYS = 30 };

struct stored_finding {
	const char *id;			/* as people type it */
	const char *rule, *account, *zone, *serial, *device;
	const char *kind;		/* of the device, as in rosters; "" = the site, or unknown */
	const char *site_name, *group, *timezone;
	const char *state;		/* new, continuing, cleared */
	int         level;		/* enum level of rules/rule.h */
	bool        life;
	int64_t     onset, last, cleared;
	long        count;
	const char *summary;
	struct stored_measure *measure;
	size_t      n_measure;
	const char **check;
	size_t      n_check;
	const char **caution;
	size_t      n_caution;
	const char **member;		/* ids of member findings where they have one, else subjects */
	size_t      n_member;
	struct stored_evidence *evidence;	/* first 20 and last 20 */
	size_t      n_evidence, all_evidence;
	struct stored_decision *decision;	/* the newest; NULL if none */
	/* Rows of evidence on each of the 30 days that end with the account's cover, oldest
	 * first, by the site's clock; -1 = not covered. NULL for what is of no one account. */
	int32_t    *day;
	int64_t     day_to;			/* date of the last, in days since 1970-01-01 */
};

struct finding_filter {
	const char *id, *rule, *account, *group;	/* NULL = any */
	int         level;		/* -1 = any */
	const char *state;		/* "new", "continuing", "cleared", "open" (the default), "all" */
	int64_t     since;		/* with it, `new` means: first raised after this; NO_TIME */
	int64_t     as_of;		/* the moment at which decisions are looked at: they are
					 * people's, so it is the wall clock when NO_TIME */
	size_t      limit;		/* 0 = all */
};

/* In the order of lists: level; life safety first; undecided first; new before
 * continuing; count; then account and rule so that it never changes by chance. */
int store_findings(struct store *s, const struct finding_filter *f, struct arena *a,
    struct stored_finding **out, size_t *n, struct err *e);
/* All decisions on one finding, oldest first. */
int store_decisions(struct store *s, const char *finding, struct arena *a,
    struct stored_decision **out, size_t *n, struct err *e);
/* Appends; the same decision again is no second one. `at` is the wall clock's now.
 * ERR_USAGE when the finding is unknown or planned/expected has no `until`.
 * Waits up to a minute for a writer. */
int store_decide(struct store *s, const char *finding, const char *decision, const char *who,
    int64_t until, const char *why, int64_t at, struct err *e);

/* ---- accounts ------------------------------------------------------------- */

struct account_info {
	int64_t     id;
	const char *account, *receiver, *line;
	const char *name, *group, *timezone;	/* "" when sites does not name it */
	bool        in_sites;
	int64_t     first, last;		/* of its events */
	int64_t     cover_from, cover_to;	/* whole span; NO_TIME = never covered */
	int64_t     events;
};
/* All accounts: those with events and those of sites. */
int store_accounts(struct store *s, struct arena *a, struct account_info **out, size_t *n,
    struct err *e);
/* The accounts with a plan, of its newest version, for a visit that ends at `from` or later. */
int store_planned(struct store *s, int64_t from, struct arena *a, const char ***out, size_t *n,
    struct err *e);
/* The accounts of sites that no cover of the last 3 days (before the latest end of
 * cover) reaches. */
int store_uncovered(struct store *s, struct arena *a, struct account_info **out, size_t *n,
    struct err *e);
/* Accounts that differ only in leading zeros: pairs out[2i], out[2i+1]. */
int store_twins(struct store *s, struct arena *a, const char ***out, size_t *n, struct err *e);

/* Everything of one account, finished (view_finish() done). ERR_USAGE when no account
 * has that text, letter case aside, with the nearest ones in the message; when several
 * receivers or lines have it, the message lists them as "ACCOUNT@receiver/line", which is
 * accepted too. `as_of` NO_TIME = end of cover. view_release() when done. */
int store_view(struct store *s, const char *account, int64_t as_of, struct view *v,
    struct err *e);
const char *store_file_name(struct store *s, uint32_t file, struct arena *a);

/* The devices with the most alarm signals that somebody had to handle (alarms outside
 * tests) in the 30 days before the end of cover, and the sums over all devices. */
struct load_row {
	const char *account, *site_name, *zone, *serial, *device;
	bool        life;
	int64_t     alarms, activations;
};
int store_load(struct store *s, size_t limit, struct arena *a, struct load_row **out, size_t *n,
    int64_t *all_alarms, int64_t *all_activations, struct err *e);

/* ---- the trend ------------------------------------------------------------------- */

/* The weeks of one account, oldest first; lent until `each` returns. A week may be covered
 * in part or not at all. `life` is of the alarms. */
struct account_weeks {
	const char             *account, *site_name, *group;
	int64_t                 monday;		/* of the first, days since 1970 UTC */
	const struct load_week *week;
	size_t                  n;
};
/* Calls `each` for every judged account, by its text; a nonzero answer stops and is returned. */
int store_weeks(struct store *s, int (*each)(void *ctx, const struct account_weeks *w), void *ctx,
    struct err *e);

/* When each finding there ever was began, was raised, first decided and cleared. Raised and
 * decided are wall clock; onset and cleared are the log's, as far as the exports reach. */
struct case_times {
	const char *rule, *group;
	int64_t     onset, raised, decided, cleared;	/* NO_TIME = not yet */
	bool        life;
};
int store_case_times(struct store *s, struct arena *a, struct case_times **out, size_t *n,
    struct err *e);

/* How often each rule fired: findings open now, of these new (told by no completed nightly
 * run yet), and cleared. Rules that never did are not among them. */
struct rule_count { const char *rule; int64_t open, fresh, cleared; };
int store_rule_counts(struct store *s, struct arena *a, struct rule_count **out, size_t *n,
    struct err *e);

/* Work that was done and whose two weeks after are over, newest first. */
struct work_side { int64_t covered;	/* minutes */ int64_t activations, alarms, losses, low; };
struct work_row {
	const char      *account, *site_name, *device, *what, *who;	/* device "" = the site */
	int64_t          at;
	struct work_side before, after;
};
int store_works(struct store *s, struct arena *a, struct work_row **out, size_t *n, struct err *e);

/* ---- files, set-aside rows, status ---------------------------------------- */

struct file_info {
	int64_t     id;
	const char *name, *kind, *place;
	int64_t     size, crc32;
	int64_t     taken;		/* wall clock */
	int64_t     rows, stored, repeated, set_aside, expired;
	int64_t     from, to;		/* cover */
	const char *ignored;		/* unknown columns */
};
int store_files(struct store *s, struct arena *a, struct file_info **out, size_t *n,
    struct err *e);

struct aside_row {
	int64_t     file;
	const char *file_name, *kind, *header;
	char        separator;
	int64_t     line;
	const char *reason;
	const char *raw;
	size_t      raw_n;
};
/* Calls `each` for every set-aside row; a nonzero answer stops and is returned. */
int store_asides(struct store *s, int (*each)(void *ctx, const struct aside_row *row), void *ctx,
    struct err *e);

struct store_status {
	int64_t bytes;			/* of the database file */
	int64_t files, events, accounts, devices_known, points;
	int64_t stored, repeated, set_aside, expired, rows;
	int64_t kept_from;		/* the earliest horizon of an account; NO_TIME = none has one */
	int64_t cover_from, cover_to;	/* over all accounts */
	int64_t last_taken;		/* wall clock */
	int64_t due;			/* accounts waiting to be judged */
	int64_t open[3];		/* open findings by level */
	const char *journal;		/* "wal" or "delete" */
	int     schema;
};
int store_status(struct store *s, struct arena *a, struct store_status *out, struct err *e);

/* Events of `event_log` as CSV-ready rows, whole or of one account (NULL = all). */
struct log_row {
	const char *account, *receiver, *line, *time, *received, *event, *word, *partition, *zone,
	           *serial, *user, *text, *signal, *utc, *marks, *file;
	int64_t     row_line;
};
int store_event_log(struct store *s, const char *account,
    int (*each)(void *ctx, const struct log_row *row), void *ctx, struct err *e);

/* Settings in force, newest version of each (rule, setting, scope). */
struct setting_row { const char *rule, *setting, *scope, *value, *who, *file; int64_t taken; };
int store_settings(struct store *s, struct arena *a, struct setting_row **out, size_t *n,
    struct err *e);

/* ---- nights ----------------------------------------------------------------- */

/* The last completed nightly run. `file`, `decision` and `removal`: the greatest ids then, so
 * that the next one tells what came after, whatever the clock does. id 0 = none yet. */
struct night { int64_t id, at, file, decision, removal; };
int store_night(struct store *s, struct night *out, struct err *e);

/* What it said of each finding, in order of `finding`. */
struct told { const char *finding; int level; int64_t count; bool cleared; int64_t onset; };
int store_told(struct store *s, struct arena *a, struct told **out, size_t *n, struct err *e);

/* The night before the last, and what it said. */
int store_night_before(struct store *s, struct night *out, struct err *e);
int store_told_before(struct store *s, struct arena *a, struct told **out, size_t *n,
    struct err *e);

/* Event files and lists taken in after file `since`. */
struct night_file {
	int64_t     id;
	const char *name, *kind, *owner;	/* owner "": not a list, or not known */
	bool        again;			/* the same bytes had been read before */
	int64_t     rows, stored, repeated, set_aside, expired;
	int64_t     from, to;
};
int store_night_files(struct store *s, int64_t since, struct arena *a, struct night_file **out,
    size_t *n, struct err *e);

/* Why rows of these files were set aside, most rows first. */
struct night_reason { const char *kind, *reason; int64_t rows; bool first; /* never before */ };
int store_night_reasons(struct store *s, int64_t since, struct arena *a,
    struct night_reason **out, size_t *n, struct err *e);

/* What lists after `since` changed: for each file how many rows it has, unless it is of
 * settings (`before` and `now` are ""), then one by one what is another for an account, setting
 * or wording that was known before; each row of service is one. `life`: a device of life safety,
 * before or now. */
struct night_change {
	const char *file, *kind, *owner, *who, *what, *before, *now;
	bool        life;
};
int store_night_changes(struct store *s, int64_t since, struct arena *a,
    struct night_change **out, size_t *n, struct err *e);

/* Decisions after number `since`, oldest first; `holds` and `lifted` are not filled. */
struct night_decision {
	const char            *finding;
	struct stored_decision d;
	const char            *file, *owner;	/* "" = by the command */
};
int store_night_decisions(struct store *s, int64_t since, struct arena *a,
    struct night_decision **out, size_t *n, struct err *e);

/* What was removed because of its age. `oldest`, `newest`: of the events, else when the
 * files were taken in or made; NO_TIME = nothing. */
struct removed { int64_t n, bytes, oldest, newest; };

/* After number `since`, one a kind, in order of kinds. */
struct night_removal { const char *kind; int64_t days; struct removed sum; };
int store_night_removals(struct store *s, int64_t since, struct arena *a,
    struct night_removal **out, size_t *n, struct err *e);

/* Completes a night: all findings as they stand are told. Within the transaction in which
 * they were read, so that nothing is marked that nobody was shown. */
int store_night_done(struct store *s, int64_t wall_clock, struct err *e);

/* Whose file a list was. Within the transaction that takes it in. */
int store_owner(struct store *s, int64_t file, const char *owner, struct err *e);

/* A file that was read lies elsewhere now; both are full paths. */
int store_moved(struct store *s, const char *from, const char *to, struct err *e);

/* The accounts that have rows in the last file read from `place` are of this group, unless
 * sites names another for them. Due, where that changes something. In a transaction. */
int store_group(struct store *s, const char *place, const char *group, struct err *e);

/* Need the file at `place` with this fingerprint not be read? Events: these bytes were
 * read once, for as many accounts (`covers_all`). A list: they are what was last read
 * from this place; else an older list would come to hold again. */
int store_knows(struct store *s, const char *place, int64_t size, uint32_t crc32,
    bool covers_all, bool *known, struct err *e);

/* ---- the daemon --------------------------------------------------------------- */

/* Where the daemon works, full paths; "" = not known: none fed the store, or no backups. */
struct home { const char *folder, *backup; bool groups; /* folders in inbox/ are groups */ };
int store_set_home(struct store *s, const struct home *home, struct err *e);
int store_home(struct store *s, struct arena *a, struct home *out, struct err *e);

/* ---- judging ---------------------------------------------------------------- */

/* Accounts that are due, in order of id. `all`: every account with events or of sites;
 * then nothing is written. */
int store_due(struct store *s, bool all, struct arena *a, int64_t **out, size_t *n, struct err *e);
/* As store_view(), by id and without free texts. *skip: nothing to judge (never covered,
 * or another account is judged in its place: see load.c). */
int store_view_judge(struct store *s, int64_t account, int64_t as_of, struct view *v, bool *skip,
    struct err *e);
/* What an account signalled, for triage and the trend: see load_row and account_weeks. */
struct load_sum { int32_t device; int64_t alarms, activations; };
struct load_week { int64_t covered;	/* minutes */ int64_t activations, alarms, life; };
struct signals {
	const struct load_sum  *sum;	/* the account's, then its devices */
	size_t                  n_sum;
	int64_t                 monday;	/* of the first week, days since 1970 UTC */
	const struct load_week *week;	/* one after another */
	size_t                  n_week;
	const struct repair    *work;
	size_t                  n_work;
};
/* Replaces what stands of the account (0: the fleet) by `f`, keeping case ids; findings
 * that no longer hold are cleared as of v->now. Takes the account off the due list.
 * Within the caller's transaction. */
int store_save(struct store *s, struct view *v, struct findings *f, const struct signals *load,
    int64_t wall_clock, struct err *e);
int store_begin(struct store *s, struct err *e);
int store_commit(struct store *s, struct err *e);
void store_abort(struct store *s);
/* The pass over all accounts' numbers: every rule's fleet(). Within a transaction. */
int store_fleet(struct store *s, int64_t wall_clock, struct err *e);
/* What that pass needs besides the accounts' numbers: now, n_account, override. */
struct fleet;
int store_fleet_ground(struct store *s, struct arena *a, struct fleet *out, struct err *e);
/* Open findings, and cleared ones, now. */
int store_count_findings(struct store *s, int64_t *open, int64_t *cleared, struct err *e);

/* How many accounts wait to be judged. */
int store_count_due(struct store *s, int64_t *n, struct err *e);

/* The latest end of cover over all accounts: the fleet's "now". NO_TIME = no cover. */
int store_now(struct store *s, int64_t *now, struct err *e);

#endif
