/* test_dc09.c - frames of ANSI/SIA DC-09 as published, and what may be wrong with one.
 *
 * The frames under `published` are test vectors of public protocol libraries and receiver
 * notes; all their CRCs and lengths were computed again and agree. The first two carry the
 * standard's own example of a fire alarm in zone 129 (attribution from memory). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "daemon/base/civil.h"
#include "parsers/dc09.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

static const struct {
	const char *frame;
	enum dc09_result result;
	const char *receiver, *line, *account, *event, *partition, *zone, *time;
} published[] = {
	{ "CE110032\"SIA-DCS\"9876R579BDFL789ABC#12345A[#12345A|NFA129]",
	  DC09_EVENT, "579BDF", "789ABC", "12345A", "FA", "", "129", "" },
	{ "87CD0037\"ADM-CID\"9876R579BDFL789ABC#12345A[#12345A|1110 00 129]",
	  DC09_EVENT, "579BDF", "789ABC", "12345A", "1110", "00", "129", "" },
	{ "8C860043\"SIA-DCS\"9876R579BDFL789ABC#123456A[#123456A|NFA129][M1234567890AB]",
	  DC09_EVENT, "579BDF", "789ABC", "123456A", "FA", "", "129", "" },
	{ "DC530046\"SIA-DCS\"9876R579BDFL789ABC#12345A[#12345A|NFA129]_13:14:15,02-15-2006",
	  DC09_EVENT, "579BDF", "789ABC", "12345A", "FA", "", "129", "2006-02-15T13:14:15Z" },
	{ "5C410020\"ACK\"0001R000001L000000#000000[]", DC09_ACK, "000001", "", "000000", "", "",
	  "", "" },
	{ "F68B003B\"ADM-CID\"0028L0#9757[#9757|1602 00 000]_20:59:45,02-20-2024",
	  DC09_EVENT, "", "", "9757", "1602", "00", "000", "2024-02-20T20:59:45Z" },
	{ "B0970029\"NULL\"0000L000#0809[]_21:00:01,02-20-2024", DC09_NULL, "", "", "0809", "", "",
	  "", "" },
	{ "B4330036\"SIA-DCS\"0442L000#36214[36214|NRP]_00:00:00,02-21-2024",
	  DC09_EVENT, "", "", "36214", "RP", "", "", "2024-02-21T00:00:00Z" },
	{ "3F60003C\"SIA-DCS\"0001L0#51449[#51449|Nri0000/LR]_21:26:19,12-20-2023",
	  DC09_EVENT, "", "", "51449", "LR", "0000", "", "2023-12-20T21:26:19Z" },
	{ "7B620035\"SIA-DCS\"0005L000#3044[3044|NOP1]_00:03:31,12-21-2023",
	  DC09_EVENT, "", "", "3044", "OP", "", "1", "2023-12-21T00:03:31Z" },
	{ "37070047\"SIA-DCS\"0038R0L0#10303117[#10303117|Nri0001/BH005]_13:44:48,08-17-2022",
	  DC09_EVENT, "", "", "10303117", "BH", "0001", "005", "2022-08-17T13:44:48Z" },
	{ "F92F0043\"ADM-CID\"0020R7896L7896#3456[#3456|1407 00 001]_17:01:14,07-26-2024",
	  DC09_EVENT, "7896", "7896", "3456", "1407", "00", "001", "2024-07-26T17:01:14Z" },
	{ "D730002F\"NULL\"0000R7896L7896#3456[]_17:01:26,07-26-2024",
	  DC09_NULL, "7896", "7896", "3456", "", "", "", "" },
};

static void
is(const char *what, struct span have, const char *want)
{
	if (!span_eq(have, span_of(want)))
		fail_msg("%s is \"%.*s\", not \"%s\"", what, (int)have.n, have.n ? have.p : "", want);
}

static void
crc(void **state)
{
	(void)state;
	/* Check value of CRC-16/ARC, published with it. */
	assert_int_equal(dc09_crc("123456789", 9), 0xBB3D);
	/* Entry 100 of its table, as the erratum to ANSI/SIA DC-07 prints it. */
	assert_int_equal(dc09_crc("\x64", 1), 0xEB01);
	assert_int_equal(dc09_crc("", 0), 0);
}

