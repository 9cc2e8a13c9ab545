/* timeline_html.c - the lanes of an account's days, drawn and in words. */
#include "daemon/report/html.h"
#include "daemon/report/silent.h"
#include "daemon/report/site_part.h"
#include "daemon/report/timeline.h"

/* Units of a drawing. It is stretched to its place, so only proportions are fixed here. */
enum { COLUMN = 10, ROW = 2, HIGH = 24 * ROW, PIXELS = 16 /* of a column, where there is room */ };

/* ---- shapes ------------------------------------------------------------------------ */

static void
path_open(struct html *h, const char *class)
{
	html_open(h, "path");
	html_attr(h, "class", class);
	html_attr_open(h, "d");
}

static void
path_close(struct html *h)
{
	html_attr_close(h);
	html_close(h, "path");
}

static void
rect(struct html *h, int32_t x, int32_t y, int32_t width, int32_t height)
{
	html_fmt(h, "M%d %dh%dv%dh-%dz", x, y, width, height, width);
}

/* Hours from one midnight to others: the rest of the first day, whole days, the beginning
 * of the last one. Whole days are one rectangle where the look goes over the whole column. */
static void
hours(struct html *h, int32_t from, int32_t to, int32_t width)
{
	while (from < to) {
		int32_t day = from / 24, first = from % 24, whole = (to - from) / 24;

		if (first == 0 && whole > 1 && width == COLUMN) {
			rect(h, day * COLUMN, 0, whole * COLUMN, HIGH);
			from += whole * 24;
			continue;
		}
		whole = to < (day + 1) * 24 ? to - day * 24 : 24;
		rect(h, day * COLUMN, first * ROW, width, (whole - first) * ROW);
		from = day * 24 + whole;
	}
}

static void
blocks(struct html *h, const struct timeline_lane *lane)
{
	static const char *const class[TIMELINE_LOOKS] = {
		[TIMELINE_FULL] = "full", [TIMELINE_HALF] = "full", [TIMELINE_ACROSS] = "across",
		[TIMELINE_UPRIGHT] = "upright", [TIMELINE_FRAME] = "frame",
	};

	for (size_t i = 0; i < lane->n_block;) {
		uint8_t look = lane->block[i].look;

		path_open(h, class[look]);
		for (; i < lane->n_block && lane->block[i].look == look; i++)
			hours(h, lane->block[i].from, lane->block[i].to,
			    look == TIMELINE_HALF ? COLUMN / 2 : COLUMN);
		path_close(h);
	}
}

/* Bars of activations have the steps of the strips. Many in one hour reach over its
 * neighbours, or a burst would be no more to see than a door that is used every hour. */
static const struct step { int32_t least, width, high; } steps[] = {
	{ 20, 10, 7 }, { 5, 9, 3 }, { 2, 6, 1 }, { 1, 3, 1 }, { 0, 0, 0 }
};

static void
activations(struct html *h, const struct timeline_lane *lane, int32_t n_hour)
{
	path_open(h, "bar");
	for (int32_t i = 0; i < n_hour; i++) {
		const struct step *s = steps;
		int32_t top, end;

		while (lane->count[i] < s->least)
			s++;
		if (!s->width)
			continue;
		top = i % 24 - s->high / 2 > 0 ? i % 24 - s->high / 2 : 0;
		end = top + s->high < 24 ? top + s->high : 24;
		rect(h, i / 24 * COLUMN, top * ROW, s->width, (end - top) * ROW);
	}
	path_close(h);
}

/* The share of all devices, hour by hour. */
static void
shares(struct html *h, const struct timeline_lane *lane, int32_t n_hour)
{
	path_open(h, "bar");
	for (int32_t i = 0, same; i < n_hour; i = same) {
		for (same = i + 1; same < n_hour && same % 24 && lane->count[same] == lane->count[i];)
			same++;
		if (lane->count[i])
			rect(h, i / 24 * COLUMN, i % 24 * ROW, 1 + (int32_t)((COLUMN - 1) *
			    lane->count[i] / lane->sum), (same - i) * ROW);
	}
	path_close(h);
}

