#include "rules/causes.h"

const char *const causes_name[CAUSE_COUNT] = {
	[CAUSE_CELL] = "a weak cell",
	[CAUSE_FIT] = "a loose or badly aligned contact",
	[CAUSE_RADIO] = "radio, panel or supply",
	[CAUSE_WORK] = "the last work on the site",
	[CAUSE_MOVES] = "something that moves by itself (wind, draught, a loose latch)",
	[CAUSE_HEAT] = "the temperature (sun, heating, cold at dawn)",
	[CAUSE_HOURS] = "something that comes at these hours (sun, heating, cold, routine)",
	[CAUSE_TAMPER] = "the housing",
	[CAUSE_USE] = "a door or window in use",
};

const char *const causes_check[CAUSE_COUNT] = {
	[CAUSE_CELL] = "Cell: voltage under load; change it and its siblings of the same age",
	[CAUSE_FIT] = "Magnet and contact: gap, alignment, screws, play of the door or window",
	[CAUSE_RADIO] = "Receiver, panel supply and interference before this device",
	[CAUSE_WORK] = "What was done last: mounting, place, settings, cell",
	[CAUSE_MOVES] = "What moves while nobody is there: latch, draught, wind, machine, animal",
	[CAUSE_HEAT] =
		("Temperature: sun on it, heating below it, cold air at dawn; a weak cell shows in the "
		"cold first"),
	[CAUSE_HOURS] =
		"What comes at these hours: sun, heating, cold, lorries, cleaning, closing time",
	[CAUSE_TAMPER] = "Housing: closed, seated, dry, tamper spring",
	[CAUSE_USE] = "Ask who uses it at these times, and how",
};

/* What was counted over the activations inside bursts. */
struct tally {
	size_t n, armed, disarmed_by_day, together, days;
	int64_t first, last;
};

/* Did another device go off within `together` of the event? Motion detectors do not
 * count: who opens a door is seen. Only the nearest rows are looked at, so that a flood
 * of rows in one second costs no more than any other. */
static bool
has_company(const struct view *v, uint32_t event, int64_t together)
{
	enum { NEAREST = 32 };
	const struct event *me = &v->event[event];

	for (int step = -1; step <= 1; step += 2) {
		int64_t i = (int64_t)event + step;

		for (int n = 0; n < NEAREST && i >= 0 && i < (int64_t)v->n_event; n++, i += step) {
			const struct event *ev = &v->event[i];
			int64_t apart = ev->at > me->at ? ev->at - me->at : me->at - ev->at;

			if (apart > together)
				break;
			if (ev->device >= 0 && ev->device != me->device && !(ev->marks & MARK_STILL) &&
			    (word_properties(ev->word) & WP_ACTIVE) &&
			    v->device[ev->device].kind != KIND_MOTION)
				return true;
		}
	}
	return false;
}

static struct tally
tally_of(const struct bursts *s, int64_t together)
{
	struct tally t = { .first = INT64_MAX, .last = NO_TIME };
	int64_t day = NO_TIME;

	for (size_t b = 0; b < s->n_burst; b++) {
		const struct burst *u = &s->burst[b];

		t.first = u->from < t.first ? u->from : t.first;
		t.last = u->to > t.last ? u->to : t.last;
		if (day == NO_TIME || u->from / DAY != day)
			t.days++;
		day = u->from / DAY;
		for (size_t i = u->lo; i < u->hi; i++) {
			const struct activation *a = &s->act.one[s->used[i]];
			enum arm state = s->arming->of[a->event].state;
			int hour = bursts_hour(s, a);

			t.n++;
			t.armed += state >= ARM_STAY;
			t.disarmed_by_day += state == ARM_DISARMED && hour >= 6 && hour < 22;
			t.together += has_company(s->v, a->event, together);
		}
	}
	return t;
}

/* Bursts, each counted once, by hour and weekday of their site. */
struct shape {
	size_t n, hour[24], weekday[7], days;
	size_t on_weekday;	/* days with a burst that are the busiest weekday */
	int    busiest;
};

static struct shape
shape_of(const struct bursts *s)
{
	size_t day_of[7] = { 0 };
	int64_t day = NO_TIME;
	struct shape h = { .n = 0 };

	for (size_t b = 0; b < s->n_burst; b++) {
		const struct burst *u = &s->burst[b];
		const struct activation *a;
		int weekday;

		if (u->lo == u->hi)
			continue;	/* only the panel told of it */
		a = &s->act.one[s->used[u->lo]];
		weekday = bursts_weekday(s, a);
		h.n++;
		h.hour[bursts_hour(s, a)]++;
		h.weekday[weekday]++;
		if (day == NO_TIME || bursts_day(s, a) != day) {
			h.days++;
			day_of[weekday]++;
		}
		day = bursts_day(s, a);
	}
	for (int w = 1; w < 7; w++)
		if (h.weekday[w] > h.weekday[h.busiest])
			h.busiest = w;
	h.on_weekday = day_of[h.busiest];
	return h;
}

/* Does it follow the temperature of the day? It is warmest in the afternoon and coldest
 * before sunrise; unlike a routine it keeps to no clock and knows no weekend. */
