/* csvout.h - CSV as the program writes it.
 *
 * RFC 4180 with LF as line end: comma, quotes only where they are needed, a
 * quote inside doubled, UTF-8 without a byte-order mark. Errors stay in the
 * FILE: look at ferror() once, at the end.
 *
 * Spreadsheets take a cell that begins with = + - @ TAB CR or LF for a formula,
 * and cells hold what strangers wrote (OWASP, "CSV Injection"). Such a text cell
 * gets one ' in front. A number, alone or with its unit ("-71 dBm"), is no formula
 * and stays as it is; a text that itself begins with ' stays too, so a ' before one
 * of those characters is the only thing to take off when reading back.
 */
#ifndef DAEMON_REPORT_CSVOUT_H
#define DAEMON_REPORT_CSVOUT_H

#include <stdint.h>
#include <stdio.h>

#include "daemon/base/span.h"

struct csvout {
	FILE *f;	/* borrowed */
	bool  inside;	/* a cell of this row is written already */
	bool  terminal;	/* somebody looks at it: what steers terminals is written as \x1B */
};

void csvout_init(struct csvout *w, FILE *f);
void csvout_text(struct csvout *w, const char *text);	/* NULL is an empty cell */
void csvout_span(struct csvout *w, struct span text);
void csvout_int(struct csvout *w, int64_t n);
void csvout_num(struct csvout *w, double n);
void csvout_time(struct csvout *w, int64_t at);		/* RFC 3339 UTC; NO_TIME is empty */
void csvout_end(struct csvout *w);
/* A whole row of names, "id,rule,account"; they are ours and need no quotes. */
void csvout_header(struct csvout *w, const char *names);

#endif
