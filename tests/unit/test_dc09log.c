/* test_dc09log.c - a receiver's log through the reader: what becomes a row and what not.
 * Frames with a comment are published vectors, see test_dc09.c; the others were made here. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "daemon/base/arena.h"
#include "parsers/dc09log.h"
#include "parsers/reader.h"
#include "parsers/wordings.h"

/* Published: with its own time, and without one. */
#define TIMED   "F92F0043\"ADM-CID\"0020R7896L7896#3456[#3456|1407 00 001]_17:01:14,07-26-2024"
#define UNTIMED "CE110032\"SIA-DCS\"9876R579BDFL789ABC#12345A[#12345A|NFA129]"
#define LINK    "D730002F\"NULL\"0000R7896L7896#3456[]_17:01:26,07-26-2024"
#define ACK     "5C410020\"ACK\"0001R000001L000000#000000[]"
/* Published with both wrong. */
#define WRONG   "5670004D\"SIA-DCS\"8070L0#123456[#123456|Nri0KR1^TAST. 001 ^]_13:49:12,04-13-2021"

static struct reader *
open_log(const char *text, size_t n, size_t read_size, const struct wordings *w)
{
	struct reader_options o = { .read_size = read_size, .wordings = &w, .n_wordings = w != NULL,
		.named = w != NULL };
	struct err e;
	struct reader *r = reader_memory("log", text, n, &o, &e);

	if (!r)
		fail_msg("%s", e.text);
	return r;
}

static void
is(const struct row *row, enum column c, const char *want)
{
	if (!span_eq(row->cell[c], span_of(want)))
		fail_msg("line %d, %s: \"%.*s\"", (int)row->line, column_text(c),
		    (int)row->cell[c].n, row->cell[c].n ? row->cell[c].p : "");
}

/* A log as a receiver writes it, and the bytes of the wire with LF before and CR behind;
 * whatever a read holds. */
static void
rows(void **state)
{
	static const char *const forms[] = {
		"2024-07-26 19:01:15 " TIMED "\r\n2024-07-26T17:01:26Z line 2 " LINK "\r\n"
		"2024-07-26 19:02:00 " UNTIMED "\r\n\r\nreceiver restarted\r\n" ACK "\r\n"
		UNTIMED "\r\n" WRONG "\r\n",
		"2024-07-26 19:01:15 " TIMED "\r2024-07-26T17:01:26Z line 2 " LINK "\r"
		"2024-07-26 19:02:00 " UNTIMED "\r\rreceiver restarted\r" ACK "\r"
		UNTIMED "\r" WRONG,
	};

	(void)state;
	for (size_t k = 0; k < 2 * 4; k++) {
		static const size_t reads[] = { 0, 1, 7, 64 };
		const char *text = forms[k % 2];
		struct reader *r = open_log(text, strlen(text), reads[k / 2], NULL);
		struct row row;
		struct err e;

		assert_int_equal(reader_info(r)->kind, FILE_EVENTS);
		assert_int_equal(reader_next(r, &row, &e), READ_ROW);
		assert_int_equal(row.line, 1);
		is(&row, COL_ACCOUNT, "3456");
		is(&row, COL_RECEIVER, "7896");
		is(&row, COL_LINE, "7896");
		is(&row, COL_EVENT, "1407");
		is(&row, COL_PARTITION, "00");
		is(&row, COL_ZONE, "001");
		assert_true(row.meaning.word == W_DISARM && row.meaning.address == ADDR_USER);
		assert_true(row.has_time && row.time.offset == 0 && row.time.wall == 1722013274);
		assert_true(row.has_received && row.received.offset == OFFSET_LOCAL &&
		    row.received.wall == 1722020475);

		assert_int_equal(reader_next(r, &row, &e), READ_ROW);
		assert_int_equal(row.line, 3);
		is(&row, COL_ACCOUNT, "12345A");
		is(&row, COL_EVENT, "FA");
		assert_true(row.meaning.word == W_FIRE_ALARM && row.meaning.life);
		assert_true(row.has_time && row.time.offset == OFFSET_LOCAL &&
		    row.time.wall == row.received.wall);

		assert_int_equal(reader_next(r, &row, &e), READ_ASIDE);
		assert_int_equal(row.line, 5);
		assert_string_equal(row.reason, "no DC-09 frame in this line");
		assert_int_equal(reader_next(r, &row, &e), READ_ASIDE);
		assert_int_equal(row.line, 7);
		assert_string_equal(row.reason, "DC-09: no time in the frame and none in front of it");
		assert_int_equal(row.raw.n, strlen(UNTIMED));
		assert_int_equal(reader_next(r, &row, &e), READ_ASIDE);
		assert_string_equal(row.reason, "DC-09: neither length nor CRC fit the frame");
		assert_int_equal(reader_next(r, &row, &e), READ_END);
		assert_non_null(strstr(reader_note(r), "1 link test, 1 acknowledgement"));
		assert_int_equal(reader_info(r)->size, strlen(text));
		reader_close(r);
	}
}

