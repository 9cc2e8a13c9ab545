/* nightly.h - one night: what is told, and that it was told.
 *
 * Writes digest.txt, findings.csv, findings.json, set-aside.csv, board.html, trend.html and
 * rules.html, and the sheets of daemon/sheets.h. All are whole and on the disk before the first takes its place; only then the
 * findings count as told. A run that is cut short tells the same again the next time.
 */
#ifndef DAEMON_NIGHTLY_H
#define DAEMON_NIGHTLY_H

#include <signal.h>

#include "daemon/ingest.h"
#include "daemon/report/digest.h"
#include "parsers/tz.h"

struct nightly_options {
	const char                 *out;	/* folder, exists */
	struct tz_set              *zones;
	int64_t                     now;	/* wall clock, ms UTC */
	double                      expected;	/* hour of the machine's clock; < 0 = the setting */
	const struct digest_failed *failed;	/* files that could not be taken in */
	size_t                      n_failed, n_known;
	const volatile sig_atomic_t *stop;	/* as in judge.h; may be NULL */
	void                      (*tick)(void *ctx, const char *doing, int percent);
	void                       *tick_ctx;
	const char                 *damage;	/* of store_check(); NULL or "" = none */
};

/* *asks: what asks for a person, "" = nothing. Lent by `a`. */
int nightly_tell(struct store *s, const struct nightly_options *o, struct arena *a,
    const char **asks, struct err *e);

/* The board alone, anew between two nights: what changed is told against the night before
 * the last, as the last one told it. */
int nightly_board(struct store *s, const struct nightly_options *o, struct err *e);

/* The names of what is written, one by one; NULL behind the last. */
const char *nightly_file(size_t i);

struct nightly_folder {
	const char         **path;	/* to be read, by name */
	size_t               n;
	size_t               n_known;	/* the store knows them already */
	struct ingest_inside inside;
};

/* What of a folder is to be read: all but what is known, names that begin with a dot,
 * and .part and .tmp. New wordings have all files read again, since they may mean something
 * else now. The answer is lent by `a`. */
int nightly_files(struct store *s, const char *dir, bool covers_all, struct arena *a,
    struct nightly_folder *out, struct err *e);

/* The last moment at or before `now` at which the clock of `tz` showed that hour. */
int64_t nightly_last(const struct tz *tz, double hour, int64_t now);

#endif