static void
marks(struct html *h, const struct timeline_lane *lane)
{
	path_open(h, lane->what == TIMELINE_DEVICE ? "mark alarm" : "mark");
	for (size_t i = 0; i < lane->n_mark; i++)
		html_fmt(h, "M%d %dl5-4 5 4-5 4z", lane->mark[i] / 24 * COLUMN,
		    lane->mark[i] % 24 * ROW + 1);
	path_close(h);
}

static bool
monday(const struct timeline *t, int32_t column)
{
	return civil_weekday((t->day + column) * DAY) == 0;
}

static void
drawing(struct html *h, const struct timeline *t, const struct timeline_lane *lane)
{
	html_svg(h, "lane", t->days * COLUMN, HIGH, NULL);
	html_attr(h, "preserveAspectRatio", "none");
	html_attr(h, "width", arena_fmt(&h->p->arena, "%d", t->days * PIXELS));
	path_open(h, "grid");
	html_fmt(h, "M0 %dh%d", HIGH / 2, t->days * COLUMN);
	for (int32_t i = 0; i < t->days; i++)
		if (monday(t, i))
			html_fmt(h, "M%d 0v%d", i * COLUMN, HIGH);
	path_close(h);
	if (t->n_gap) {
		path_open(h, "gap");
		for (size_t i = 0; i < t->n_gap; i++)
			hours(h, t->gap[i].from, t->gap[i].to, COLUMN);
		path_close(h);
	}
	blocks(h, lane);
	if (lane->count && lane->what == TIMELINE_LOST)
		shares(h, lane, t->days * 24);
	else if (lane->count)
		activations(h, lane, t->days * 24);
	if (lane->n_mark)
		marks(h, lane);
	html_close(h, "svg");
}

/* Dates above and below the lanes; they are not stretched with them. */
static void
axis(struct html *h, const struct timeline *t)
{
	int32_t next = 0;

	html_open(h, "li");
	html_attr(h, "class", "days");
	html_attr(h, "aria-hidden", "true");
	html_open(h, "span");
	html_close(h, "span");
	html_open(h, "svg");
	html_attr(h, "class", "axis");
	html_attr(h, "width", arena_fmt(&h->p->arena, "%d", t->days * PIXELS));
	html_attr(h, "height", "16");
	for (int32_t i = 0; i < t->days; i++) {
		char text[CIVIL_TEXT];

		/* The last label would be cut off by the edge. */
		if (!monday(t, i) || i < next || t->days - i < t->days / 9)
			continue;
		next = i + t->days / 9 + 1;
		html_open(h, "text");
		html_attr_open(h, "x");
		html_fmt(h, "%.2f%%", 100.0 * i / t->days);
		html_attr_close(h);
		html_attr(h, "y", "12");
		html_fmt(h, "%.5s", civil_short((t->day + i) * DAY, text) + 5);
		html_close(h, "text");
	}
	html_close(h, "svg");
	html_close(h, "li");
}

/* ---- the same in words -------------------------------------------------------------- */

static const char *
hour_text(struct page *p, const struct timeline *t, int32_t hour)
{
	char text[CIVIL_TEXT];

	return arena_fmt(&p->arena, "%.10s at %d h", civil_short((t->day + hour / 24) * DAY, text),
	    (int)(hour % 24));
}

static const char *
times(struct page *p, const char *so_far, const char *what, uint32_t n)
{
	if (!n)
		return so_far;
	return arena_fmt(&p->arena, "%s%s%s %s", so_far, *so_far ? "; " : "", what,
	    n == 1 ? "once" : text_count(p, n, "time", "times"));
}

