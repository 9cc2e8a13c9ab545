#include "tests/unit/help_view.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { MAX_WORD = 32, MAX_ACCOUNT = 128 };

/* One account while its lines are read: arrays on the heap until they are complete. */
struct build {
	struct view v;
	size_t cap_cover, cap_point, cap_cell, cap_event, cap_roster, cap_plan, cap_service,
	       cap_override, cap_elsewhere;
	int32_t offset;		/* seconds east of UTC */
	uint32_t line;
	bool now_given;
};

static int64_t
digits(const char **p, int n)
{
	int64_t value = 0;

	for (; n > 0; n--, (*p)++) {
		if (**p < '0' || **p > '9')
			fail_msg("no digit at '%s'", *p);
		value = value * 10 + (**p - '0');
	}
	return value;
}

static void
expect(const char **p, char c)
{
	if (**p != c)
		fail_msg("'%c' expected at '%s'", c, *p);
	(*p)++;
}

static int32_t
offset_of(const char **p)
{
	int sign = **p == '-' ? -1 : 1;
	int64_t h, m;

	(*p)++;
	h = digits(p, 2);
	expect(p, ':');
	m = digits(p, 2);
	return (int32_t)(sign * (h * 3600 + m * 60));
}

static int64_t
time_of(const char *text, int32_t offset, bool *coarse)
{
	const char *p = text;
	struct civil c = { 0 };

	*coarse = false;
	c.year = (int)digits(&p, 4);
	expect(&p, '-');
	c.month = (int)digits(&p, 2);
	expect(&p, '-');
	c.day = (int)digits(&p, 2);
	if (*p == 'T') {
		p++;
		c.hour = (int)digits(&p, 2);
		expect(&p, ':');
		c.minute = (int)digits(&p, 2);
		*coarse = *p != ':';
		if (*p == ':') {
			p++;
			c.second = (int)digits(&p, 2);
		}
		if (*p == '.') {
			p++;
			c.ms = (int)digits(&p, 3);
		}
	}
	if (*p == 'Z') {
		p++;
		offset = 0;
	} else if (*p == '+' || *p == '-') {
		offset = offset_of(&p);
	}
	if (*p)
		fail_msg("'%s' is no time", text);
	return civil_to_ms(&c) - offset * SECOND;
}

int64_t
help_time(const char *text)
{
	bool coarse;

	return time_of(text, 0, &coarse);
}

/* Cuts a line into words in place; quotes go. Returns their number. */
static size_t
cut(char *line, char **word)
{
	size_t n = 0;
	char *in = line;

	for (;;) {
		char *out;
		bool quoted = false;

		while (*in == ' ' || *in == '\t')
			in++;
		if (!*in)
			return n;
		if (n == MAX_WORD)
			fail_msg("too many words: %s", line);
		word[n++] = out = in;
		for (; *in && (quoted || (*in != ' ' && *in != '\t')); in++) {
			if (*in == '"')
				quoted = !quoted;
			else
				*out++ = *in;
		}
		if (quoted)
			fail_msg("quote without end: %s", word[n - 1]);
		if (*in)
			in++;
		*out = '\0';
	}
}

/* The value of name=value among the words, NULL if not given. Takes the word out. */
static const char *
given(char **word, size_t n, const char *name)
{
	size_t len = strlen(name);

	for (size_t i = 0; i < n; i++) {
		if (strncmp(word[i], name, len) == 0 && word[i][len] == '=') {
			const char *value = word[i] + len + 1;

			word[i] = word[i] + strlen(word[i]);
			return value;
		}
	}
	return NULL;
}

static const char *
text_given(struct build *b, char **word, size_t n, const char *name)
{
	const char *value = given(word, n, name);

	return value ? arena_text(&b->v.arena, span_of(value)) : "";
}

static int64_t
time_given(struct build *b, char **word, size_t n, const char *name, int64_t otherwise)
{
	const char *value = given(word, n, name);
	bool coarse;

	return value ? time_of(value, b->offset, &coarse) : otherwise;
}

