#include "daemon/report/lines.h"

#include <stdarg.h>
#include <stdlib.h>

void
lines_add(struct lines *l, const char *text)
{
	l->text = x_grow(l->text, &l->cap, l->n + 1, sizeof *l->text);
	l->text[l->n++] = text;
}

void
lines_fmt(struct lines *l, const char *fmt, ...)
{
	va_list ap;

	va_start(ap, fmt);
	lines_add(l, arena_vfmt(&l->p->arena, fmt, ap));
	va_end(ap);
}

void
lines_release(struct lines *l)
{
	free(l->text);
	*l = (struct lines){ .p = l->p };
}

void
lines_print(struct lines *l, const char *first)
{
	for (size_t i = 0; i < l->n; i++)
		page_para(l->p, first, l->text[i]);
	lines_release(l);
}
