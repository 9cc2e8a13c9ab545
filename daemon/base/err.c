#include "daemon/base/err.h"

#include <errno.h>
#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

int
err_set(struct err *e, enum err_code code, const char *path, uint64_t line,
    const char *fmt, ...)
{
	size_t n = 0;
	va_list ap;

	e->code = code;
	e->text[0] = '\0';
	if (path && line)
		snprintf(e->text, sizeof e->text, "%.300s:%" PRIu64 ": ", path, line);
	else if (path)
		snprintf(e->text, sizeof e->text, "%.300s: ", path);
	n = strlen(e->text);
	va_start(ap, fmt);
	vsnprintf(e->text + n, sizeof e->text - n, fmt, ap);
	va_end(ap);
	return -1;
}

enum err_code
err_system(int fault)
{
	static const int passing[] = { EMFILE, ENFILE, ENOMEM, EAGAIN, ENOSPC, EDQUOT, EIO, ESTALE };

	for (size_t i = 0; i < sizeof passing / sizeof *passing; i++)
		if (fault == passing[i])
			return ERR_LATER;
	return ERR_IO;
}

int
err_wrap(struct err *e, const char *fmt, ...)
{
	char old[sizeof e->text];
	size_t n;
	va_list ap;

	memcpy(old, e->text, sizeof old);
	va_start(ap, fmt);
	vsnprintf(e->text, sizeof e->text, fmt, ap);
	va_end(ap);
	n = strlen(e->text);
	snprintf(e->text + n, sizeof e->text - n, ": %s", old);
	return -1;
}
