#include "daemon/report/findings.h"

#include "daemon/report/csvout.h"
#include "rules/rule.h"

void
findings_csv(FILE *f, const struct stored_finding *finding, size_t n)
{
	struct csvout w;

	csvout_init(&w, f);
	csvout_header(&w,
	    "id,rule,account,zone,serial,device,level,state,onset,last,count,summary");
	for (size_t i = 0; i < n; i++) {
		const struct stored_finding *x = &finding[i];

		csvout_text(&w, x->id);
		csvout_text(&w, x->rule);
		csvout_text(&w, x->account);
		csvout_text(&w, x->zone);
		csvout_text(&w, x->serial);
		csvout_text(&w, x->device);
		csvout_text(&w, level_text((enum level)x->level));
		csvout_text(&w, x->state);
		csvout_time(&w, x->onset);
		csvout_time(&w, x->last);
		csvout_int(&w, x->count);
		csvout_text(&w, x->summary);
		csvout_end(&w);
	}
}

static void
texts(struct json *j, const char *key, const char **text, size_t n)
{
	json_open(j, key, '[');
	for (size_t i = 0; i < n; i++)
		json_string(j, NULL, text[i]);
	json_close(j, ']');
}

static void
measures(struct json *j, const struct stored_measure *m, size_t n)
{
	json_open(j, "measures", '{');
	for (size_t i = 0; i < n; i++) {
		json_open(j, m[i].name, '{');
		if (m[i].text)
			json_text(j, "value", m[i].text);
		else
			json_num(j, "value", m[i].value);
		json_text(j, "unit", m[i].unit);
		json_close(j, '}');
	}
	json_close(j, '}');
}

void
decision_json(struct json *j, const char *key, const struct stored_decision *d)
{
	if (!d) {
		json_null(j, key);
		return;
	}
	json_open(j, key, '{');
	json_text(j, "decision", d->decision);
	json_text(j, "who", d->who);
	json_time(j, "at", d->at);
	json_time(j, "until", d->until);
	json_text(j, "why", d->why);
	json_bool(j, "holds", d->holds);
	json_text(j, "lifted", d->lifted);
	json_close(j, '}');
}

void
findings_json(struct json *j, const struct stored_finding *finding, size_t n)
{
	json_open(j, "findings", '[');
	for (size_t i = 0; i < n; i++) {
		const struct stored_finding *x = &finding[i];

		json_open(j, NULL, '{');
		json_text(j, "id", x->id);
		json_text(j, "rule", x->rule);
		json_text(j, "account", x->account);
		json_text(j, "zone", x->zone);
		json_text(j, "serial", x->serial);
		json_text(j, "device", x->device);
		json_text(j, "level", level_text((enum level)x->level));
		json_text(j, "state", x->state);
		json_time(j, "onset", x->onset);
		json_time(j, "last", x->last);
		json_int(j, "count", x->count);
		measures(j, x->measure, x->n_measure);
		json_text(j, "summary", x->summary);
		texts(j, "checks", x->check, x->n_check);
		texts(j, "cautions", x->caution, x->n_caution);
		texts(j, "members", x->member, x->n_member);
		decision_json(j, "decision", x->decision);
		json_open(j, "evidence", '[');
		for (size_t k = 0; k < x->n_evidence; k++) {
			json_open(j, NULL, '{');
			json_text(j, "file", x->evidence[k].file);
			json_int(j, "line", x->evidence[k].line);
			json_time(j, "time", x->evidence[k].at);
			json_text(j, "event", x->evidence[k].event);
			json_close(j, '}');
		}
		json_close(j, ']');
		json_close(j, '}');
	}
	json_close(j, ']');
}
