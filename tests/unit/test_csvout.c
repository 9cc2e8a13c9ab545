/* test_csvout.c - cells as written: RFC 4180 section 2, OWASP "CSV Injection". */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/civil.h"
#include "daemon/report/csvout.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

static void
text_cells(void **state)
{
	static const struct { const char *in, *out; } cases[] = {
		{ NULL, "" },
		{ "", "" },
		{ "a b", "a b" },
		{ "a,b", "\"a,b\"" },
		{ "a\"b", "\"a\"\"b\"" },
		{ "a\nb", "\"a\nb\"" },
		{ "a\rb", "\"a\rb\"" },
		{ " a", "\" a\"" },
		{ "a ", "\"a \"" },
		{ "a;b", "a;b" },
		/* OWASP's list of first characters */
		{ "=1+1", "\"'=1+1\"" },
		{ "=", "\"'=\"" },
		{ "+1+cmd", "\"'+1+cmd\"" },
		{ "-2+3", "\"'-2+3\"" },
		{ "@SUM(A1)", "\"'@SUM(A1)\"" },
		{ "\tx", "\"'\tx\"" },
		{ "\rx", "\"'\rx\"" },
		{ "\nx", "\"'\nx\"" },
		{ "=\"a\"", "\"'=\"\"a\"\"\"" },
		{ "-", "\"'-\"" },
		{ "-A1", "\"'-A1\"" },
		{ "-71 dBm(1)", "\"'-71 dBm(1)\"" },
		{ "-71  dBm", "\"'-71  dBm\"" },
		{ "-1-1", "\"'-1-1\"" },
		{ "-.", "\"'-.\"" },
		/* numbers, alone or with a unit, and what only looks alike further in */
		{ "-71", "-71" },
		{ "-71 dBm", "-71 dBm" },
		{ "-71.5dBm", "-71.5dBm" },
		{ "+3", "+3" },
		{ "-40%", "-40%" },
		{ "a=1", "a=1" },
		{ "'=1", "'=1" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		char *got = NULL;
		size_t n = 0;
		struct csvout w;

		csvout_init(&w, open_memstream(&got, &n));
		csvout_text(&w, cases[i].in);
		fclose(w.f);
		if (strcmp(got, cases[i].out) != 0)
			print_error("case %zu: %s\n", i, got);
		assert_string_equal(got, cases[i].out);
		free(got);
	}
}

static void
harmless_on_a_terminal(void **state)
{
	char *got = NULL;
	size_t n = 0;
	struct csvout w;

	(void)state;
	csvout_init(&w, open_memstream(&got, &n));
	assert_false(w.terminal);
	csvout_text(&w, "\x1b[2J\xe2\x80\xae,\"");	/* for programs: as it is */
	w.terminal = true;
	csvout_text(&w, "\x1b[2J\xe2\x80\xae\n\"");
	fclose(w.f);
	assert_string_equal(got,
	    "\"\x1b[2J\xe2\x80\xae,\"\"\",\"\\x1B[2J\\u202E\n\"\"\"");
	free(got);
}

static void
rows(void **state)
{
	char *got = NULL;
	size_t n = 0;
	struct csvout w;

	(void)state;
	csvout_init(&w, open_memstream(&got, &n));
	csvout_header(&w, "a,b,c,d,e");
	csvout_text(&w, "x");
	csvout_int(&w, -5);
	csvout_num(&w, 0.25);
	csvout_time(&w, 0);
	csvout_time(&w, NO_TIME);
	csvout_end(&w);
	csvout_text(&w, "");
	csvout_text(&w, "y");
	csvout_end(&w);
	fclose(w.f);
	assert_string_equal(got, "a,b,c,d,e\nx,-5,0.25,1970-01-01T00:00:00Z,\n,y\n");
	free(got);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(text_cells),
		cmocka_unit_test(harmless_on_a_terminal),
		cmocka_unit_test(rows),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
