/* help_store.h - a temporary store, exports from literal texts, and questions in SQL.
 *
 * Every call fails the test when the program does. A store lives in a folder of its own
 * under $TMPDIR (else /tmp) until help_close(). Nothing is judged unless asked for.
 */
#ifndef TESTS_UNIT_HELP_STORE_H
#define TESTS_UNIT_HELP_STORE_H

#include "daemon/ingest.h"
#include "daemon/store/store.h"

struct help {
	struct store        *s;
	char                 dir[128];
	char                 db[160];
	struct arena         arena;	/* texts that the calls below give */
	struct ingest_result result;	/* of the last ingest */
	struct ingest_options o;	/* of the next: UTC, no judging; change at will */
};

void help_open(struct help *h);
void help_close(struct help *h);
/* Closes and opens the store again. */
void help_reopen(struct help *h);

/* Writes a file into the folder and gives its path. */
const char *help_file(struct help *h, const char *name, const char *text);
const char *help_bytes(struct help *h, const char *name, const void *p, size_t n);
/* The text gzipped; `cut` bytes are missing at the end. */
const char *help_gzip(struct help *h, const char *name, const char *text, size_t cut);

/* Takes in the files at these paths (up to NULL), in one run. */
void help_ingest(struct help *h, const char *path, ...) __attribute__((sentinel));
/* Writes one file and takes it in; the account of its rows is the answer. */
const struct ingest_file *help_take(struct help *h, const char *name, const char *text);
/* The same for events whose header is "account,time,event,zone". */
const struct ingest_file *help_events(struct help *h, const char *name, const char *rows);

/* "rows stored repeated aside" of one file of the last ingest; "failed" if it did. */
const char *help_counts(struct help *h, size_t file);

/* Judges what is due, or everything. Gives "judged raised cleared". */
const char *help_judged(struct help *h, bool all);
/* Every finding, one line: "RULE LEVEL ACCOUNT ZONE SERIAL STATE COUNT ID". */
const char *help_found(struct help *h);
/* The id of the only finding of that rule and account; the test fails otherwise. */
const char *help_id(struct help *h, const char *rule, const char *account);

/* The rows of a question, cells joined by "|", rows by "\n"; NULL is "-". Asked through
 * a handle of its own. */
const char *help_sql(struct help *h, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
int64_t help_number(struct help *h, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
void help_exec(const char *db, const char *sql);

/* Everything that was read and derived, in an order that does not depend on how it came
 * in: for comparing two stores. Without texts that name files or tell when. */
const char *help_dump(struct help *h);

#endif
