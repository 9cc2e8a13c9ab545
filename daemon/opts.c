#include "daemon/opts.h"

#include <string.h>

#include "daemon/base/span.h"
#include "daemon/report/text.h"

/* Optimal string alignment: insert, delete, replace, swap two neighbours. */
static size_t
distance(const char *a, const char *b)
{
	enum { LONGEST = 32 };
	size_t row[3][LONGEST + 1], m = strlen(a), n = strlen(b);

	if (m > LONGEST || n > LONGEST)
		return SIZE_MAX;
	for (size_t j = 0; j <= n; j++)
		row[0][j] = j;
	for (size_t i = 1; i <= m; i++) {
		size_t *now = row[i % 3], *above = row[(i + 2) % 3], *two_up = row[(i + 1) % 3];

		now[0] = i;
		for (size_t j = 1; j <= n; j++) {
			size_t best = above[j - 1] + (a[i - 1] != b[j - 1]);

			if (above[j] + 1 < best)
				best = above[j] + 1;
			if (now[j - 1] + 1 < best)
				best = now[j - 1] + 1;
			if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] &&
			    two_up[j - 2] + 1 < best)
				best = two_up[j - 2] + 1;
			now[j] = best;
		}
	}
	return row[m % 3][n];
}

const char *
opts_nearest(const char *word, const char *const *name)
{
	const char *best = NULL;
	size_t least = strlen(word) / 3 + 1;

	for (; *name; name++) {
		size_t d = distance(word, *name);

		/* The beginning of a name is meant more often than a misspelt other one. */
		if (*word && strncmp(word, *name, strlen(word)) == 0)
			d = 0;
		if (d < least || (d == least && !best)) {
			least = d;
			best = *name;
		}
	}
	return best;
}

static const struct opt *
find_name(const struct opt *table, struct span name)
{
	for (; table->name; table++) {
		if (span_eq(span_of(table->name), name))
			return table;
	}
	return NULL;
}

static const struct opt *
find_letter(const struct opt *table, char letter)
{
	for (; table->name; table++) {
		if (table->letter == letter)
			return table;
	}
	return NULL;
}

static int
unknown_name(const struct opt *table, struct span name, struct err *e)
{
	enum { MOST = 32 };
	const char *names[MOST + 1], *near;
	char word[64];
	size_t n = 0;

	for (; table->name && n < MOST; table++) {
		if (table->help)
			names[n++] = table->name;
	}
	names[n] = NULL;
	snprintf(word, sizeof word, "%.*s", (int)(name.n < 60 ? name.n : 60), name.p);
	near = opts_nearest(word, names);
	if (near)
		return err_set(e, ERR_USAGE, NULL, 0, "no option --%s; nearest: --%s", word, near);
	return err_set(e, ERR_USAGE, NULL, 0, "no option --%s", word);
}

static int
take_choice(const struct opt *o, const char *value, int *out, struct err *e)
{
	const char *word = o->words;

	for (int i = 0;; i++) {
		size_t n = strcspn(word, "|");

		if (span_eq((struct span){ word, n }, span_of(value))) {
			*out = i;
			return 0;
		}
		if (!word[n])
			break;
		word += n + 1;
	}
	return err_set(e, ERR_USAGE, NULL, 0, "--%s: \"%s\" is not one of %s", o->name, value,
	    o->words);
}

static int
take_when(const struct opt *o, const char *value, struct opts_when *out, struct err *e)
{
	struct span s = span_of(value);
	const char *fault;

	if (span_to_duration(s, &out->span)) {
		out->form = WHEN_SPAN;
		return 0;
	}
	fault = stamp_parse(s, &out->stamp);
	if (fault && !stamp_parse_date(s, &out->stamp))
		fault = NULL;
	if (fault)
		return err_set(e, ERR_USAGE, NULL, 0, "--%s: \"%s\": %s; write 2026-10-01, "
		    "2026-10-01T08:00, 2026-10-01T08:00:00Z or a span such as 36h or 14d", o->name,
		    value, fault);
	out->form = WHEN_STAMP;
	return 0;
}

