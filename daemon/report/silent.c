#include "daemon/report/silent.h"

#include <string.h>

bool
silent_event(const struct view *v, uint32_t event)
{
	const struct event *ev = &v->event[event];

	return (word_properties((enum word)ev->word) & WP_SILENT) || ev->hint == KIND_PANIC ||
	    ev->hint == KIND_HOLD_UP;
}

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
		if (silent_event(v, d->event[i]))
			return true;
	}
	return false;
}

/* A device may be called "silent button"; a sentence may say that one fell silent. */
static bool
mentions(const char *text, bool name)
{
	static const char *const word[] = {
		"panic", "duress", "hold-up", "hold up", "holdup", "robbery", "silent alarm",
		"silent signal",
	};

	for (size_t i = 0; i < sizeof word / sizeof *word; i++) {
		if (strcasestr(text, word[i]))
			return true;
	}
	return name && strcasestr(text, "silent");
}

bool
silent_text(const char *text)
{
	return mentions(text, true);
}

bool
silent_names(struct view *v, const char *text)
{
	if (mentions(text, false))
		return true;
	for (size_t i = 0; i < v->n_device; i++) {
		const struct device *d = &v->device[i];

		/* The label alone would do, but for texts that word a device otherwise. */
		if (silent_device(v, (int32_t)i) && ((*d->serial && strstr(text, d->serial)) ||
		    strstr(text, device_label(v, (int32_t)i))))
			return true;
	}
	return false;
}

bool
silent_finding(struct view *v, const struct stored_finding *f)
{
	int32_t device = -1;

	if (*f->zone || *f->serial)
		device = view_device_find(v, f->zone, f->serial, f->onset);
	return silent_device(v, device) || silent_names(v, f->summary) || silent_text(f->device);
}

enum silent_row
silent_evidence(struct view *v, const struct stored_evidence *e)
{
	enum silent_row row = SILENT_ROW_UNKNOWN;
	size_t lo = 0, hi = v->n_event;

	if (silent_names(v, e->event) || silent_names(v, e->detail))
		return SILENT_ROW_HIDDEN;
	while (lo < hi) {
		size_t mid = lo + (hi - lo) / 2;

		if (v->event[mid].at < e->at)
			lo = mid + 1;
		else
			hi = mid;
	}
	/* Its file is known by name only: all rows of that line and time have to be harmless. */
	for (; lo < v->n_event && v->event[lo].at == e->at; lo++) {
		const struct event *ev = &v->event[lo];

		if ((int64_t)ev->line != e->line)
			continue;
		if (silent_event(v, (uint32_t)lo) || silent_device(v, ev->device))
			return SILENT_ROW_HIDDEN;
		row = SILENT_ROW_SHOWN;
	}
	return row;
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
