/* err.h - one error value, filled where the fault is first seen.
 *
 * Convention of the whole program: a function that can fail takes a
 * `struct err *e` last, returns 0 (or a positive result) when it worked and
 * -1 (or NULL) when it did not, and fills *e in the second case only. The
 * first fault wins: callers put context in front with err_wrap(), they never
 * overwrite it. The text is what an operator reads: "path:line: what".
 */
#ifndef DAEMON_BASE_ERR_H
#define DAEMON_BASE_ERR_H

#include <stdint.h>

enum err_code {
	ERR_NONE = 0,
	ERR_USAGE,	/* wrong command line: exit code 2 */
	ERR_IO,		/* the operating system said no */
	ERR_DATA,	/* an input file is damaged as a whole */
	ERR_LIMIT,	/* a named limit was reached */
	ERR_LATER,	/* as ERR_IO, and of the moment: another try may do */
	ERR_STORE,	/* SQLite said no, or the file is not our store */
};

struct err {
	enum err_code code;
	char          text[512];
};

/* Fill *e; always returns -1, so that `return err_set(...)` reads well.
 * `path` may be NULL when no input is concerned; line 0 is the whole file. */
int err_set(struct err *e, enum err_code code, const char *path, uint64_t line,
    const char *fmt, ...) __attribute__((format(printf, 5, 6)));

/* ERR_LATER or ERR_IO, by an errno: no room (disk, memory, open files) or a disk's fault say
 * nothing of the file that was asked for. */
enum err_code err_system(int fault);

/* Put "context: " in front of the text that is there. Always returns -1. */
int err_wrap(struct err *e, const char *fmt, ...)
    __attribute__((format(printf, 2, 3)));

#endif
