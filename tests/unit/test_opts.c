/* test_opts.c - the option table: forms, limits, help; the nearest name. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/civil.h"
#include "daemon/opts.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

struct values {
	struct opts_common common;
	bool               dry;
	const char        *rule;
	long               limit;
	int                format;
	struct opts_when   since;
};

static const struct opt table[] = {
	{ 'n', "dry", NULL, "change nothing", OPT_FLAG, offsetof(struct values, dry), 0, 0, NULL },
	{ 'r', "rule", "RULE", "only this rule", OPT_TEXT, offsetof(struct values, rule), 0, 0,
	  NULL },
	{ 'l', "limit", "N", "at most so many (0 = all)", OPT_COUNT,
	  offsetof(struct values, limit), 0, 100, NULL },
	{ 'f', "format", "WORD", "text, csv or json (text)", OPT_CHOICE,
	  offsetof(struct values, format), 0, 0, "text|csv|json" },
	{ 0, "since", "TIME", NULL, OPT_WHEN, offsetof(struct values, since), 0, 0, NULL },
	OPTS_COMMON(struct values),
	OPTS_END
};

/* Splits at blanks, parses, and gives back what is left, joined by blanks. */
static int
parse(const char *line, struct values *v, char *left, size_t size, struct err *e)
{
	static char words[256];
	char *argv[16];
	int argc = 0, rc;
	size_t n;

	snprintf(words, sizeof words, "%s", line);
	for (char *c = words; *c; argc++) {
		argv[argc] = c;
		c += strcspn(c, " ");
		if (*c)
			*c++ = '\0';
	}
	*v = (struct values){ .limit = 7 };
	rc = opts_parse(table, &argc, argv, v, e);
	left[0] = '\0';
	for (int i = 0; rc == 0 && i < argc; i++) {
		n = strlen(left);
		snprintf(left + n, size - n, "%s%s", i ? " " : "", argv[i]);
	}
	return rc;
}

static void
lists_keep_what_is_repeated(void **state)
{
	struct list_values { struct opts_common common; struct opts_list set; } v = { 0 };
	static const struct opt one[] = {
		{ 's', "set", "X=Y", "again for more", OPT_LIST, offsetof(struct list_values, set),
		  0, 0, NULL },
		OPTS_END
	};
	char *argv[OPTS_LIST_MOST + 1], a[] = "--set=a=1", b[] = "-sb=2", blank[] = "--set= ";
	struct err e;
	int argc = 2;

	(void)state;
	argv[0] = a;
	argv[1] = b;
	assert_int_equal(opts_parse(one, &argc, argv, &v, &e), 0);
	assert_int_equal(argc, 0);
	assert_int_equal(v.set.n, 2);
	assert_string_equal(v.set.text[0], "a=1");
	assert_string_equal(v.set.text[1], "b=2");
	for (argc = 0; argc < OPTS_LIST_MOST - 2; argc++)
		argv[argc] = a;
	assert_int_equal(opts_parse(one, &argc, argv, &v, &e), 0);
	assert_int_equal(v.set.n, OPTS_LIST_MOST);
	argv[0] = a;
	argc = 1;
	assert_int_equal(opts_parse(one, &argc, argv, &v, &e), -1);
	assert_int_equal(e.code, ERR_USAGE);
	v.set.n = 0;
	argv[0] = blank;
	argc = 1;
	assert_int_equal(opts_parse(one, &argc, argv, &v, &e), -1);
}

static void
forms(void **state)
{
	static const struct {
		const char *line, *left, *rule;
		bool        dry, help;
		long        limit;
		int         format;
	} cases[] = {
		{ "", "", NULL, false, false, 7, 0 },
		{ "a b", "a b", NULL, false, false, 7, 0 },
		{ "a --dry b", "a b", NULL, true, false, 7, 0 },
		{ "--rule x --limit=3", "", "x", false, false, 3, 0 },
		{ "-r x -l3 -n", "", "x", true, false, 3, 0 },
		{ "-nl 0", "", NULL, true, false, 0, 0 },
		{ "-nrx", "", "x", true, false, 7, 0 },
		{ "--limit 100", "", NULL, false, false, 100, 0 },
		{ "-f json -f csv", "", NULL, false, false, 7, 1 },
		{ "- -- --dry -x", "- --dry -x", NULL, false, false, 7, 0 },
		{ "--rule=-x=y", "", "-x=y", false, false, 7, 0 },
		{ "--rule -- a", "a", "--", false, false, 7, 0 },
		{ "-h --nonsense", "", NULL, false, true, 7, 0 },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct values v;
		struct err e;
		char left[256];
		int rc = parse(cases[i].line, &v, left, sizeof left, &e);

		if (rc != 0 || strcmp(left, cases[i].left) != 0)
			print_error("case %zu: %s\n", i, cases[i].line);
		assert_int_equal(rc, 0);
		assert_string_equal(left, cases[i].left);
		assert_int_equal(v.dry, cases[i].dry);
		assert_int_equal(v.common.help, cases[i].help);
		assert_int_equal(v.limit, cases[i].limit);
		assert_int_equal(v.format, cases[i].format);
		assert_int_equal(v.rule != NULL, cases[i].rule != NULL);
		if (v.rule)
			assert_string_equal(v.rule, cases[i].rule);
	}
}