static const char *
heat_sign(const struct shape *h, double days, double share, struct arena *a)
{
	static const struct { int from, to; const char *text; } times[] = {
		{ 11, 17, "in the warm hours, 11 to 17" }, { 2, 8, "in the coldest hours, 02 to 08" },
	};

	if ((double)h->days < days || h->weekday[5] + h->weekday[6] == 0)
		return NULL;
	for (size_t i = 0; i < sizeof times / sizeof *times; i++) {
		size_t in = 0, hours = 0;

		for (int k = times[i].from; k < times[i].to; k++) {
			in += h->hour[k];
			hours += h->hour[k] > 0;
		}
		if (hours >= 3 && 100 * (double)in >= share * (double)h->n)
			return arena_fmt(a, "%zu of %zu bursts %s o'clock local time, on %zu days, "
			    "weekends too", in, h->n, times[i].text, h->days);
	}
	return NULL;
}

/* The newest of learn, installation and service that the first burst follows closely. */
static int64_t
work_before(const struct view *v, int32_t device, int64_t first, int64_t near)
{
	const struct device *d = &v->device[device];
	int64_t at[2] = { d->learned, d->installed }, newest = NO_TIME;

	for (int i = 0; i < 2; i++)
		if (at[i] != NO_TIME && at[i] <= first && first - at[i] <= near && at[i] > newest)
			newest = at[i];
	for (size_t i = 0; i < v->n_service; i++) {
		const struct service_row *row = &v->service[i];
		bool here = !*row->zone && !*row->serial;

		if (row->at > first || first - row->at > near || row->at <= newest)
			continue;
		if (here || view_device_find(v, row->zone, row->serial, row->at) == device)
			newest = row->at;
	}
	return newest;
}

static void
signs_in_events(const struct bursts *s, int32_t device, const struct tally *t,
    struct sign *sign)
{
	const struct device *d = &s->v->device[device];
	int64_t near = setting_ms(s->v, &rule_chatter, "battery_near", device);

	for (size_t i = 0; i < d->n_event; i++) {
		const struct event *ev = &s->v->event[d->event[i]];

		if (ev->word == W_LOW_BATTERY && ev->at >= t->first - near &&
		    ev->at <= t->last + near)
			sign[CAUSE_CELL] = (struct sign){ 4, "it reported a low battery in these days" };
		if (ev->word == W_TAMPER && ev->at >= t->first - DAY && ev->at <= t->last + DAY)
			sign[CAUSE_TAMPER] = (struct sign){ 2, "it reported tamper in these days" };
	}
}

void
causes_find(const struct bursts *s, int32_t device, double dwell, double share, int from,
    struct arena *a, struct sign sign[CAUSE_COUNT])
{
	static const char *const weekday[] = {
		"Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday",
	};
	const struct rule *r = &rule_chatter;
	const struct view *v = s->v;
	enum kind k = s->kind;
	bool leaf = k == KIND_CONTACT || k == KIND_UNKNOWN || k == KIND_DEVICE_OTHER;
	double brief = setting_value(v, r, "short_dwell", device);
	struct tally t = tally_of(s, setting_ms(v, r, "together", device));
	struct shape h = shape_of(s);
	const char *heat, *hours = "";
	int64_t work = work_before(v, device, t.first, setting_ms(v, r, "work_near", device));

	signs_in_events(s, device, &t, sign);
	if (leaf && dwell >= 0 && dwell <= brief)
		sign[CAUSE_FIT] = (struct sign){ 3,
			arena_fmt(a, "half of the openings last at most %.3g s", dwell) };
	if (t.n && 2 * t.together >= t.n)
		sign[CAUSE_RADIO] = (struct sign){ 3,
			arena_fmt(a, "other devices went off in the same seconds %zu of %zu times",
			    t.together, t.n) };
	if (work != NO_TIME)
		sign[CAUSE_WORK] = (struct sign){ 2, arena_fmt(a, "it began %s after that",
			rule_span_text(a, t.first - work)) };
	/* Motion detectors count only while armed: there it is no sign. */
	if (k != KIND_MOTION && t.n && 2 * t.armed >= t.n)
		sign[CAUSE_MOVES] = (struct sign){ 2, arena_fmt(a, "%zu of %zu times while armed",
			t.armed, t.n) };
	heat = heat_sign(&h, setting_value(v, r, "shape_days", device),
	    setting_value(v, r, "shape_share", device), a);
	if (heat)
		sign[CAUSE_HEAT] = (struct sign){ 2, heat };
	if (!heat && t.days > 1 && share >= setting_value(v, r, "hours_share", device))
		hours = arena_fmt(a, "%.0f %% between %02d and %02d o'clock local time", share, from,
		    (from + 3) % 24);
	if (h.on_weekday >= 3 && 100 * (double)h.weekday[h.busiest] >=
	    setting_value(v, r, "weekday_share", device) * (double)h.n)
		hours = arena_fmt(a, "%s%s%zu of %zu bursts on a %s", hours, *hours ? "; " : "",
		    h.weekday[h.busiest], h.n, weekday[h.busiest]);
	if (*hours)
		sign[CAUSE_HOURS] = (struct sign){ 1, hours };
	if (leaf && t.n && 4 * t.disarmed_by_day >= 3 * t.n && dwell > brief)
		sign[CAUSE_USE] = (struct sign){ 1, arena_fmt(a,
			"%zu of %zu times by day while disarmed", t.disarmed_by_day, t.n) };
}
