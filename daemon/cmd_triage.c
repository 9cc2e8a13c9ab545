#include "daemon/cmd.h"
#include "daemon/report/board.h"
#include "daemon/report/findings.h"
#include "daemon/report/triage.h"
#include "rules/care.h"
#include "rules/rule.h"

enum { SHOWN = 50, OFFENDERS = 10 };

struct options {
	struct opts_common common;
	struct opts_when   since;
	const char        *rule, *account, *group;
	int                level, state, format;
	long               limit;	/* -1 = not given */
};

static const char *const states[] = { "open", "new", "continuing", "cleared", "all" };

static const struct opt options[] = {
	{ 's', "since", "TIME", "\"new\" means first raised after this: a time by this machine's "
	  "clock, or a span back from the end of the cover, such as 24h (default: the last completed night)",
	  OPT_WHEN, offsetof(struct options, since), 0, 0, NULL },
	{ 'r', "rule", "RULE", "only findings of this rule", OPT_TEXT,
	  offsetof(struct options, rule), 0, 0, NULL },
	{ 'l', "level", "LEVEL", "only now, soon or later", OPT_CHOICE,
	  offsetof(struct options, level), 0, 0, "now|soon|later" },
	{ 'a', "account", "ACCOUNT", "only this account", OPT_TEXT,
	  offsetof(struct options, account), 0, 0, NULL },
	{ 'g', "group", "GROUP", "only accounts of this group of sites", OPT_TEXT,
	  offsetof(struct options, group), 0, 0, NULL },
	{ 't', "state", "STATE", "open (default), new, continuing, cleared or all", OPT_CHOICE,
	  offsetof(struct options, state), 0, 0, "open|new|continuing|cleared|all" },
	{ 'n', "limit", "N", "at most so many; 0 = all. Text shows 50 below \"now\" unless told "
	  "otherwise and always all of \"now\" and of life safety; csv, json and html show all",
	  OPT_COUNT, offsetof(struct options, limit), 0, 1000000000, NULL },
	{ 'f', "format", "WORD", "text, csv, json or html, the board as a page (default: text)", OPT_CHOICE,
	  offsetof(struct options, format), 0, 0, "text|csv|json|html" },
	OPTS_COMMON(struct options),
	OPTS_END
};

static const char *
filter_text(struct arena *a, const struct options *o)
{
	const struct { const char *what, *value; } part[] = {
		{ "rule", o->rule }, { "account", o->account }, { "group", o->group },
		{ "level", o->level < 0 ? NULL : level_text((enum level)o->level) },
		{ "state", o->state ? states[o->state] : NULL },
	};
	const char *text = "";

	for (size_t i = 0; i < sizeof part / sizeof *part; i++) {
		if (part[i].value)
			text = arena_fmt(a, "%s%s%s %s", text, *text ? ", " : "only ", part[i].what,
			    part[i].value);
	}
	return text;
}

/* An account or rule that does not exist is a typing error, not an empty list. */
static int
check_names(struct store *s, const struct options *o, struct arena *a, struct err *e)
{
	struct account_info *account;
	bool known_account = !o->account, known_group = !o->group;
	size_t n;

	if (o->rule && !cmd_rule(o->rule, e))
		return -1;
	if (known_account && known_group)
		return 0;
	if (store_accounts(s, a, &account, &n, e) < 0)
		return -1;
	for (size_t i = 0; i < n; i++) {
		if (o->account && span_eq_fold(span_of(account[i].account), span_of(o->account)))
			known_account = true;
		if (o->group && span_eq_fold(span_of(account[i].group), span_of(o->group)))
			known_group = true;
	}
	if (!known_account)
		return err_set(e, ERR_USAGE, NULL, 0, "no account \"%s\"", o->account);
	if (!known_group)
		return err_set(e, ERR_USAGE, NULL, 0, "no account is of a group \"%s\"", o->group);
	return 0;
}

static const struct text_zone *
zones_of(struct tools *tools, const struct stored_finding *f, size_t n)
{
	struct page *p = &tools->p;
	struct text_zone *zone = arena_take(&p->arena, (n + 1) * sizeof *zone);
	const struct text_zone own = p->zone;

	for (size_t i = 0; i < n; i++) {
		cmd_zone(p, cmd_tz(tools->zones, f[i].timezone));
		zone[i] = p->zone;
	}
	p->zone = own;
	return zone;
}

