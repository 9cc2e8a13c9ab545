/* parsers/reader: from a whole file to checked rows. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "daemon/base/arena.h"
#include "daemon/base/civil.h"
#include "parsers/reader.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))
#define AT(h, m, s) (INT64_C(1790812800) + (h) * 3600 + (m) * 60 + (s))	/* 2026-10-01 */

static struct reader *
on_text(const char *text)
{
	struct err e = { 0 };
	struct reader *r = reader_memory("test.csv", text, strlen(text), NULL, &e);

	if (!r)
		print_error("%s\n%s\n", e.text, text);
	assert_non_null(r);
	return r;
}

/* The only row of a file with this header and line. */
static enum read_result
one(struct reader **r, const char *header, const char *line, struct row *row)
{
	char text[2000];
	struct err e;
	enum read_result got;

	snprintf(text, sizeof text, "%s\n%s\n", header, line);
	*r = on_text(text);
	got = reader_next(*r, row, &e);
	assert_true(got == READ_ROW || got == READ_ASIDE);
	if (got == READ_ASIDE)
		assert_true(span_eq(row->raw, span_of(line)));
	return got;
}

static void
is_aside(const char *header, const char *line, const char *reason)
{
	struct reader *r;
	struct row row;

	if (one(&r, header, line, &row) != READ_ASIDE || strcmp(row.reason, reason) != 0)
		print_error("%s\n%s\n", line, row.reason ? row.reason : "(taken)");
	assert_non_null(row.reason);
	assert_string_equal(row.reason, reason);
	reader_close(r);
}

static void
is_taken(const char *header, const char *line)
{
	struct reader *r;
	struct row row;

	if (one(&r, header, line, &row) != READ_ROW)
		print_error("%s\n%s\n", line, row.reason);
	assert_null(row.reason);
	reader_close(r);
}

