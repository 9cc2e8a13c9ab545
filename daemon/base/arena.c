#include "daemon/base/arena.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK = 64 * 1024, ALIGN = 16 };

struct arena_block {
	struct arena_block *next;
	size_t              used, size;
	_Alignas(ALIGN) char data[];
};

_Noreturn void
x_none(void)
{
	fputs("tripsift: out of memory; nothing of the running file was kept\n", stderr);
	exit(3);
}

void *
x_alloc(size_t size)
{
	void *p = malloc(size ? size : 1);

	if (!p)
		x_none();
	return p;
}

void *
x_calloc(size_t n, size_t size)
{
	void *p = calloc(n ? n : 1, size ? size : 1);

	if (!p)
		x_none();
	return p;
}

char *
x_text(const char *text)
{
	size_t n = strlen(text) + 1;

	return memcpy(x_alloc(n), text, n);
}

void *
x_grow(void *p, size_t *cap, size_t need, size_t item)
{
	size_t want = *cap ? *cap : 16;

	if (need <= *cap)
		return p;
	while (want < need)
		want = want > (size_t)-1 / 4 ? need : want * 2;
	if (want > (size_t)-1 / item)
		x_none();
	p = realloc(p, want * item);
	if (!p)
		x_none();
	*cap = want;
	return p;
}

static void *
take(struct arena *a, size_t size, size_t align)
{
	struct arena_block *b = a->head;
	size_t at = b ? (b->used + align - 1) & ~(align - 1) : 0;

	if (!b || at > b->size || size > b->size - at) {
		size_t want = size > BLOCK ? size : BLOCK;

		b = x_alloc(sizeof *b + want);
		b->next = a->head;
		b->size = want;
		a->head = b;
		a->total += want;
		at = 0;
	}
	b->used = at + size;
	return b->data + at;
}

void *
arena_take(struct arena *a, size_t size)
{
	void *p = take(a, size, ALIGN);

	memset(p, 0, size);
	return p;
}

char *
arena_bytes(struct arena *a, const char *p, size_t n)
{
	char *to = take(a, n + 1, 1);

	if (n)
		memcpy(to, p, n);
	to[n] = '\0';
	return to;
}

char *
arena_text(struct arena *a, struct span s)
{
	return arena_bytes(a, s.p, s.n);
}

char *
arena_vfmt(struct arena *a, const char *fmt, va_list ap)
{
	va_list again;
	int n;
	char *to;

	va_copy(again, ap);
	n = vsnprintf(NULL, 0, fmt, ap);
	to = take(a, (size_t)n + 1, 1);
	vsnprintf(to, (size_t)n + 1, fmt, again);
	va_end(again);
	return to;
}

char *
arena_fmt(struct arena *a, const char *fmt, ...)
{
	va_list ap;
	char *to;

	va_start(ap, fmt);
	to = arena_vfmt(a, fmt, ap);
	va_end(ap);
	return to;
}

void *
arena_keep(struct arena *a, void *list, size_t n, size_t item)
{
	void *kept = arena_take(a, (n + 1) * item);

	if (n)
		memcpy(kept, list, n * item);
	free(list);
	return kept;
}

void
arena_reset(struct arena *a)
{
	struct arena_block *keep = a->head;

	if (!keep)
		return;
	for (struct arena_block *b = keep->next, *next; b; b = next) {
		next = b->next;
		a->total -= b->size;
		free(b);
	}
	keep->next = NULL;
	keep->used = 0;
}

void
arena_release(struct arena *a)
{
	for (struct arena_block *b = a->head, *next; b; b = next) {
		next = b->next;
		free(b);
	}
	*a = (struct arena){ 0 };
}
