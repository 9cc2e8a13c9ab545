#include "rules/names.h"

#include <string.h>

void
names_init(struct names *t, struct arena *a, size_t most)
{
	size_t size = 8;

	while (size < 2 * most)
		size *= 2;
	t->slot = arena_take(a, size * sizeof *t->slot);
	t->mask = size - 1;
}

struct names_slot *
names_slot(const struct names *t, const char *key, const char *second)
{
	size_t i = (size_t)(span_hash(span_of(key)) + 31 * span_hash(span_of(second))) & t->mask;

	while (t->slot[i].key && (strcmp(t->slot[i].key, key) != 0 ||
	    strcmp(t->slot[i].second, second) != 0))
		i = (i + 1) & t->mask;
	return &t->slot[i];
}

int32_t
names_find(const struct names *t, const char *key, const char *second)
{
	const struct names_slot *s = names_slot(t, key, second);

	return s->key ? s->value : -1;
}
