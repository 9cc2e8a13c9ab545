#include "rules/spells.h"

#include "rules/state.h"

void
spells_find(struct view *v, enum word begins, enum word ends, struct spells *out)
{
	const struct state *state;
	size_t n = 0;

	*out = (struct spells){ 0 };
	for (size_t i = 0; i < v->n_event; i++)
		n += v->event[i].word == begins;
	if (!n)
		return;
	state = view_state(v);
	out->spell = arena_take(&v->arena, n * sizeof *out->spell);
	for (size_t i = 0; i < v->n_event; i++) {
		const struct event *ev = &v->event[i];
		enum word w = state->meant[i];
		const char *key = v->point[ev->point].zone_key;
		struct spell *open = NULL;

		if (w != begins && w != ends)
			continue;
		for (size_t k = out->n; k-- > 0 && !open;) {
			struct spell *s = &out->spell[k];

			if (s->to == NO_TIME && s->device == ev->device && (ev->device >= 0 ||
			    v->point[v->event[s->event].point].zone_key == key))
				open = s;
		}
		if (w == begins && !open) {
			out->spell[out->n++] = (struct spell){ .from = ev->at, .to = NO_TIME,
				.event = (uint32_t)i, .device = ev->device,
				.before = (ev->marks & MARK_STILL) != 0 };
		} else if (w == ends && open && !(ev->marks & MARK_STILL)) {
			open->to = ev->at;
			open->end_event = (uint32_t)i;
		}
	}
}

size_t
spells_newest(const struct spells *s, int64_t within, size_t *first)
{
	const struct spell *newest = NULL;
	size_t n = 0;

	for (size_t i = s->n; i-- > 0;) {
		if (s->spell[i].device >= 0)
			continue;
		newest = newest ? newest : &s->spell[i];
		if (newest->from - s->spell[i].from > within)
			break;
		*first = i;
		n++;
	}
	return n;
}
