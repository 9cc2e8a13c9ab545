/* names.h - pairs of texts to small numbers.
 *
 * For keys whose number is known before: the table never grows. Keys are borrowed
 * and must outlive it; memory is the arena's.
 */
#ifndef RULES_NAMES_H
#define RULES_NAMES_H

#include <stddef.h>
#include <stdint.h>

#include "daemon/base/arena.h"

struct names {
	struct names_slot {
		const char *key, *second;	/* key NULL = free */
		int32_t     value;
	}     *slot;
	size_t mask;
};

/* `most` is the most keys that will ever be put in. */
void names_init(struct names *t, struct arena *a, size_t most);
/* The key's slot; a free one, to be filled by the caller, if it is not there. `second`
 * is "" where one text is enough. */
struct names_slot *names_slot(const struct names *t, const char *key, const char *second);
/* The key's value, -1 if it is not there. */
int32_t names_find(const struct names *t, const char *key, const char *second);

#endif
