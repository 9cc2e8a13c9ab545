#include "daemon/cmd.h"
#include "daemon/report/visit.h"
#include "daemon/report/visit_html.h"

struct options {
	struct opts_common common;
	struct opts_when   since;
	int                format;
	const char        *account;
};

static const struct opt options[] = {
	{ 's', "since", "TIME", "the visit began then, by the site's clock, or a span back from the "
	  "end of its cover, such as 8h (default: the newest visit of the plan that has begun, "
	  "else the newest learn session)", OPT_WHEN, offsetof(struct options, since), 0, 0, NULL },
	{ 'f', "format", "WORD", "text, json or html (default: text)", OPT_CHOICE,
	  offsetof(struct options, format), 0, 0, "text|json|html" },
	OPTS_COMMON(struct options),
	OPTS_END
};

static int
show(struct tools *t, void *ctx, struct err *e)
{
	const struct options *o = ctx;
	struct page *p = &t->p;
	struct view v = { 0 };
	struct visit_check x;
	struct json j = { .f = stdout };
	int64_t since;

	if (cmd_view(t, o->account, NO_TIME, &v, e) < 0) {
		view_release(&v);
		return -1;
	}
	cmd_zone(p, cmd_tz(t->zones, v.timezone));
	p->width = TEXT_WIDTH;	/* it is printed */
	since = cmd_when(&o->since, p->zone.zone, v.now, -1);
	visit_check(&v, since, &x);
	if (o->format == 0) {
		visit_text(p, &v, &x);
	} else if (o->format == 2) {
		visit_html(p, &v, &x, &(struct visit_page){ .at = cmd_now() });
	} else {
		json_open(&j, NULL, '{');
		visit_json(&j, &v, &x);
		json_close(&j, '}');
		json_end(&j);
	}
	view_release(&v);
	return x.complete ? OUT_DONE : OUT_ATTENTION;
}

static int
run(const struct command *self, int argc, char **argv)
{
	struct options o = { 0 };
	int out = cmd_options(self, &argc, argv, &o, 1, 1);

	if (out != OUT_GO_ON)
		return out;
	o.account = argv[0];
	return cmd_show(&o.common, STORE_READ, show, &o);
}

const struct command cmd_visit = {
	.name = "visit",
	.operands = "ACCOUNT",
	.purpose = "after the work: is everything learned and heard, nothing left open",
	.about = "Holds what a visit should learn (plan, else roster) against what the panel "
	    "learned and heard, on a sheet to print and sign: is every device learned, does it "
	    "agree with its sticker, was it heard since, did anything foreign get in, is nothing "
	    "left bypassed, in test or open. Read the site's newest export first. The sheet "
	    "may be left in a house: duress, silent panic and hold-up are not named on it. JSON is "
	    "for programs and names them: keep it at the desk.",
	.examples = "tripsift ingest after-work.csv && tripsift visit 1042\n"
	    "tripsift visit 1042 --since 2026-10-01T08:00\n"
	    "tripsift visit 1042 --format html > visit.html\n",
	.exits = "0 enrolment complete by the log; 1 not complete; 2 wrong usage or unknown "
	    "account; 3 no store, or it failed.",
	.opt = options,
	.run = run,
};
