/* test_json.c - RFC 8259: escapes of section 7, shape of sections 4 and 5. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/civil.h"
#include "daemon/report/json.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

static void
strings(void **state)
{
	static const struct { const char *in, *out; } cases[] = {
		{ NULL, "null" },
		{ "", "null" },
		{ "a", "\"a\"" },
		{ "a\"b\\c", "\"a\\\"b\\\\c\"" },
		{ "a\nb\tc\rd", "\"a\\nb\\tc\\u000dd\"" },
		{ "\x1b[2J", "\"\\u001b[2J\"" },
		{ "\x7f", "\"\\u007f\"" },
		{ "\xc2\x9b" "1m", "\"\\u009b1m\"" },			/* C1 CSI */
		{ "\xe2\x80\xae", "\"\\u202e\"" },			/* right-to-left override */
		{ "K\xc3\xbc" "che", "\"K\xc3\xbc" "che\"" },
		{ "\xf3\xa0\x80\x81", "\"\\udb40\\udc01\"" },		/* tag U+E0001 */
		{ "a\xff" "b", "\"a\\ufffdb\"" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		char *got = NULL;
		size_t n = 0;
		struct json j = { .f = open_memstream(&got, &n) };

		json_text(&j, NULL, cases[i].in);
		fclose(j.f);
		if (strcmp(got, cases[i].out) != 0)
			print_error("case %zu: %s\n", i, got);
		assert_string_equal(got, cases[i].out);
		free(got);
	}
}

static void
shape(void **state)
{
	char *got = NULL;
	size_t n = 0;
	struct json j = { .f = open_memstream(&got, &n) };

	(void)state;
	json_open(&j, NULL, '{');
	json_open(&j, "list", '[');
	json_open(&j, NULL, '{');
	json_int(&j, "n", -3);
	json_num(&j, "x", 0.5);
	json_num(&j, "bad", NAN);
	json_bool(&j, "yes", true);
	json_time(&j, "at", 0);
	json_time(&j, "no", NO_TIME);
	json_string(&j, "empty", "");
	json_open(&j, "none", '[');
	json_close(&j, ']');
	json_close(&j, '}');
	json_open(&j, NULL, '{');
	json_close(&j, '}');
	json_close(&j, ']');
	json_open(&j, "last", '[');
	json_close(&j, ']');
	json_close(&j, '}');
	json_end(&j);
	fclose(j.f);
	assert_string_equal(got,
	    "{\n\"list\":[\n{\"n\":-3, \"x\":0.5, \"bad\":null, \"yes\":true, "
	    "\"at\":\"1970-01-01T00:00:00Z\", \"no\":null, \"empty\":\"\", \"none\":[]},\n"
	    "{}\n],\n\"last\":[]\n}\n");
	free(got);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(strings),
		cmocka_unit_test(shape),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
