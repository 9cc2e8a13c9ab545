/* site_devices.c - every device of a site, with its last 30 days. */
#include "daemon/report/site_part.h"

#include <string.h>
#include <strings.h>

#include "daemon/base/serial.h"
#include "daemon/report/silent.h"
#include "rules/cells.h"

int64_t
site_device_days(struct page *p, const struct site *s, int32_t device, int32_t day[STATE_DAYS])
{
	const struct view *v = s->v;
	unsigned count[STATE_DAYS] = { 0 };
	int64_t now = v->now == NO_TIME ? 0 : v->now;
	int64_t ahead = p->zone.offset ? p->zone.offset(p->zone.zone, now / SECOND) * SECOND : 0;
	int64_t midnight = (now + ahead) / DAY * DAY - ahead;

	state_days(v, device, count);
	for (int i = 0; i < STATE_DAYS; i++) {
		int64_t from = midnight - (STATE_DAYS - 1 - i) * DAY;

		day[i] = count[i] == 0 && view_cover_within(v, from, from + DAY) <= 0 ? -1 :
		    (int32_t)count[i];
	}
	return (now + ahead) / DAY;
}

/* One character a day, oldest first, in groups of five: how often the input went off.
 * A digit is exact, + is 10 to 99, * is more, . is none, ? is a day no export covers. */
static const char *
strip(struct page *p, const int32_t day[STATE_DAYS], int64_t *sum)
{
	char *out = arena_take(&p->arena, STATE_DAYS + STATE_DAYS / 5 + 1), *to = out;

	*sum = 0;
	for (int i = 0; i < STATE_DAYS; i++) {
		int32_t n = day[i];

		if (i && i % 5 == 0)
			*to++ = ' ';
		*to++ = n < 0 ? '?' : n == 0 ? '.' : n < 10 ? (char)('0' + n) : n < 100 ? '+' : '*';
		*sum += n > 0 ? n : 0;
	}
	*to = '\0';
	return out;
}

/* "no low reported", "LOW since ...", "was low 3 times, last ...". */
static const char *
battery_text(struct page *p, const struct site *s, int32_t device)
{
	const struct view *v = s->v;
	const struct device *d = &v->device[device];
	const struct holding *low = &s->state.device[device].cond[COND_BATTERY];
	int64_t times = 0, last = NO_TIME;

	for (size_t i = 0; i < d->n_event; i++) {
		const struct event *ev = &v->event[d->event[i]];

		if (ev->word == W_LOW_BATTERY && !(ev->marks & MARK_STILL)) {
			times++;
			last = ev->at;
		}
	}
	if (low->since != NO_TIME)
		return arena_fmt(&p->arena, "cell %s", site_holding(p, "LOW", low));
	if (times)
		return arena_fmt(&p->arena, "cell was low %s, last %s",
		    text_count(p, times, "time", "times"), text_day(p, last));
	return d->wireless ? "no low cell told" : "";
}

static const char *
supervision_text(struct page *p, const struct site *s, int32_t device)
{
	static const char *const source[] = { "", "stated", "learned", "learned" };
	const struct checkin *c = &s->losses.checkin[device];
	const struct holding *lost = &s->state.device[device].cond[COND_LOST];
	const char *text = "";
	int64_t recent = 0, last = NO_TIME;
	long missed;

	for (size_t i = s->losses.first[device]; i < s->losses.first[device + 1]; i++) {
		const struct loss *l = &s->losses.loss[i];

		if (l->at >= s->v->now - STATE_DAYS * DAY) {
			recent++;
			last = l->at;
		}
	}
	if (c->source != CHECKIN_NONE)
		text = arena_fmt(&p->arena, "checks in every %s (%s)", text_span(p, c->interval),
		    source[c->source]);
	missed = losses_missed(s->v, &s->losses, device);
	if (missed > 0)
		text = arena_fmt(&p->arena, "%s, %s missed", text,
		    text_count(p, missed, "check-in", "check-ins"));
	if (lost->since != NO_TIME)
		text = arena_fmt(&p->arena, "%s%s%s", text, *text ? ", " : "",
		    site_holding(p, "LOST", lost));
	else if (recent)
		text = arena_fmt(&p->arena, "%s%slost %s in 30 days, last %s", text, *text ? ", " : "",
		    text_count(p, recent, "time", "times"), text_time(p, last));
	return text;
}

const char *
site_device_line(struct page *p, const struct device *d)
{
	struct cell cell = cell_fold(&p->arena, d->cell);
	const char *text = *d->name && strcasecmp(d->name, kind_heading(d->kind)) != 0 ?
	    arena_fmt(&p->arena, "%s, %s", d->name, kind_heading(d->kind)) : kind_heading(d->kind);

	if (*d->serial)
		text = arena_fmt(&p->arena, "%s, serial %s", text, d->serial);
	if (*d->partition)
		text = arena_fmt(&p->arena, "%s, partition %s", text, d->partition);
	if (*cell.key)
		text = arena_fmt(&p->arena, "%s, cell %s", text, cell.key);
	if (d->life)
		text = arena_fmt(&p->arena, "%s, LIFE SAFETY", text);
	else if (d->maybe_life)
		text = arena_fmt(&p->arena, "%s, may be LIFE SAFETY", text);
	return text;
}