static void
frames(void **state)
{
	static const char *const around[][2] = { { "", "" },
		{ "2026-10-01 08:15:30 ", "" }, { "rcvr 3: ", "  \t" }, { "[x]", " accepted" } };

	(void)state;
	for (size_t i = 0; i < COUNT(published); i++) {
		for (size_t k = 0; k < COUNT(around); k++) {
			char line[300], time[CIVIL_TEXT];
			struct dc09 f;

			snprintf(line, sizeof line, "%s%s%s", around[k][0], published[i].frame,
			    around[k][1]);
			if (dc09_parse(span_of(line), &f) != published[i].result)
				fail_msg("%s: %s", line, f.reason ? f.reason : "another kind");
			is("receiver", f.receiver, published[i].receiver);
			is("line", f.line, published[i].line);
			is("account", f.account, published[i].account);
			is("event", f.event, published[i].event);
			is("partition", f.partition, published[i].partition);
			is("zone", f.zone, published[i].zone);
			civil_rfc3339(f.has_time ? f.time.wall * SECOND : NO_TIME, time);
			assert_string_equal(time, published[i].time);
			if (f.has_time)
				assert_true(f.time.offset == 0 && f.time.precision == PREC_SECOND);
			is("prefix", f.prefix, k == 1 ? "2026-10-01 08:15:30" : k == 2 ? "rcvr 3:"
			    : around[k][0]);
		}
	}
}

/* Published with both wrong: its text was changed after the CRC was made. The right ones
 * for the text as printed are F4CC and 0047 (computed). */
static void
the_published_bad_one(void **state)
{
	static const char body[] =
	    "\"SIA-DCS\"8070L0#123456[#123456|Nri0KR1^TAST. 001 ^]_13:49:12,04-13-2021";
	static const struct { const char *head, *reason; } heads[] = {
		{ "5670004D", "neither length nor CRC" }, { "F4CC004D", "the length does not fit" },
		{ "56700047", "the CRC does not fit" }, { "F4CC0047", NULL }, { "f4cc0047", NULL },
		{ "F4CC0046", "the length does not fit" }, { "F4CC0048", "the length does not fit" },
		{ "F4CC0FFF", "the length does not fit" }, { "F4CC0000", "the length does not fit" },
		{ "F4CD0047", "the CRC does not fit" },
	};

	(void)state;
	assert_int_equal(sizeof body - 1, 0x47);
	for (size_t i = 0; i < COUNT(heads); i++) {
		char line[200];
		struct dc09 f;
		enum dc09_result got;

		snprintf(line, sizeof line, "%s%s", heads[i].head, body);
		got = dc09_parse(span_of(line), &f);
		if (heads[i].reason) {
			assert_int_equal(got, DC09_ASIDE);
			if (!strstr(f.reason, heads[i].reason))
				fail_msg("%s: %s", heads[i].head, f.reason);
			continue;
		}
		assert_int_equal(got, DC09_EVENT);
		is("event", f.event, "KR");
		is("partition", f.partition, "0");
		is("zone", f.zone, "1");
		is("text", f.text, "TAST. 001");
	}
}

/* Any byte of a frame that is changed is found out. */
static void
every_byte_counts(void **state)
{
	(void)state;
	for (size_t i = 0; i < COUNT(published); i++) {
		char line[300];
		size_t n = strlen(published[i].frame);

		for (size_t k = 0; k < n; k++) {
			struct dc09 f;

			memcpy(line, published[i].frame, n + 1);
			line[k] ^= 1;
			assert_int_equal(dc09_parse((struct span){ line, n }, &f), DC09_ASIDE);
			assert_non_null(f.reason);
		}
	}
}

/* Frames made here, with length and CRC as they must be. */
static enum dc09_result
made(const char *body, struct dc09 *f)
{
	static char line[600];

	snprintf(line, sizeof line, "%04X0%03X%s", dc09_crc(body, strlen(body)),
	    (unsigned)strlen(body), body);
	return dc09_parse(span_of(line), f);
}

