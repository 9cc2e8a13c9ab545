#include "parsers/direction.h"

static void
step(struct direction_last *last, enum direction_by by, int64_t at, struct direction_steps *steps)
{
	steps->up += last->has[by] && at > last->at[by];
	steps->down += last->has[by] && at < last->at[by];
	last->has[by] = true;
	last->at[by] = at;
}

void
direction_add(struct direction *d, struct span account, enum direction_by by, int64_t at)
{
	uint64_t hash = span_hash_fold(account);
	struct direction_last *own = &d->last[hash % DIRECTION_ACCOUNTS];

	if (own->account != hash)
		*own = (struct direction_last){ .account = hash };
	step(own, by, at, &d->steps[1][by]);
	step(&d->any, by, at, &d->steps[0][by]);
}

bool
direction_newest_first(const struct direction *d)
{
	for (int by = DIRECTION_RECEIVED; by >= DIRECTION_TIME; by--) {
		for (int own = 1; own >= 0; own--) {
			const struct direction_steps *n = &d->steps[own][by];

			if (n->down && n->down >= 2 * n->up)
				return true;
			if (n->up && n->up >= 2 * n->down)
				return false;
		}
	}
	return false;
}
