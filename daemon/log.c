#include "daemon/log.h"

#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "daemon/base/civil.h"
#include "daemon/base/span.h"
#include "daemon/base/utf8.h"

const char *
log_value(struct arena *a, const char *value)
{
	struct span s = span_of(value);
	char *out = arena_take(a, s.n * 4 + 3), *to = out;
	bool quote = s.n == 0 || strpbrk(value, " \"=\\") != NULL;
	uint32_t c;

	if (quote)
		*to++ = '"';
	while (s.n) {
		size_t n = utf8_next(s, &c);
		char escape[UTF8_ESCAPE];

		if (c == '"' || c == '\\') {
			*to++ = '\\';
			*to++ = (char)c;
		} else if (utf8_shown(c)) {
			memcpy(to, s.p, n);
			to += n;
		} else {
			int len = utf8_escape(escape, c, s.p[0]);

			memcpy(to, escape, (size_t)len);
			to += len;
		}
		s.p += n;
		s.n -= n;
	}
	if (quote)
		*to++ = '"';
	*to = '\0';
	return out;
}

void
log_begin(struct log *l, enum log_level level, const char *what)
{
	static const char *const name[] = { "error", "warning", "info" };
	char at[CIVIL_TEXT];

	*l = (struct log){ 0 };
	l->line = arena_fmt(&l->arena, "time=%s level=%s what=%s",
	    civil_rfc3339((int64_t)time(NULL) * SECOND, at), name[level], what);
}

void
log_text(struct log *l, const char *key, const char *value)
{
	l->line = arena_fmt(&l->arena, "%s %s=%s", l->line, key, log_value(&l->arena, value));
}

void
log_int(struct log *l, const char *key, int64_t value)
{
	l->line = arena_fmt(&l->arena, "%s %s=%lld", l->line, key, (long long)value);
}

/* One write a line, so that lines of threads and processes do not mix. Nobody can be told
 * when even this fails. */
void
log_end(struct log *l)
{
	const char *line = arena_fmt(&l->arena, "%s\n", l->line);
	ssize_t n = write(STDERR_FILENO, line, strlen(line));

	(void)n;
	arena_release(&l->arena);
}

void
log_say(enum log_level level, const char *what, const char *key, const char *value)
{
	struct log l;

	log_begin(&l, level, what);
	if (key)
		log_text(&l, key, value);
	log_end(&l);
}
