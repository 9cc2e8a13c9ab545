/* Rows in, findings out: every file tests/rules/RULE/NAME.txt is one case.
 *
 * Its first line is a comment that says what it shows. Then the view, in the form of
 * help_view.h, a line `----`, and what RULE must find in it, all of it, in order:
 *
 *   LEVEL SUBJECT ONSET LAST COUNT       one line a finding (ACCOUNT/SUBJECT where
 *                                        the file has several accounts)
 *     measure NAME VALUE                 this finding has it, with just that value
 *     level/life/cleared/check/caution/member/summary/evidence TEXT
 *                                        a part of the finding holds this text
 *     no WHAT TEXT                       no line of that sort of this finding holds it
 *
 * Nothing after `----` means that the rule must stay silent.
 */
#include <dirent.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "tests/unit/help_view.h"

#define FOLDER "tests/rules"

static char *
read_file(struct arena *a, const char *path)
{
	FILE *f = fopen(path, "rb");
	char *text;
	size_t n;

	if (!f)
		fail_msg("%s cannot be read", path);
	text = arena_take(a, 1 << 20);
	n = fread(text, 1, (1 << 20) - 1, f);
	text[n] = '\0';
	fclose(f);
	return text;
}

/* The next line of *p, without blanks around it; NULL at the end. Moves *p on. */
static const char *
next_line(struct arena *a, const char **p)
{
	size_t len = strcspn(*p, "\n");
	const char *out;

	if (!**p)
		return NULL;
	out = arena_text(a, span_trim((struct span){ *p, len }));
	*p += len + ((*p)[len] == '\n');
	return out;
}

/* Word `i` of a line, words separated by one blank; "" if there are fewer. The bracket
 * of a finding's line counts as one word. */
static const char *
word_at(struct arena *a, const char *line, int i)
{
	size_t n;

	for (;; i--) {
		n = *line == '[' ? strcspn(line, "]") + 1 : strcspn(line, " ");
		if (i == 0 || !line[n])
			break;
		line += n + 1;
	}
	return i ? "" : arena_bytes(a, line, n);
}

/* "LEVEL SUBJECT ONSET LAST COUNT" of a finding's line. */
static const char *
short_form(struct arena *a, const char *line, bool several)
{
	return arena_fmt(a, "%s %s%s%s %s %s %s", word_at(a, line, 1),
	    several ? word_at(a, line, 2) : "", several ? "/" : "", word_at(a, line, 3),
	    word_at(a, line, 5), word_at(a, line, 6), word_at(a, line, 7));
}

static bool
starts(const char *text, const char *with)
{
	return strncmp(text, with, strlen(with)) == 0;
}

/* Does the finding (its line and detail lines) have what the expectation names? */
static bool
has(struct arena *a, const char *finding, const char *want)
{
	const char *p = finding, *line = next_line(a, &p);
	const char *what = word_at(a, want, 0), *text = want + strlen(what);

	text += *text == ' ';
	if (strcmp(what, "summary") == 0)
		return strstr(strstr(line, " | "), text) != NULL;
	if (strcmp(what, "life") == 0)
		return strcmp(word_at(a, line, 8), "life") == 0;
	if (strcmp(what, "cleared") == 0)
		return *text ? strcmp(word_at(a, line, 9), text) == 0 :
		    strcmp(word_at(a, line, 9), "open") != 0;
	while ((line = next_line(a, &p)) != NULL) {
		if (strcmp(what, "measure") == 0) {
			if (starts(line, want) && (line[strlen(want)] == '\0' ||
			    line[strlen(want)] == ' '))
				return true;
		} else if (starts(line, what) && strstr(line + strlen(what), text)) {
			return true;
		}
	}
	return false;
}

/* Cuts the text of help_judge() into findings: a finding's own line is not indented. */
static size_t
cut_findings(struct arena *a, const char *text, const char **out, size_t most)
{
	size_t n = 0;

	while (*text) {
		const char *end = text;

		do
			end += strcspn(end, "\n") + 1;
		while (*end == ' ');
		if (n < most)
			out[n++] = arena_bytes(a, text, (size_t)(end - text));
		text = end;
	}
	return n;
}

