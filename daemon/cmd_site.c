#include "daemon/cmd.h"
#include "daemon/report/site_html.h"

struct options {
	struct opts_common common;
	struct opts_when   as_of;
	int                format;
	const char        *account;
};

static const struct opt options[] = {
	{ 't', "as-of", "TIME", "as the site stood at that time, by the site's clock, or a span "
	  "back from the end of its cover, such as 7d (default: the end of its cover)", OPT_WHEN,
	  offsetof(struct options, as_of), 0, 0, NULL },
	{ 'f', "format", "WORD", "text, json or html (default: text)", OPT_CHOICE,
	  offsetof(struct options, format), 0, 0, "text|json|html" },
	OPTS_COMMON(struct options),
	OPTS_END
};

/* Findings keep the state of the last judging; those that began later are left out. */
static size_t
begun_by(struct stored_finding *f, size_t n, int64_t as_of)
{
	size_t kept = 0;

	for (size_t i = 0; i < n; i++) {
		if (f[i].onset <= as_of)
			f[kept++] = f[i];
	}
	return kept;
}

static int
show(struct tools *t, void *ctx, struct err *e)
{
	const struct options *o = ctx;
	struct page *p = &t->p;
	struct finding_filter filter = { .account = o->account, .level = -1,
		 .since = NO_TIME, .as_of = NO_TIME };
	struct stored_finding *f;
	struct site site;
	struct view v = { 0 };
	struct json j = { .f = stdout };
	int64_t as_of;
	int rc = -1;
	size_t n;

	if (cmd_view(t, o->account, NO_TIME, &v, e) < 0)
		goto done;
	cmd_zone(p, cmd_tz(t->zones, v.timezone));
	as_of = cmd_when(&o->as_of, p->zone.zone, v.now, -1);
	if (as_of != NO_TIME) {
		view_release(&v);
		v = (struct view){ 0 };
		if (cmd_view(t, o->account, as_of, &v, e) < 0)
			goto done;
	}
	if (store_findings(t->s, &filter, &p->arena, &f, &n, e) < 0)
		goto done;
	if (as_of != NO_TIME)
		n = begun_by(f, n, as_of);
	site_build(&site, &v, f, n);
	site.looking_back = as_of != NO_TIME;
	if (o->format == 0) {
		site_text(p, &site);
	} else if (o->format == 2) {
		site_html(p, &site, &(struct site_page){ .at = cmd_now() });
	} else {
		json_open(&j, NULL, '{');
		site_json(&j, &site);
		json_close(&j, '}');
		json_end(&j);
	}
	rc = OUT_DONE;
done:
	view_release(&v);
	return rc;
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

const struct command cmd_site = {
	.name = "site",
	.operands = "ACCOUNT",
	.purpose = "one site's sheet: what to bring, what to check, every device",
	.about = "Shows one site on a sheet to take along: what is covered, what to bring, what to "
	    "check first, open troubles, every device with last heard, cell, supervision and the "
	    "last 30 days, learn sessions with each serial, and measures before and after work "
	    "that was done. Times are those of the site. The sheet may be left in a house: "
	    "duress, silent panic and hold-up are not named on it. JSON is for programs and names "
	    "them: keep it at the desk.",
	.examples = "tripsift site 1042\n"
	    "tripsift site 1042 --as-of 7d\n"
	    "tripsift site 1042 --format json\n"
	    "tripsift site 1042 --format html > 1042.html\n",
	.exits = "0 done, whatever is shown; 2 wrong usage or unknown account; 3 no store, or it "
	    "failed.",
	.opt = options,
	.run = run,
};
