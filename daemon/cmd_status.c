#include <string.h>

#include "daemon/cmd.h"
#include "daemon/lock.h"
#include "daemon/report/json.h"
#include "rules/rule.h"

struct options {
	struct opts_common common;
	int                format;
};

static const struct opt options[] = {
	{ 'f', "format", "WORD", "text or json (default: text)", OPT_CHOICE,
	  offsetof(struct options, format), 0, 0, "text|json" },
	OPTS_COMMON(struct options),
	OPTS_END
};

struct status {
	struct store_status  store;
	struct account_info *uncovered;
	size_t               n_uncovered;
	const char          *path;
	const char          *holder;	/* "watch, process 4711"; "" = nobody */
	struct night         night;
	const char          *need[3];	/* what asks for a person */
	size_t               n_need;
};

static void
status_text(struct page *p, const struct status *x)
{
	static const struct text_column column[] = { { "", false, false }, { "", false, true } };
	const struct store_status *s = &x->store;
	struct table t;

	table_init(&t, p, column, 2);
	table_add(&t, "store");
	table_fmt(&t, "%s, %.1f MiB, schema %d%s", x->path, (double)s->bytes / 1048576.0,
	    s->schema, strcmp(s->journal, "wal") == 0 ? "" : ", without write-ahead log (a "
	    "network share?): readers wait while something is written");
	table_add(&t, "last taken in");
	table_add(&t, s->last_taken == NO_TIME ? "nothing yet" : text_time(p, s->last_taken));
	table_add(&t, "files");
	table_fmt(&t, "%lld, %s = %lld stored + %lld repeated + %lld set aside",
	    (long long)s->files, text_count(p, s->rows, "row", "rows"), (long long)s->stored,
	    (long long)s->repeated, (long long)s->set_aside);
	table_add(&t, "holds");
	table_fmt(&t, "%s of %s, %s",
	    text_count(p, s->events, "event", "events"),
	    text_count(p, s->accounts, "account", "accounts"),
	    text_count(p, s->devices_known, "device", "devices"));
	table_add(&t, "covers");
	table_fmt(&t, "%s to %s", text_time(p, s->cover_from), text_time(p, s->cover_to));
	table_add(&t, "open findings");
	table_fmt(&t, "%lld now, %lld soon, %lld later", (long long)s->open[LEVEL_NOW],
	    (long long)s->open[LEVEL_SOON], (long long)s->open[LEVEL_LATER]);
	table_add(&t, "last night told");
	table_add(&t, x->night.id ? text_time(p, x->night.at) : "none yet");
	table_add(&t, "daemon");
	table_add(&t, *x->holder ? x->holder : "none");
	table_add(&t, "to be judged");
	table_add(&t, text_count(p, s->due, "account", "accounts"));
	table_print(&t, 0);
	page_fmt(p, "", "Times are %s.", p->zone.name);
	page_blank(p);
	for (size_t i = 0; i < x->n_need; i++)
		page_para(p, "ATTENTION: ", x->need[i]);
	if (!x->n_need)
		page_para(p, "", "All is read and judged.");
}

static void
status_json(const struct status *x)
{
	const struct store_status *s = &x->store;
	struct json j = { .f = stdout };

	json_open(&j, NULL, '{');
	json_text(&j, "store", x->path);
	json_int(&j, "bytes", s->bytes);
	json_int(&j, "schema", s->schema);
	json_text(&j, "journal", s->journal);
	json_time(&j, "last_taken", s->last_taken);
	json_int(&j, "files", s->files);
	json_int(&j, "rows", s->rows);
	json_int(&j, "stored", s->stored);
	json_int(&j, "repeated", s->repeated);
	json_int(&j, "set_aside", s->set_aside);
	json_int(&j, "events", s->events);
	json_int(&j, "accounts", s->accounts);
	json_int(&j, "devices", s->devices_known);
	json_time(&j, "covers_from", s->cover_from);
	json_time(&j, "covers_to", s->cover_to);
	json_open(&j, "open", '{');
	for (int l = 0; l < LEVEL_COUNT; l++)
		json_int(&j, level_text((enum level)l), s->open[l]);
	json_close(&j, '}');
	json_int(&j, "due", s->due);
	json_open(&j, "not_covered", '[');
	for (size_t i = 0; i < x->n_uncovered; i++)
		json_text(&j, NULL, x->uncovered[i].account);
	json_close(&j, ']');
	json_open(&j, "attention", '[');
	for (size_t i = 0; i < x->n_need; i++)
		json_text(&j, NULL, x->need[i]);
	json_close(&j, ']');
	json_time(&j, "last_night", x->night.at);
	json_text(&j, "daemon", x->holder);
	json_close(&j, '}');
	json_end(&j);
}

static void
needs(struct page *p, struct status *x)
{
	if (x->store.last_taken == NO_TIME)
		x->need[x->n_need++] = "nothing was taken in yet: tripsift ingest FILE...";
	if (x->store.due)
		x->need[x->n_need++] = arena_fmt(&p->arena, "%s not judged since something changed: "
		    "the next ingest does it.",
		    text_count(p, x->store.due, "account was", "accounts were"));
	if (x->n_uncovered)
		x->need[x->n_need++] = arena_fmt(&p->arena, "%s not in the exports of the last 3 "
		    "days, first %s.", text_count(p, (int64_t)x->n_uncovered,
		    "account of sites is", "accounts of sites are"), x->uncovered[0].account);
}

static int
show(struct tools *t, void *ctx, struct err *e)
{
	const struct options *o = ctx;
	struct status x = { .path = store_path(t->s) };

	if (store_status(t->s, &t->p.arena, &x.store, e) < 0 ||
	    store_uncovered(t->s, &t->p.arena, &x.uncovered, &x.n_uncovered, e) < 0 ||
	    store_night(t->s, &x.night, e) < 0)
		return -1;
	x.holder = lock_holder(&t->p.arena, x.path);
	needs(&t->p, &x);
	if (o->format == 0)
		status_text(&t->p, &x);
	else
		status_json(&x);
	return x.n_need ? OUT_ATTENTION : OUT_DONE;
}

static int
run(const struct command *self, int argc, char **argv)
{
	struct options o = { 0 };
	int out = cmd_options(self, &argc, argv, &o, 0, 0);

	return out == OUT_GO_ON ? cmd_show(&o.common, STORE_READ, show, &o) : out;
}

const struct command cmd_status = {
	.name = "status",
	.operands = "",
	.purpose = "what the store holds and covers, and whether all is judged",
	.about = "Says what the store holds, which span the exports cover, when something was last "
	    "taken in, how many findings are open, and what needs attention: accounts that were "
	    "not judged, accounts of sites that the exports do not reach.",
	.examples = "tripsift status\n"
	    "tripsift status --format json\n",
	.exits = "0 all well; 1 something needs attention; 2 wrong usage; 3 no store, or it "
	    "failed.",
	.opt = options,
	.run = run,
};
