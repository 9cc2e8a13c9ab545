/* tables.h - roster, sites, plan, service, settings, decisions and wordings into the store.
 *
 * A file is one transaction: table_begin(), rows, table_end(); anything else is undone
 * by table_abort(). Rows of one file for one account are a version; the newest file that
 * names an account holds (a roster: the newest date). A file that says only what holds
 * already adds no version; its rows are repeats.
 */
#ifndef DAEMON_STORE_TABLES_H
#define DAEMON_STORE_TABLES_H

#include "daemon/store/reword.h"
#include "daemon/store/store.h"
#include "daemon/store/write.h"
#include "rules/view.h"

struct table_file {
	const char *name, *kind, *place, *header, *ignored;
	char        separator;
	int64_t     taken;			/* wall clock, ms */
	int64_t     wordings;			/* file id of those it is read with; 0 = none */
	reword_fn  *reword;			/* of a wordings file: its own matching */
	void       *reword_ctx;
	struct reworded reworded;		/* what table_end() changed by it */
	int64_t     id;				/* set by table_begin() */
	int64_t     rows, stored, repeated, set_aside;	/* counted by the calls below */
	/* Of the row in hand: which of its times were local, as a sum of bits (roster:
	 * 1 installed, 2 as_of; sites: 1 since; plan: 1 from, 2 to; service: 1 time), and the
	 * zone they were read in. They move when sites tells another zone. */
	int         local;
	const char *read_as;
};

/* How the caller's zones are asked. */
struct table_zones {
	void *ctx;
	const void *(*resolve)(void *ctx, const char *timezone);
	/* The instant of the same wall clock in another zone. */
	int64_t (*move)(void *ctx, const char *from, const char *to, int64_t at);
	derive_fn *derive;
};

struct site_in { const char *account, *timezone, *name, *group, *was; int64_t since; };
struct setting_in { const char *rule, *setting, *scope, *value, *who; };
struct decision_in {
	const char *finding, *decision, *who, *why;
	int64_t     until;		/* NO_TIME = none */
};

int table_begin(struct store *s, struct table_file *f, struct err *e);
int table_roster(struct store *s, struct table_file *f, uint64_t line, const char *account,
    const struct roster_row *r, struct err *e);	/* as_of NO_TIME = not given */
int table_site(struct store *s, struct table_file *f, uint64_t line, const struct site_in *r,
    struct err *e);
int table_plan(struct store *s, struct table_file *f, uint64_t line, const char *account,
    const struct plan_row *r, struct err *e);
int table_service(struct store *s, struct table_file *f, uint64_t line, const char *account,
    const struct service_row *r, struct err *e);
int table_setting(struct store *s, struct table_file *f, uint64_t line,
    const struct setting_in *r, struct err *e);
int table_wording(struct store *s, struct table_file *f, uint64_t line, const char *what,
    const char *match, const char *gives, struct err *e);
/* ERR_USAGE (and nothing done) when there is no such finding: set the row aside. */
int table_decision(struct store *s, struct table_file *f, const struct decision_in *r,
    struct err *e);
int table_aside(struct store *s, struct table_file *f, uint64_t line, const char *reason,
    struct span raw, struct err *e);
/* Marks due what changed, resolves local times anew where a site's zone changed, commits. */
int table_end(struct store *s, struct table_file *f, uint64_t size, uint32_t crc32,
    const struct table_zones *z, struct err *e);
void table_abort(struct store *s);

/* The zone of each account that sites names, newest version. */
int table_timezones(struct store *s, int (*each)(void *ctx, const char *account,
    const char *timezone), void *ctx, struct err *e);

/* The file id under which the wordings of a place stand, newest version; 0 = none. */
int table_wordings(struct store *s, const char *place, int64_t *id, struct err *e);

/* The rows of all wordings that hold: of each place the newest, unless it is empty. */
struct wording_row {
	int64_t     file;
	const char *name, *place;
	int64_t     line;
	const char *what, *match, *gives;
};
int table_wordings_each(struct store *s, int (*each)(void *ctx, const struct wording_row *r),
    void *ctx, struct err *e);

/* Set-aside rows of a file that was read before stand under the earlier reading. */
int file_asides_once(struct store *s, int64_t file, struct err *e);
/* What the same file covered when it was read before, it covers now: the span and the
 * accounts of the reading before are this one's alone, or an export that is dropped every
 * night would speak once a night for each account. */
int file_cover_once(struct store *s, int64_t file, struct err *e);

#endif