static int64_t
number_given(char **word, size_t n, const char *name, int64_t otherwise)
{
	const char *value = given(word, n, name);
	int64_t out = otherwise;

	if (value && !span_to_int(span_of(value), 0, INT32_MAX, &out))
		fail_msg("%s=%s is no number", name, value);
	return out;
}

static int64_t
duration_given(char **word, size_t n, const char *name)
{
	const char *value = given(word, n, name);
	int64_t ms = 0;

	if (value && !span_to_duration(span_of(value), &ms))
		fail_msg("%s=%s is no duration", name, value);
	return ms;
}

static enum kind
kind_given(char **word, size_t n, const char *name)
{
	const char *value = given(word, n, name);
	enum kind k = KIND_UNKNOWN;

	if (value && !kind_find(span_of(value), &k))
		fail_msg("%s=%s is no device kind", name, value);
	return k;
}

static uint16_t
marks_given(char **word, size_t n)
{
	static const char *const name[] = { "still", "reset", "skipped", "repeated", "ambiguous",
		"leap", "coarse", "buffered", "life-code", "user", "panel" };
	const char *p = given(word, n, "marks");
	uint16_t marks = 0;

	while (p && *p) {
		size_t len = strcspn(p, ","), i = 0;

		while (i < sizeof name / sizeof *name &&
		    (strlen(name[i]) != len || strncmp(name[i], p, len) != 0))
			i++;
		if (i == sizeof name / sizeof *name)
			fail_msg("no mark '%s'", p);
		marks |= (uint16_t)(1 << i);
		p += len + (p[len] == ',');
	}
	return marks;
}

static void
nothing_left(char **word, size_t n)
{
	for (size_t i = 0; i < n; i++)
		if (*word[i])
			fail_msg("not understood: '%s'", word[i]);
}

static uint32_t
point_of(struct build *b, const char *partition, const char *zone, const char *serial)
{
	struct view *v = &b->v;

	for (size_t i = 0; i < v->n_point; i++)
		if (strcmp(v->point[i].zone, zone) == 0 && strcmp(v->point[i].serial, serial) == 0 &&
		    strcmp(v->point[i].partition, partition) == 0)
			return (uint32_t)i;
	v->point = x_grow(v->point, &b->cap_point, v->n_point + 1, sizeof *v->point);
	v->point[v->n_point] = (struct point){ .partition = partition, .zone = zone,
		.serial = serial };
	return (uint32_t)v->n_point++;
}

static uint32_t
cell_of(struct build *b, const char *text)
{
	struct view *v = &b->v;

	for (size_t i = 0; i < v->n_cell; i++)
		if (strcmp(v->cell[i], text) == 0)
			return (uint32_t)i;
	v->cell = x_grow(v->cell, &b->cap_cell, v->n_cell + 1, sizeof *v->cell);
	v->cell[v->n_cell] = text;
	return (uint32_t)v->n_cell++;
}

static void
line_event(struct build *b, char **word, size_t n)
{
	struct view *v = &b->v;
	struct event ev = { .line = b->line, .offset = b->offset, .device = -1 };
	const char *zone, *serial, *partition, *cell;
	int64_t every, until, times;
	enum strength_unit unit = STRENGTH_NONE;
	enum word w = W_OTHER;
	const char *signal;
	bool coarse;

	ev.at = time_of(word[0], b->offset, &coarse);
	if (n < 2 || !word_find(span_of(word[1]), &w))
		fail_msg("no event word in line %u: %s", b->line, n < 2 ? "" : word[1]);
	ev.word = (uint16_t)w;
	word += 2;
	n -= 2;
	zone = text_given(b, word, n, "zone");
	serial = text_given(b, word, n, "serial");
	partition = text_given(b, word, n, "part");
	ev.point = point_of(b, partition, zone, serial);
	cell = text_given(b, word, n, "cell");
	ev.cell = cell_of(b, *cell ? cell : word_text(w));
	ev.user = text_given(b, word, n, "user");
	ev.text = text_given(b, word, n, "text");
	ev.received = time_given(b, word, n, "received", NO_TIME);
	ev.hint = (uint8_t)kind_given(word, n, "hint");
	signal = text_given(b, word, n, "signal");
	if (*signal && !strength_read(span_of(signal), &unit, &ev.signal))
		fail_msg("line %u: no signal: %s", b->line, signal);
	ev.signal_unit = (uint8_t)unit;
	ev.file = (uint32_t)number_given(word, n, "file", 1);
	ev.marks = marks_given(word, n) | (coarse ? MARK_COARSE : 0);
	every = duration_given(word, n, "every");
	times = number_given(word, n, "times", 0);
	until = time_given(b, word, n, "until", NO_TIME);
	nothing_left(word, n);
	if ((every != 0) != (times != 0 || until != NO_TIME))
		fail_msg("line %u: `every` goes with `times` or `until`", b->line);
	if (!times)
		times = until == NO_TIME ? 1 : (until - ev.at) / every + 1;
	for (int64_t i = 0; i < times; i++, ev.at += every) {
		v->event = x_grow(v->event, &b->cap_event, v->n_event + 1, sizeof *v->event);
		v->event[v->n_event++] = ev;
		ev.received += ev.received == NO_TIME ? 0 : every;
	}
}

