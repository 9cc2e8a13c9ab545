/* site_bring.c - cells and spare devices for one visit. */
#include "daemon/report/site_part.h"

#include <string.h>

#include "daemon/report/silent.h"
#include "rules/cells.h"

/* The device that a member of a finding stands for: the id of another finding, or a
 * subject such as "zone:5" or "serial:4A0071". -1 = none of this site. */
static int32_t
member_device(const struct site *s, const char *member)
{
	const char *zone = "", *serial = "";

	for (size_t i = 0; i < s->n_finding; i++) {
		if (strcmp(s->finding[i].id, member) == 0) {
			zone = s->finding[i].zone;
			serial = s->finding[i].serial;
		}
	}
	if (strncmp(member, "serial:", 7) == 0) {
		serial = member + 7;
	} else if (strncmp(member, "zone:", 5) == 0) {
		const char *slash = strrchr(member, '/');	/* "zone:PARTITION/5" */

		zone = slash ? slash + 1 : member + 5;
	}
	if (!*zone && !*serial)
		return -1;
	return view_device_find(s->v, zone, serial, NO_TIME);
}

/* Lost together with most of the others, and still: the cause stands at the panel, not in
 * its cell. */
static bool
lost_with_the_site(const struct site *s, int32_t device)
{
	for (size_t i = s->losses.first[device]; i < s->losses.first[device + 1]; i++) {
		const struct loss *l = &s->losses.loss[i];

		if (l->end == NO_TIME && l->group >= 0 && s->losses.group[l->group].open)
			return true;
	}
	return false;
}

/* Marks every device whose cell is told low, that is lost alone, or that an open finding
 * about cells names. */
static bool *
cells_due(const struct site *s)
{
	bool *due = arena_take(&s->v->arena, s->v->n_device + 1);

	for (size_t i = 0; i < s->v->n_device; i++) {
		const struct holding *cond = s->state.device[i].cond;

		due[i] = !site_gone(&s->v->device[i]) && (cond[COND_BATTERY].since != NO_TIME ||
		    (cond[COND_LOST].since != NO_TIME && !lost_with_the_site(s, (int32_t)i)));
	}
	for (size_t i = 0; i < s->n_finding; i++) {
		const struct stored_finding *f = &s->finding[i];
		int32_t d;

		if (strcmp(f->rule, "low-battery") != 0 && strcmp(f->rule, "battery-cluster") != 0)
			continue;
		if (*f->zone || *f->serial) {
			d = view_device_find(s->v, f->zone, f->serial, NO_TIME);
			if (d >= 0)
				due[d] = true;
		}
		for (size_t k = 0; k < f->n_member; k++) {
			d = member_device(s, f->member[k]);
			if (d >= 0)
				due[d] = true;
		}
	}
	return due;
}

/* Cells of one type in one line, over all devices that need them. */
static void
bring_cells(struct lines *out, const struct site *s)
{
	struct page *p = out->p;
	const struct view *v = s->v;
	const bool *due = cells_due(s);
	bool *told = arena_take(&p->arena, v->n_device + 1);

	for (size_t i = 0; i < v->n_device; i++) {
		struct cell cell = cell_fold(&p->arena, v->device[s->order[i]].cell);
		const char *where = "";
		int64_t count = 0, devices = 0;

		if (!due[s->order[i]] || told[s->order[i]])
			continue;
		for (size_t k = i; k < v->n_device; k++) {
			const struct device *d = &v->device[s->order[k]];
			struct cell same = cell_fold(&p->arena, d->cell);
			int64_t each = d->cells ? d->cells : same.count ? same.count : 1;

			if (!due[s->order[k]] || strcmp(same.key, cell.key) != 0)
				continue;
			told[s->order[k]] = true;
			count += each;
			devices++;
			where = arena_fmt(&p->arena, "%s%s%s%s", where, *where ? ", " : "",
			    site_where(p, d), each > 1 ? arena_fmt(&p->arena, " (%lld)",
			    (long long)each) : "");
		}
		if (*cell.key)
			lines_fmt(out, "%lld x %s: %s", (long long)count, cell.label, where);
		else
			lines_fmt(out, "cells of a kind that no roster names, for %s: %s",
			    text_count(p, devices, "device", "devices"), where);
	}
}

/* Spare devices of one kind in one line. */
static void
bring_spares(struct lines *out, const struct site *s)
{
	struct page *p = out->p;
	const struct view *v = s->v;

	for (int kind = 0; kind < KIND_COUNT; kind++) {
		const char *where = "";
		int64_t count = 0;

		for (size_t i = 0; i < v->n_device; i++) {
			int32_t d = s->order[i];
			const struct holding *cond = s->state.device[d].cond;
			bool old = cond[COND_END_OF_LIFE].since != NO_TIME;
			bool lost = cond[COND_LOST].since != NO_TIME && !lost_with_the_site(s, d);
			/* What may be a silent signal is counted apart, with the panic buttons. */
			enum kind own = silent_device(v, d) ? KIND_PANIC : v->device[d].kind;

			if ((int)own != kind || site_gone(&v->device[d]) || (!old && !lost))
				continue;
			count++;
			where = arena_fmt(&p->arena, "%s%s%s (%s)", where, *where ? ", " : "",
			    site_where(p, &v->device[d]), old ? "end of life" :
			    "lost, should a new cell not bring it back");
		}
		if (!count)
			continue;
		lines_fmt(out, "%lld spare %s: %s", (long long)count, kind == KIND_PANIC ?
		    "device" : kind_heading((enum kind)kind), where);
	}
}

void
site_bring(struct lines *out, const struct site *s)
{
	int64_t together = 0;

	for (size_t i = 0; i < s->v->n_device; i++)
		together += lost_with_the_site(s, (int32_t)i);
	bring_cells(out, s);
	bring_spares(out, s);
	if (together)
		lines_fmt(out, "%s lost together: look at the receiver, repeaters, interference and "
		    "the panel's power first, before any of their cells.",
		    text_count(out->p, together, "device was", "devices were"));
	else if (!out->n)
		lines_add(out, "Nothing in particular: no cell and no device is known to be due.");
}
