#include "rules/spells.h"

#include "rules/state.h"

static bool
same_place(const struct view *v, const struct spell *s, const struct event *ev)
{
	return s->device == ev->device && (ev->device >= 0 ||
	    v->point[v->event[s->event].point].zone_key == v->point[ev->point].zone_key);
}

void
spells_find(struct view *v, enum word begins, enum word ends, struct spells *out)
{
	const struct state *state;
	size_t n = 0, n_open = 0, k;
	size_t *open;		/* those that hold, by their place in the list */

	*out = (struct spells){ 0 };
	for (size_t i = 0; i < v->n_event; i++)
		n += v->event[i].word == begins;
	if (!n)
		return;
	state = view_state(v);
	out->spell = arena_take(&v->arena, n * sizeof *out->spell);
	open = arena_take(&v->arena, n * sizeof *open);
	for (size_t i = 0; i < v->n_event; i++) {
		const struct event *ev = &v->event[i];
		enum word w = state->meant[i];

		for (k = 0; k < n_open && !same_place(v, &out->spell[open[k]], ev); k++)
			;
		if (w == begins && k == n_open) {
			open[n_open++] = out->n;
			out->spell[out->n++] = (struct spell){ .from = ev->at, .to = NO_TIME,
				.event = (uint32_t)i, .device = ev->device,
				.before = (ev->marks & MARK_STILL) != 0 };
		} else if (w == ends && k < n_open && !(ev->marks & MARK_STILL)) {
			out->spell[open[k]].to = ev->at;
			out->spell[open[k]].end_event = (uint32_t)i;
			open[k] = open[--n_open];
		}
	}
}

size_t
spells_newest(const struct spells *s, int64_t within, size_t *first, size_t *last)
{
	const struct spell *newest = NULL;
	size_t n = 0;

	for (size_t i = s->n; i-- > 0;) {
		if (s->spell[i].device >= 0)
			continue;
		if (!newest) {
			newest = &s->spell[i];
			*last = i;
		}
		if (newest->from - s->spell[i].from > within)
			break;
		*first = i;
		n++;
	}
	return n;
}

/* The place of the panel's spell that is `n` of them before place i (0: i itself); SIZE_MAX. */
static size_t
back(const struct spells *s, size_t i, size_t n)
{
	for (;; i--) {
		if (s->spell[i].device < 0 && n-- == 0)
			return i;
		if (i == 0)
			return SIZE_MAX;
	}
}

size_t
spells_due(const struct view *v, const struct spells *s, size_t times, int64_t within,
    size_t *first, size_t *last)
{
	int64_t until = v->now;
	size_t n = 0, start;

	*last = SIZE_MAX;
	for (size_t i = s->n; i-- > 0;) {
		if (s->spell[i].device >= 0)
			continue;
		if (view_cover_within(v, s->spell[i].from, until) >= within ||
		    (start = back(s, i, times - 1)) == SIZE_MAX)
			break;
		if (s->spell[i].from - s->spell[start].from > within)
			continue;
		*last = *last == SIZE_MAX ? i : *last;
		*first = start;
		until = s->spell[i].from;
	}
	for (size_t i = *last + 1; i-- > 0 && s->spell[*last].from - s->spell[i].from <= within;)
		n += s->spell[i].device < 0;
	return n;	/* none stands: *last + 1 is 0 */
}