static int
show_html(struct tools *tools, const struct options *o, const struct triage *t, struct err *e)
{
	struct page *p = &tools->p;
	struct board b = { .finding = t->finding, .n_finding = t->n_finding,
	    .filter = filter_text(&p->arena, o), .rest = "\"tripsift triage --format csv\"",
	    .since = t->since == NO_TIME ? "" : arena_fmt(&p->arena, "New means first raised after %s.",
	    text_time(p, t->since)), .alert = "", .at = cmd_now() };
	struct account_info *uncovered;
	struct store_status status;

	if (store_status(tools->s, &p->arena, &status, e) < 0 ||
	    store_uncovered(tools->s, &p->arena, &uncovered, &b.n_uncovered, e) < 0)
		return -1;
	b.zone = zones_of(tools, t->finding, t->n_finding);
	b.uncovered = uncovered;
	for (int l = 0; l < LEVEL_COUNT; l++)
		b.open[l] = status.open[l];
	b.accounts = status.accounts;
	b.cover_from = status.cover_from;
	b.cover_to = status.cover_to;
	b.due = status.due;
	board_html(p, &b);
	return 0;
}

static int
show_text(struct tools *tools, const struct options *o, struct triage *t, struct err *e)
{
	struct store *s = tools->s;
	struct page *p = &tools->p;
	struct account_info *uncovered;
	struct load_row *load = NULL;
	struct store_status status;
	const char **twin;

	if (store_status(s, &p->arena, &status, e) < 0 ||
	    store_uncovered(s, &p->arena, &uncovered, &t->n_uncovered, e) < 0 ||
	    store_twins(s, &p->arena, &twin, &t->n_twin, e) < 0)
		return -1;
	t->filter = filter_text(&p->arena, o);
	/* The worst offenders of all accounts belong to the list of all accounts. */
	if (!*t->filter && store_load(s, OFFENDERS, &p->arena, &load, &t->n_load, &t->all_alarms,
	    &t->all_activations, e) < 0)
		return -1;
	t->zone = zones_of(tools, t->finding, t->n_finding);
	t->load = load;
	t->uncovered = uncovered;
	t->twin = twin;
	for (int l = 0; l < LEVEL_COUNT; l++)
		t->open[l] = status.open[l];
	t->accounts = status.accounts;
	t->cover_from = status.cover_from;
	t->cover_to = status.cover_to;
	t->due = status.due;
	t->limit = o->limit < 0 ? SHOWN : (size_t)o->limit;
	triage_text(p, t);
	page_para(p, "", CARE_POINTERS);
	return 0;
}

static int
show(struct tools *tools, void *ctx, struct err *e)
{
	const struct options *o = ctx;
	struct store *s = tools->s;
	struct finding_filter filter = { .rule = o->rule, .account = o->account,
		.group = o->group, .level = o->level, .state = states[o->state],
		.as_of = NO_TIME };
	struct triage t = { 0 };
	struct stored_finding *f;
	struct json j = { .f = stdout };
	int64_t now;

	if (check_names(s, o, &tools->p.arena, e) < 0 || store_now(s, &now, e) < 0)
		return -1;
	filter.since = t.since = cmd_when(&o->since, tz_machine(tools->zones), now, -1);
	if (o->format && o->limit > 0)
		filter.limit = (size_t)o->limit;
	if (store_findings(s, &filter, &tools->p.arena, &f, &t.n_finding, e) < 0)
		return -1;
	t.finding = f;
	if (o->format == 0)
		return show_text(tools, o, &t, e);
	if (o->format == 3)
		return show_html(tools, o, &t, e);
	if (o->format == 1) {
		findings_csv(stdout, f, t.n_finding);
		return 0;
	}
	json_open(&j, NULL, '{');
	findings_json(&j, f, t.n_finding);
	json_close(&j, '}');
	json_end(&j);
	return 0;
}

static int
run(const struct command *self, int argc, char **argv)
{
	struct options o = { .level = -1, .limit = -1 };
	int out = cmd_options(self, &argc, argv, &o, 0, 0);

	return out == OUT_GO_ON ? cmd_show(&o.common, STORE_READ, show, &o) : out;
}

const struct command cmd_triage = {
	.name = "triage",
	.operands = "",
	.purpose = "what needs a person, over all accounts, in order",
	.about = "Lists what needs a person over all accounts: first who is not in the exports, "
	    "then which devices make the work, then the findings in order of level, life safety "
	    "first, undecided first, new before continuing. Findings somebody has decided on "
	    "stand lower in their level and are never hidden.",
	.examples = "tripsift triage\n"
	    "tripsift triage --since 24h --level now\n"
	    "tripsift triage --format csv --rule chatter > chatter.csv\n",
	.exits = "0 done, whatever is shown; 2 wrong usage, unknown account, group or rule; 3 no "
	    "store, or it failed.",
	.opt = options,
	.run = run,
};