static int
take_value(const struct opt *o, const char *value, void *into, struct err *e)
{
	char *field = (char *)into + o->offset;
	struct opts_list *list;
	int64_t n;

	switch (o->kind) {
	case OPT_FLAG:
		*(bool *)field = true;
		return 0;
	case OPT_TEXT:
		if (span_trim(span_of(value)).n == 0)
			return err_set(e, ERR_USAGE, NULL, 0, "--%s: its value is blank", o->name);
		*(const char **)field = value;
		return 0;
	case OPT_COUNT:
		if (!span_to_int(span_of(value), o->min, o->max, &n))
			return err_set(e, ERR_USAGE, NULL, 0,
			    "--%s: \"%s\" is not a whole number from %ld to %ld", o->name, value,
			    o->min, o->max);
		*(long *)field = (long)n;
		return 0;
	case OPT_CHOICE:
		return take_choice(o, value, (int *)field, e);
	case OPT_WHEN:
		return take_when(o, value, (struct opts_when *)field, e);
	case OPT_LIST:
		list = (struct opts_list *)field;
		if (span_trim(span_of(value)).n == 0)
			return err_set(e, ERR_USAGE, NULL, 0, "--%s: its value is blank", o->name);
		if (list->n == OPTS_LIST_MOST)
			return err_set(e, ERR_USAGE, NULL, 0, "--%s: at most %d of them", o->name,
			    OPTS_LIST_MOST);
		list->text[list->n++] = value;
		return 0;
	}
	return 0;
}

/* One "--name" word; *i is moved over a value that is the next word. */
static int
take_long(const struct opt *table, int argc, char **argv, int *i, void *into, struct err *e)
{
	const char *text = argv[*i] + 2, *equals = strchr(text, '=');
	struct span name = { text, equals ? (size_t)(equals - text) : strlen(text) };
	const struct opt *o = find_name(table, name);

	if (!o)
		return unknown_name(table, name, e);
	if (o->kind == OPT_FLAG) {
		if (equals)
			return err_set(e, ERR_USAGE, NULL, 0, "--%s takes no value", o->name);
		return take_value(o, NULL, into, e);
	}
	if (equals)
		return take_value(o, equals + 1, into, e);
	if (*i + 1 >= argc)
		return err_set(e, ERR_USAGE, NULL, 0, "--%s needs a value: %s", o->name, o->arg);
	return take_value(o, argv[++*i], into, e);
}

static int
take_letters(const struct opt *table, int argc, char **argv, int *i, void *into, struct err *e)
{
	for (const char *c = argv[*i] + 1; *c; c++) {
		const struct opt *o = find_letter(table, *c);

		if (!o)
			return err_set(e, ERR_USAGE, NULL, 0, "no option -%c", *c);
		if (o->kind == OPT_FLAG) {
			if (take_value(o, NULL, into, e) < 0)
				return -1;
			continue;
		}
		if (c[1])
			return take_value(o, c + 1, into, e);
		if (*i + 1 >= argc)
			return err_set(e, ERR_USAGE, NULL, 0, "-%c needs a value: %s", *c, o->arg);
		return take_value(o, argv[++*i], into, e);
	}
	return 0;
}

int
opts_parse(const struct opt *table, int *argc, char **argv, void *into, struct err *e)
{
	const struct opts_common *common = into;
	int kept = 0, i;

	for (i = 0; i < *argc; i++) {
		int rc = 0;

		if (argv[i][0] != '-' || argv[i][1] == '\0') {
			argv[kept++] = argv[i];
			continue;
		}
		if (strcmp(argv[i], "--") == 0) {
			for (i++; i < *argc; i++)
				argv[kept++] = argv[i];
			break;
		}
		if (argv[i][1] == '-')
			rc = take_long(table, *argc, argv, &i, into, e);
		else
			rc = take_letters(table, *argc, argv, &i, into, e);
		if (rc < 0)
			return -1;
		if (common->help)
			break;
	}
	*argc = kept;
	return 0;
}

void
opts_help(const struct opt *table, FILE *f)
{
	enum { INDENT = 28 };
	struct page p = { .f = f, .width = TEXT_WIDTH };

	for (; table->name; table++) {
		char head[64], lead[64], letter[8] = "    ";

		if (!table->help)
			continue;
		if (table->letter)
			snprintf(letter, sizeof letter, "-%c, ", table->letter);
		snprintf(head, sizeof head, "  %s--%s%s%s", letter, table->name,
		    table->arg ? " " : "", table->arg ? table->arg : "");
		if (strlen(head) > INDENT - 2) {	/* too long to stand beside its text */
			fprintf(f, "%s\n", head);
			head[0] = '\0';
		}
		snprintf(lead, sizeof lead, "%-*s", INDENT, head);
		page_para(&p, lead, table->help);
	}
	page_release(&p);
}
