/* test_utf8.c - decoding, width and what may be shown. Check values: RFC 3629
 * sections 3, 4 and 7; Unicode Standard Annex 11; the C library's wcwidth(). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <locale.h>
#include <string.h>
#include <wchar.h>

#include "daemon/base/utf8.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

static void
decodes_and_refuses(void **state)
{
	static const struct {
		const char *bytes;
		size_t      n, takes;
		uint32_t    c;
	} cases[] = {
		{ "", 0, 0, UTF8_BAD },
		{ "A", 1, 1, 'A' },
		{ "\0", 1, 1, 0 },
		{ "\x7f", 1, 1, 0x7f },
		{ "\xc2\x80", 2, 2, 0x80 },			/* least of two bytes */
		{ "\xdf\xbf", 2, 2, 0x7ff },			/* most of two bytes */
		{ "\xe0\xa0\x80", 3, 3, 0x800 },
		{ "\xe2\x89\xa2", 3, 3, 0x2262 },		/* RFC 3629 section 7 */
		{ "\xed\x95\x9c", 3, 3, 0xd55c },		/* RFC 3629 section 7 */
		{ "\xef\xbf\xbf", 3, 3, 0xffff },
		{ "\xf0\x90\x80\x80", 4, 4, 0x10000 },
		{ "\xf0\xa3\x8e\xb4", 4, 4, 0x233b4 },		/* RFC 3629 section 7 */
		{ "\xf4\x8f\xbf\xbf", 4, 4, 0x10ffff },
		{ "\xf4\x90\x80\x80", 4, 1, UTF8_BAD },		/* one above the end */
		{ "\xc0\x80", 2, 1, UTF8_BAD },			/* RFC 3629 section 10 */
		{ "\xc1\xbf", 2, 1, UTF8_BAD },
		{ "\xe0\x9f\xbf", 3, 1, UTF8_BAD },		/* overlong 0x7ff */
		{ "\xf0\x8f\xbf\xbf", 4, 1, UTF8_BAD },		/* overlong 0xffff */
		{ "\xed\xa0\x80", 3, 1, UTF8_BAD },		/* surrogate */
		{ "\xed\xbf\xbf", 3, 1, UTF8_BAD },
		{ "\x80", 1, 1, UTF8_BAD },
		{ "\xc2", 1, 1, UTF8_BAD },			/* cut off */
		{ "\xe2\x82", 2, 1, UTF8_BAD },
		{ "\xe2\x28\xa1", 3, 1, UTF8_BAD },
		{ "\xf8\x88\x80\x80\x80", 5, 1, UTF8_BAD },
		{ "\xff", 1, 1, UTF8_BAD },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct span s = { cases[i].bytes, cases[i].n };
		uint32_t c = 1;
		size_t n = utf8_next(s, &c);

		if (n != cases[i].takes || c != cases[i].c)
			print_error("case %zu\n", i);
		assert_int_equal(n, cases[i].takes);
		assert_int_equal(c, cases[i].c);
		assert_int_equal(utf8_valid(s), cases[i].n == 0 || (cases[i].c != UTF8_BAD));
	}
}

static void
hides_what_steers(void **state)
{
	static const uint32_t hidden[] = {
		0, '\t', '\n', 0x1b, 0x1f, 0x7f, 0x80, 0x9b, 0x9f, 0xad, 0x61c, 0x200b, 0x200d,
		0x200e, 0x200f, 0x2028, 0x2029, 0x202a, 0x202e, 0x2066, 0x2069, 0xfeff, 0xe0001,
		0xe007f, 0xfffff, 0x10ffff, 0x110000, UTF8_BAD,
	};
	static const uint32_t shown[] = {
		' ', '~', 0xa0, 0xac, 0xae, 0xe4, 0x301, 0x2013, 0x2065 + 0x10, 0x202f, 0x20ac,
		0x4e00, 0xfffd, 0x1f525,
	};

	(void)state;
	for (size_t i = 0; i < COUNT(hidden); i++) {
		if (utf8_shown(hidden[i]))
			print_error("U+%04X\n", hidden[i]);
		assert_false(utf8_shown(hidden[i]));
	}
	for (size_t i = 0; i < COUNT(shown); i++) {
		if (!utf8_shown(shown[i]))
			print_error("U+%04X\n", shown[i]);
		assert_true(utf8_shown(shown[i]));
	}
}

static void
escapes(void **state)
{
	static const struct { uint32_t c; char byte; const char *out; } cases[] = {
		{ 0x1b, '\x1b', "\\x1B" }, { 0x7f, '\x7f', "\\x7F" }, { UTF8_BAD, '\xff', "\\xFF" },
		{ 0x80, '\xc2', "\\u0080" }, { 0xffff, '\xef', "\\uFFFF" },
		{ 0x10000, '\xf0', "\\U00010000" }, { 0x10ffff, '\xf4', "\\U0010FFFF" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		char out[UTF8_ESCAPE];

		assert_int_equal(utf8_escape(out, cases[i].c, cases[i].byte),
		    strlen(cases[i].out));
		assert_string_equal(out, cases[i].out);
	}
}

static void
widths(void **state)
{
	static const struct { uint32_t c; int width; } cases[] = {
		{ 'a', 1 }, { 0xe4, 1 }, { 0x2ff, 1 }, { 0x300, 0 }, { 0x36f, 0 }, { 0x370, 1 },
		{ 0x1100, 2 }, { 0x2588, 1 }, { 0x4e00, 2 }, { 0xac00, 2 }, { 0xff21, 2 },
		{ 0xff71, 1 }, { 0x1f525, 2 }, { 0xfe0f, 0 },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		if (utf8_width(cases[i].c) != cases[i].width)
			print_error("U+%04X\n", cases[i].c);
		assert_int_equal(utf8_width(cases[i].c), cases[i].width);
	}
}

/* The table is ours; where a C library with a UTF-8 locale is at hand, both must
 * agree on the letters that names of places and people are written in. */
static void
agrees_with_the_c_library(void **state)
{
	static const struct { uint32_t first, last; } blocks[] = {
		{ 0x20, 0x7e }, { 0xa0, 0xac }, { 0xae, 0x36f }, { 0x386, 0x482 },
		{ 0x1e00, 0x1eff }, { 0x2010, 0x2027 }, { 0x2500, 0x25fc }, { 0x3041, 0x3096 },
		{ 0x30a0, 0x30ff }, { 0x4e00, 0x9fff }, { 0xac00, 0xd7a3 }, { 0xff01, 0xffbe },
	};
	locale_t utf8 = newlocale(LC_CTYPE_MASK, "C.UTF-8", (locale_t)0);

	(void)state;
	if (utf8 == (locale_t)0)
		skip();
	locale_t before = uselocale(utf8);

	for (size_t i = 0; i < COUNT(blocks); i++) {
		for (uint32_t c = blocks[i].first; c <= blocks[i].last; c++) {
			int theirs = wcwidth((wchar_t)c);

			if (theirs < 0)		/* not assigned */
				continue;
			if (utf8_width(c) != theirs)
				print_error("U+%04X: %d, not %d\n", c, utf8_width(c), theirs);
			assert_int_equal(utf8_width(c), theirs);
		}
	}
	uselocale(before);
	freelocale(utf8);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(decodes_and_refuses),
		cmocka_unit_test(hides_what_steers),
		cmocka_unit_test(escapes),
		cmocka_unit_test(widths),
		cmocka_unit_test(agrees_with_the_c_library),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
