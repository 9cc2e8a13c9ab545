/* wordings.h - how another export says things, mapped onto our words.
 *
 * A wordings file is a CSV with the columns what, match, gives:
 *   column      match = a column of theirs (letter case aside), gives = ours; blank
 *               gives = passed over. Several that give one column are joined by a
 *               blank, in the order of the header (a date and a time of day, say)
 *   event       match = a pattern, gives = an event word or a code of ours
 *   device      match = a pattern over the device cell, gives = a kind of device
 *   time        gives = day-first or month-first
 *   separator   gives = comma, semicolon, tab, bar
 *   encoding    gives = utf-8 (what is none is set aside), windows-1252, utf-16 (found
 *               out by itself, so that saying it changes nothing)
 *
 * Patterns are PCRE2 (pcre2pattern(3)), letter case aside unless (?-i) says otherwise,
 * with UTF and Unicode properties, the first row that matches decides. An event
 * pattern looks at the event cell as one line and, where there is a text, at the text
 * as the next: ^ and $ match at the ends of lines, \A and \z at those of the whole,
 * a dot does not cross a line end.
 *
 * Life safety: a cell that is itself a word or code of the life-safety classes keeps
 * its own meaning whatever a pattern gives; a bare code of these classes ("111") can
 * become such a code only; a device kind of life safety stays one.
 *
 * Wordings are taken whole or not at all: any row that is wrong fails the file. Once
 * made they are constant and may be used from several threads, each with its own run.
 */
#ifndef PARSERS_WORDINGS_H
#define PARSERS_WORDINGS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "daemon/base/arena.h"
#include "daemon/base/err.h"
#include "daemon/base/span.h"
#include "daemon/base/words.h"
#include "parsers/codes.h"
#include "parsers/stamp.h"

/* Limits of one match, as PCRE2 counts them; one that runs into them sets the row
 * aside. An ordinary pattern over a row's text stays under a thousandth of each. */
#define WORDINGS_MATCH   200000		/* steps */
#define WORDINGS_DEPTH   10000		/* nested backtracking points, interpreter only */
#define WORDINGS_HEAP    8192		/* KiB, interpreter only */
#define WORDINGS_STACK   (1 << 20)	/* bytes, compiled code only */
#define WORDINGS_PATTERN 1000		/* bytes of a pattern */
#define WORDINGS_ROWS    2000		/* rows of a file */

enum wordings_encoding { ENCODING_NOT_SAID, ENCODING_UTF8, ENCODING_1252, ENCODING_UTF16 };

struct wordings;

/* Given; `name` is what messages call it. */
struct wordings *wordings_new(const char *name);
void wordings_free(struct wordings *w);
/* One row, blanks taken off its cells. -1 and *e ("name:line: what is wrong"). */
int wordings_add(struct wordings *w, uint64_t line, struct span what, struct span match,
    struct span gives, struct err *e);

const char *wordings_name(const struct wordings *w);
char wordings_separator(const struct wordings *w);	/* 0 = not said */
enum stamp_order wordings_time(const struct wordings *w);
enum wordings_encoding wordings_encoding(const struct wordings *w);
bool wordings_has_columns(const struct wordings *w);
/* Does a `column` row name this column of theirs? *column is then an enum column, or
 * WORDINGS_PASS_OVER. */
enum { WORDINGS_PASS_OVER = -1 };
bool wordings_column(const struct wordings *w, struct span theirs, int *column);

/* ---- matching: what one thread needs, and what it counts ---- */

struct wordings_run;
struct wordings_run *wordings_run_new(const struct wordings *w);	/* borrows `w` */
void wordings_run_free(struct wordings_run *r);

/* As code_meaning(), by the patterns first. A reason lives as long as the wordings. */
const char *wordings_event(struct wordings_run *r, struct span cell, struct span text,
    struct meaning *out);
/* The kind of device; KIND_UNKNOWN for a blank cell. */
const char *wordings_device(struct wordings_run *r, struct span cell, enum kind *out);

struct wordings_rule { uint64_t line; const char *what, *match, *gives; int64_t rows; };
struct wordings_text { const char *cell, *text; int64_t rows; };
struct wordings_counts {
	const struct wordings_rule *rule;	/* event and device rows in their order */
	size_t                n_rule;
	const struct wordings_text *text;	/* what nothing matched, most rows first */
	size_t                n_text;
	int64_t               unmatched;	/* rows of them and of further texts */
	int64_t               by_own;		/* no pattern matched, but the cell is ours */
	int64_t               kept;		/* kept from a pattern, being life safety */
	int64_t               limit;		/* a pattern ran into its limit */
};
/* Lent by `a`. */
void wordings_count(const struct wordings_run *r, struct arena *a, struct wordings_counts *out);

#endif