static void
line_account(struct build *b, char **word, size_t n)
{
	const char *tz;

	if (n < 2)
		fail_msg("account without a number");
	b->v.account = arena_text(&b->v.arena, span_of(word[1]));
	word += 2;
	n -= 2;
	tz = given(word, n, "tz");
	if (tz)
		b->offset = offset_of(&tz);
	b->v.name = text_given(b, word, n, "name");
	b->v.group = text_given(b, word, n, "group");
	b->v.timezone = text_given(b, word, n, "timezone");
	b->v.receiver = text_given(b, word, n, "receiver");
	b->v.line = text_given(b, word, n, "line");
	b->v.since = time_given(b, word, n, "since", NO_TIME);
	nothing_left(word, n);
}

static void
line_roster(struct build *b, char **word, size_t n)
{
	struct view *v = &b->v;

	v->roster = x_grow(v->roster, &b->cap_roster, v->n_roster + 1, sizeof *v->roster);
	v->roster[v->n_roster++] = (struct roster_row){
		.zone = text_given(b, word, n, "zone"),
		.partition = text_given(b, word, n, "part"),
		.serial = text_given(b, word, n, "serial"),
		.name = text_given(b, word, n, "name"),
		.cell = text_given(b, word, n, "cell"),
		.kind = kind_given(word, n, "kind"),
		.cells = (int)number_given(word, n, "cells", 0),
		.installed = time_given(b, word, n, "installed", NO_TIME),
		.checkin = duration_given(word, n, "checkin"),
		.as_of = time_given(b, word, n, "as_of", 0),
		.version = (uint32_t)number_given(word, n, "version", 1),
	};
	nothing_left(word + 1, n - 1);
}

static void
line_plan(struct build *b, char **word, size_t n)
{
	struct view *v = &b->v;

	v->plan = x_grow(v->plan, &b->cap_plan, v->n_plan + 1, sizeof *v->plan);
	v->plan[v->n_plan++] = (struct plan_row){
		.zone = text_given(b, word, n, "zone"),
		.serial = text_given(b, word, n, "serial"),
		.name = text_given(b, word, n, "name"),
		.replaces = text_given(b, word, n, "replaces"),
		.kind = kind_given(word, n, "kind"),
		.from = time_given(b, word, n, "from", NO_TIME),
		.to = time_given(b, word, n, "to", NO_TIME),
		.order = (int)number_given(word, n, "order", 0),
	};
	nothing_left(word + 1, n - 1);
}

static void
line_service(struct build *b, char **word, size_t n)
{
	struct view *v = &b->v;
	bool coarse;

	if (n < 2)
		fail_msg("service without a time");
	v->service = x_grow(v->service, &b->cap_service, v->n_service + 1, sizeof *v->service);
	v->service[v->n_service++] = (struct service_row){
		.at = time_of(word[1], b->offset, &coarse),
		.what = text_given(b, word, n, "what"),
		.zone = text_given(b, word, n, "zone"),
		.serial = text_given(b, word, n, "serial"),
		.who = text_given(b, word, n, "who"),
	};
	nothing_left(word + 2, n - 2);
}

