/* test_board.c - the board from literal findings: where each stands, what is never left out. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/civil.h"
#include "daemon/report/board.h"
#include "rules/care.h"
#include "rules/rule.h"

#define T0 (1790842530 * SECOND)	/* 2026-10-01T08:15:30Z, date -u -d @1790842530 */

static struct stored_finding
finding(const char *id, enum level level, bool life)
{
	return (struct stored_finding){
		.id = id, .rule = "chatter", .account = "1042", .zone = "5", .serial = "",
		.device = "zone 5 (kitchen, contact)", .kind = "contact", .site_name = "Lindenhof 3",
		.group = "", .timezone = "", .state = "continuing", .level = level, .life = life,
		.onset = T0, .last = T0, .cleared = NO_TIME, .count = 3, .summary = "3 bursts.",
	};
}

/* The page; free() it. */
static char *
page(struct board *b, size_t n)
{
	struct page p = { .zone = { .name = "UTC" } };
	struct text_zone *zone = calloc(n + 1, sizeof *zone);
	char *text;
	size_t bytes;

	for (size_t i = 0; i < n; i++)
		zone[i] = p.zone;
	p.f = open_memstream(&text, &bytes);
	b->n_finding = n;
	b->zone = zone;
	b->filter = b->since = b->alert = "";
	b->rest = "findings.csv";
	b->at = NO_TIME;
	board_html(&p, b);
	fclose(p.f);
	page_release(&p);
	free(zone);
	return text;
}

static size_t
times(const char *in, const char *word)
{
	size_t n = 0;

	while ((in = strstr(in, word))) {
		n++;
		in += strlen(word);
	}
	return n;
}

/* The id of the heading under which the row stands. */
static const char *
part_of(const char *text, const char *id)
{
	static const char *const part[] = { "cleared", "continuing", "new", "now" };
	char word[64];
	const char *row;

	snprintf(word, sizeof word, "<tr id=\"%s\"", id);
	row = strstr(text, word);
	assert_non_null(row);
	assert_null(strstr(row + 1, word));
	for (size_t i = 0; i < sizeof part / sizeof *part; i++) {
		snprintf(word, sizeof word, "<h2 id=\"%s\">", part[i]);
		assert_non_null(strstr(text, word));
		if (strstr(text, word) < row)
			return part[i];
	}
	fail();
	return NULL;
}

static void
each_stands_once(void **state)
{
	static const struct {
		const char *id;
		enum level level;
		enum digest_change change;
		const char *part, *word;
	} at[] = {
		{ "a", LEVEL_NOW, DIGEST_SAME, "now", "continuing" },
		{ "b", LEVEL_NOW, DIGEST_NEW, "now", "new" },
		{ "c", LEVEL_SOON, DIGEST_NEW, "new", "new" },
		{ "d", LEVEL_SOON, DIGEST_RISEN, "new", "risen" },
		{ "e", LEVEL_LATER, DIGEST_MORE, "new", "twice as many" },
		{ "f", LEVEL_LATER, DIGEST_BACK, "new", "back" },
		{ "g", LEVEL_LATER, DIGEST_SAME, "continuing", "continuing" },
		{ "h", LEVEL_NOW, DIGEST_CLEARED, "cleared", "cleared" },
		{ "i", LEVEL_SOON, DIGEST_PASSED, "cleared", "raised and cleared in between" },
	};
	enum { N = sizeof at / sizeof *at };
	struct stored_finding f[N];
	enum digest_change change[N];
	struct board b = { .finding = f, .change = change };
	char *text, word[64];

	(void)state;
	for (size_t i = 0; i < N; i++) {
		f[i] = finding(at[i].id, at[i].level, false);
		change[i] = at[i].change;
		if (strcmp(at[i].part, "cleared") == 0)
			f[i].cleared = T0;
	}
	text = page(&b, N);
	for (size_t i = 0; i < N; i++) {
		assert_string_equal(part_of(text, at[i].id), at[i].part);
		snprintf(word, sizeof word, "<tr id=\"%s\"", at[i].id);
		assert_int_equal(strncmp(strstr(strstr(text, word), "<span class=\"soft\">") + 19,
		    at[i].word, strlen(at[i].word)), 0);
	}
	assert_null(strstr(text, CARE_LIFE));
	free(text);
}

