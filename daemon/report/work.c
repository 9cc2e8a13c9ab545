#include "daemon/report/work.h"

void
work_table(struct page *p, const struct repair *x)
{
	static const struct text_column column[] = {
		{ "", false, false }, { "covered", true, false }, { "activations", true, false },
		{ "alarms", true, false }, { "losses", true, false }, { "low cells", true, false },
	};
	const struct repair_side *side[] = { &x->before, &x->after };
	struct table t;

	table_init(&t, p, column, sizeof column / sizeof *column);
	for (int k = 0; k < 2; k++) {
		table_add(&t, k ? "after" : "before");
		table_add(&t, text_span(p, side[k]->covered));
		table_fmt(&t, "%lld", (long long)side[k]->activations);
		table_fmt(&t, "%lld", (long long)side[k]->alarms);
		table_fmt(&t, "%lld", (long long)side[k]->losses);
		table_fmt(&t, "%lld", (long long)side[k]->low);
	}
	table_print(&t, 4);
}

static void
side_json(struct json *j, const char *key, const struct repair_side *m)
{
	json_open(j, key, '{');
	json_int(j, "covered_min", m->covered / MINUTE);
	json_int(j, "activations", m->activations);
	json_int(j, "alarms", m->alarms);
	json_int(j, "losses", m->losses);
	json_int(j, "low_cells", m->low);
	json_close(j, '}');
}

void
work_json(struct json *j, const struct repair *x)
{
	json_open(j, NULL, '{');
	json_time(j, "time", x->row->at);
	json_text(j, "what", x->row->what);
	json_text(j, "who", *x->row->who ? x->row->who : NULL);
	side_json(j, "before", &x->before);
	side_json(j, "after", &x->after);
	json_close(j, '}');
}
