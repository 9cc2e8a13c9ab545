/* lines.h - sentences gathered once, for a page of text and for one of HTML. */
#ifndef DAEMON_REPORT_LINES_H
#define DAEMON_REPORT_LINES_H

#include "daemon/report/text.h"

/* { .p = page } is an empty one. */
struct lines {
	struct page *p;		/* borrowed: texts made by lines_fmt() live in its arena */
	const char **text;	/* heap */
	size_t       n, cap;
};

void lines_add(struct lines *l, const char *text);	/* lent until the list is released */
void lines_fmt(struct lines *l, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
void lines_release(struct lines *l);
/* Prints each as a paragraph, and releases them. */
void lines_print(struct lines *l, const char *first);

#endif
