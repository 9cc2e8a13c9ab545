/* csv.h - bytes to records. Knows quoting and line ends, knows no column.
 *
 * Read:      RFC 4180 with any separator; LF, CRLF or CR ends; line ends and
 *            doubled quotes in quoted cells; blanks around a quoted cell; a
 *            quote inside an unquoted cell is an ordinary character; the last
 *            line end may be missing. Records without any content are passed
 *            over (blank lines, and lines of nothing but separators).
 * Set aside: CSV_ASIDE with the reason, a record at a time:
 *            - a quote that is never closed: the record ends with the line in
 *              which the quote opened, so that the lines after it are read as
 *              records of their own. Never closed means: not before the end
 *              of the file, not within the row limit, or closed only lines
 *              later by a quote that has text behind it (there it opens).
 *            - text behind a closing quote in the same line;
 *            - a row or a cell over its limit, a zero byte.
 * Encoding:  a record that is not valid UTF-8 is taken for Windows-1252, unless
 *            csv_encoding() says otherwise.
 * Lifetime:  a row, its cells and `raw` are lent until the next csv_next().
 * Memory:    bounded by the limits, whatever the input holds. Records do not
 *            depend on where reads happen to end.
 */
#ifndef PARSERS_CSV_H
#define PARSERS_CSV_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "daemon/base/err.h"
#include "daemon/base/span.h"

struct bytes;
struct csv;

/* Bytes of a file's head that may be looked at before the dialect is decided. */
#define CSV_SURVEY (256 * 1024)

/* A row over the limit is kept whole for the set-aside list up to this many
 * times the limit; of a longer one the beginning is kept, and the reason says so. */
#define CSV_KEEP 16

struct csv_options {
	size_t read_size;	/* 1..1 MiB; 0 = 256 KiB */
	size_t row_limit;	/* longest record in bytes, without its line end; 0 = 64 KiB */
	size_t cell_limit;	/* longest cell in bytes as written, without quotes; 0 = 16 KiB */
};

enum csv_result { CSV_ERR = -1, CSV_END = 0, CSV_ROW = 1, CSV_ASIDE = 2 };

struct csv_row {
	uint64_t           line;	/* physical line where the record begins, from 1 */
	struct span        raw;		/* the record as UTF-8, without its line end */
	struct span        bytes;	/* the same before it was made UTF-8 */
	size_t             n;		/* cells; 0 when set aside */
	const struct span *cell;	/* unquoted, blanks at both ends taken off */
	const char        *reason;	/* CSV_ASIDE: static text */
};

/* Borrows `src`, which must outlive the reader. */
struct csv *csv_open(struct bytes *src, const struct csv_options *o);
void csv_close(struct csv *c);

/* Survey: reads the head and lends it. From then on csv_next() gives the records
 * of the head only, over and over after each csv_rewind(), until csv_begin() goes
 * back to the first record for good. `cr_ends`: a lone CR ends a record too. */
int csv_survey(struct csv *c, struct span *head, struct err *e);
void csv_rewind(struct csv *c, char separator, bool cr_ends);
void csv_begin(struct csv *c);
/* During a survey: is the head the whole file? */
bool csv_survey_whole(const struct csv *c);

/* CSV_UTF8: what is none is set aside. CSV_1252: every record is taken for it. */
enum csv_encoding { CSV_EITHER, CSV_UTF8, CSV_1252 };
void csv_encoding(struct csv *c, enum csv_encoding e);

/* Records taken for Windows-1252 so far, not counting a survey; the line of the first. */
uint64_t csv_1252(const struct csv *c, uint64_t *line);

/* CSV_ERR: *e says why; the reader is finished. */
enum csv_result csv_next(struct csv *c, struct csv_row *row, struct err *e);

#endif
