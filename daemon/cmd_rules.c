#include "daemon/cmd.h"
#include "daemon/report/rulebook.h"
#include "daemon/report/settings.h"

struct options {
	struct opts_common common;
	int                format;
	const struct rule *only;	/* NULL = all */
};

static const struct opt options[] = {
	{ 'f', "format", "WORD", "text, csv, json or html (default: text)", OPT_CHOICE,
	  offsetof(struct options, format), 0, 0, "text|csv|json|html" },
	OPTS_COMMON(struct options),
	OPTS_END
};

static int
show(struct tools *t, void *ctx, struct err *e)
{
	const struct options *o = ctx;
	struct setting_row *row;
	struct rulebook book = { .only = o->only, .at = cmd_now() };
	struct rule_count *count;
	struct json j = { .f = stdout };
	size_t n;

	if (store_settings(t->s, &t->p.arena, &row, &n, e) < 0)
		return -1;
	if (o->format == 0) {
		settings_text(&t->p, o->only, row, n);
	} else if (o->format == 1) {
		settings_csv(stdout, o->only, row, n);
	} else if (o->format == 3) {
		if (store_rule_counts(t->s, &t->p.arena, &count, &book.n_count, e) < 0)
			return -1;
		book.count = count;
		book.row = row;
		book.n_row = n;
		rulebook_html(&t->p, &book);
	} else {
		json_open(&j, NULL, '{');
		settings_json(&j, o->only, row, n);
		json_close(&j, '}');
		json_end(&j);
	}
	return OUT_DONE;
}

static int
run(const struct command *self, int argc, char **argv)
{
	struct options o = { 0 };
	struct err e;
	int out = cmd_options(self, &argc, argv, &o, 0, 1);

	if (out != OUT_GO_ON)
		return out;
	if (argc && !(o.only = cmd_rule(argv[0], &e)))
		return cmd_fail(&e);
	return cmd_show(&o.common, STORE_READ, show, &o);
}

const struct command cmd_rules = {
	.name = "rules",
	.operands = "[RULE]",
	.purpose = "the rules and every setting in force, with its origin",
	.about = "Lists the rules with every setting: value, default, where it holds, what is "
	    "allowed, where the default comes from, and who changed it. With RULE, that one "
	    "alone, with what it is for, what it stays quiet on and what it cannot know. "
	    "Settings are changed by a settings file: tripsift ingest settings.csv.",
	.examples = "tripsift rules\n"
	    "tripsift rules chatter\n"
	    "tripsift rules --format csv\n"
	    "tripsift rules --format html > rules.html\n",
	.exits = "0 done; 2 wrong usage or unknown rule; 3 no store, or it failed.",
	.opt = options,
	.run = run,
};