static const char *
device_words(struct page *p, const struct timeline *t, const struct timeline_lane *lane)
{
	const char *text = "";

	if (lane->sum)
		text = text_count(p, lane->sum, "activation", "activations");
	if (lane->sum && lane->count[lane->most] > 1)
		text = arena_fmt(&p->arena, "%s, most on %s (%d)", text,
		    hour_text(p, t, lane->most), lane->count[lane->most]);
	if (lane->n_mark)
		text = arena_fmt(&p->arena, "%s; alarms in %s, last %s", text,
		    text_count(p, (int64_t)lane->n_mark, "hour", "hours"),
		    hour_text(p, t, lane->mark[lane->n_mark - 1]));
	text = times(p, text, "lost", lane->times[TIMELINE_FULL]);
	text = times(p, text, "cell low", lane->times[TIMELINE_ACROSS]);
	if (lane->night)
		text = arena_fmt(&p->arena, "%s, by night and good again by day", text);
	return times(p, text, "bypassed, tamper or in trouble", lane->times[TIMELINE_UPRIGHT]);
}

static const char *
words(struct page *p, const struct timeline *t, const struct timeline_lane *lane)
{
	const uint32_t *n = lane->times;
	const char *text = "";

	switch (lane->what) {
	case TIMELINE_ARMED:
		text = times(p, times(p, text, "armed away", n[TIMELINE_FULL]),
		    "with people at home", n[TIMELINE_HALF]);
		return *text ? text : "not told";
	case TIMELINE_POWER:
		text = times(p, times(p, text, "mains lost", n[TIMELINE_FULL]),
		    "panel battery low", n[TIMELINE_ACROSS]);
		return *text ? text : "no loss told";
	case TIMELINE_LINE:
		return times(p, times(p, text, "lost", n[TIMELINE_FULL]), "interference",
		    n[TIMELINE_UPRIGHT]);
	case TIMELINE_WORK:
		text = times(p, times(p, times(p, text, "learn session", n[TIMELINE_FULL]),
		    "visit planned", n[TIMELINE_FRAME]), "on test", n[TIMELINE_UPRIGHT]);
		return times(p, text, "work done", (uint32_t)lane->n_mark);
	case TIMELINE_PANEL:
		return times(p, text, "restarted, clock set, or log cleared", (uint32_t)lane->n_mark);
	case TIMELINE_LOST:
		return arena_fmt(&p->arena, "most %d of %lld, %s", lane->count[lane->most],
		    (long long)lane->sum, hour_text(p, t, lane->most));
	default:
		return device_words(p, t, lane);
	}
}

static void
name(struct html *h, const struct site *s, const struct timeline_lane *lane)
{
	static const char *const text[] = {
		[TIMELINE_ARMED] = "Armed", [TIMELINE_POWER] = "Mains and panel battery",
		[TIMELINE_LINE] = "Lines, modules, radio", [TIMELINE_WORK] = "Visits, learning, tests",
		[TIMELINE_PANEL] = "Panel", [TIMELINE_LOST] = "Devices lost",
	};
	const struct device *d;

	if (lane->what != TIMELINE_DEVICE) {
		html_leaf(h, "b", NULL, text[lane->what]);
		if (*lane->partition)
			html_fmt(h, " partition %s", lane->partition);
		return;
	}
	d = &s->v->device[lane->device];
	html_leaf(h, "b", NULL, site_where(h->p, d));
	html_fmt(h, " %s", *d->name ? d->name : kind_heading(d->kind));
	if (site_gone(d))
		html_text(h, ", taken out");
}

/* ---- how to read it ------------------------------------------------------------------- */

static void
sample(struct html *h, const char *class, const char *d, const char *text)
{
	html_open(h, "li");
	html_svg(h, "lane sample", 3 * COLUMN, COLUMN * 2, NULL);
	path_open(h, class);
	html_text(h, d);
	path_close(h);
	html_close(h, "svg");
	html_text(h, text);
	html_close(h, "li");
}

