/* text.h - pages of text for people: terminals, pipes and paper.
 *
 * A page knows its width, whether it may use characters beyond ASCII and
 * whether it may set words off (bold, reverse: on a terminal only, never with
 * NO_COLOR, and never the only bearer of a meaning). Every text that is given to
 * a page is taken as foreign: what steers a terminal or turns a line around is
 * written as \x1B or \u202E, tabs and line ends inside a text as one blank.
 * Errors stay in the FILE: look at ferror() once, at the end.
 */
#ifndef DAEMON_REPORT_TEXT_H
#define DAEMON_REPORT_TEXT_H

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

#include "daemon/base/arena.h"

/* Which clock the page's times are read off. offset() gives seconds east of UTC. */
struct text_zone {
	const char *name;	/* "Europe/Vienna" */
	int32_t   (*offset)(const void *zone, int64_t utc_seconds);	/* NULL = UTC */
	const void *zone;
};

struct page {
	FILE            *f;		/* borrowed */
	int              width;		/* columns */
	bool             utf8;		/* own ornaments may go beyond ASCII */
	bool             ascii_only;	/* foreign texts may not: a terminal that is not UTF-8 */
	bool             style;
	struct text_zone zone;
	struct arena     arena;		/* texts lent until page_release() */
};

enum { TEXT_WIDTH = 80, TEXT_WIDTH_MAX = 100 };

/* Width: a terminal's own, within 60..TEXT_WIDTH_MAX, else TEXT_WIDTH. */
void page_init(struct page *p, FILE *f);
void page_release(struct page *p);

/* The text made harmless, lent by the page. */
const char *text_safe(struct page *p, const char *text);
/* Columns of a harmless text. */
int text_width(const char *safe);
/* The first `columns` columns of it, ending in ".." when something was cut off. */
const char *text_cut(struct page *p, const char *safe, int columns);
/* "2026-10-01 08:15" by the page's clock; "-" for NO_TIME. text_day: the date alone. */
const char *text_time(struct page *p, int64_t at);
const char *text_day(struct page *p, int64_t at);
/* "3 min", "26 h", "4 days": one number, rounded down, up to 48 in each unit. */
const char *text_span(struct page *p, int64_t ms);
/* "1 account", "3 accounts". */
const char *text_count(struct page *p, int64_t n, const char *one, const char *many);

enum style { STYLE_PLAIN, STYLE_STRONG, STYLE_LOUD };
/* A line of its own; a blank line goes before it. */
void page_heading(struct page *p, enum style style, const char *text);
/* Words filled to the page's width. `first` stands before the first line, as many
 * blanks before the others; a word longer than a line is broken. */
void page_para(struct page *p, const char *first, const char *text);
void page_fmt(struct page *p, const char *first, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));
void page_blank(struct page *p);

/* A table is filled cell by cell, row by row, then printed as a whole. */
struct text_column {
	const char *head;
	bool        right;	/* numbers */
	bool        wraps;	/* gives way when the page is too narrow: cells are filled */
};
struct table {
	struct page              *page;		/* borrowed */
	const struct text_column *column;	/* borrowed */
	size_t                    n_column;
	const char              **cell;
	size_t                    n, cap;
};
void table_init(struct table *t, struct page *p, const struct text_column *column, size_t n);
void table_add(struct table *t, const char *text);	/* NULL = blank */
void table_fmt(struct table *t, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
/* Prints with `indent` blanks before each line and releases it. */
void table_print(struct table *t, int indent);

#endif