const char *
site_device_state(struct page *p, const struct site *s, int32_t device)
{
	const struct device_state *st = &s->state.device[device];
	const char *text, *part;

	text = st->last_heard == NO_TIME ? "never heard in what is covered" :
	    arena_fmt(&p->arena, "heard %s", text_time(p, st->last_heard));
	if (*(part = battery_text(p, s, device)))
		text = arena_fmt(&p->arena, "%s; %s", text, part);
	if (*(part = supervision_text(p, s, device)))
		text = arena_fmt(&p->arena, "%s; %s", text, part);
	for (int c = 0; c < COND_COUNT; c++) {
		if (c != COND_BATTERY && c != COND_LOST && st->cond[c].since != NO_TIME)
			text = arena_fmt(&p->arena, "%s; %s", text, site_holding(p,
			    condition_text((enum condition)c), &st->cond[c]));
	}
	return text;
}

const char *
site_device_gone(struct page *p, const struct device *d)
{
	return arena_fmt(&p->arena, "before: %s, taken out %s", site_device_line(p, d),
	    text_time(p, d->unlearned));
}

static void
one_device(struct page *p, const struct site *s, int32_t device, int zone_width)
{
	const struct view *v = s->v;
	const struct device *d = &v->device[device];
	const char *lead = arena_fmt(&p->arena, " %*s  ", zone_width, *d->zone ? d->zone : "-");
	const char *under = arena_fmt(&p->arena, "%*s", text_width(lead), "");
	const char *part;
	int32_t day[STATE_DAYS];
	int64_t sum;

	if (silent_device(v, device)) {
		page_para(p, lead, SILENT_TEXT);
		return;
	}
	if (site_gone(d)) {
		page_para(p, lead, site_device_gone(p, d));
		return;
	}
	page_para(p, lead, site_device_line(p, d));
	page_para(p, under, site_device_state(p, s, device));
	site_device_days(p, s, device, day);
	part = strip(p, day, &sum);
	if (sum)
		page_fmt(p, under, "%s  %s", part, text_count(p, sum, "activation", "activations"));
}

static const char *
serial_where(struct page *p, const struct device *d)
{
	return *d->zone ? arena_fmt(&p->arena, "%s (zone %s)", d->serial, d->zone) : d->serial;
}

/* What one hand may have made of another serial; nothing is merged for it. */
static void
look_alikes(struct lines *out, const struct site *s)
{
	static const char *const why[] = {
		[SERIAL_LOOKS_ALIKE] = "O and 0, I and 1, Z and 2, S and 5, B and 8 are easily taken "
		    "for one another",
		[SERIAL_OTHER_BASE] = "the one is the other's number, decimal and hexadecimal",
	};
	const struct view *v = s->v;
	const char *zeros = "";

	for (size_t i = 0; i < v->n_device; i++) {
		const struct device *a = &v->device[s->order[i]];

		if (a->leading_zeros)
			zeros = arena_fmt(&out->p->arena, "%s%s%s", zeros, *zeros ? ", " : "",
			    a->serial);
		for (size_t k = i + 1; k < v->n_device && *a->serial_key; k++) {
			const struct device *b = &v->device[s->order[k]];
			enum serial_twin twin = serial_twin(a->serial_key, b->serial_key);

			if (twin != SERIAL_NO_TWIN && *b->serial_key)
				lines_fmt(out, "Compare the stickers of %s and %s: %s.",
				    serial_where(out->p, a), serial_where(out->p, b), why[twin]);
		}
	}
	if (*zeros)
		lines_fmt(out, "Met with and without its leading zeros, and taken for one device: %s.",
		    zeros);
}

void
site_device_notes(struct lines *out, const struct site *s)
{
	const struct view *v = s->v;
	const char *heard = "";
	size_t listed = 0;

	for (size_t i = 0; i < v->n_device; i++) {
		const struct device *d = &v->device[s->order[i]];

		if (site_belongs(d))
			listed++;
		else
			heard = arena_fmt(&out->p->arena, "%s%s%s", heard, *heard ? ", " : "",
			    d->serial);
	}
	if (!listed)
		lines_add(out, "None is known.");
	if (*heard)
		lines_fmt(out, "Also heard here, not of this site: %s.", heard);
	look_alikes(out, s);
}

void
site_devices(struct page *p, const struct site *s)
{
	const struct view *v = s->v;
	struct lines notes = { .p = p };
	bool any = false;
	int zone_width = 2;

	for (size_t i = 0; i < v->n_device; i++) {
		const struct device *d = &v->device[s->order[i]];
		int w = text_width(text_safe(p, d->zone));

		any |= site_belongs(d);
		if (site_belongs(d) && w > zone_width)
			zone_width = w;
	}
	page_heading(p, STYLE_STRONG, "DEVICES, by zone");
	if (any)
		page_para(p, "  ", "The row of marks is the last 30 days, oldest first: how often the "
		    "input went off that day (. none, 1 to 9, + 10 or more, * 100 or more, ? not "
		    "covered by any export).");
	for (size_t i = 0; i < v->n_device; i++) {
		if (site_belongs(&v->device[s->order[i]]))
			one_device(p, s, s->order[i], zone_width);
	}
	site_device_notes(&notes, s);
	lines_print(&notes, "  ");
}