static void
line_setting(struct build *b, char **word, size_t n)
{
	struct view *v = &b->v;
	struct override o = { .kind = kind_given(word, n, "kind") };
	char *dot = n < 2 ? NULL : strchr(word[1], '.'), *equals = dot ? strchr(dot, '=') : NULL;

	if (!equals || !span_to_num(span_of(equals + 1), &o.value))
		fail_msg("setting RULE.SETTING=VALUE expected");
	o.rule = arena_bytes(&v->arena, word[1], (size_t)(dot - word[1]));
	o.setting = arena_bytes(&v->arena, dot + 1, (size_t)(equals - dot - 1));
	nothing_left(word + 2, n - 2);
	v->override = x_grow(v->override, &b->cap_override, v->n_override + 1, sizeof *v->override);
	v->override[v->n_override++] = o;
}

static void
line_elsewhere(struct build *b, char **word, size_t n)
{
	struct view *v = &b->v;
	struct elsewhere e;
	size_t i;

	if (n != 4)
		fail_msg("elsewhere SERIAL ACCOUNT ZONE expected");
	e = (struct elsewhere){ arena_text(&v->arena, span_of(word[1])),
		arena_text(&v->arena, span_of(word[2])), arena_text(&v->arena, span_of(word[3])) };
	v->elsewhere = x_grow(v->elsewhere, &b->cap_elsewhere, v->n_elsewhere + 1,
	    sizeof *v->elsewhere);
	for (i = v->n_elsewhere++; i > 0 &&
	    strcmp(v->elsewhere[i - 1].serial_key, e.serial_key) > 0; i--)
		v->elsewhere[i] = v->elsewhere[i - 1];
	v->elsewhere[i] = e;
}

static void
line_cover(struct build *b, char **word, size_t n)
{
	struct view *v = &b->v;
	bool coarse;

	if (n != 3)
		fail_msg("cover FROM TO expected");
	v->cover = x_grow(v->cover, &b->cap_cover, v->n_cover + 1, sizeof *v->cover);
	v->cover[v->n_cover++] = (struct interval){ time_of(word[1], b->offset, &coarse),
		time_of(word[2], b->offset, &coarse) };
}

static void
line(struct build *b, char *text)
{
	char *word[MAX_WORD];
	size_t n = cut(text, word);
	bool coarse;

	b->line++;
	if (n == 0 || word[0][0] == '#')
		return;
	if (word[0][0] >= '0' && word[0][0] <= '9')
		line_event(b, word, n);
	else if (strcmp(word[0], "account") == 0)
		line_account(b, word, n);
	else if (strcmp(word[0], "now") == 0 && n == 2) {
		b->v.now = time_of(word[1], b->offset, &coarse);
		b->now_given = true;
	} else if (strcmp(word[0], "cover") == 0)
		line_cover(b, word, n);
	else if (strcmp(word[0], "roster") == 0)
		line_roster(b, word, n);
	else if (strcmp(word[0], "plan") == 0)
		line_plan(b, word, n);
	else if (strcmp(word[0], "service") == 0)
		line_service(b, word, n);
	else if (strcmp(word[0], "setting") == 0)
		line_setting(b, word, n);
	else if (strcmp(word[0], "elsewhere") == 0)
		line_elsewhere(b, word, n);
	else
		fail_msg("line %u begins with '%s'", b->line, word[0]);
}

/* Moves an array from the heap into the view's arena. */
static void *
moved(struct view *v, void *from, size_t n, size_t item)
{
	void *to = arena_take(&v->arena, n * item);

	if (n)
		memcpy(to, from, n * item);
	free(from);
	return to;
}

