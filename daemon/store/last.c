#include "daemon/store/last.h"

#include <stdlib.h>

#include "daemon/base/arena.h"

static struct last_one *
slot_of(const struct last *l, uint32_t point, uint32_t cell)
{
	size_t at = (size_t)((point * UINT64_C(0x9e3779b97f4a7c15) + cell) * UINT64_C(0x9fb21c651e98df25)
	    >> 32) & (l->cap - 1);

	while (l->slot[at].taken && (l->slot[at].point != point || l->slot[at].cell != cell))
		at = (at + 1) & (l->cap - 1);
	return &l->slot[at];
}

static void
more_room(struct last *l)
{
	struct last more = { .n = l->n, .cap = l->cap ? l->cap * 2 : 64 };

	more.slot = x_calloc(more.cap, sizeof *more.slot);
	for (size_t i = 0; i < l->cap; i++)
		if (l->slot[i].taken)
			*slot_of(&more, l->slot[i].point, l->slot[i].cell) = l->slot[i];
	free(l->slot);
	*l = more;
}

bool
last_add(struct last *l, uint32_t point, uint32_t cell, int64_t at, size_t which, size_t *gone)
{
	struct last_one *one;

	*gone = SIZE_MAX;
	if ((l->n + 1) * 2 > l->cap)
		more_room(l);
	one = slot_of(l, point, cell);
	if (one->taken && one->at > at)
		return false;
	if (one->taken)
		*gone = one->which;
	else
		l->n++;
	*one = (struct last_one){ at, point, cell, which, true };
	return true;
}

void
last_release(struct last *l)
{
	free(l->slot);
	*l = (struct last){ 0 };
}
