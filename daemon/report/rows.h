/* rows.h - a table of a page: its name, its headers, and a frame that scrolls by itself
 * where the screen is too narrow, so that the page need not. */
#ifndef DAEMON_REPORT_ROWS_H
#define DAEMON_REPORT_ROWS_H

#include <stddef.h>

#include "daemon/report/html.h"

/* Up to and with <tbody>. A head that begins with "#" is one of numbers. */
void rows_open(struct html *h, const char *name, const char *const *head, size_t n);
void rows_close(struct html *h);
/* A cell with a number. */
void rows_number(struct html *h, int64_t n);

#endif