static void
data_forms(void **state)
{
	static const struct {
		const char *body, *event, *partition, *zone, *user, *text;
	} cases[] = {
		{ "\"SIA-DCS\"0001L0#1234[|Nri1/BA001]", "BA", "1", "001", "", "" },
		{ "\"SIA-DCS\"0001L0#1234[Nri12BA001]", "BA", "12", "001", "", "" },
		{ "\"SIA-DCS\"0001L0#1234[#1234|BA001]", "BA", "", "001", "", "" },
		{ "\"SIA-DCS\"0001L0#1234[#1234|NT001]", "NT", "", "001", "", "" },
		{ "\"SIA-DCS\"0001L0#1234[#1234|NNT001]", "NT", "", "001", "", "" },
		{ "\"SIA-DCS\"0001L0#1234[#1234|Nri2/id7/CL]", "CL", "2", "", "7", "" },
		{ "\"SIA-DCS\"0001L0#1234[#1234|NBA001^Hall [east]^]", "BA", "", "001", "",
		  "Hall [east]" },
		{ "\"SIA-DCS\"0001L0#1234[#1234|NBA001*Hall]", "BA", "", "001", "", "Hall" },
		{ "\"SIA-DCS\"0001L0#abcd[#ABCD|NBA001]", "BA", "", "001", "", "" },
		{ "\"ADM-CID\"0001L0#1234[3131 01 015]", "3131", "01", "015", "", "" },
		{ "\"ADM-CID\"0001L0#1234[#1234|6384 B1 00C]", "6384", "B1", "00C", "", "" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct dc09 f;

		if (made(cases[i].body, &f) != DC09_EVENT)
			fail_msg("%s: %s", cases[i].body, f.reason);
		is("event", f.event, cases[i].event);
		is("partition", f.partition, cases[i].partition);
		is("zone", f.zone, cases[i].zone);
		is("user", f.user, cases[i].user);
		is("text", f.text, cases[i].text);
	}
}

static void
what_is_wrong(void **state)
{
	static const struct { const char *body, *reason; } cases[] = {
		{ "\"*SIA-DCS\"0001L0#1234[0011AABB", "encrypted" },
		{ "\"*ADM-CID\"0001R1L0#1234[0011AABB_13:14:15,02-15-2006", "encrypted" },
		{ "\"SIA-PUL\"0001L0#1234[]", "this kind of message" },
		{ "\"SIA-DCS\"0001L0#1234[#1235|NBA001]", "two different accounts" },
		{ "\"SIA-DCS\"0001L0#1234[#1234|NBA001/BA002]", "more than one event" },
		{ "\"SIA-DCS\"0001L0#1234[#1234|]", "its data" },
		{ "\"SIA-DCS\"0001L0#1234[]", "its data" },
		{ "\"SIA-DCS\"0001L0#1234[#1234|Nri1/]", "its data" },
		{ "\"SIA-DCS\"0001L0#1234[#1234|NBA001x]", "its data" },
		{ "\"ADM-CID\"0001L0#1234[#1234|2131 01 015]", "its data" },
		{ "\"ADM-CID\"0001L0#1234[#1234|1131 01 15]", "its data" },
		{ "\"ADM-CID\"0001L0#1234[#1234|113101015]", "its data" },
		{ "\"SIA-DCS\"0001L0#1234[#1234|NBA001", "not laid out" },
		{ "\"SIA-DCS\"0001L0#1234", "not laid out" },
		{ "\"SIA-DCS\"001L0#1234[#1234|NBA001]", "not laid out" },
		{ "\"SIA-DCS\"0001L0#12[#12|NBA001]", "not laid out" },
		{ "\"SIA-DCS\"0001L0#12345678901234567[|NBA001]", "not laid out" },
		{ "\"SIA-DCS\"0001#1234[|NBA001]", "not laid out" },
		{ "\"SIA-DCS\"0001R1234567L0#1234[|NBA001]", "not laid out" },
		{ "\"SIA-DCS\"0001L0#1234[|NBA001]_13:14,02-15-2006", "not laid out" },
		{ "\"SIA-DCS\"0001L0#1234[|NBA001]_13:14:15,02-30-2006", "no such date" },
		{ "\"SIA-DCS\"0001L0#1234[|NBA001]_13:14:15,15-02-2006", "no such date" },
		{ "\"SIA-DCS\"0001L0#1234[|NBA001]_24:00:00,02-15-2006", "no such time of day" },
		{ "\"SIA-DCS\"0001L0#1234[|NBA001]_13:14:60,02-15-2006", "no such time of day" },
	};
	struct dc09 f;

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		assert_int_equal(made(cases[i].body, &f), DC09_ASIDE);
		if (!strstr(f.reason, cases[i].reason))
			fail_msg("%s: %s", cases[i].body, f.reason);
	}
	assert_int_equal(made("\"NAK\"0000R0L0#1234[]_13:14:15,02-15-2006", &f), DC09_NAK);
	assert_int_equal(made("\"DUH\"0007R0L0#1234[]", &f), DC09_DUH);
	/* A leap second, clamped and marked (RFC 3339 section 5.8 has this one). */
	assert_int_equal(made("\"SIA-DCS\"0001L0#1234[|NBA001]_23:59:60,12-31-1990", &f),
	    DC09_EVENT);
	assert_true(f.time.leap);
	assert_int_equal(f.time.wall, 662687999);
	/* Two on one line: neither is lost in silence. */
	assert_int_equal(dc09_parse(SPAN("5C410020\"ACK\"0001R000001L000000#000000[] "
	    "5C410020\"ACK\"0001R000001L000000#000000[]"), &f), DC09_ASIDE);
	assert_string_equal(f.reason, "DC-09: more than one frame in a line");
	/* Something that has its length and CRC and is cut within its first word. */
	assert_int_equal(dc09_parse(SPAN("0000" "0000\"SIA-DCS\""), &f), DC09_ASIDE);
}

