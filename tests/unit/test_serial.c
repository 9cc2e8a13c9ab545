/* base/serial: one device under several spellings, and digits that are lost. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "daemon/base/serial.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

static void
serials(void **state)
{
	static const struct { const char *in, *plain, *key; enum serial_fault fault; } cases[] = {
		{ "001A2B", "001A2B", "1A2B", SERIAL_OK },
		{ "1a2b", "1A2B", "1A2B", SERIAL_OK },
		{ " 00-1a 2b ", "001A2B", "1A2B", SERIAL_OK },
		{ "00:1A.2B", "001A2B", "1A2B", SERIAL_OK },
		{ "1000", "1000", "1000", SERIAL_OK },
		{ "12E4", "12E4", "12E4", SERIAL_OK },		/* hexadecimal */
		{ "12345E67", "12345E67", "12345E67", SERIAL_OK },
		{ "E12", "E12", "E12", SERIAL_OK },
		{ "1.2.3", "123", "123", SERIAL_OK },
		{ "1E", "1E", "1E", SERIAL_OK }, { "E+11", "", "", SERIAL_NOT_ONE },
		{ "1.23E+100", "", "", SERIAL_LOST_DIGITS }, { "1.23E+1000", "", "", SERIAL_NOT_ONE },
		{ "1.2.3E+10", "", "", SERIAL_NOT_ONE }, { "1.2E5", "", "", SERIAL_LOST_DIGITS },
		{ "", "", "", SERIAL_NONE }, { "  ", "", "", SERIAL_NONE },
		{ "0", "", "", SERIAL_NONE }, { "00-00", "", "", SERIAL_NONE },
		{ "-.:", "", "", SERIAL_NONE },
		{ "1.23457E+11", "", "", SERIAL_LOST_DIGITS },
		{ "1,23457E+11", "", "", SERIAL_LOST_DIGITS },
		{ "1.23457e11", "", "", SERIAL_LOST_DIGITS },
		{ "1E+11", "", "", SERIAL_LOST_DIGITS },
		{ "1.2E-05", "", "", SERIAL_LOST_DIGITS },
		{ " 9.87E+10 ", "", "", SERIAL_LOST_DIGITS },
		{ "1.2E+", "", "", SERIAL_NOT_ONE },
		{ "1A/2B", "", "", SERIAL_NOT_ONE }, { "#1A2B", "", "", SERIAL_NOT_ONE },
		{ "1A_2B", "", "", SERIAL_NOT_ONE }, { "caf\xc3\xa9", "", "", SERIAL_NOT_ONE },
		{ "1A\n2B", "", "", SERIAL_NOT_ONE },
	};
	struct arena a = { 0 };

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		enum serial_fault fault = 99;
		const char *plain = serial_plain(&a, span_of(cases[i].in), &fault);

		if (fault != cases[i].fault || strcmp(plain, cases[i].plain) != 0)
			print_error("\"%s\": \"%s\"\n", cases[i].in, plain);
		assert_string_equal(plain, cases[i].plain);
		assert_int_equal(fault, cases[i].fault);
		assert_string_equal(serial_key(&a, span_of(cases[i].in)), cases[i].key);
	}
	{
		enum serial_fault fault;

		serial_plain(&a, (struct span){ "12\0" "34", 5 }, &fault);
		assert_int_equal(fault, SERIAL_NOT_ONE);
		serial_plain(&a, (struct span){ NULL, 0 }, &fault);
		assert_int_equal(fault, SERIAL_NONE);
	}
	arena_release(&a);
}

static void
numbers(void **state)
{
	static const struct { const char *in, *out; } cases[] = {
		{ "7", "7" }, { "007", "7" }, { "000", "" }, { "0", "" }, { "", "" }, { "  ", "" },
		{ " 07 ", "7" }, { "70", "70" }, { "B3", "b3" }, { "b3", "b3" }, { "0B3", "0b3" },
		{ "1-2", "1-2" }, { "01-2", "01-2" }, { "1 2", "1 2" }, { "Hall", "hall" },
		{ "18446744073709551616", "18446744073709551616" },
		{ "\xc3\x84", "\xc3\x84" },
	};
	struct arena a = { 0 };

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++)
		assert_string_equal(number_key(&a, span_of(cases[i].in)), cases[i].out);
	assert_string_equal(number_key(&a, (struct span){ NULL, 0 }), "");
	arena_release(&a);
}

static void
twins(void **state)
{
	static const struct { const char *one, *other; enum serial_twin is; } cases[] = {
		{ "1O2", "102", SERIAL_LOOKS_ALIKE }, { "OI", "01", SERIAL_LOOKS_ALIKE },
		{ "1A2B", "1A28", SERIAL_LOOKS_ALIKE }, { "S2", "5Z", SERIAL_LOOKS_ALIKE },
		{ "OA1", "A1", SERIAL_LOOKS_ALIKE },	/* a letter O for a leading zero */
		{ "000A8", "AB", SERIAL_LOOKS_ALIKE },
		{ "102", "102", SERIAL_NO_TWIN }, { "00102", "102", SERIAL_NO_TWIN },
		{ "", "", SERIAL_NO_TWIN }, { "", "1", SERIAL_NO_TWIN }, { "", "000", SERIAL_NO_TWIN },
		{ "1O2", "1023", SERIAL_NO_TWIN }, { "1O2", "103", SERIAL_NO_TWIN },
		{ "Q12", "012", SERIAL_NO_TWIN }, { "L12", "112", SERIAL_NO_TWIN },
		/* 0x1A2B = 6699, 0x3E7 = 999, 0x3E8 = 1000 */
		{ "6699", "1A2B", SERIAL_OTHER_BASE }, { "1A2B", "6699", SERIAL_OTHER_BASE },
		{ "006699", "1A2B", SERIAL_OTHER_BASE }, { "6699", "1A2C", SERIAL_NO_TWIN },
		{ "999", "3E7", SERIAL_NO_TWIN }, { "1000", "3E8", SERIAL_NO_TWIN },
		{ "65535", "FFFF", SERIAL_OTHER_BASE }, { "65536", "10000", SERIAL_NO_TWIN },
		/* 0x12345 = 74565, 0x100000 = 1048576 */
		{ "74565", "12345", SERIAL_NO_TWIN }, { "1048576", "100000", SERIAL_OTHER_BASE },
		{ "100000", "1048576", SERIAL_OTHER_BASE },
		/* the largest of 64 bits, and one more */
		{ "18446744073709551615", "FFFFFFFFFFFFFFFF", SERIAL_OTHER_BASE },
		{ "18446744073709551616", "10000000000000000", SERIAL_NO_TWIN },
		{ "GHIJ", "1234", SERIAL_NO_TWIN },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		if (serial_twin(cases[i].one, cases[i].other) != cases[i].is)
			print_error("%s %s\n", cases[i].one, cases[i].other);
		assert_int_equal(serial_twin(cases[i].one, cases[i].other), cases[i].is);
		assert_int_equal(serial_twin(cases[i].other, cases[i].one), cases[i].is);
	}
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(serials),
		cmocka_unit_test(numbers),
		cmocka_unit_test(twins),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