static void
finish(struct build *b)
{
	struct view *v = &b->v;
	int64_t first = INT64_MAX, last = NO_TIME;

	v->minutes_only = v->n_event > 0;
	for (size_t i = 0; i < v->n_event; i++) {
		if (v->event[i].at < first)
			first = v->event[i].at;
		if (v->event[i].at > last)
			last = v->event[i].at;
		v->minutes_only &= (v->event[i].marks & MARK_COARSE) != 0;
	}
	if (!b->now_given)
		v->now = v->n_cover ? v->cover[v->n_cover - 1].to : last;
	if (!v->n_cover && v->n_event && v->now >= first) {
		v->cover = x_grow(v->cover, &b->cap_cover, 1, sizeof *v->cover);
		v->cover[v->n_cover++] = (struct interval){ first, v->now };
	}
	v->cover = moved(v, v->cover, v->n_cover, sizeof *v->cover);
	v->point = moved(v, v->point, v->n_point, sizeof *v->point);
	v->cell = moved(v, v->cell, v->n_cell, sizeof *v->cell);
	v->event = moved(v, v->event, v->n_event, sizeof *v->event);
	v->roster = moved(v, v->roster, v->n_roster, sizeof *v->roster);
	v->plan = moved(v, v->plan, v->n_plan, sizeof *v->plan);
	v->service = moved(v, v->service, v->n_service, sizeof *v->service);
	v->override = moved(v, v->override, v->n_override, sizeof *v->override);
	v->elsewhere = moved(v, v->elsewhere, v->n_elsewhere, sizeof *v->elsewhere);
	view_finish(v);
}

static void
begin(struct build *b)
{
	*b = (struct build){ .v = { .account = "A1", .receiver = "", .line = "", .name = "",
		.group = "", .timezone = "", .since = NO_TIME, .now = NO_TIME } };
}

/* Builds all accounts of the text; `v` holds at least MAX_ACCOUNT. */
static size_t
build_all(struct view *v, size_t most, const char *text)
{
	struct arena scratch = { 0 };
	struct build b;
	size_t n = 0;
	bool started = false;

	begin(&b);
	while (*text) {
		size_t len = strcspn(text, "\n");
		char *copy = arena_bytes(&scratch, text, len);
		bool account = strncmp(copy + strspn(copy, " \t"), "account ", 8) == 0;

		if (account && started) {
			if (n + 1 == most)
				fail_msg("too many accounts");
			finish(&b);
			v[n++] = b.v;
			begin(&b);
		}
		started |= account;
		line(&b, copy);
		text += len + (text[len] == '\n');
	}
	finish(&b);
	v[n++] = b.v;
	arena_release(&scratch);
	return n;
}

void
help_view(struct view *v, const char *text)
{
	build_all(v, 1, text);
}

/* ---- findings as text -------------------------------------------------------- */

static void
put(struct arena *a, const char **to, const char *more)
{
	*to = arena_fmt(a, "%s%s", *to, more);
}

static const char *
finding_text(struct arena *a, const struct view *v, const struct finding *f)
{
	char onset[CIVIL_TEXT], last[CIVIL_TEXT], cleared[CIVIL_TEXT];
	const char *out;

	civil_rfc3339(f->onset, onset);
	civil_rfc3339(f->last, last);
	civil_rfc3339(f->cleared, cleared);
	out = arena_fmt(a, "%s %s %s %s [%s] %s %s %ld %s %s | %s\n", f->rule->id,
	    level_text(f->level), f->account ? f->account : v->account, f->subject,
	    f->device_text ? f->device_text : "", *onset ? onset : "-", *last ? last : "-",
	    f->count, f->life ? "life" : "-", f->pending ? "candidate" : *cleared ? cleared : "open",
	    f->summary);
	for (size_t i = 0; i < f->n_measure; i++) {
		const struct measure *m = &f->measure[i];

		if (m->text)
			put(a, &out, arena_fmt(a, "  measure %s %s\n", m->name, m->text));
		else
			put(a, &out, arena_fmt(a, "  measure %s %.6g%s%s\n", m->name, m->value,
			    *m->unit ? " " : "", m->unit));
	}
	for (size_t i = 0; i < f->n_check; i++)
		put(a, &out, arena_fmt(a, "  check %s\n", f->check[i]));
	for (size_t i = 0; i < f->n_caution; i++)
		put(a, &out, arena_fmt(a, "  caution %s\n", f->caution[i]));
	for (size_t i = 0; i < f->n_member; i++)
		put(a, &out, arena_fmt(a, "  member %s\n", f->member[i]));
	for (size_t i = 0; i < f->n_evidence; i++) {
		const struct event *ev = &v->event[f->evidence[i]];

		put(a, &out, arena_fmt(a, "  evidence %s %s\n", civil_rfc3339(ev->at, onset),
		    word_text(ev->word)));
	}
	return out;
}

