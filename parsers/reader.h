/* reader.h - one input file from bytes to checked rows.
 *
 * The kind of a file is read off its header row; columns are found by name in
 * any order and letter case; unknown columns are named once (see `ignored`)
 * and otherwise passed over. Separator, header, encoding and direction are decided by
 * a survey of the file's first 256 KiB, the order of day and month too, and where the
 * head does not prove it by a second reading of the whole file (see stamp_tally_order()
 * and bytes_again()). Memory is bounded whatever the file holds.
 *
 * A receiver's log of DC-09 frames is read as events too: see parsers/dc09log.h.
 *
 * Every record after the header comes out of reader_next() exactly once: as a row, or
 * set aside with a reason; or it is passed over and counted for reader_note() (see
 * parsers/beside.h). Blank lines are no records.
 */
#ifndef PARSERS_READER_H
#define PARSERS_READER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "daemon/base/err.h"
#include "daemon/base/span.h"
#include "daemon/base/words.h"
#include "parsers/codes.h"
#include "parsers/stamp.h"

enum file_kind {
	FILE_EVENTS, FILE_ROSTER, FILE_SITES, FILE_PLAN, FILE_SERVICE, FILE_SETTINGS,
	FILE_DECISIONS, FILE_WORDINGS, FILE_KINDS
};
const char *file_kind_text(enum file_kind k);	/* "events" ... */

/* All columns of all kinds; what a kind requires and allows is in the one table
 * of parsers/reader.c, described in parsers/FORMAT.md. */
#define COLUMN_LIST(X) \
	X(ACCOUNT, "account") X(TIME, "time") X(EVENT, "event") X(ZONE, "zone") \
	X(PARTITION, "partition") X(SERIAL, "serial") X(USER, "user") X(TEXT, "text") \
	X(RECEIVED, "received") X(SIGNAL, "signal") X(RECEIVER, "receiver") X(LINE, "line") \
	X(DEVICE, "device") X(NAME, "name") X(CELL, "cell") X(CELLS, "cells") \
	X(INSTALLED, "installed") X(CHECKIN, "checkin") X(AS_OF, "as_of") \
	X(TIMEZONE, "timezone") X(GROUP, "group") X(WAS, "was") X(SINCE, "since") \
	X(VISIT, "visit") X(ORDER, "order") X(REPLACES, "replaces") \
	X(WHAT, "what") X(WHO, "who") \
	X(RULE, "rule") X(SETTING, "setting") X(VALUE, "value") X(SCOPE, "scope") \
	X(FINDING, "finding") X(DECISION, "decision") X(UNTIL, "until") X(WHY, "why") \
	X(MATCH, "match") X(GIVES, "gives")

enum column {
#define X(id, text) COL_##id,
	COLUMN_LIST(X)
#undef X
	COL_COUNT
};
const char *column_text(enum column c);
bool column_find(struct span name, enum column *out);	/* letter case aside */

struct wordings;

/* One row. Every span is lent until the next reader_next(); cells are trimmed
 * of blanks at both ends. A cell that is absent or blank has n == 0. */
struct row {
	uint64_t       line;		/* physical line where the record begins, from 1 */
	const char    *reason;		/* READ_ASIDE: why, static text; else NULL */
	struct span    raw;		/* READ_ASIDE: the record's bytes as UTF-8, no line end */
	struct span    cell[COL_COUNT];

	/* Parsed, by kind. A stamp whose cell is blank has has_... false. */
	bool           has_time, has_received, has_since, has_until, has_visit;
	bool           has_installed, has_as_of;
	struct stamp   time, received, since, until, installed, as_of;
	/* A date alone is the whole day: visit_to is then the midnight that ends it. */
	struct stamp   visit_from, visit_to;
	struct meaning meaning;			/* events */
	enum kind      kind;			/* roster, plan; KIND_UNKNOWN when blank */
	int64_t        checkin;			/* ms; 0 = not given */
	int64_t        cells, order;		/* 0 = not given */
};

struct reader_options {
	size_t read_size;	/* bytes asked for at a time; 0 = 256 KiB. Tests use 1, 2, ... */
	size_t row_limit;	/* longest record in bytes; 0 = 64 KiB */
	size_t cell_limit;	/* longest cell in bytes; 0 = 16 KiB */
	/* Wordings that the file may be written in. They fit if a column row of theirs names
	 * a column of its header and the header then is of a known kind; those without column
	 * rows fit events, roster and plan. The one that fits is applied; when several do, the
	 * file fails. `named`: there is one, and even if it does not fit by its columns its
	 * event, device and time rows apply to events, roster and plan. */
	const struct wordings *const *wordings;	/* lent until reader_close() */
	size_t n_wordings;
	size_t n_kept;		/* the last of them: looked at only where none of the others fits,
				 * and they fit by their columns only */
	bool   named;
};

struct reader_info {
	enum file_kind kind;
	char           separator;	/* ',' ';' or tab */
	/* The header record, UTF-8; as read, or where wordings apply with our names for the
	 * columns that they name. Lent for good. */
	struct span    header;
	const struct wordings *wordings;	/* that apply; NULL = none */
	bool           fits;		/* they fit by their columns */
	const char    *mapped;		/* then: "Datum is time, ..."; lent for good */
	const char    *ignored;		/* unknown column names, ", " between; "" if none */
	bool           newest_first;	/* the survey found times going down */
	int64_t        middle;		/* median wall time of the survey, seconds; NO_TIME if none */
	/* Fingerprint of the file's own bytes (before inflation), whole once READ_END came. */
	uint64_t       size;
	uint32_t       crc32;
	bool           gzip;
};

enum read_result { READ_ERR = -1, READ_END = 0, READ_ROW = 1, READ_ASIDE = 2 };

struct reader;
struct wordings_run;

/* `path` is a file, or "-" for standard input. NULL and *e: cannot be opened,
 * empty, no header that names a kind (the message says which columns are missing
 * for the nearest kind). `name` is what messages call it. */
struct reader *reader_open(const char *path, const struct reader_options *o, struct err *e);
/* The same over borrowed bytes, for tests and for mending set-aside rows. */
struct reader *reader_memory(const char *name, const void *bytes, size_t n,
    const struct reader_options *o, struct err *e);
const struct reader_info *reader_info(const struct reader *r);
enum read_result reader_next(struct reader *r, struct row *row, struct err *e);
/* What the wordings did so far; NULL without. */
const struct wordings_run *reader_wordings(const struct reader *r);
/* What the account of a file says beside its rows, "; " between: columns passed over,
 * how its dates are read, lines that are no rows, marks of a spreadsheet, another encoding.
 * "" if nothing. Whole once READ_END came; lent for good. */
const char *reader_note(struct reader *r);
/* Bytes of the file consumed so far and its size (0 if unknown), for progress. */
void reader_progress(const struct reader *r, uint64_t *done, uint64_t *all);
void reader_close(struct reader *r);

/* A record's cells by column name, from a stored header and a raw record; used
 * to write set-aside rows out again. Cells are lent by `a`. false if unreadable. */
struct arena;
bool reader_cells(struct arena *a, struct span header, char separator, struct span raw,
    struct span cell[COL_COUNT]);

#endif
