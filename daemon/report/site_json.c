#include "daemon/report/findings.h"
#include "daemon/report/site_part.h"

static void
device_json(struct json *j, const struct site *s, int32_t device)
{
	const struct device *d = &s->v->device[device];
	const struct device_state *st = &s->state.device[device];
	unsigned day[STATE_DAYS] = { 0 };

	json_open(j, NULL, '{');
	json_text(j, "zone", d->zone);
	json_text(j, "partition", d->partition);
	json_text(j, "serial", d->serial);
	json_text(j, "name", d->name);
	json_text(j, "device", d->kind == KIND_UNKNOWN ? NULL : kind_text(d->kind));
	json_text(j, "cell", d->cell);
	json_bool(j, "life_safety", d->life);
	json_time(j, "learned", d->learned);
	json_time(j, "unlearned", d->unlearned);
	json_time(j, "last_heard", st->last_heard);
	if (s->losses.checkin[device].source != CHECKIN_NONE)
		json_int(j, "checkin_s", s->losses.checkin[device].interval / SECOND);
	else
		json_null(j, "checkin_s");
	json_open(j, "holds", '{');
	for (int c = 0; c < COND_COUNT; c++) {
		if (st->cond[c].since != NO_TIME)
			json_time(j, condition_text((enum condition)c), st->cond[c].since);
	}
	json_close(j, '}');
	state_days(s->v, device, day);
	json_open(j, "activations", '[');
	for (int i = 0; i < STATE_DAYS; i++)
		json_int(j, NULL, day[i]);
	json_close(j, ']');
	json_close(j, '}');
}

static void
session_json(struct json *j, const struct site *s, size_t i)
{
	const struct session *x = &s->sessions.session[i];

	json_open(j, NULL, '{');
	json_time(j, "from", x->begin);
	json_time(j, "to", x->end);
	json_bool(j, "outside_plan", s->verdicts.session[i].outside);
	json_open(j, "accepted", '[');
	for (size_t k = 0; k < x->n_accepted; k++) {
		const struct verdict_item *v = &s->verdicts.session[i].item[k];

		json_open(j, NULL, '{');
		json_text(j, "serial", x->accepted[k].serial);
		json_text(j, "zone", x->accepted[k].zone);
		json_time(j, "time", x->accepted[k].at);
		json_text(j, "verdict", verdict_text(v->verdict));
		json_bool(j, "fine", site_accepted_well(v));
		json_text(j, "text", v->text);
		json_close(j, '}');
	}
	json_close(j, ']');
	json_open(j, "refused", '[');
	for (size_t k = 0; k < x->n_refused; k++)
		json_text(j, NULL, x->refused[k].serial);
	json_close(j, ']');
	json_close(j, '}');
}

void
site_json(struct json *j, const struct site *s)
{
	const struct view *v = s->v;

	findings_json(j, s->finding, s->n_finding);
	site_cautions_json(j, v);
	json_open(j, "site", '{');
	json_text(j, "account", v->account);
	json_text(j, "receiver", v->receiver);
	json_text(j, "line", v->line);
	json_text(j, "name", v->name);
	json_text(j, "group", v->group);
	json_text(j, "timezone", v->timezone);
	json_time(j, "as_of", v->now);
	json_open(j, "cover", '[');
	for (size_t i = 0; i < v->n_cover; i++) {
		json_open(j, NULL, '{');
		json_time(j, "from", v->cover[i].from);
		json_time(j, "to", v->cover[i].to);
		json_close(j, '}');
	}
	json_close(j, ']');
	json_close(j, '}');
	json_open(j, "open", '[');
	for (size_t i = 0; i < s->state.n_open; i++) {
		const struct panel_holding *h = &s->state.open[i];

		json_open(j, NULL, '{');
		json_text(j, "what", condition_text(h->what));
		json_text(j, "number", h->zone);
		json_text(j, "partition", h->partition);
		json_time(j, "since", h->holding.since);
		json_close(j, '}');
	}
	json_close(j, ']');
	json_open(j, "devices", '[');
	for (size_t i = 0; i < v->n_device; i++)
		device_json(j, s, s->order[i]);
	json_close(j, ']');
	json_open(j, "sessions", '[');
	for (size_t i = 0; i < s->sessions.n; i++)
		session_json(j, s, i);
	json_close(j, ']');
}
