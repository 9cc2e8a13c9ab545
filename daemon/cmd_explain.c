#include <string.h>

#include "daemon/cmd.h"
#include "daemon/report/explain.h"
#include "rules/view.h"

struct options {
	struct opts_common common;
	int                format;
	const char        *finding;
};

static const struct opt options[] = {
	{ 'f', "format", "WORD", "text or json (default: text)", OPT_CHOICE,
	  offsetof(struct options, format), 0, 0, "text|json" },
	OPTS_COMMON(struct options),
	OPTS_END
};

/* "zone:5" and "serial:4A0071" in words; another finding's id stays. */
static const char *
member_text(struct view *v, struct arena *a, const char *member)
{
	const char *slash = strrchr(member, '/');
	int32_t d = -1;

	if (strncmp(member, "serial:", 7) == 0)
		d = view_device_find(v, "", member + 7, NO_TIME);
	else if (strncmp(member, "zone:", 5) == 0)
		d = view_device_find(v, slash ? slash + 1 : member + 5, "", NO_TIME);
	return arena_text(a, span_of(d >= 0 ? device_label(v, d) : member));
}

/* What only the account's view tells: the kind of the finding's device, for settings of
 * scope device=KIND, what its members are, and what was done since two weeks before it began.
 * The texts live as long as the view. */
static int
look_up(struct store *s, const struct stored_finding *f, struct view *v, struct explain *x,
    struct err *e)
{
	bool on_device = *f->zone || *f->serial;
	struct losses losses;
	struct repair *work;
	const char **member;
	int32_t d = -1;

	x->kind = "";
	if (strcmp(f->account, "*") == 0)
		return 0;
	if (store_view(s, f->account, NO_TIME, v, e) < 0)
		return -1;
	if (on_device)
		d = view_device_find(v, f->zone, f->serial, f->onset);
	if (d >= 0 && v->device[d].kind != KIND_UNKNOWN)
		x->kind = kind_text(v->device[d].kind);
	member = arena_take(&v->arena, (f->n_member + 1) * sizeof *member);
	for (size_t i = 0; i < f->n_member; i++)
		member[i] = member_text(v, &v->arena, f->member[i]);
	x->member = member;
	if (d < 0 && on_device)
		return 0;
	losses_find(v, &v->arena, &losses);
	x->n_work = repairs_of(v, &losses, d, f->onset - REPAIR_SPAN, &v->arena, &work);
	x->work = work;
	return 0;
}

static int
print(struct tools *t, const struct options *o, struct stored_finding *f, struct view *v,
    struct err *e)
{
	struct page *p = &t->p;
	struct explain x = { .finding = f };
	struct setting_row *setting;
	struct stored_decision *decision;
	struct json j = { .f = stdout };

	if (look_up(t->s, f, v, &x, e) < 0 ||
	    store_settings(t->s, &p->arena, &setting, &x.n_setting, e) < 0 ||
	    store_decisions(t->s, f->id, &p->arena, &decision, &x.n_decision, e) < 0)
		return -1;
	x.setting = setting;
	x.decision = decision;
	if (o->format == 0) {
		cmd_zone(p, cmd_tz(t->zones, f->timezone));
		explain_text(p, &x);
		return OUT_DONE;
	}
	json_open(&j, NULL, '{');
	explain_json(&j, &x);
	json_close(&j, '}');
	json_end(&j);
	return OUT_DONE;
}

static int
show(struct tools *t, void *ctx, struct err *e)
{
	const struct options *o = ctx;
	struct page *p = &t->p;
	struct finding_filter filter = { .id = o->finding, .level = -1, .state = "all",
		.since = NO_TIME, .as_of = NO_TIME };
	struct stored_finding *f;
	struct view v = { 0 };
	size_t n;
	int out;

	if (store_findings(t->s, &filter, &p->arena, &f, &n, e) < 0)
		return -1;
	if (n == 0)
		return err_set(e, ERR_USAGE, NULL, 0, "no finding %s; \"tripsift triage\" lists them",
		    o->finding);
	out = print(t, o, f, &v, e);
	view_release(&v);
	return out;
}

static int
run(const struct command *self, int argc, char **argv)
{
	struct options o = { 0 };
	int out = cmd_options(self, &argc, argv, &o, 1, 1);

	if (out != OUT_GO_ON)
		return out;
	o.finding = argv[0];
	return cmd_show(&o.common, STORE_READ, show, &o);
}

const struct command cmd_explain = {
	.name = "explain",
	.operands = "FINDING",
	.purpose = "one finding with its evidence, settings, checks and cautions",
	.about = "Shows one finding whole: the sentence and its measures, cautions, what to check "
	    "in which order, the rows it rests on with file and line, the same measures two weeks "
	    "before and after work that was done, the settings in force and where their numbers "
	    "come from, and the decisions so far. Times are those of the "
	    "site.",
	.examples = "tripsift explain FINDING\n"
	    "tripsift explain FINDING --format json\n",
	.exits = "0 done; 2 wrong usage or unknown finding; 3 no store, or it failed.",
	.opt = options,
	.run = run,
};
