/* log.h - what the daemon did, one line each on standard error: key=value, for people and
 * for grep. A value that holds a blank, a quote or = is in quotes; whatever could steer a
 * terminal or begin a second line is written as \x1B.
 *
 *   time=2026-10-01T08:15:30Z level=info what=taken file=inbox/a.csv rows=120 stored=118
 */
#ifndef DAEMON_LOG_H
#define DAEMON_LOG_H

#include <stdint.h>

#include "daemon/base/arena.h"

enum log_level { LOG_ERROR, LOG_WARNING, LOG_INFO };

struct log { struct arena arena; const char *line; };

/* A line is begun, given its values, and ended: then it is written at once. */
void log_begin(struct log *l, enum log_level level, const char *what);
void log_text(struct log *l, const char *key, const char *value);
void log_int(struct log *l, const char *key, int64_t value);
void log_end(struct log *l);

/* The common line of one text: what=..., and key=value where `key` is not NULL. */
void log_say(enum log_level level, const char *what, const char *key, const char *value);

/* The value as it stands in the line. */
const char *log_value(struct arena *a, const char *value);

#endif
