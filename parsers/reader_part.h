/* reader_part.h - what the files of the reader share; for parsers/reader*.c alone.
 *
 *   reader_columns.c  kinds of files, their columns, cells to columns
 *   reader_head.c     what a file's head tells: separator, header, wordings, dates
 *   reader_check.c    is one row what its kind requires?
 *   reader.c          opening, record after record, the note
 */
#ifndef PARSERS_READER_PART_H
#define PARSERS_READER_PART_H

#include "daemon/base/arena.h"
#include "parsers/beside.h"
#include "parsers/bytes.h"
#include "parsers/csv.h"
#include "parsers/dc09log.h"
#include "parsers/reader.h"
#include "parsers/wordings.h"

/* A set of columns has these bits. */
#define COLUMN_BIT(id) (UINT64_C(1) << COL_##id)
_Static_assert(COL_COUNT <= 64, "sets of columns are 64 bits");

/* Event cells repeat row by row: their meanings are kept in a small table. */
enum { MEMO_SLOTS = 1024, MEMO_TEXT = 20 };
struct memo {
	unsigned char  n;		/* bytes in use; 0 = free */
	char           text[MEMO_TEXT];
	struct meaning meaning;
	const char    *reason;
};

enum { NO_COLUMN = WORDINGS_PASS_OVER };

struct reader {
	struct reader_info info;
	struct bytes      *bytes;
	struct csv        *csv;
	struct arena       kept;	/* what info points to */
	struct arena       joined;	/* of one row: cells made of several */
	enum csv_encoding  encoding;
	struct beside      beside;	/* the header as read, and what is no row */
	bool               other_header;	/* what follows stands below another header */
	struct stamp_tally tally;	/* what the order of day and month rests on */
	struct code_message message;	/* of one row */
	uint64_t           n_wrapped, wrapped_line;	/* cells as a spreadsheet writes them */
	uint64_t           n_lost, lost_line;		/* serials in powers of ten */
	const struct wordings *columns;	/* wordings that fit; NULL = none */
	struct wordings_run *run;	/* NULL: no wordings apply */
	size_t             header_n;	/* columns of the header */
	int               *map;		/* header column -> enum column, or NO_COLUMN */
	struct stamp_memo  dates, received_dates;
	struct dc09log     log;		/* the file is a receiver's log, no CSV */
	struct memo        memo[MEMO_SLOTS];
};

/* Our column for a header's cell, by wordings first; NO_COLUMN. */
int reader_column(const struct wordings *w, struct span name);
/* The set of our columns that a header names; the kind it is of, FILE_KINDS = none. */
uint64_t reader_known(const struct csv_row *header, const struct wordings *w);
enum file_kind reader_kind(const struct csv_row *header, const struct wordings *w);
/* Takes the header: kind, map, and what is ignored. -1 and *e: it is of no kind. */
int reader_header(struct reader *r, const struct csv_row *header, struct err *e);
/* Where several columns make one, a blank stands between what they hold. Lent by `a`. */
void reader_add_cell(struct arena *a, struct span *to, struct span cell);
/* Cells to their columns; the reason if there are more than the header has. */
const char *reader_place(struct reader *r, const struct csv_row *from, struct row *row);

/* All that has to be known before the first row: from the head, and where that does not
 * prove the order of day and month from the whole file. */
int reader_begin(struct reader *r, const struct reader_options *o, struct err *e);

/* NULL, or the reason why the row is set aside. */
const char *reader_check(struct reader *r, struct row *row);

#endif