static void
legend(struct html *h)
{
	html_open(h, "ul");
	html_attr(h, "class", "legend samples");
	sample(h, "bar", "M0 9h3v2h-3zM7 9h5v2h-5zM14 7h6v6h-6zM23 3h6v14h-6z",
	    "activations: 1, 2 to 4, 5 to 19, 20 and more in the hour");
	sample(h, "mark alarm", "M10 10l5-6 5 6-5 6z", "alarm; in other lanes: work done, restart");
	sample(h, "full", "M0 0h30v20h-30z", "lost; armed away (half as wide: at home); in session");
	sample(h, "across", "M0 0h30v20h-30z", "cell or battery low");
	sample(h, "upright", "M0 0h30v20h-30z", "bypassed, tamper or trouble; interference; test");
	sample(h, "frame", "M1 1h28v18h-28z", "visit planned");
	sample(h, "gap", "M0 0h30v20h-30z", "no export covers it");
	html_close(h, "ul");
}

static void
left_out(struct html *h, const struct timeline *t)
{
	if (t->earlier)
		html_leaf_fmt(h, "p", "soft", "Only the last %d days are drawn.", (int)t->days);
	if (t->quiet)
		html_leaf_fmt(h, "p", "soft", "Nothing to draw of %s.",
		    text_count(h->p, (int64_t)t->quiet, "other device", "other devices"));
	if (t->left_out)
		html_leaf_fmt(h, "p", "soft", "%d devices are drawn, those with findings, faults and the "
		    "most activations; %s left out. All stand in the list of devices.",
		    TIMELINE_DEVICES, text_count(h->p, (int64_t)t->left_out, "is", "are"));
	if (t->more_partitions)
		html_leaf_fmt(h, "p", "soft", "Of the partitions that are armed by themselves only %d are "
		    "drawn.", TIMELINE_PARTITIONS);
	if (t->silent)
		html_leaf(h, "p", "soft", "Not drawn: " SILENT_TEXT ".");
}

/* Drawn once, used by every lane. Shapes, not lines: lanes are stretched. */
static void
hatches(struct html *h)
{
	static const struct { const char *id, *class; int width, high; const char *d; } hatch[] = {
		{ "t-gap", "slant", 10, 12, "M0 12L10 0V2L0 14zM0 0L10-12V-10L0 2z" },
		{ "t-across", "low", 10, 12, "M0 5h10v2h-10z" },
		{ "t-upright", "other", 10, HIGH, "M4 0h2v48h-2z" },
	};

	html_open(h, "svg");
	html_attr(h, "class", "defs");
	html_attr(h, "width", "0");
	html_attr(h, "height", "0");
	html_attr(h, "aria-hidden", "true");
	html_open(h, "defs");
	for (size_t i = 0; i < sizeof hatch / sizeof *hatch; i++) {
		html_open(h, "pattern");
		html_attr(h, "id", hatch[i].id);
		html_attr(h, "patternUnits", "userSpaceOnUse");
		html_attr(h, "class", hatch[i].class);
		html_attr(h, "width", arena_fmt(&h->p->arena, "%d", hatch[i].width));
		html_attr(h, "height", arena_fmt(&h->p->arena, "%d", hatch[i].high));
		path_open(h, "ground");
		rect(h, 0, 0, hatch[i].width, hatch[i].high);
		path_close(h);
		path_open(h, "hatch");
		html_text(h, hatch[i].d);
		path_close(h);
		html_close(h, "pattern");
	}
	html_close(h, "defs");
	html_close(h, "svg");
}

void
timeline_html(struct html *h, const struct site *s, const struct timeline *t)
{
	if (!t->n_lane)
		return;
	html_leaf_fmt(h, "p", "legend", "A column is a day by the site's clock, oldest first, Mondays "
	    "dated; in it the hours run from midnight at the top to midnight at the bottom, the line "
	    "is noon.");
	hatches(h);
	legend(h);
	html_open(h, "ul");
	html_attr(h, "class", "lanes");
	axis(h, t);
	for (size_t i = 0; i < t->n_lane; i++) {
		html_open(h, "li");
		html_open(h, "div");
		name(h, s, &t->lane[i]);
		html_text(h, " ");
		html_leaf(h, "span", "soft", words(h->p, t, &t->lane[i]));
		html_close(h, "div");
		drawing(h, t, &t->lane[i]);
		html_close(h, "li");
	}
	if (t->n_lane > 8)
		axis(h, t);
	html_close(h, "ul");
	left_out(h, t);
}
