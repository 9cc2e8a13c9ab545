/* parsers/reader over the kinds of exports there are: what spreadsheets, old panels and
 * hurried people make of a file. Each is read at every read size. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <cmocka.h>

#include "daemon/base/arena.h"
#include "daemon/base/civil.h"
#include "parsers/reader.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

/* Everything that comes out, a line each: "LINE account|time|event|zone|partition|serial",
 * "LINE!reason", "error: ...", and at the end "note: ..." if there is one. */
static const char *
dump(struct arena *a, struct reader *r, struct err *e)
{
	const char *out = "";
	enum read_result got;
	struct row row;

	if (!r)
		return arena_fmt(a, "error: %s\n", e->text);
	while ((got = reader_next(r, &row, e)) > 0) {
		static const enum column shown[] = { COL_EVENT, COL_ZONE, COL_PARTITION, COL_SERIAL };
		char time[CIVIL_TEXT] = "";

		if (got == READ_ASIDE) {
			out = arena_fmt(a, "%s%llu!%s\n", out, (unsigned long long)row.line, row.reason);
			continue;
		}
		if (row.has_time)
			civil_rfc3339(row.time.wall * 1000 + row.time.ms, time);
		out = arena_fmt(a, "%s%llu %.*s|%s", out, (unsigned long long)row.line,
		    (int)row.cell[COL_ACCOUNT].n, row.cell[COL_ACCOUNT].p, time);
		for (size_t i = 0; i < COUNT(shown); i++)
			out = arena_fmt(a, "%s|%.*s", out, (int)row.cell[shown[i]].n,
			    row.cell[shown[i]].n ? row.cell[shown[i]].p : "");
		out = arena_fmt(a, "%s\n", out);
	}
	if (got == READ_ERR)
		return arena_fmt(a, "%serror: %s\n", out, e->text);
	if (*reader_note(r))
		out = arena_fmt(a, "%snote: %s\n", out, reader_note(r));
	return out;
}

static void
reads_bytes(const char *text, size_t n, const char *want)
{
	for (size_t step = 0; step <= n && step < 200; step += step < 40 ? 1 : 23) {
		struct reader_options o = { .read_size = step };
		struct arena a = { 0 };
		struct err e = { 0 };
		struct reader *r = reader_memory("test.csv", text, n, &o, &e);
		const char *got = dump(&a, r, &e);

		if (strcmp(got, want) != 0)
			print_error("reads of %zu:\n%.300s\nGIVE\n%s\nNOT\n%s\n", step, text, got, want);
		assert_string_equal(got, want);
		reader_close(r);
		arena_release(&a);
	}
}

static void
reads(const char *text, const char *want)
{
	reads_bytes(text, strlen(text), want);
}

#define H "account,time,event,zone,partition,serial\n"
#define T "2026-10-01T08:15:00Z"
#define ROW(line, account) line " " account "|" T "|E130|7||\n"

static void
separator_line(void **state)
{
	(void)state;
	reads("sep=;\r\naccount;time;event;zone\r\n1;2026-10-01 08:15;E130;7\r\n",
	    ROW("3", "1") "note: no rows, and passed over: 1 line above the header\n");
	reads("\xef\xbb\xbfSEP=,\n" H "1,2026-10-01 08:15,E130,7\n",
	    ROW("3", "1") "note: no rows, and passed over: 1 line above the header\n");
	reads("\"sep=|\"\naccount|time|event|zone\n1|2026-10-01 08:15|E130|7\n",
	    ROW("3", "1") "note: no rows, and passed over: 1 line above the header\n");
	/* saved again, with a separator of its own behind; and no separator at all */
	reads("sep=;;;;\naccount;time;event;zone\n1;2026-10-01 08:15;E130;7\n",
	    ROW("3", "1") "note: no rows, and passed over: 1 line above the header\n");
	reads("sep=\n" H "1,2026-10-01 08:15,E130,7\n",
	    ROW("3", "1") "note: no rows, and passed over: 1 line above the header\n");
	reads("sep=x\n" H "1,2026-10-01 08:15,E130,7\n",
	    ROW("3", "1") "note: no rows, and passed over: 1 line above the header\n");
	reads("sep=;\naccount,time,event\n", "error: test.csv:1: the header names no column that is"
	    " known here (events need account, time, event)\n");
}