static void
refused(void **state)
{
	static const struct { const char *line, *says; } cases[] = {
		{ "--limit 101", "--limit: \"101\" is not a whole number from 0 to 100" },
		{ "--limit=-1", "--limit: \"-1\" is not a whole number from 0 to 100" },
		{ "--limit 3x", "--limit: \"3x\" is not a whole number from 0 to 100" },
		{ "--limit", "--limit needs a value: N" },
		{ "-l", "-l needs a value: N" },
		{ "--rule=", "--rule: its value is blank" },
		{ "--dry=yes", "--dry takes no value" },
		{ "--format xml", "--format: \"xml\" is not one of text|csv|json" },
		{ "--format js", "--format: \"js\" is not one of text|csv|json" },
		{ "--ruel x", "no option --ruel; nearest: --rule" },
		{ "--form x", "no option --form; nearest: --format" },
		{ "--zzzz", "no option --zzzz" },
		{ "-z", "no option -z" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct values v;
		struct err e = { 0 };
		char left[256];
		int rc = parse(cases[i].line, &v, left, sizeof left, &e);

		if (rc != -1 || strcmp(e.text, cases[i].says) != 0)
			print_error("case %zu: %s: %s\n", i, cases[i].line, e.text);
		assert_int_equal(rc, -1);
		assert_int_equal(e.code, ERR_USAGE);
		assert_string_equal(e.text, cases[i].says);
	}
}

static void
times(void **state)
{
	struct values v;
	struct err e = { 0 };
	char left[64];

	(void)state;
	assert_int_equal(parse("", &v, left, sizeof left, &e), 0);
	assert_int_equal(v.since.form, WHEN_NONE);
	assert_int_equal(parse("--since 36h", &v, left, sizeof left, &e), 0);
	assert_int_equal(v.since.form, WHEN_SPAN);
	assert_int_equal(v.since.span, 36 * HOUR);
	assert_int_equal(parse("--since 1970-01-02", &v, left, sizeof left, &e), 0);
	assert_int_equal(v.since.form, WHEN_STAMP);
	assert_int_equal(v.since.stamp.wall, 86400);
	assert_int_equal(v.since.stamp.offset, OFFSET_LOCAL);
	assert_int_equal(parse("--since 1970-01-01T01:00:00+01:00", &v, left, sizeof left, &e), 0);
	assert_int_equal(v.since.stamp.wall, 3600);
	assert_int_equal(v.since.stamp.offset, 60);
	assert_int_equal(parse("--since 2026-02-30", &v, left, sizeof left, &e), -1);
	assert_int_equal(parse("--since yesterday", &v, left, sizeof left, &e), -1);
}

static void
help(void **state)
{
	char *got = NULL;
	size_t n = 0;
	FILE *f = open_memstream(&got, &n);

	(void)state;
	opts_help(table, f);
	fclose(f);
	assert_string_equal(got,
	    "  -n, --dry                 change nothing\n"
	    "  -r, --rule RULE           only this rule\n"
	    "  -l, --limit N             at most so many (0 = all)\n"
	    "  -f, --format WORD         text, csv or json (text)\n"
	    "  -d, --db FILE             the store (default: $TRIPSIFT_DB, else tripsift.db\n"
	    "                            here)\n"
	    "  -h, --help                print this and leave\n");
	free(got);
}

static void
nearest(void **state)
{
	static const char *const names[] = { "triage", "site", "visit", "status", "export", NULL };
	static const struct { const char *word, *name; } cases[] = {
		{ "triage", "triage" }, { "traige", "triage" }, { "tri", "triage" },
		{ "sight", NULL }, { "sit", "site" }, { "vist", "visit" }, { "satus", "status" },
		{ "xport", "export" }, { "zzz", NULL },
		{ "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa", NULL },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		const char *got = opts_nearest(cases[i].word, names);

		if ((got == NULL) != (cases[i].name == NULL))
			print_error("%s: %s\n", cases[i].word, got ? got : "none");
		if (cases[i].name)
			assert_string_equal(got, cases[i].name);
		else
			assert_null(got);
	}
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(lists_keep_what_is_repeated),
		cmocka_unit_test(forms),
		cmocka_unit_test(refused),
		cmocka_unit_test(times),
		cmocka_unit_test(help),
		cmocka_unit_test(nearest),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
