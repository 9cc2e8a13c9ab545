/* arena.h - memory that is given back all at once.
 *
 * Everything taken from an arena lives until arena_reset() or
 * arena_release(). A zeroed struct is an empty arena. Out of memory ends the
 * program with a message: there is nothing sensible left to do, and a store
 * transaction that is cut off leaves nothing behind.
 */
#ifndef DAEMON_BASE_ARENA_H
#define DAEMON_BASE_ARENA_H

#include <stdarg.h>
#include <stddef.h>

#include "daemon/base/span.h"

struct arena_block;

struct arena {
	struct arena_block *head;	/* the block in use; older ones behind it */
	size_t              total;	/* bytes held from the system */
};

void *arena_take(struct arena *a, size_t size);		/* zeroed, aligned for anything */
char *arena_bytes(struct arena *a, const char *p, size_t n);	/* copy, not aligned, NUL added */
char *arena_text(struct arena *a, struct span s);		/* copy with a NUL */
char *arena_fmt(struct arena *a, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
char *arena_vfmt(struct arena *a, const char *fmt, va_list ap)
    __attribute__((format(printf, 2, 0)));
/* Moves a list of `n` items that was grown by x_grow() into the arena and frees it; there
 * is room for one item more, zeroed. */
void *arena_keep(struct arena *a, void *list, size_t n, size_t item);
void arena_reset(struct arena *a);	/* keeps one block for the next round */
void arena_release(struct arena *a);	/* gives all back; the arena is empty again */

/* malloc family that cannot return NULL; sizes are checked for overflow. */
void *x_alloc(size_t size);
void *x_calloc(size_t n, size_t size);
char *x_text(const char *text);		/* a copy */
/* For memory that others ask the system for: tells, and ends the program. */
_Noreturn void x_none(void);
void *x_grow(void *p, size_t *cap, size_t need, size_t item);	/* at least `need` items, doubling */

#endif