static void
separators(void **state)
{
	static const struct { const char *text, *row; } cases[] = {
		{ "account;time;event;zone;text\n1;2026-10-01 08:15;E130;7;a,b,c,d,e,f,g\n", ROW("2", "1") },
		{ "account\ttime\tevent\tzone\ttext\n1\t2026-10-01 08:15\tE130\t7\ta,b;c;d\n", ROW("2", "1") },
		{ "account|time|event|zone\n1|2026-10-01 08:15|E130|7\n", ROW("2", "1") },
		{ "\"account\";\"time\";\"event\";\"zone\"\n\"1\";\"2026-10-01 08:15\";\"E130\";\"7\"\n",
		  ROW("2", "1") },
		/* a header that both could have written: the rows decide */
		{ "account,time,event,zone,\"x;account;time;event;zone;y\"\n"
		  "1,2026-10-01 08:15,E130,7,\"a;b\"\n",
		  ROW("2", "1") "note: columns passed over: x;account;time;event;zone;y\n" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++)
		reads(cases[i].text, cases[i].row);
}

static void
title_lines(void **state)
{
	static char text[2000], want[300];
	size_t n = 0;

	(void)state;
	reads("Event history of the mill\n\"Printed 1.10.2026, by \"\"fk\"\"\"\n\n"
	    H "1,2026-10-01 08:15,E130,7\n",
	    ROW("5", "1") "note: no rows, and passed over: 2 lines above the header\n");
	/* a stray quote in one; and a title line that reads like a column */
	reads("Mill \"north\"\n\"Mill\" north\naccount: 1\n" H "1,2026-10-01 08:15,E130,7\n",
	    ROW("5", "1") "note: no rows, and passed over: 3 lines above the header\n");
	reads("account,what,serial\n" H "1,2026-10-01 08:15,E130,7\n",
	    ROW("3", "1") "note: no rows, and passed over: 1 line above the header\n");
	/* nineteen, twenty and twenty-one of them */
	for (int lines = 19; lines <= 21; lines++) {
		n = 0;
		for (int i = 0; i < lines; i++)
			n += (size_t)snprintf(text + n, sizeof text - n, "title %d\n", i);
		snprintf(text + n, sizeof text - n, H "1,2026-10-01 08:15,E130,7\n");
		snprintf(want, sizeof want, "%d 1|" T "|E130|7||\nnote: no rows, and passed over: %d"
		    " lines above the header\n", lines + 2, lines);
		reads(text, lines <= 20 ? want : "error: test.csv:1: the header names no column that"
		    " is known here (events need account, time, event)\n");
	}
	/* the header's fault is told of the line that is nearest to one */
	reads("Mill\nNorth\naccount,time,zone\n1,2,3\n", "error: test.csv:3: the header is of no"
	    " known kind; nearest is events, which lacks: event\n");
}

static void
joined_files(void **state)
{
	(void)state;
	reads("Mill\n" H "1,2026-10-01 08:15,E130,7\n\xef\xbb\xbfMill\n" H "2,2026-10-01 08:15,E130,7\n"
	    "\xef\xbb\xbf" H "3,2026-10-01 08:15,E130,7\n",
	    ROW("3", "1") ROW("6", "2") ROW("8", "3")
	    "note: no rows, and passed over: 2 lines above the header, 2 headers once more\n");
	/* the same columns in other letters, or in quotes */
	reads(H "1,2026-10-01 08:15,E130,7\n\"Account\", TIME ,event,zone,partition,serial\n"
	    "2,2026-10-01 08:15,E130,7\n",
	    ROW("2", "1") ROW("4", "2") "note: no rows, and passed over: 1 header once more\n");
	/* another header: nothing below it may be read under the first */
	reads(H "1,2026-10-01 08:15,E130,7\naccount,time,event,partition,zone\n"
	    "2,2026-10-01 08:15,E130,7,1\nbad\n" H "3,2026-10-01 08:15,E130,7\n",
	    ROW("2", "1") "3!a header other than the one above\n"
	    "4!stands below a header other than the file's first\n5!no time\n" ROW("7", "3")
	    "note: no rows, and passed over: 1 header once more\n");
	reads("account,timezone\n1,UTC\naccount,timezone\n2,UTC\n",
	    "2 1|||||\n4 2|||||\nnote: no rows, and passed over: 1 header once more\n");
	reads("account,timezone\n1,UTC\naccount,timezone,name\n2,UTC,x\n",
	    "2 1|||||\n3!a header other than the one above\n4!more cells than the header has columns\n");
}

static void
footers(void **state)
{
	(void)state;
	reads(H "1,2026-10-01 08:15,E130,7\n2,2026-10-01 08:15,E130,7\nTotal: 2\n",
	    ROW("2", "1") ROW("3", "2") "note: no rows, and passed over: 1 row count\n");
	reads(H "1,2026-10-01 08:15,E130,7\nx,y\n\n(2 rows)\n",
	    ROW("2", "1") "3!time not readable; write YYYY-MM-DD HH:MM:SS\n"
	    "note: no rows, and passed over: 1 row count\n");
	reads(H "1,2026-10-01 08:15,E130,7\nTotal: 1\n" H "2,2026-10-01 08:15,E130,7\nTotal: 1\nIn all: 2 records\n",
	    ROW("2", "1") ROW("5", "2")
	    "note: no rows, and passed over: 1 header once more, 3 row counts\n");
	/* another number of rows: not this file's */
	reads(H "1,2026-10-01 08:15,E130,7\nTotal: 2\n", ROW("2", "1") "3!no time\n");
}

static void
ragged(void **state)
{
	(void)state;
	/* a separator at the end of the header, of a row, of both: no column moves */
	reads("account,time,event,zone,\n1,2026-10-01 08:15,E130,7\n2,2026-10-01 08:15,E130,7,\n"
	    "3,2026-10-01 08:15,E130,7,,,\n", ROW("2", "1") ROW("3", "2") ROW("4", "3"));
	reads("account,time,event,zone\n1,2026-10-01 08:15,E130,7,\n2,2026-10-01 08:15,E130\n"
	    "3,2026-10-01 08:15,E130,7,x\n",
	    ROW("2", "1") "3 2|" T "|E130|||\n4!more cells than the header has columns\n");
	reads(",account,time,event,zone\n,1,2026-10-01 08:15,E130,7\n", ROW("2", "1"));
}

/* LF, CRLF, CR and CR CR LF in one file, the last missing; lines counted as people do. */
static void
line_ends(void **state)
{
	(void)state;
	reads("account,time,event,zone\n1,2026-10-01 08:15,E130,7\r\n2,2026-10-01 08:15,E130,7\r"
	    "3,2026-10-01 08:15,E130,7\r\r\n4,2026-10-01 08:15,E130,7",
	    ROW("2", "1") ROW("3", "2") ROW("4", "3") ROW("6", "4"));
	reads("account,time,event,serial\r1,2026-10-01 08:15,E130,\"a\rb\"\n2,2026-10-01 08:15,E130,c\r",
	    "2 1|" T "|E130|||a\rb\n4 2|" T "|E130|||c\n");
	/* two files of different systems in one: no cell swallows the row behind it */
	reads("account,time,event,zone,partition,serial,text,received\n"
	    "1,2026-10-01 08:15,E130,7\r1,2026-10-01 08:15,E130,7\r",
	    ROW("2", "1") ROW("3", "1"));
}

static void
encodings(void **state)
{
	static const char nul[] = H "1,2026-10-01 08:15,E130,7\n2,2026-10-01 08:15,E1\0" "30,7\n"
	    "3,2026-10-01 08:15,E130,\0\n4,2026-10-01 08:15,E130,7\n";
	static const char plain[] = "\"account\",time,event,zone\r\n1,2026-10-01 08:15,E130,7\r\n";
	char wide[2 * sizeof plain];

	(void)state;
	reads(H "1,2026-10-01 08:15,E130,7,,\xe4\n2,2026-10-01 08:15,E130,7,,\xc3\xa4\n"
	    "3,2026-10-01 08:15,E130,7,,\xfc\n",
	    "2 1|" T "|E130|7||\xc3\xa4\n3 2|" T "|E130|7||\xc3\xa4\n4 3|" T "|E130|7||\xc3\xbc\n"
	    "note: read as Windows-1252, not being UTF-8: 2, first line 2\n");
	reads_bytes(nul, sizeof nul - 1, ROW("2", "1") "3!zero byte in the row\n"
	    "4!zero byte in the row\n" ROW("5", "4"));
	/* a mark in front of a quoted header; UTF-16 in both orders without a mark */
	reads("\xef\xbb\xbf\"account\",\"time\",\"event\",\"zone\"\n1,2026-10-01 08:15,E130,7\n", ROW("2", "1"));
	for (size_t big = 0; big < 2; big++) {
		memset(wide, 0, sizeof wide);
		for (size_t i = 0; i < sizeof plain - 1; i++)
			wide[2 * i + big] = plain[i];
		reads_bytes(wide, 2 * (sizeof plain - 1), ROW("2", "1"));
	}
	reads("", "error: test.csv: is empty\n");
	reads("\n\n", "error: test.csv: is empty\n");
}

static void
spreadsheet_marks(void **state)
{
	(void)state;
	reads(H "=\"0012\",2026-10-01 08:15,E130,'07,=\"01\",'00A1\n"
	    "\"=\"\"0012\"\"\",2026-10-01 08:15,E130,7,1,\"=\"\"00A1\"\"\"\n",
	    "2 0012|" T "|E130|07|01|00A1\n3 0012|" T "|E130|7|1|00A1\n"
	    "note: cells read without the marks of a spreadsheet (=\"0012\", '0012): 6,"
	    " first line 2\n");
	/* what only looks so */
	reads(H "=0012,2026-10-01 08:15,E130,=\"7,\"=\"\"\",'\n",
	    "2 =0012|" T "|E130|=\"7|=\"|'\n"
	    "note: cells read without the marks of a spreadsheet (=\"0012\", '0012): 4,"
	    " first line 2\n");
	/* our own export of what a spreadsheet would run: '= is =, in any text */
	reads("account,time,event,zone,serial,text\n'-1,2026-10-01 08:15,E130,7,'=\"001\",'=1+1\n",
	    "2 -1|" T "|E130|7||001\n"
	    "note: cells read without the marks of a spreadsheet (=\"0012\", '0012): 2,"
	    " first line 2\n");
	/* powers of ten */
	reads(H "1,2026-10-01 08:15,E130,7,,1.23457E+11\n1.2E+05,2026-10-01 08:15,E130,7\n"
	    "12E4,2026-10-01 08:15,E130,7,,12E4\n",
	    "2 1|" T "|E130|7||1.23457E+11\n3!account in powers of ten has lost its digits\n"
	    "4 12E4|" T "|E130|7||12E4\n"
	    "note: serials in powers of ten, which have lost digits: 1, first line 2\n");
}

static void
messages(void **state)
{
	(void)state;
	/* ANSI/SIA DC-05 appendix A, from public texts */
	reads(H "1234,2026-10-01 08:15,1234 18 1131 01 015 8,,,A1\n"
	    "1234,2026-10-01 08:15,1234183131010156,15,1\n"
	    ",2026-10-01 08:15,1234 18 1401 02 003 5\n"
	    "1234,2026-10-01 08:15,1234 18 3401 03 005 F,Hall,House\n"
	    "1234,2026-10-01 08:15,18 1131 01 015\n"
	    "1234,2026-10-01 08:15,E131 01 015\n"
	    "42,2026-10-01 08:15,0042 18 1384 02 000 C\n"
	    "00042,2026-10-01 08:15,0042 18 1384 02 000 C\n"
	    "b00c,2026-10-01 08:15,B00C 18 1130 01 007 F\n"
	    "1,2026-10-01 08:15,E 130,7\n1,2026-10-01 08:15,e-130,7\n",
	    "2 1234|" T "|E131|015|01|A1\n3 1234|" T "|R131|15|1|\n4 1234|" T "|E401|003|02|\n"
	    "5 1234|" T "|R401|Hall|House|\n6 1234|" T "|E131|015|01|\n7 1234|" T "|E131|015|01|\n"
	    "8 42|" T "|E384|000|02|\n9 00042|" T "|E384|000|02|\n10 b00c|" T "|E130|007|01|\n"
	    "11 1|" T "|E 130|7||\n12 1|" T "|e-130|7||\n");
	reads(H "1234,2026-10-01 08:15,1234 18 1131 01 015 7\n"
	    "1235,2026-10-01 08:15,1234 18 1131 01 015 8\n"
	    "12340,2026-10-01 08:15,1234 18 1131 01 015 8\n"
	    "1234,2026-10-01 08:15,1234 18 1131 01 015 8,16\n"
	    "1234,2026-10-01 08:15,1234 18 1131 01 015 8,,2\n"
	    "1234,2026-10-01 08:15,1234 18 1131 01 015\n",
	    "2!check digit of the DC-05 message is wrong\n"
	    "3!account differs from that of the DC-05 message\n"
	    "4!account differs from that of the DC-05 message\n"
	    "5!zone differs from that of the DC-05 message\n"
	    "6!partition differs from that of the DC-05 message\n"
	    "7!DC-05 message without its check digit\n");
}

#define ON(d) "1," d " 8:15,E130,7\n"
static const char untold[] = "error: test.csv: day and month cannot be told apart: no date in it"
    " has a day above 12; a wordings file can say which stands first, or write YYYY-MM-DD\n";

static void
date_order(void **state)
{
	(void)state;
	reads(H ON("1.10.2026") ON("25.10.2026") ON("10/25/2026") ON("31.4.2026"),
	    "error: test.csv: some of its dates can only be day first, others only month first; a"
	    " wordings file can say which is meant\n");
	reads(H ON("1.10.2026") ON("31.10.2026") ON("2026-10-01") ON("31.4.2026"),
	    "2 1|2026-10-01T08:15:00Z|E130|7||\n3 1|2026-10-31T08:15:00Z|E130|7||\n"
	    "4 1|2026-10-01T08:15:00Z|E130|7||\n5!no such date\n"
	    "note: dates are read day first, as line 3 proves\n");
	reads(H "1,10/1/2026 8:15:00 PM,E130,7\n1,10/25/26 12:15 AM,E130,7\n",
	    "2 1|2026-10-01T20:15:00Z|E130|7||\n3 1|2026-10-25T00:15:00Z|E130|7||\n"
	    "note: dates are read month first, as line 3 proves\n");
	reads(H ON("1/10/2026") ON("2/10/2026"), untold);
	reads(H ON("10/10/2026") ON("11/11/2026"),
	    "2 1|2026-10-10T08:15:00Z|E130|7||\n3 1|2026-11-11T08:15:00Z|E130|7||\n");
	/* a few among others: set aside, the file is read */
	reads(H ON("2026-10-01") ON("1/10/2026"), ROW("2", "1")
	    "3!day and month cannot be told apart; write YYYY-MM-DD HH:MM:SS\n");
	/* `received` proves it for `time` too */
	reads("account,time,event,received\n1,1.10.2026 8:15,E130,31.10.2026 8:15\n",
	    "2 1|" T "|E130|||\nnote: dates are read day first, as line 2 proves\n");
	reads("account,device,zone,installed\n1,contact,7,1/2/2026\n", untold);
	reads("account,device,zone,installed\n1,contact,7,13/2/2026\n1,contact,8,1/2/2026\n",
	    "2 1|||7||\n3 1|||8||\nnote: dates are read day first, as line 2 proves\n");
	reads(H "1,26/10/25 8:15,E130,7\n1,26/10/26 8:15,E130,7\n", "error: test.csv: the two-digit"
	    " year seems to stand first in its dates; write YYYY-MM-DD\n");
	/* epoch and zone names */
	reads(H "1,1790842500,E130,7\n1,1790842500000,E130,7\n1,2026-10-01 08:15 CET,E130,7\n",
	    ROW("2", "1") ROW("3", "1")
	    "4!the short name of a time zone means several zones; write an offset such as +02:00\n");
}

/* The row that proves the order stands behind the head; then near its end; or nowhere. From
 * memory, from a file, and from a pipe. */
static void
order_far_away(void **state)
{
	enum { ROWS = 30000 };
	size_t cap = 64 * ROWS, n;
	char *text = malloc(cap), path[] = "/tmp/exports-test-XXXXXX";
	int saved = dup(STDIN_FILENO), fd = mkstemp(path);

	(void)state;
	for (int proof = 0; proof < 3; proof++) {
		n = (size_t)snprintf(text, cap, "title\n" H);
		for (int i = 0; i < ROWS; i++)
			n += (size_t)snprintf(text + n, cap - n, "%d,%s/2026 8:15,E130,7\n", i,
			    proof < 2 && i == (proof ? ROWS - 1 : 20000) ? "31/10" : "1/10");
		assert_int_equal(ftruncate(fd, 0), 0);
		assert_int_equal(pwrite(fd, text, n, 0), (ssize_t)n);
		for (int from = 0; from < 3; from++) {
			struct reader *r;
			struct row row;
			struct err e = { 0 };
			enum read_result got = READ_ERR;
			int rows = 0, ends[2];

			if (from == 2) {
				assert_int_equal(pipe(ends), 0);
				if (fork() == 0) {
					dup2(ends[1], STDOUT_FILENO);
					close(ends[0]);
					close(ends[1]);
					execlp("cat", "cat", path, (char *)NULL);
					_exit(1);
				}
				dup2(ends[0], STDIN_FILENO);
				close(ends[0]);
				close(ends[1]);
			}
			r = from ? reader_open(from == 1 ? path : "-", NULL, &e) :
			    reader_memory("test.csv", text, n, NULL, &e);
			if (proof == 2) {
				assert_null(r);
				assert_non_null(strstr(e.text, ": day and month cannot be told apart"));
				continue;
			}
			if (!r)
				print_error("%s\n", e.text);
			assert_non_null(r);
			while ((got = reader_next(r, &row, &e)) == READ_ROW) {
				assert_int_equal(row.line, rows + 3);
				assert_int_equal(row.time.wall % (86400 * 30), row.time.wall % (86400 * 30));
				assert_int_equal(row.time.wall,
				    1790842500 + (rows == (proof ? ROWS - 1 : 20000) ? 30 * 86400 : 0));
				rows++;
			}
			assert_int_equal(got, READ_END);
			assert_int_equal(rows, ROWS);
			assert_int_equal(reader_info(r)->size, n);
			assert_non_null(strstr(reader_note(r), proof ? "as line 30002 proves" :
			    "as line 20003 proves"));
			reader_close(r);
		}
	}
	dup2(saved, STDIN_FILENO);
	close(saved);
	close(fd);
	unlink(path);
	free(text);
}

/* A file that contradicts its head, behind it: just those rows are set aside. */
static void
order_contradicted(void **state)
{
	enum { ROWS = 20000 };
	size_t cap = 64 * ROWS, n;
	char *text = malloc(cap);
	struct err e = { 0 };
	struct reader *r;
	struct row row;

	(void)state;
	n = (size_t)snprintf(text, cap, H);
	for (int i = 0; i < ROWS; i++)
		n += (size_t)snprintf(text + n, cap - n, "%d,%s/2026 8:15,E130,7\n", i,
		    i == 5 ? "31/10" : i == ROWS - 3 ? "10/31" : "1/10");
	r = reader_memory("test.csv", text, n, NULL, &e);
	assert_non_null(r);
	for (int i = 0; i < ROWS; i++) {
		assert_int_equal(reader_next(r, &row, &e), i == ROWS - 3 ? READ_ASIDE : READ_ROW);
		if (row.reason)
			assert_string_equal(row.reason,
			    "day and month stand the other way round than in the rest of the file");
	}
	assert_int_equal(reader_next(r, &row, &e), READ_END);
	reader_close(r);
	free(text);
}

static void
directions(void **state)
{
	(void)state;
	reads(H ON("2026-10-03") ON("2026-10-02"), "2 1|2026-10-03T08:15:00Z|E130|7||\n"
	    "3 1|2026-10-02T08:15:00Z|E130|7||\nnote: stands newest first\n");
	/* day first decides the direction too */
	reads(H ON("2/11/2026") ON("31/10/2026"), "2 1|2026-11-02T08:15:00Z|E130|7||\n"
	    "3 1|2026-10-31T08:15:00Z|E130|7||\n"
	    "note: dates are read day first, as line 3 proves; stands newest first\n");
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(separator_line),
		cmocka_unit_test(separators),
		cmocka_unit_test(title_lines),
		cmocka_unit_test(joined_files),
		cmocka_unit_test(footers),
		cmocka_unit_test(ragged),
		cmocka_unit_test(line_ends),
		cmocka_unit_test(encodings),
		cmocka_unit_test(spreadsheet_marks),
		cmocka_unit_test(messages),
		cmocka_unit_test(date_order),
		cmocka_unit_test(order_far_away),
		cmocka_unit_test(order_contradicted),
		cmocka_unit_test(directions),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
