#include "rules/activation.h"

#include <stdlib.h>

#define SAME_REPORT (2 * SECOND)	/* radio repeats of one report; common practice, no source */

enum { LOOSE = MARK_COARSE | MARK_BUFFERED | MARK_RESET };

struct input {
	const char *zone_key;	/* one pointer for each zone of the view */
	bool        returns;	/* reports a return somewhere in this log */
	bool        active;	/* with a return: not returned yet */
	int64_t     last;	/* last report; NO_TIME = none yet */
	size_t      current;	/* its newest activation in the list, plus one; 0 = none in it */
};

static unsigned
input_of(const struct view *v, const struct device *d, const struct event *ev,
    struct input *input, unsigned *n)
{
	const char *key = v->point[ev->point].zone_key;
	unsigned i = 0;

	if (!*key || (ev->marks & (MARK_USER | MARK_PANEL)))
		key = d->zone_key;
	while (i < *n && input[i].zone_key != key)
		i++;
	if (i < *n)
		return i;
	if (*n == ACTIVATION_INPUTS)
		return ACTIVATION_INPUTS - 1;
	input[*n] = (struct input){ .zone_key = key, .last = NO_TIME };
	return (*n)++;
}

static bool
is_return(enum word w)
{
	return (word_properties(w) & WP_RETURN) || w == W_RESTORE;
}

static void
report(struct input *in, unsigned number, const struct event *ev, uint32_t index, int64_t from,
    struct activations *out)
{
	struct activation *a;
	bool same = in->returns ? in->active :
	    in->last != NO_TIME && ev->at - in->last <= SAME_REPORT;

	in->last = ev->at;
	in->active = true;
	if (!same) {
		in->current = 0;
		if (from != NO_TIME && ev->at < from)
			return;
		out->one = x_grow(out->one, &out->cap, out->n + 1, sizeof *out->one);
		out->one[out->n++] = (struct activation){ .start = ev->at, .end = NO_TIME,
			.event = index, .input = (uint8_t)number,
			.loose = (ev->marks & LOOSE) != 0 };
		in->current = out->n;
	}
	if (!in->current)
		return;
	a = &out->one[in->current - 1];
	a->reports += a->reports < UINT16_MAX;
	a->alarm |= (word_properties(ev->word) & WP_ALARM) != 0;
}

void
activations_of(const struct view *v, int32_t device, int64_t from, struct activations *out)
{
	const struct device *d = &v->device[device];
	struct input input[ACTIVATION_INPUTS];
	unsigned n = 0;

	out->n = 0;
	for (size_t i = 0; i < d->n_event; i++) {
		const struct event *ev = &v->event[d->event[i]];

		if (is_return(ev->word))
			input[input_of(v, d, ev, input, &n)].returns = true;
	}
	for (size_t i = 0; i < d->n_event; i++) {
		const struct event *ev = &v->event[d->event[i]];
		unsigned number;
		struct input *in;

		if (is_return(ev->word)) {
			in = &input[input_of(v, d, ev, input, &n)];
			if (in->active && in->current) {
				out->one[in->current - 1].end = ev->at;
				out->one[in->current - 1].loose_end =
				    (ev->marks & (LOOSE | MARK_WRITTEN)) != 0;
			}
			in->active = false;
		} else if ((word_properties(ev->word) & WP_ACTIVE) && !(ev->marks & MARK_STILL)) {
			number = input_of(v, d, ev, input, &n);
			report(&input[number], number, ev, d->event[i], from, out);
		}
	}
}

void
activations_release(struct activations *list)
{
	free(list->one);
	*list = (struct activations){ 0 };
}
