#include <string.h>
#include <unistd.h>

#include "daemon/cmd.h"
#include "daemon/report/trial.h"
#include "daemon/trial.h"
#include "rules/override.h"
#include "rules/rule.h"

enum { SHOWN = 20 };

struct options {
	struct opts_common common;
	struct opts_list   set;
	const char        *sweep, *scope, *rule, *account;
	int                format;
	long               limit;
};

static const struct opt options[] = {
	{ 's', "set", "RULE.SETTING=VALUE", "a setting to try; again for more of them. A length of "
	  "time takes its unit: 90s, 15m, 12h, 30d", OPT_LIST, offsetof(struct options, set), 0, 0,
	  NULL },
	{ 'w', "sweep", "RULE.SETTING=FROM..TO[/STEP]", "try one value after another, at most 40, and "
	  "show how many findings each gives", OPT_TEXT, offsetof(struct options, sweep), 0, 0, NULL },
	{ 'S', "scope", "SCOPE", "where they are to hold: * (default), group=NAME, device=KIND or "
	  "account=NAME. A setting in force for something narrower still wins there", OPT_TEXT,
	  offsetof(struct options, scope), 0, 0, NULL },
	{ 'r', "rule", "RULE", "show only findings of this rule, and what goes of life safety", OPT_TEXT,
	  offsetof(struct options, rule), 0, 0, NULL },
	{ 'a', "account", "ACCOUNT", "show only this account, and what goes of life safety; the others are judged too, because some "
	  "rules compare accounts", OPT_TEXT, offsetof(struct options, account), 0, 0, NULL },
	{ 'n', "limit", "N", "lines in each list of the text (default: 20; 0 = all). Life safety that "
	  "would be lost is always shown; csv and json show all", OPT_COUNT,
	  offsetof(struct options, limit), 0, 1000000000, NULL },
	{ 'f', "format", "WORD", "text, csv or json (default: text)", OPT_CHOICE,
	  offsetof(struct options, format), 0, 0, "text|csv|json" },
	OPTS_COMMON(struct options),
	OPTS_END
};

/* What the options ask for, checked as far as it can be without the store. */
static int
read_options(const struct options *o, struct arena *a, struct trial *t, struct err *e)
{
	const char *why = o->scope ? override_scope(SPAN(""), span_of(o->scope)) : NULL;

	if (!o->set.n && !o->sweep)
		return err_set(e, ERR_USAGE, NULL, 0, "nothing to try: give --set "
		    "RULE.SETTING=VALUE or --sweep RULE.SETTING=FROM..TO");
	if (why)
		return err_set(e, ERR_USAGE, NULL, 0, "--scope: \"%s\": %s", o->scope, why);
	if (o->rule && !(t->only = cmd_rule(o->rule, e)))
		return -1;
	if (t->only && override_find(span_of(t->only->id)))
		return err_set(e, ERR_USAGE, NULL, 0, "--rule: %s judges nothing", t->only->id);
	t->set = arena_take(a, (o->set.n + 1) * sizeof *t->set);
	for (; t->n_set < o->set.n; t->n_set++)
		if (trial_read_set(o->set.text[t->n_set], &t->set[t->n_set], e))
			return err_wrap(e, "--set");
	if (o->sweep) {
		t->sweep = arena_take(a, sizeof *t->sweep);
		if (trial_read_sweep(o->sweep, a, t->sweep, &t->value, &t->n_value, e))
			return err_wrap(e, "--sweep");
	}
	t->scope = o->scope ? o->scope : "*";
	t->account = o->account;
	t->limit = (size_t)o->limit;
	return 0;
}

/* A scope or account that reaches nobody is a typing error, not an empty trial. */
static int
check_names(struct store *s, const struct trial *t, struct arena *a, struct err *e)
{
	struct account_info *account;
	enum kind kind;
	size_t n, reached = 0, known = 0;

	if (store_accounts(s, a, &account, &n, e) < 0)
		return -1;
	for (size_t i = 0; i < n; i++) {
		reached += override_reach(span_of(t->scope), account[i].account, account[i].group,
		    &kind) >= 0;
		known += t->account && span_eq_fold((struct span){ t->account,
		    strcspn(t->account, "@") }, span_of(account[i].account));
	}
	if (n && !reached)
		return err_set(e, ERR_USAGE, NULL, 0, "--scope: \"%s\" reaches no account", t->scope);
	if (t->account && !known)
		return err_set(e, ERR_USAGE, NULL, 0, "no account \"%s\"", t->account);
	return 0;
}

static int
show(struct tools *tools, void *ctx, struct err *e)
{
	const struct options *o = ctx;
	struct page *p = &tools->p;
	struct trial t = { 0 };
	struct json j = { .f = stdout };

	if (read_options(o, &p->arena, &t, e) < 0 || check_names(tools->s, &t, &p->arena, e) < 0 ||
	    trial_run(tools->s, &t, isatty(STDERR_FILENO), &p->arena, e) < 0)
		return -1;
	if (o->format == 0) {
		trial_text(p, &t);
	} else if (o->format == 1) {
		trial_csv(stdout, &t);
	} else {
		trial_json(&j, &t);
		json_end(&j);
	}
	return OUT_DONE;
}

static int
run(const struct command *self, int argc, char **argv)
{
	struct options o = { .limit = SHOWN };
	int out = cmd_options(self, &argc, argv, &o, 0, 0);

	return out == OUT_GO_ON ? cmd_show(&o.common, STORE_READ, show, &o) : out;
}

const struct command cmd_trial = {
	.name = "trial",
	.operands = "",
	.purpose = "what other settings would find, beside what today's find",
	.about = "Judges the whole history twice, under today's settings and under those you give, "
	    "and shows for each rule how many findings there are today and in the trial, which "
	    "come, which go and how many stay the same. A sweep does so for one value after "
	    "another. Nothing is stored or changed: what you like goes into a settings file, which "
	    "\"tripsift ingest\" reads. Should a finding of life safety go or stand lower, that is "
	    "said first; rules hold their own limits on what settings may do there. Findings "
	    "cleared in the past count too; decisions are left aside.",
	.examples = "tripsift rules chatter\n"
	    "tripsift trial --set chatter.bursts=4 --set chatter.window=2m\n"
	    "tripsift trial --set tamper-repeat.times=5 --scope group=town\n"
	    "tripsift trial --sweep chatter.bursts=2..8\n"
	    "tripsift trial --sweep battery-cluster.window=7d..28d/7d\n",
	.exits = "0 done, whatever is shown; 2 wrong usage, no such rule, setting or account, or a value "
	    "out of range; 3 no store, or it failed.",
	.opt = options,
	.run = run,
};
