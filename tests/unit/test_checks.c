/* Of two checks under one heading the first stands: a rule that saw a sign says it better. */
#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

#include "rules/checks.h"
#include "tests/unit/help_view.h"

static size_t
count(const struct finding *f, const char *begin)
{
	size_t n = 0;

	for (size_t i = 0; i < f->n_check; i++)
		n += strncmp(f->check[i], begin, strlen(begin)) == 0;
	return n;
}

static void
test_headings(void **unused)
{
	static const struct {
		const char *first, *begin;
		enum kind   kind;
		size_t      n;
	} cases[] = {
		{ "Cell: low battery was reported.", "Cell: ", KIND_CONTACT, 1 },
		{ "Cell or supply: a power cut.", "Cell", KIND_CONTACT, 2 },
		{ "Cells: two.", "Cell", KIND_CONTACT, 2 },
		{ "Cell or supply: a power cut.", "Cell or supply: ", KIND_UNKNOWN, 1 },
	};

	(void)unused;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct findings out = { 0 };
		struct view v;
		struct finding *f;

		help_view(&v, "account A1\n2026-10-01T08:00:00Z check-in zone=1\n");
		f = finding_add(&out, &v, rule_find("chatter"), -1, "site");
		finding_check(&out, f, cases[i].first);
		checks_trips(&out, f, cases[i].kind);
		/* Once more: nothing of it is new. */
		checks_trips(&out, f, cases[i].kind);
		assert_string_equal(f->check[0], cases[i].first);
		assert_int_equal(count(f, cases[i].begin), cases[i].n);
		assert_int_equal(count(f, "Find out what"), cases[i].kind == KIND_UNKNOWN);
		findings_release(&out);
		view_release(&v);
	}
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_headings),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