/* Just below, at and above what the page holds; now and life safety beyond it. */
static void
the_limit(void **state)
{
	static const struct { size_t n, rows; const char *says; } at[] = {
		{ BOARD_ROWS - 1, BOARD_ROWS - 1, NULL },
		{ BOARD_ROWS, BOARD_ROWS, NULL },
		{ BOARD_ROWS + 1, BOARD_ROWS, ">1 more are left out" },
		{ BOARD_ROWS + 3, BOARD_ROWS, ">3 more are left out" },
	};
	struct stored_finding *f = calloc(BOARD_ROWS + 4, sizeof *f);
	char (*id)[8] = calloc(BOARD_ROWS + 4, sizeof *id), *text;
	struct board b = { .finding = f };

	(void)state;
	for (size_t i = 0; i < BOARD_ROWS + 4; i++) {
		snprintf(id[i], sizeof id[i], "%zu", i);
		f[i] = finding(id[i], LEVEL_LATER, false);
	}
	for (size_t i = 0; i < sizeof at / sizeof *at; i++) {
		text = page(&b, at[i].n);
		assert_int_equal(times(text, "<tr id="), at[i].rows);
		if (at[i].says)
			assert_non_null(strstr(text, at[i].says));
		else
			assert_null(strstr(text, "left out"));
		free(text);
	}
	f[BOARD_ROWS + 1].life = true;
	f[BOARD_ROWS + 2].level = LEVEL_NOW;
	f[BOARD_ROWS + 3].level = LEVEL_SOON;
	f[BOARD_ROWS + 3].cleared = T0;
	text = page(&b, BOARD_ROWS + 4);
	/* The one at now stands first and takes a place; life safety stands beyond the limit. */
	assert_int_equal(times(text, "<tr id="), BOARD_ROWS + 1);
	assert_string_equal(part_of(text, "5002"), "now");
	assert_string_equal(part_of(text, "5001"), "continuing");
	assert_non_null(strstr(text, ">3 more are left out of this page"));
	assert_non_null(strstr(text, "(left out: 0 soon, 2 later, 1 cleared). All stand in findings.csv."));
	assert_non_null(strstr(text, CARE_LIFE));
	free(text);
	free(id);
	free(f);
}

/* Strips end with the same day; what lies after an account's cover is not covered. */
static void
strips_end_together(void **state)
{
	int32_t early[FINDING_DAYS] = { 0 }, late[FINDING_DAYS] = { 0 };
	struct stored_finding f[3] = { finding("a", LEVEL_SOON, false),
		finding("b", LEVEL_SOON, false), finding("c", LEVEL_SOON, false) };
	struct board b = { .finding = f };
	char *text;

	(void)state;
	early[FINDING_DAYS - 1] = 2;
	late[0] = 1;
	f[0].day = early;
	f[0].day_to = 8;
	f[1].day = late;
	f[1].day_to = 10;
	text = page(&b, 3);
	assert_non_null(strstr(text, "30 days to 1970-01-11: 2 on 1 day, most 2 on 1970-01-09; 2 days not "
	    "covered"));
	assert_non_null(strstr(text, "30 days to 1970-01-11: 1 on 1 day, most 1 on 1969-12-13\""));
	assert_int_equal(times(text, "class=\"strip\""), 2);
	free(text);
}

static void
who_is_missing(void **state)
{
	static const size_t many[] = { 0, 1, 8, 9 };
	struct account_info a[9];
	char name[9][16], *text;

	(void)state;
	for (size_t i = 0; i < 9; i++) {
		snprintf(name[i], sizeof name[i], "acc-%zu", i);
		a[i] = (struct account_info){ .account = name[i], .name = "" };
	}
	for (size_t k = 0; k < sizeof many / sizeof *many; k++) {
		struct board b = { .uncovered = a, .n_uncovered = many[k], .behind = a,
			.n_behind = many[k], .expected = T0 };

		text = page(&b, 0);
		assert_int_equal(times(text, "Not in the exports"), many[k] > 0);
		/* Each by name, however many: in the sentence or behind it. */
		for (size_t i = 0; i < 9; i++)
			assert_int_equal(times(text, name[i]), i < many[k] ? 2 : 0);
		assert_int_equal(times(text, "<details>"), many[k] > 8 ? 2 : 0);
		assert_non_null(strstr(text, "Nothing is at now."));
		free(text);
	}
}

static void
files_and_sites(void **state)
{
	static const struct digest_failed failed[] = {
		{ "a.csv", "a.csv: is damaged" }, { "<b>.csv", "no header" },
	};
	static const char *const sheet[] = { "a_2f7.html", "b.html" };
	struct stored_finding f[2] = { finding("a", LEVEL_SOON, false),
		finding("b", LEVEL_SOON, false) };
	struct board b = { .finding = f, .failed = failed, .n_failed = 2, .sites = { sheet, 2 },
		.beside = true };
	char *text;

	(void)state;
	f[0].account = "A/7";
	f[1].account = "*";
	text = page(&b, 2);
	assert_non_null(strstr(text, "<li>a.csv: is damaged</li>"));
	assert_non_null(strstr(text, "<li>&lt;b&gt;.csv: no header</li>"));
	assert_non_null(strstr(text, "<a href=\"site/a_2f7.html\">A/7 Lindenhof 3</a>"));
	assert_int_equal(times(text, "\"site/"), 1);
	assert_non_null(strstr(text, "<a href=\"trend.html\">"));
	free(text);
	b.sites.n = 0;
	b.beside = false;
	text = page(&b, 2);
	assert_int_equal(times(text, "site/"), times(text, "'site/"));
	assert_null(strstr(text, "trend.html"));
	free(text);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(each_stands_once),
		cmocka_unit_test(the_limit),
		cmocka_unit_test(strips_end_together),
		cmocka_unit_test(who_is_missing),
		cmocka_unit_test(files_and_sites),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
