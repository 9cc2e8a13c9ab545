#include "daemon/cmd.h"
#include "daemon/report/settings.h"

struct options {
	struct opts_common common;
	int                format;
};

static const struct opt options[] = {
	{ 'f', "format", "WORD", "text, csv or json (default: text)", OPT_CHOICE,
	  offsetof(struct options, format), 0, 0, "text|csv|json" },
	OPTS_COMMON(struct options),
	OPTS_END
};

static int
run(const struct command *self, int argc, char **argv)
{
	struct options o = { 0 };
	const struct rule *only = NULL;
	struct tz_set *zones = NULL;
	struct setting_row *row;
	struct store *s = NULL;
	struct json j = { .f = stdout };
	struct page p;
	struct err e;
	size_t n;
	int out = cmd_options(self, &argc, argv, &o, 0, 1);

	if (out != OUT_GO_ON)
		return out;
	page_init(&p, stdout);
	if (argc && !(only = cmd_rule(argv[0], &e)))
		goto fail;
	s = cmd_store(&o.common, STORE_READ, &e);
	if (!s || store_settings(s, &p.arena, &row, &n, &e) < 0)
		goto fail;
	zones = tz_set_open();
	cmd_zone(&p, tz_machine(zones));
	if (o.format == 0) {
		settings_text(&p, only, row, n);
	} else if (o.format == 1) {
		settings_csv(stdout, only, row, n);
	} else {
		json_open(&j, NULL, '{');
		settings_json(&j, only, row, n);
		json_close(&j, '}');
		json_end(&j);
	}
	out = OUT_DONE;
	goto done;
fail:
	out = cmd_fail(&e);
done:
	store_close(s);
	tz_set_close(zones);
	page_release(&p);
	return out;
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
	    "tripsift rules --format csv\n",
	.exits = "0 done; 2 wrong usage or unknown rule; 3 no store, or it failed.",
	.opt = options,
	.run = run,
};