static void
kinds(void **state)
{
	static const struct { const char *header; enum file_kind kind; char sep; const char *ignored; }
	cases[] = {
		{ "account,time,event", FILE_EVENTS, ',', "" },
		{ "Event;TIME;Account;zone", FILE_EVENTS, ';', "" },
		{ "account\ttime\tevent\ttext", FILE_EVENTS, '\t', "" },
		{ "account,time,event,what", FILE_EVENTS, ',', "what" },
		{ " account , \"time\" ,event,,Site Name,x;y", FILE_EVENTS, ',', "Site Name, x;y" },
		{ "account;time;event;a,b,c,d,e", FILE_EVENTS, ';', "a,b,c,d,e" },
		{ "account,device,zone", FILE_ROSTER, ',', "" },
		{ "account,device,serial,name", FILE_ROSTER, ',', "" },
		{ "account,timezone,group,was,since,name", FILE_SITES, ',', "" },
		{ "account,serial,visit,device,zone", FILE_PLAN, ',', "" },
		{ "account,time,what,who", FILE_SERVICE, ',', "" },
		{ "rule,setting,value,scope,who", FILE_SETTINGS, ',', "" },
		{ "finding;decision;who;until;why", FILE_DECISIONS, ';', "" },
		{ "\"account\",\"time\",\"event\",\"a\"\"b\nc\"", FILE_EVENTS, ',', "a\"b\nc" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct reader *r = on_text(cases[i].header);
		const struct reader_info *info = reader_info(r);
		struct row row;
		struct err e;

		assert_int_equal(info->kind, cases[i].kind);
		assert_int_equal(info->separator, cases[i].sep);
		assert_string_equal(info->ignored, cases[i].ignored);
		assert_true(span_eq(info->header, span_of(cases[i].header)));
		assert_int_equal(info->middle, NO_TIME);
		assert_false(info->newest_first);
		assert_int_equal(reader_next(r, &row, &e), READ_END);
		assert_int_equal(info->size, strlen(cases[i].header));
		reader_close(r);
	}
	for (enum file_kind k = 0; k < FILE_KINDS; k++)
		assert_true(*file_kind_text(k));
	assert_string_equal(file_kind_text(FILE_EVENTS), "events");
	assert_string_equal(column_text(COL_AS_OF), "as_of");
	reader_close(NULL);
}

static void
no_kind(void **state)
{
	static const struct { const char *text, *says; } cases[] = {
		{ "", "test.csv: is empty" },
		{ "\n \n,,\n", "test.csv: is empty" },
		{ "\xef\xbb\xbf", "test.csv: is empty" },
		{ "account,time,zone\n", "nearest is events, which lacks: event" },
		{ "account,zone,text,received\n", "nearest is events, which lacks: time, event" },
		{ "account,device,name\n", "nearest is roster, which lacks: zone or serial" },
		{ "account,serial,order,replaces\n", "nearest is plan, which lacks: visit" },
		{ "rule,value\n", "nearest is settings, which lacks: setting" },
		{ "finding,until\n", "nearest is decisions, which lacks: who, decision" },
		{ "one,two,three\n1,2,3\n", "names no column that is known here" },
		{ "account,time,event,Time\n", "the column \"time\" stands twice" },
		{ "account,\"time,event\n", "the header cannot be read: quote opened here" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct err e = { 0 };
		struct reader *r = reader_memory("test.csv", cases[i].text, strlen(cases[i].text),
		    NULL, &e);

		assert_null(r);
		if (!strstr(e.text, cases[i].says))
			print_error("%s\n", e.text);
		assert_non_null(strstr(e.text, cases[i].says));
		assert_int_equal(e.code, ERR_DATA);
	}
	{
		struct err e = { 0 };

		assert_null(reader_open("/nonexistent.csv", NULL, &e));
		assert_int_equal(e.code, ERR_IO);
		assert_null(reader_memory("test.csv", "account,time,event\0\n", 20, NULL, &e));
		assert_non_null(strstr(e.text, "zero byte"));
	}
}

static void
one_event(void **state)
{
	struct reader *r;
	struct row row;
	struct err e;

	(void)state;
	assert_int_equal(one(&r, "account,time,event,zone,partition,serial,user,text,received,signal,"
	    "receiver,line", " 0042 ,2026-10-01 08:15:30.25,e384,007,1,00-1A 2B,3,\"hall, \"\"east\"\"\","
	    "2026-10-01T06:15:31Z,-71.5 dBm,2,14", &row), READ_ROW);
	assert_int_equal(row.line, 2);
	assert_true(span_eq(row.cell[COL_ACCOUNT], SPAN("0042")));
	assert_true(span_eq(row.cell[COL_ZONE], SPAN("007")));
	assert_true(span_eq(row.cell[COL_SERIAL], SPAN("00-1A 2B")));
	assert_true(span_eq(row.cell[COL_TEXT], SPAN("hall, \"east\"")));
	assert_true(span_eq(row.cell[COL_EVENT], SPAN("e384")));
	assert_true(span_eq(row.cell[COL_LINE], SPAN("14")));
	assert_int_equal(row.cell[COL_WHY].n, 0);
	assert_true(row.has_time && row.has_received && !row.has_until);
	assert_int_equal(row.time.wall, AT(8, 15, 30));
	assert_int_equal(row.time.ms, 250);
	assert_int_equal(row.time.offset, OFFSET_LOCAL);
	assert_int_equal(row.received.wall, AT(6, 15, 31));
	assert_int_equal(row.received.offset, 0);
	assert_int_equal(row.meaning.word, W_LOW_BATTERY);
	assert_int_equal(reader_next(r, &row, &e), READ_END);
	assert_int_equal(reader_next(r, &row, &e), READ_END);
	reader_close(r);
}

static void
events_aside(void **state)
{
	static const char h[] = "account,time,event,received,signal,serial,text";
	static const struct { const char *line, *reason; } cases[] = {
		{ ",2026-10-01 08:00:00,E130", "no account" },
		{ "42,,E130", "no time" },
		{ "42", "no time" },
		{ "42,2026-10-01 08:00:00", "no event" },
		{ "42,2026-10-01 08:00:00, ,,,,x", "no event" },
		{ "42,2026-02-29 08:00:00,E130", "no such date" },
		{ "42,2026-10-01 25:00:00,E130", "no such time of day" },
		{ "42,2026-10-01,E130", "a date without a time of day" },
		{ "42,yesterday,E130", "time not readable; write YYYY-MM-DD HH:MM:SS" },
		{ "42,2026-10-01 08:00:00,130",
		  "ambiguous: a code without its qualifier; write E130 or R130, not 130" },
		{ "42,2026-10-01 08:00:00,Open",
		  "ambiguous: a door, or arming? write zone-open or disarm, zone-close or arm" },
		{ "42,2026-10-01 08:00:00,burglar!", "event not recognised" },
		{ "42,2026-10-01 08:00:00,a rather long event cell of an unknown kind",
		  "event not recognised" },
		{ "42,2026-10-01 08:00:00,E130,soon", "received is not readable as a time" },
		{ "42,2026-10-01 08:00:00,E130,2026-02-30 08:00:00",
		  "received is not readable as a time" },
		{ "42,2026-10-01 08:00:00,E130,,71", "signal needs a number with dBm, % or bars" },
		{ "42,2026-10-01 08:00:00,E130,,dBm", "signal needs a number with dBm, % or bars" },
		{ "42,2026-10-01 08:00:00,E130,,3 stars", "signal needs a number with dBm, % or bars" },
		{ "42,2026-10-01 08:00:00,E130,,-7x dBm", "signal needs a number with dBm, % or bars" },
		{ "42,2026-10-01 08:00:00,E130,,,,x,y", "more cells than the header has columns" },
		{ "42,2026-10-01 08:00:00,E130,,,,x,,y", "more cells than the header has columns" },
		{ "42,2026-10-01 08:00:00,\"E130", "quote opened here is never closed" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++)
		is_aside(h, cases[i].line, cases[i].reason);
	is_taken(h, "42,2026-10-01 08:00:00,E130");
	is_taken(h, "42,2026-10-01 08:00:00,E130,,,,x,,,");
	is_taken(h, "42,2026-10-01 08:00:00,E130,,,1.23457E+11,x");
	is_taken(h, "42,2026-10-01 08:00:00,E130,,-71dbm,,");
	is_taken(h, "42,2026-10-01 08:00:00,E130,,85 %,,");
	is_taken(h, "42,2026-10-01 08:00:00,E130,,3 Bars,,");
	is_taken(h, "42,2026-10-01 08:00:00,E199");
	is_taken(h, "42,2026-10-01 08:00:00,\"E130\"");
}

static void
roster(void **state)
{
	static const char h[] = "account,device,zone,serial,name,partition,cell,cells,installed,"
	    "checkin,as_of";
	struct reader *r;
	struct row row;

	(void)state;
	assert_int_equal(one(&r, h, "42,Smoke,7,1A2B,hall,1,CR123A,2,2024-05-01,90m,"
	    "2026-10-01 08:00", &row), READ_ROW);
	assert_int_equal(row.kind, KIND_SMOKE);
	assert_int_equal(row.cells, 2);
	assert_int_equal(row.checkin, 90 * MINUTE);
	assert_true(row.has_installed && row.has_as_of);
	assert_int_equal(row.installed.wall, 1714521600);
	assert_int_equal(row.as_of.wall, AT(8, 0, 0));
	reader_close(r);
	assert_int_equal(one(&r, h, "42,contact,7", &row), READ_ROW);
	assert_false(row.has_installed || row.has_as_of);
	assert_int_equal(row.checkin, 0);
	assert_int_equal(row.cells, 0);
	reader_close(r);
	is_taken(h, "42,contact,,1A2B");
	is_taken(h, "42,contact,7,,,,,99,,1s,2026-10-01");
	is_aside(h, ",contact,7", "no account");
	is_aside(h, "42,,7", "no device kind");
	is_aside(h, "42,door,7", "device kind not recognised");
	is_aside(h, "42,unknown,7", "device kind not recognised");
	is_aside(h, "42,contact", "no zone and no serial");
	is_aside(h, "42,contact,7,,,,,0", "cells is not a number from 1 to 99");
	is_aside(h, "42,contact,7,,,,,100", "cells is not a number from 1 to 99");
	is_aside(h, "42,contact,7,,,,,two", "cells is not a number from 1 to 99");
	is_aside(h, "42,contact,7,,,,,,2026-13-01", "installed is not readable as a date");
	is_aside(h, "42,contact,7,,,,,,,90", "checkin is not an interval such as 200s, 90m, 12h");
	is_aside(h, "42,contact,7,,,,,,,0m", "checkin is not an interval such as 200s, 90m, 12h");
	is_aside(h, "42,contact,7,,,,,,,,May", "as_of is not readable as a date or time");
}

static void
sites_and_service(void **state)
{
	static const char s[] = "account,timezone,name,group,was,since";
	static const char v[] = "account,time,what,zone,serial,who";
	struct reader *r;
	struct row row;

	(void)state;
	assert_int_equal(one(&r, s, "42,Europe/Vienna,Mill,north,41,2026-10-01", &row), READ_ROW);
	assert_true(row.has_since);
	assert_int_equal(row.since.wall, AT(0, 0, 0));
	assert_true(span_eq(row.cell[COL_WAS], SPAN("41")));
	reader_close(r);
	is_taken(s, "42,Nowhere/Such");		/* the store knows the zones, not the reader */
	is_aside(s, ",Europe/Vienna", "no account");
	is_aside(s, "42,,Mill", "no timezone");
	is_aside(s, "42,UTC,,,,soon", "since is not readable as a date or time");

	assert_int_equal(one(&r, v, "42,2026-10-01 08:00,cell replaced,7,,fk", &row), READ_ROW);
	assert_true(row.has_time);
	assert_int_equal(row.time.precision, PREC_MINUTE);
	reader_close(r);
	is_aside(v, ",2026-10-01 08:00,x", "no account");
	is_aside(v, "42,,x", "no time");
	is_aside(v, "42,2026-10-01 08:00,", "not said what was done");
}

static void
plan(void **state)
{
	static const char h[] = "account,serial,visit,zone,device,order,replaces";
	static const struct { const char *visit; int64_t from, to; int16_t offset; } visits[] = {
		{ "2026-10-01", AT(0, 0, 0), AT(24, 0, 0), OFFSET_LOCAL },
		{ "2026-10-01 09:30", AT(9, 30, 0), AT(9, 30, 0), OFFSET_LOCAL },
		{ "2026-10-01 09:30/2026-10-01 11:00", AT(9, 30, 0), AT(11, 0, 0), OFFSET_LOCAL },
		{ "2026-10-01/2026-10-02", AT(0, 0, 0), AT(48, 0, 0), OFFSET_LOCAL },
		{ "2026-10-01 / 2026-10-01", AT(0, 0, 0), AT(24, 0, 0), OFFSET_LOCAL },
		{ "2026-10-01 22:00/2026-10-02", AT(22, 0, 0), AT(48, 0, 0), OFFSET_LOCAL },
		{ "2026-10-01T09:30:00Z/2026-10-01T09:30:00Z", AT(9, 30, 0), AT(9, 30, 0), 0 },
	};
	char line[100];
	struct reader *r;
	struct row row;

	(void)state;
	for (size_t i = 0; i < COUNT(visits); i++) {
		snprintf(line, sizeof line, "42,1A2B,%s,7,heat,3,0F00", visits[i].visit);
		assert_int_equal(one(&r, h, line, &row), READ_ROW);
		assert_true(row.has_visit);
		assert_int_equal(row.visit_from.wall, visits[i].from);
		assert_int_equal(row.visit_to.wall, visits[i].to);
		assert_int_equal(row.visit_from.offset, visits[i].offset);
		assert_int_equal(row.kind, KIND_HEAT);
		assert_int_equal(row.order, 3);
		reader_close(r);
	}
	is_taken(h, "42,1A2B,2026-10-01");
	is_aside(h, ",1A2B,2026-10-01", "no account");
	is_aside(h, "42,,2026-10-01", "no serial");
	is_aside(h, "42,1A2B,", "no visit");
	is_aside(h, "42,1A2B,tomorrow", "visit is not a date, a time or from/to");
	is_aside(h, "42,1A2B,/2026-10-01", "visit is not a date, a time or from/to");
	is_aside(h, "42,1A2B,2026-10-01/", "visit is not a date, a time or from/to");
	is_aside(h, "42,1A2B,13/13/2026", "visit is not a date, a time or from/to");
	is_taken(h, "42,1A2B,25/10/2026 8:00/25/10/2026 9:00");
	is_aside(h, "42,1A2B,25/10/2026/24/10/2026", "visit ends before it begins");
	is_aside(h, "42,1A2B,25/10/2026/", "visit is not a date, a time or from/to");
	is_aside(h, "42,1A2B,25/10/2026/25/2026", "visit is not a date, a time or from/to");
	is_aside(h, "42,1A2B,2026-10-02/2026-09-30", "visit ends before it begins");
	is_aside(h, "42,1A2B,2026-10-02/2026-10-01", "visit ends before it begins");
	is_aside(h, "42,1A2B,2026-10-02 00:00/2026-10-01", "visit ends before it begins");
	is_taken(h, "42,1A2B,2026-10-01 23:59/2026-10-01");
	is_aside(h, "42,1A2B,2026-10-01 09:30/2026-10-01 09:29", "visit ends before it begins");
	/* one instant, though the walls run backwards */
	is_taken(h, "42,1A2B,2026-10-01T09:30:00+02:00/2026-10-01T08:00:00Z");
	is_aside(h, "42,1A2B,2026-10-01T09:30:00+02:00/2026-10-01T07:00:00Z",
	    "visit ends before it begins");
	is_aside(h, "42,1A2B,2026-10-01,,door", "device kind not recognised");
	is_aside(h, "42,1A2B,2026-10-01,,,0", "order is not a number from 1 to 1000000");
	is_taken(h, "42,1A2B,2026-10-01,,,1000000");
	is_aside(h, "42,1A2B,2026-10-01,,,1000001", "order is not a number from 1 to 1000000");
}

static void
settings_and_decisions(void **state)
{
	static const char s[] = "rule,setting,value,scope,who";
	static const char d[] = "finding,decision,who,until,why";
	struct reader *r;
	struct row row;

	(void)state;
	assert_int_equal(one(&r, s, "chatter,gap,60s,device=contact,fk", &row), READ_ROW);
	assert_true(span_eq(row.cell[COL_VALUE], SPAN("60s")));
	assert_true(span_eq(row.cell[COL_SCOPE], SPAN("device=contact")));
	reader_close(r);
	is_aside(s, ",gap,60s", "no rule");
	is_aside(s, "chatter,,60s", "no setting");
	is_aside(s, "chatter,gap,", "no value");

	assert_int_equal(one(&r, d, "F1,Planned,fk,2026-10-01 12:00,cell ordered", &row), READ_ROW);
	assert_true(row.has_until);
	assert_int_equal(row.until.wall, AT(12, 0, 0));
	reader_close(r);
	is_taken(d, "F1,seen,fk");
	is_taken(d, "F1,expected,fk,2026-10-01");
	is_aside(d, ",seen,fk", "no finding");
	is_aside(d, "F1,,fk", "no decision");
	is_aside(d, "F1,seen,", "not said who decided");
	is_aside(d, "F1,ignored,fk", "decision is not one of seen, planned, expected");
	is_aside(d, "F1,planned,fk", "planned and expected need until");
	is_aside(d, "F1,expected,fk,", "planned and expected need until");
	is_aside(d, "F1,seen,fk,soon", "until is not readable as a date or time");
}

static void
surveys(void **state)
{
	static const struct { const char *text; bool newest_first; int64_t middle; } cases[] = {
		{ "account,time,event\n1,2026-10-01 08:00:00,E130\n", false, AT(8, 0, 0) },
		{ "account,time,event\n1,2026-10-01 08:00:00,E130\n1,2026-10-01 08:00:00,E130\n",
		  false, AT(8, 0, 0) },
		{ "account,time,event\n1,2026-10-01 08:00:02,E130\n1,2026-10-01 08:00:01,E130\n"
		  "1,x,E130\n1,2026-10-01 08:00:00,E130\n", true, AT(8, 0, 1) },
		{ "account,time,event\n1,2026-10-01 08:00:02,E130\n1,2026-10-01 08:00:01,E130\n"
		  "1,2026-10-01 08:00:05,E130\n1,2026-10-01 08:00:06,E130\n", false, AT(8, 0, 5) },
		/* received decides, where it is there */
		{ "account,time,event,received\n"
		  "1,2026-10-01 08:00:02,E130,2026-10-01 08:00:03\n"
		  "1,2026-10-01 08:00:01,E130,2026-10-01 08:00:04\n", false, AT(8, 0, 2) },
		{ "account,time,event,received\n1,2026-10-01 08:00:02,E130,\n"
		  "1,2026-10-01 08:00:01,E130,\n", true, AT(8, 0, 2) },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct reader *r = on_text(cases[i].text);

		assert_int_equal(reader_info(r)->newest_first, cases[i].newest_first);
		assert_int_equal(reader_info(r)->middle, cases[i].middle);
		reader_close(r);
	}
}

/* A file of everything: the same rows at every read size, with every record coming
 * out once. */
static void
every_read_size(void **state)
{
	static const char text[] =
	    "\xef\xbb\xbf" "Account;Time;Event;Text;odd\r\n"
	    "42;2026-10-01 08:00:00;E130;\"two\r\nlines; \"\"quoted\"\"\";x\r\n"
	    "\r\n"
	    "42;2026-10-01 08:00:01;130;caf\xe9;\r\n"
	    "42;2026-10-01 08:00:02;R130;\"lost\r\n"
	    "43;2026-10-01 08:00:03;zone-open\r\n"
	    ";;;;\r\n"
	    "44;2026-10-01 08:00:04;BA;;;;more\r\n"
	    "45;2026-10-01 08:00:05;fire-alarm;\xc3\xa9;";
	static const char want[] =
	    "2 42 E130 two\r\nlines; \"quoted\"|\n"
	    "5!ambiguous: a code without its qualifier; write E130 or R130, not 130"
	    "|42;2026-10-01 08:00:01;130;caf\xc3\xa9;\n"
	    "6!quote opened here is never closed|42;2026-10-01 08:00:02;R130;\"lost\n"
	    "7 43 zone-open |\n"
	    "9!more cells than the header has columns|44;2026-10-01 08:00:04;BA;;;;more\n"
	    "10 45 fire-alarm \xc3\xa9|\n";
	struct arena a = { 0 };

	(void)state;
	for (size_t step = 1; step <= sizeof text; step++) {
		struct reader_options o = { .read_size = step };
		struct err e;
		struct reader *r = reader_memory("test.csv", text, sizeof text - 1, &o, &e);
		char *out = arena_fmt(&a, "%s", "");
		struct row row;
		enum read_result got;
		uint64_t done, whole;

		assert_non_null(r);
		while ((got = reader_next(r, &row, &e)) > 0) {
			if (got == READ_ASIDE)
				out = arena_fmt(&a, "%s%llu!%s|%.*s\n", out,
				    (unsigned long long)row.line, row.reason, (int)row.raw.n,
				    row.raw.p);
			else
				out = arena_fmt(&a, "%s%llu %.*s %.*s %.*s|\n", out,
				    (unsigned long long)row.line, (int)row.cell[COL_ACCOUNT].n,
				    row.cell[COL_ACCOUNT].p, (int)row.cell[COL_EVENT].n,
				    row.cell[COL_EVENT].p, (int)row.cell[COL_TEXT].n,
				    row.cell[COL_TEXT].n ? row.cell[COL_TEXT].p : "");
		}
		assert_int_equal(got, READ_END);
		assert_string_equal(out, want);
		assert_string_equal(reader_info(r)->ignored, "odd");
		assert_int_equal(reader_info(r)->size, sizeof text - 1);
		reader_progress(r, &done, &whole);
		assert_int_equal(done, sizeof text - 1);
		assert_int_equal(whole, sizeof text - 1);
		reader_close(r);
		arena_reset(&a);
	}
	arena_release(&a);
}

static void
cr_and_utf16(void **state)
{
	static const char cr[] = "account,time,event,text\r1,2026-10-01 08:00:00,E130,\"a\rb\"\r"
	    "2,2026-10-01 08:00:00,E130,c";
	static const char ascii[] = "account\ttime\tevent\r\n1\t2026-10-01 08:00:00\tE130\r\n";
	unsigned char wide[2 * sizeof ascii + 2] = { 0xff, 0xfe };
	struct row row;
	struct err e;
	struct reader *r = on_text(cr);

	(void)state;
	assert_int_equal(reader_next(r, &row, &e), READ_ROW);
	assert_int_equal(row.line, 2);
	assert_true(span_eq(row.cell[COL_TEXT], SPAN("a\rb")));
	assert_int_equal(reader_next(r, &row, &e), READ_ROW);
	assert_int_equal(row.line, 4);
	assert_int_equal(reader_next(r, &row, &e), READ_END);
	reader_close(r);

	for (size_t i = 0; ascii[i]; i++)
		wide[2 + i * 2] = (unsigned char)ascii[i];
	r = reader_memory("test.csv", wide, 2 * strlen(ascii) + 2, NULL, &e);
	assert_non_null(r);
	assert_int_equal(reader_info(r)->separator, '\t');
	assert_int_equal(reader_next(r, &row, &e), READ_ROW);
	assert_int_equal(row.time.wall, AT(8, 0, 0));
	assert_int_equal(reader_next(r, &row, &e), READ_END);
	reader_close(r);
}

/* Header and raw record together are a file again; and their cells come by name. */
static void
mended(void **state)
{
	static const char text[] = "account,time,event,text,odd\n"
	    "42,2026-10-01 08:00:00,130,\"a \"\"b\"\", \nc\",x\n";
	static const struct { const char *header, *raw; char sep; bool ok; } odd[] = {
		{ "account,time", "1", ',', true }, { "account,time", "1,2,3,4", ',', true },
		{ "account;time", "1;\"2", ';', false }, { "account;time", "", ';', false },
		{ "", "1", ',', false }, { "account", "1\n2", ',', false },
		{ "account", "\"1\"x", ',', false },
	};
	struct reader *r = on_text(text);
	struct span cell[COL_COUNT];
	struct arena a = { 0 };
	struct row row;
	struct err e;
	char *again;

	(void)state;
	assert_int_equal(reader_next(r, &row, &e), READ_ASIDE);
	assert_true(reader_cells(&a, reader_info(r)->header, ',', row.raw, cell));
	assert_true(span_eq(cell[COL_EVENT], SPAN("130")));
	assert_true(span_eq(cell[COL_TEXT], SPAN("a \"b\", \nc")));
	assert_int_equal(cell[COL_ZONE].n, 0);
	again = arena_fmt(&a, "%.*s\n%.*s\n", (int)reader_info(r)->header.n,
	    reader_info(r)->header.p, (int)row.raw.n, row.raw.p);
	reader_close(r);
	memcpy(strstr(again, "130"), "E13", 3);
	r = on_text(again);
	assert_int_equal(reader_next(r, &row, &e), READ_ASIDE);
	reader_close(r);
	memcpy(strstr(again, "E13"), "BA ", 3);
	r = on_text(again);
	assert_int_equal(reader_next(r, &row, &e), READ_ROW);
	assert_int_equal(row.meaning.word, W_BURGLARY_ALARM);
	reader_close(r);

	for (size_t i = 0; i < COUNT(odd); i++)
		assert_int_equal(reader_cells(&a, span_of(odd[i].header), odd[i].sep,
		    span_of(odd[i].raw), cell), odd[i].ok);
	arena_release(&a);
}

/* More distinct event cells than are remembered; and the answers stay right. */
static void
many_events(void **state)
{
	size_t cap = 4 * 1024 * 1024, n = 0, table_n;
	const struct code_row *table = code_table_dc05(&table_n);
	char *text = malloc(cap);
	struct reader *r;
	struct row row;
	struct err e;
	enum read_result got;

	(void)state;
	n += (size_t)snprintf(text, cap, "account,time,event\n");
	for (int round = 0; round < 3; round++) {
		for (size_t i = 0; i < table_n; i++)
			n += (size_t)snprintf(text + n, cap - n,
			    "%zu,2026-10-01 08:00:00,%c%s\n", i, "ERP"[round], table[i].code);
		for (size_t i = 0; i < 3000; i++)
			n += (size_t)snprintf(text + n, cap - n,
			    "%zu,2026-10-01 08:00:00,no%zu\n", i, i);
	}
	r = on_text(text);
	while ((got = reader_next(r, &row, &e)) > 0) {
		struct meaning m = { 0 };
		const char *why = code_meaning(got == READ_ROW ? row.cell[COL_EVENT] :
		    SPAN("no0"), &m);

		if (got == READ_ROW) {
			assert_null(why);
			assert_int_equal(row.meaning.word, m.word);
			assert_int_equal(row.meaning.still, m.still);
			assert_int_equal(row.meaning.life, m.life);
		} else {
			assert_string_equal(row.reason, why);
		}
	}
	assert_int_equal(got, READ_END);
	reader_close(r);
	free(text);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(kinds),
		cmocka_unit_test(no_kind),
		cmocka_unit_test(one_event),
		cmocka_unit_test(events_aside),
		cmocka_unit_test(roster),
		cmocka_unit_test(sites_and_service),
		cmocka_unit_test(plan),
		cmocka_unit_test(settings_and_decisions),
		cmocka_unit_test(surveys),
		cmocka_unit_test(every_read_size),
		cmocka_unit_test(cr_and_utf16),
		cmocka_unit_test(mended),
		cmocka_unit_test(many_events),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
