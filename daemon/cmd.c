#include "daemon/cmd.h"

#include "daemon/derive.h"

#include <errno.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "rules/override.h"
#include "rules/rule.h"

#define X(name) extern const struct command cmd_##name;
#include "daemon/cmd_list.h"
#undef X

const struct command *const cmd_table[] = {
#define X(name) &cmd_##name,
#include "daemon/cmd_list.h"
#undef X
	NULL
};

const struct command *
cmd_find(const char *name)
{
	for (const struct command *const *c = cmd_table; *c; c++) {
		if (strcmp((*c)->name, name) == 0)
			return *c;
	}
	return NULL;
}

void
cmd_help(const struct command *self, FILE *f)
{
	struct page p = { .f = f, .width = TEXT_WIDTH };

	fprintf(f, "tripsift %s%s%s [options]\n\n", self->name, *self->operands ? " " : "",
	    self->operands);
	page_para(&p, "", self->about);
	fputs("\nFor example\n", f);
	for (const char *line = self->examples; *line;) {
		int n = (int)strcspn(line, "\n");

		fprintf(f, "  %.*s\n", n, line);
		line += n + (line[n] == '\n');
	}
	fputs("\nOptions\n", f);
	opts_help(self->opt, f);
	putc('\n', f);
	page_para(&p, "Exit code: ", self->exits);
	page_release(&p);
}

int
cmd_options(const struct command *self, int *argc, char **argv, void *into, int least, int most)
{
	const struct opts_common *common = into;
	struct err e;

	if (opts_parse(self->opt, argc, argv, into, &e) < 0)
		goto wrong;
	if (common->help) {
		cmd_help(self, stdout);
		return OUT_DONE;
	}
	if (*argc < least) {
		err_set(&e, ERR_USAGE, NULL, 0, "what is missing: %s", self->operands);
		goto wrong;
	}
	if (most >= 0 && *argc > most) {
		err_set(&e, ERR_USAGE, NULL, 0, "\"%s\" is one too many", argv[most]);
		goto wrong;
	}
	return OUT_GO_ON;
wrong:
	err_wrap(&e, "%s", self->name);
	cmd_fail(&e);
	fprintf(stderr, "usage: tripsift %s%s%s [options]; tripsift %s --help says more\n",
	    self->name, *self->operands ? " " : "", self->operands, self->name);
	return OUT_USAGE;
}

static void
say(const char *text)
{
	struct page p;

	page_init(&p, stderr);
	fprintf(stderr, "tripsift: %s\n", text_safe(&p, text));
	page_release(&p);
}

int
cmd_fail(const struct err *e)
{
	say(e->text);
	return e->code == ERR_USAGE ? OUT_USAGE : OUT_FAILED;
}

int
cmd_no_folder(const char *folder, struct err *e)
{
	bool wrong = errno == ENOTDIR || errno == ENOENT || errno == EACCES;

	return err_set(e, wrong ? ERR_USAGE : ERR_IO, folder, 0, "is no folder, and none can be made:"
	    " %s", strerror(errno));
}

void
cmd_say(const char *fmt, ...)
{
	struct arena a = { 0 };
	va_list ap;

	va_start(ap, fmt);
	say(arena_vfmt(&a, fmt, ap));
	va_end(ap);
	arena_release(&a);
}

const char *
cmd_db(const struct opts_common *o)
{
	const char *env = getenv("TRIPSIFT_DB");

	return o->db ? o->db : env && *env ? env : "tripsift.db";
}