static int
run_case(struct arena *a, const char *rule, const char *path)
{
	enum { MOST = 256 };
	const char *finding[MOST], *p, *line, *got;
	char *text = read_file(a, path), *split = strstr(text, "\n----");
	bool several;
	size_t n, at = 0;
	int faults = 0;

	if (text[0] != '#' || !split) {
		print_error("%s: a comment first and a line ---- are needed\n", path);
		return 1;
	}
	*split = '\0';
	p = split + 1;
	next_line(a, &p);
	got = help_judge(a, text, rule);
	n = cut_findings(a, got, finding, MOST);
	line = strstr(text, "\naccount ");
	several = line && strstr(line + 1, "\naccount ");
	while ((line = next_line(a, &p)) != NULL) {
		if (!*line || *line == '#')
			continue;
		if (starts(line, "now ") || starts(line, "soon ") || starts(line, "later ")) {
			if (at >= n || strcmp(short_form(a, finding[at], several), line) != 0) {
				print_error("%s: expected: %s\n", path, line);
				faults++;
			}
			at++;
		} else if (at > 0 && at <= n) {
			bool no = starts(line, "no ");

			if (has(a, finding[at - 1], line + 3 * no) == no) {
				print_error("%s: finding %zu: %s\n", path, at, line);
				faults++;
			}
		} else {
			print_error("%s: '%s' belongs to no finding\n", path, line);
			faults++;
		}
	}
	if (at != n)
		print_error("%s: %zu findings expected, %zu made\n", path, at, n);
	faults += at != n;
	if (faults)
		print_error("%s made:\n%s\n", path, got);
	return faults;
}

static int
by_name(const void *a, const void *b)
{
	return strcmp(*(char *const *)a, *(char *const *)b);
}

/* Names in a folder that end in `end`, sorted. */
static size_t
names_of(struct arena *a, const char *folder, const char *end, char **out, size_t most)
{
	DIR *d = opendir(folder);
	struct dirent *e;
	size_t n = 0;

	while (d && (e = readdir(d)) != NULL) {
		size_t len = strlen(e->d_name), tail = strlen(end);

		if (e->d_name[0] != '.' && len >= tail && n < most &&
		    strcmp(e->d_name + len - tail, end) == 0)
			out[n++] = arena_text(a, span_of(e->d_name));
	}
	if (d)
		closedir(d);
	qsort(out, n, sizeof *out, by_name);
	return n;
}

static void
test_files(void **state)
{
	enum { MOST = 1024 };
	struct arena a = { 0 };
	char *folder[MOST], *file[MOST];
	size_t n_folder = names_of(&a, FOLDER, "", folder, MOST), cases = 0;
	int faults = 0;

	(void)state;
	for (size_t i = 0; i < n_folder; i++) {
		const char *path = arena_fmt(&a, "%s/%s", FOLDER, folder[i]);
		size_t n = names_of(&a, path, ".txt", file, MOST);

		if (!rule_find(folder[i])) {
			print_error("%s: there is no such rule\n", path);
			faults++;
			continue;
		}
		for (size_t j = 0; j < n; j++, cases++) {
			struct arena own = { 0 };

			faults += run_case(&own, folder[i],
			    arena_fmt(&a, "%s/%s", path, file[j]));
			arena_release(&own);
		}
	}
	print_message("%zu cases in %zu folders\n", cases, n_folder);
	arena_release(&a);
	assert_int_equal(faults, 0);
}

/* A rule without a case of its own is not done. */
static void
test_every_rule_has_files(void **state)
{
	struct arena a = { 0 };
	char *file[1];

	(void)state;
	for (size_t i = 0; i < rule_count; i++)
		if (names_of(&a, arena_fmt(&a, "%s/%s", FOLDER, rule_table[i]->id), ".txt", file,
		    1) == 0)
			fail_msg("rule %s has no file in %s", rule_table[i]->id, FOLDER);
	arena_release(&a);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_files),
		cmocka_unit_test(test_every_rule_has_files),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