/* The CRC is over the bytes of the file, before they are made UTF-8. */
static void
older_encoding(void **state)
{
	static const char body[] =
	    "\"SIA-DCS\"0001L0#1042[#1042|NBA007^K\xfc" "che^]_06:15:29,10-01-2026";
	char line[200];
	struct reader *r;
	struct row row;
	struct err e;
	int n = snprintf(line, sizeof line, "%04X0%03X%s\n", dc09_crc(body, sizeof body - 1),
	    (unsigned)sizeof body - 1, body);

	(void)state;
	r = open_log(line, (size_t)n, 0, NULL);
	assert_int_equal(reader_next(r, &row, &e), READ_ROW);
	is(&row, COL_TEXT, "Küche");
	assert_int_equal(reader_next(r, &row, &e), READ_END);
	reader_close(r);
}

static void
what_is_a_log(void **state)
{
	static const struct { const char *text; bool log; } cases[] = {
		{ TIMED "\n", true }, { TIMED, true }, { LINK "\n", true },
		{ "started\nok\n" ACK "\n", true },
		{ WRONG "\n", false }, { "started\n", false },
		/* A frame in a cell of a CSV is a text. */
		{ "account,time,event,text\n1,2026-10-01 08:00:00,E130,\"" "x" "\"\n", false },
		{ "account,time,event,text\n1,2026-10-01 08:00:00,E130," TIMED "\n", false },
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct err e;
		struct reader *r = reader_memory("log", cases[i].text, strlen(cases[i].text), NULL, &e);

		if ((r && reader_info(r)->separator == DC09LOG_SEPARATOR) != cases[i].log)
			fail_msg("case %zu", i);
		reader_close(r);
	}
}

/* Wordings named by a person: the day first in front of a frame, an event by its text. */
static void
with_wordings(void **state)
{
	static const char body[] = "\"SIA-DCS\"0001L0#1042[#1042|NBA007^Heizung^]";
	struct wordings *w = wordings_new("w.csv");
	char line[200];
	struct reader *r;
	struct row row;
	struct err e;
	int n = snprintf(line, sizeof line, "01.10.2026 08:15:30 %04X0%03X%s\n",
	    dc09_crc(body, sizeof body - 1), (unsigned)sizeof body - 1, body);

	(void)state;
	assert_int_equal(wordings_add(w, 2, SPAN("time"), SPAN(""), SPAN("day-first"), &e), 0);
	assert_int_equal(wordings_add(w, 3, SPAN("event"), SPAN("^BA\nheizung"), SPAN("E158"), &e), 0);
	r = open_log(line, (size_t)n, 0, w);
	assert_ptr_equal(reader_info(r)->wordings, w);
	assert_int_equal(reader_next(r, &row, &e), READ_ROW);
	assert_int_equal(row.time.wall, 1790842530);
	assert_int_equal(row.meaning.word, W_ALARM);
	assert_int_equal(row.meaning.hint, KIND_TEMPERATURE);
	reader_close(r);
	wordings_free(w);
}

/* Lines that were set aside can be written out: under the columns, whole. */
static void
set_aside(void **state)
{
	struct arena a = { 0 };
	struct span cell[COL_COUNT], header = dc09log_header();

	(void)state;
	assert_true(reader_cells(&a, header, DC09LOG_SEPARATOR, header, cell));
	for (int c = 0; c < COL_COUNT; c++) {
		bool has = c == COL_ACCOUNT || c == COL_TIME || c == COL_EVENT || c == COL_ZONE ||
		    c == COL_PARTITION || c == COL_USER || c == COL_TEXT || c == COL_RECEIVED ||
		    c == COL_RECEIVER || c == COL_LINE;

		assert_true((cell[c].n > 0) == has);
	}
	assert_false(reader_cells(&a, header, DC09LOG_SEPARATOR, SPAN(WRONG), cell));
	arena_release(&a);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(rows),
		cmocka_unit_test(older_encoding),
		cmocka_unit_test(what_is_a_log),
		cmocka_unit_test(with_wordings),
		cmocka_unit_test(set_aside),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
