#include "daemon/report/silent.h"

#include <string.h>

bool
silent_device(const struct view *v, int32_t device)
{
	const struct device *d;

	if (device < 0)
		return false;
	d = &v->device[device];
	if (d->kind == KIND_PANIC || d->kind == KIND_HOLD_UP || silent_text(d->name))
		return true;
	for (size_t i = 0; i < d->n_event; i++) {
		const struct event *ev = &v->event[d->event[i]];

		if ((word_properties((enum word)ev->word) & WP_SILENT) || ev->hint == KIND_PANIC ||
		    ev->hint == KIND_HOLD_UP)
			return true;
	}
	return false;
}

bool
silent_text(const char *text)
{
	static const char *const word[] = {
		"panic", "duress", "hold-up", "hold up", "holdup", "robbery", "silent",
	};

	for (size_t i = 0; i < sizeof word / sizeof *word; i++) {
		if (strcasestr(text, word[i]))
			return true;
	}
	return false;
}

bool
silent_finding(const struct view *v, const struct stored_finding *f)
{
	if (silent_text(f->summary) || silent_text(f->device))
		return true;
	if (*f->zone || *f->serial) {
		if (silent_device(v, view_device_find(v, f->zone, f->serial, f->onset)))
			return true;
	}
	return false;
}

const char *
silent_label(struct view *v, int32_t device)
{
	const struct device *d;

	if (!silent_device(v, device))
		return device_label(v, device);
	d = &v->device[device];
	return arena_fmt(&v->arena, "%s %s (%s)", *d->zone ? "zone" : "serial",
	    *d->zone ? d->zone : d->serial, SILENT_TEXT);
}