static void
no_frame(void **state)
{
	static const char *const lines[] = { "", "x", "\"", "receiver started", "account,time,event",
		"CE11032\"SIA-DCS\"", "CE111032\"SIA-DCS\"", "XE110032\"SIA-DCS\"", "CE110032\"sia\"",
		"CE110032\"", "CE110032\"SIA-DCS" };
	struct dc09 f;
	size_t at = 99;

	(void)state;
	for (size_t i = 0; i < COUNT(lines); i++) {
		assert_false(dc09_find(span_of(lines[i]), &at));
		assert_int_equal(dc09_parse(span_of(lines[i]), &f), DC09_ASIDE);
		assert_string_equal(f.reason, "no DC-09 frame in this line");
	}
	assert_int_equal(at, 99);
	assert_true(dc09_find(SPAN("say \"CE110032\"SIA-DCS\"..."), &at));
	assert_int_equal(at, 5);
}

static void
time_of_receipt(void **state)
{
	static const struct { const char *prefix; int64_t wall; int offset; int ms; } cases[] = {
		{ "2026-10-01 08:15:30", 1790842530, OFFSET_LOCAL, 0 },
		{ "2026-10-01T08:15:30Z", 1790842530, 0, 0 },
		{ "[2026-10-01T08:15:30.250+02:00] line 2", 1790842530, 120, 250 },
		{ "2026-10-01 08:15:30: 10.0.0.7", 1790842530, OFFSET_LOCAL, 0 },
		{ "2026-10-01 08:15:30,250 in", 1790842530, OFFSET_LOCAL, 250 },
		{ "2026-10-01 08:15:30;2;", 1790842530, OFFSET_LOCAL, 0 },
	};
	static const char *const none[] = { "", "rcvr 2", "2026-10-01", "line 2 2026-10-01 08:15:30",
		"2026-02-30 08:15:30", "10/01/2026 08:15:30" };
	struct stamp st = { .wall = -7 };

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		if (!dc09_received(STAMP_UNDECIDED, span_of(cases[i].prefix), &st))
			fail_msg("%s", cases[i].prefix);
		assert_int_equal(st.wall, cases[i].wall);
		assert_int_equal(st.offset, cases[i].offset);
		assert_int_equal(st.ms, cases[i].ms);
	}
	for (size_t i = 0; i < COUNT(none); i++) {
		if (dc09_received(STAMP_UNDECIDED, span_of(none[i]), &st))
			fail_msg("%s", none[i]);
	}
	assert_true(dc09_received(STAMP_DAY_FIRST, SPAN("01.10.2026 08:15:30 x"), &st));
	assert_int_equal(st.wall, 1790842530);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(crc),
		cmocka_unit_test(frames),
		cmocka_unit_test(the_published_bad_one),
		cmocka_unit_test(every_byte_counts),
		cmocka_unit_test(data_forms),
		cmocka_unit_test(what_is_wrong),
		cmocka_unit_test(no_frame),
		cmocka_unit_test(time_of_receipt),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