struct store *
cmd_store(const struct opts_common *o, enum store_mode mode, struct err *e)
{
	const char *path = cmd_db(o);
	bool made = false;
	struct store *s;

	if (mode != STORE_CREATE && access(path, F_OK) != 0) {
		if (errno == EACCES) {
			err_set(e, ERR_STORE, path, 0, "you may not enter the folder that it lies in");
			return NULL;
		}
		err_set(e, ERR_STORE, NULL, 0, "no store at %.300s: \"tripsift ingest FILE...\" "
		    "makes one; --db or $TRIPSIFT_DB names another", path);
		return NULL;
	}
	s = store_open(path, mode, &made, e);
	if (s && made) {
		char *full = realpath(path, NULL);

		cmd_say("new store: %s", full ? full : path);
		free(full);
	}
	return s;
}

int
cmd_show(const struct opts_common *o, enum store_mode mode,
    int (*show)(struct tools *t, void *ctx, struct err *e), void *ctx)
{
	struct tools t = { 0 };
	struct err e;
	int out = -1;

	page_init(&t.p, stdout);
	t.zones = tz_set_open();
	cmd_zone(&t.p, tz_machine(t.zones));
	t.s = cmd_store(o, mode, &e);
	if (t.s)
		out = show(&t, ctx, &e);
	if (out < 0)
		out = cmd_fail(&e);
	store_close(t.s);
	tz_set_close(t.zones);
	page_release(&t.p);
	return out;
}

int64_t
cmd_when(const struct opts_when *w, const struct tz *zone, int64_t base, int sign)
{
	int32_t first, second;
	int64_t offset;

	switch (w->form) {
	case WHEN_STAMP:
		if (w->stamp.offset != OFFSET_LOCAL) {
			offset = w->stamp.offset * 60;
		} else {
			tz_local(zone, w->stamp.wall, &first, &second);
			offset = first;
		}
		return (w->stamp.wall - offset) * SECOND + w->stamp.ms;
	case WHEN_SPAN:
		return base == NO_TIME ? NO_TIME : base + sign * w->span;
	case WHEN_NONE:
		break;
	}
	return NO_TIME;
}

int64_t
cmd_now(void)
{
	struct timespec t;

	clock_gettime(CLOCK_REALTIME, &t);
	return (int64_t)t.tv_sec * SECOND + t.tv_nsec / 1000000;
}

bool
cmd_clock(const char *text, double *hours)
{
	const char *colon = strchr(text, ':');
	int64_t hour, minute;

	if (!colon || colon - text > 2 || strlen(colon) != 3 ||
	    !span_to_int((struct span){ text, (size_t)(colon - text) }, 0, 23, &hour) ||
	    !span_to_int(span_of(colon + 1), 0, 59, &minute))
		return false;
	*hours = (double)hour + (double)minute / 60;
	return true;
}

static int32_t
offset(const void *zone, int64_t utc)
{
	return tz_offset(zone, utc);
}

void
cmd_zone(struct page *p, const struct tz *zone)
{
	p->zone = (struct text_zone){ tz_shown(zone), offset, zone };
}

const struct tz *
cmd_tz(struct tz_set *set, const char *name)
{
	struct err ignored;
	const struct tz *z = *name ? tz_find(set, span_of(name), &ignored) : NULL;

	return z ? z : tz_machine(set);
}

const struct rule *
cmd_rule(const char *name, struct err *e)
{
	enum { MOST = 64 };
	const struct rule *r = rule_find(name);
	const char *names[MOST + 1], *near;
	size_t n = 0;

	if (r)
		return r;
	if ((r = override_find(span_of(name))) != NULL)
		return r;
	for (size_t i = 0; i < rule_count && n < MOST; i++)
		names[n++] = rule_table[i]->id;
	names[n] = NULL;
	near = opts_nearest(name, names);
	err_set(e, ERR_USAGE, NULL, 0, "no rule \"%s\"; %s%s", name,
	    near ? "nearest: " : "\"tripsift rules\" lists them", near ? near : "");
	return NULL;
}

int
cmd_view(struct tools *t, const char *account, int64_t as_of, struct view *v, struct err *e)
{
	if (store_view(t->s, account, as_of, v, e) < 0)
		return -1;
	derive_local(v, t->zones);
	return 0;
}