const char *
help_findings(struct arena *a, const struct view *v, const struct findings *out)
{
	const char *text = "";

	for (size_t i = 0; i < out->n; i++)
		put(a, &text, finding_text(a, v, out->finding[i]));
	return text;
}

/* The second pass of one rule over all accounts: candidates that do not fire leave. */
static void
fleet_pass(const struct rule *r, struct view *v, struct findings *out, size_t n,
    struct fleet *before, struct findings *common)
{
	struct fleet f = { .n_account = n, .now = NO_TIME, .override = v[0].override,
		.n_override = v[0].n_override, .fired = before->fired,
		.n_fired = before->n_fired, .cap_fired = before->cap_fired };
	struct summary *sum = NULL;
	struct candidate *candidate = NULL;
	size_t cap_sum = 0, cap_candidate = 0, at = 0;

	for (size_t i = 0; i < n; i++) {
		if (v[i].now > f.now)
			f.now = v[i].now;
		for (size_t j = 0; j < out[i].n_summary; j++) {
			sum = x_grow(sum, &cap_sum, f.n_summary + 1, sizeof *sum);
			sum[f.n_summary] = out[i].summary[j];
			sum[f.n_summary++].account = v[i].account;
		}
		for (size_t j = 0; j < out[i].n; j++) {
			struct finding *c = out[i].finding[j];

			if (!c->pending || c->rule != r)
				continue;
			candidate = x_grow(candidate, &cap_candidate, f.n_candidate + 1,
			    sizeof *candidate);
			candidate[f.n_candidate] = (struct candidate){ .account = v[i].account,
				.subject = c->subject };
			memcpy(candidate[f.n_candidate++].number, c->number, sizeof c->number);
		}
	}
	f.summary = sum;
	f.candidate = candidate;
	rule_fleet(r, &f, common);
	*before = f;
	for (size_t i = 0; i < n; i++) {
		size_t kept = 0;

		for (size_t j = 0; j < out[i].n; j++) {
			struct finding *c = out[i].finding[j];

			if (c->pending && c->rule == r) {
				const struct candidate *answer = &candidate[at++];

				if (!answer->fires)
					continue;
				c->pending = false;
				if (answer->summary)
					c->summary = answer->summary;
				for (size_t k = 0; k < answer->n_measure; k++) {
					const struct measure *m = &answer->measure[k];

					if (m->text)
						finding_measure_text(&out[i], c, m->name, m->text);
					else
						finding_measure(&out[i], c, m->name, m->value, m->unit);
				}
				for (size_t k = 0; k < answer->n_check; k++)
					finding_check(&out[i], c, answer->check[k]);
			}
			out[i].finding[kept++] = c;
		}
		out[i].n = kept;
	}
	free(sum);
	free(candidate);
}

const char *
help_judge(struct arena *a, const char *text, const char *rule)
{
	struct view *v = x_calloc(MAX_ACCOUNT, sizeof *v);
	struct findings *out = x_calloc(MAX_ACCOUNT, sizeof *out), common = { 0 };
	struct fleet fleet = { 0 };
	size_t n = build_all(v, MAX_ACCOUNT, text);
	const char *all = "";

	if (rule && !rule_find(rule))
		fail_msg("no rule '%s'", rule);
	for (size_t i = 0; i < n; i++)
		rules_judge(&v[i], rule, &out[i]);
	for (size_t i = 0; i < rule_count; i++)
		if (rule_table[i]->fleet && (!rule || strcmp(rule, rule_table[i]->id) == 0))
			fleet_pass(rule_table[i], v, out, n, &fleet, &common);
	for (size_t i = 0; i < n; i++)
		put(a, &all, help_findings(a, &v[i], &out[i]));
	for (size_t i = 0; i < common.n; i++)
		put(a, &all, finding_text(a, &v[0], common.finding[i]));
	for (size_t i = 0; i < n; i++) {
		findings_release(&out[i]);
		view_release(&v[i]);
	}
	findings_release(&common);
	free(fleet.fired);
	free(v);
	free(out);
	return all;
}
