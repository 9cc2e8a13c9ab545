/* parsers/bytes: gzip members and damage, encodings, fingerprints. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <zlib.h>
#include <cmocka.h>

#include "daemon/base/arena.h"
#include "parsers/bytes.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

/* One gzip member appended to `to`; the number of bytes. */
static size_t
member(unsigned char *to, size_t cap, const void *p, size_t n)
{
	z_stream z = { 0 };
	size_t made;

	assert_int_equal(deflateInit2(&z, 6, Z_DEFLATED, 15 + 16, 8, Z_DEFAULT_STRATEGY), Z_OK);
	z.next_in = (unsigned char *)(uintptr_t)p;
	z.avail_in = (uInt)n;
	z.next_out = to;
	z.avail_out = (uInt)cap;
	assert_int_equal(deflate(&z, Z_FINISH), Z_STREAM_END);
	made = cap - z.avail_out;
	deflateEnd(&z);
	return made;
}

/* All that comes out, or NULL and *e. */
static char *
all(struct bytes *b, size_t cap, size_t *n, struct err *e)
{
	char *out = NULL;
	size_t room = 0;
	ssize_t got;

	*n = 0;
	do {
		out = x_grow(out, &room, *n + cap, 1);
		got = bytes_read(b, out + *n, cap, e);
		if (got > 0)
			*n += (size_t)got;
	} while (got > 0);
	if (got == 0)
		return out;
	free(out);
	return NULL;
}

static void
gives(const void *in, size_t n, const void *want, size_t want_n, bool gzip)
{
	for (size_t step = 1; step <= n + 1 && step < 40; step++) {
		for (size_t cap = 8; cap < 300; cap = cap * 4 + 1) {
			struct err e = { 0 };
			struct bytes *b = bytes_memory("memory", in, n, step, &e);
			size_t got;
			char *out;

			if (!b)
				print_error("%s\n", e.text);
			assert_non_null(b);
			out = all(b, cap, &got, &e);
			if (!out)
				print_error("%s\n", e.text);
			assert_non_null(out);
			assert_int_equal(got, want_n);
			if (want_n)
				assert_memory_equal(out, want, want_n);
			assert_int_equal(bytes_is_gzip(b), gzip);
			assert_int_equal(bytes_size(b), n);
			assert_int_equal(bytes_expected(b), n);
			assert_int_equal(bytes_crc32(b), crc32_z(0, in, n));
			free(out);
			bytes_close(b);
		}
	}
}

/* Fails, at opening or later, with this text in the message. */
static void
fails(const void *in, size_t n, enum err_code code, const char *says)
{
	for (size_t step = 0; step <= n; step = step * 2 + 1) {
		struct err e = { 0 };
		struct bytes *b = bytes_memory("some.csv", in, n, step, &e);
		size_t got;

		if (b)
			assert_null(all(b, 64, &got, &e));
		if (e.code != code || !strstr(e.text, says))
			print_error("reads of %zu: %s\n", step, e.text);
		assert_int_equal(e.code, code);
		assert_non_null(strstr(e.text, says));
		assert_memory_equal(e.text, "some.csv: ", 10);
		bytes_close(b);
	}
}

static void
plain(void **state)
{
	(void)state;
	gives("", 0, "", 0, false);
	gives("a", 1, "a", 1, false);
	gives("\x1f", 1, "\x1f", 1, false);
	gives("\x1f\x8c", 2, "\x1f\x8c", 2, false);
	gives("abcdefgh\n", 9, "abcdefgh\n", 9, false);
	gives("\xef\xbb\xbf" "abc", 6, "abc", 3, false);
	gives("\xef\xbb\xbf", 3, "", 0, false);
	gives("\xef\xbb" "a", 3, "\xef\xbb" "a", 3, false);
	gives("\xff", 1, "\xff", 1, false);
	/* CRC-32 of "123456789": CBF43926, the check value given in catalogues of CRCs */
	{
		struct err e;
		size_t n;
		struct bytes *b = bytes_memory("memory", "123456789", 9, 2, &e);

		free(all(b, 8, &n, &e));
		assert_int_equal(bytes_crc32(b), 0xcbf43926);
		bytes_close(b);
	}
}

static void
gzip_members(void **state)
{
	static const char text[] = "account,time,event\n1,2026-10-01 08:00:00,E130\n";
	const size_t len = sizeof text - 1;
	unsigned char gz[1024];
	size_t n;

	(void)state;
	n = member(gz, sizeof gz, text, len);
	gives(gz, n, text, len, true);
	/* RFC 1952 section 2.2: members one after another; a border inside a row */
	for (size_t cut = 0; cut <= len; cut++) {
		n = member(gz, sizeof gz, text, cut);
		n += member(gz + n, sizeof gz - n, text + cut, len - cut);
		gives(gz, n, text, len, true);
	}
	n = 0;
	for (size_t i = 0; i < 5; i++)
		n += member(gz + n, sizeof gz - n, i == 2 ? text : "", i == 2 ? len : 0);
	gives(gz, n, text, len, true);
	/* zero bytes behind the last member, as a tape or a block device leaves them */
	n = member(gz, sizeof gz, text, len);
	for (size_t zeros = 1; zeros < 8; zeros++) {
		memset(gz + n, 0, zeros);
		gives(gz, n + zeros, text, len, true);
	}
}

static void
gzip_damage(void **state)
{
	static const char text[] = "account,time,event\n1,2026-10-01 08:00:00,E130\n";
	unsigned char gz[512], bad[512];
	size_t n = member(gz, sizeof gz, text, sizeof text - 1), two;

	(void)state;
	for (size_t cut = 2; cut < n; cut++)
		fails(gz, cut, ERR_DATA, "gzip data ends too early (gzip member 1");
	for (size_t at = n - 8; at < n; at++) {
		memcpy(bad, gz, n);
		bad[at] ^= 0x10;
		fails(bad, n, ERR_DATA, at < n - 4 ? "gzip checksum is wrong" :
		    "gzip length is wrong");
	}
	memcpy(bad, gz, n);
	bad[2] = 7;				/* no such method */
	fails(bad, n, ERR_DATA, "gzip data is damaged");
	memcpy(bad, gz, n);
	bad[10] |= 0x06;			/* no such kind of block */
	fails(bad, n, ERR_DATA, "gzip");
	/* the second member */
	memcpy(bad, gz, n);
	two = n + member(bad + n, sizeof bad - n, text, sizeof text - 1);
	for (size_t cut = n + 2; cut < two; cut++)
		fails(bad, cut, ERR_DATA, "gzip data ends too early (gzip member 2");
}

/* Other bytes behind whole members do not spoil these, and are counted. */
static void
gzip_behind(void **state)
{
	static const struct { const char *tail; size_t n; uint64_t behind; } cases[] = {
		{ "", 0, 0 }, { "\0", 1, 0 }, { "x", 1, 1 }, { "garbage", 7, 7 },
		{ "\x1f", 1, 1 }, { "\x1f\x8c", 2, 2 }, { "\0\0\0x", 4, 1 },
		{ "x\0\0", 3, 3 }, { "\0x\x1f\x8b", 4, 3 },
	};
	unsigned char file[512], gz[200];
	size_t n = member(gz, sizeof gz, "some text", 9), got;

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		memcpy(file, gz, n);
		memcpy(file + n, cases[i].tail, cases[i].n);
		gives(file, n + cases[i].n, "some text", 9, true);
		for (size_t step = 1; step < 9; step++) {
			struct err e;
			struct bytes *b = bytes_memory("some.csv", file, n + cases[i].n, step, &e);

			free(all(b, 64, &got, &e));
			assert_int_equal(bytes_behind(b), cases[i].behind);
			bytes_close(b);
		}
	}
	/* a member behind zeros is read; one that only begins is damage */
	memcpy(file, gz, n);
	memset(file + n, 0, 3);
	memcpy(file + n + 3, gz, n);
	gives(file, n + 3 + n, "some textsome text", 18, true);
	memcpy(file + n, "\0\x1f\x8b", 3);
	fails(file, n + 3, ERR_DATA, "gzip data ends too early (gzip member 2");
	memcpy(file + n, "\x1f\x8bgarbage!", 10);
	fails(file, n + 10, ERR_DATA, "gzip data is damaged (gzip member 2");
}

/* Limits just below, at and above, with smaller ones than the program's. */
static void
inflation(void **state)
{
	enum { TEXT = 100000 };
	char *text = calloc(1, TEXT);
	unsigned char gz[1024];
	size_t n, got;
	struct err e;

	(void)state;
	memset(text, 'x', TEXT);
	n = member(gz, sizeof gz, text, TEXT);
	assert_true(TEXT / n > 100);
	for (int i = -1; i <= 1; i++) {
		struct bytes *b = bytes_memory("bomb", gz, n, 0, &e);
		char *out;

		bytes_limit(b, 10, (uint64_t)(TEXT + i));	/* ratio passed: size decides */
		out = all(b, 4096, &got, &e);
		assert_int_equal(out == NULL, i < 0);
		if (!out)
			assert_int_equal(e.code, ERR_LIMIT);
		free(out);
		bytes_close(b);
	}
	for (int i = -1; i <= 1; i++) {
		struct bytes *b = bytes_memory("bomb", gz, n, 0, &e);
		char *out;

		/* size passed: ratio decides */
		bytes_limit(b, (uint64_t)(TEXT / (int)n + i + 1), 0);
		out = all(b, 4096, &got, &e);
		assert_int_equal(out == NULL, i < 0);
		free(out);
		bytes_close(b);
	}
	free(text);
}

static void
utf16(void **state)
{
	static const struct { const char *in; size_t n; const char *out; } cases[] = {
		{ "\xff\xfe" "a\0b\0\n\0", 8, "ab\n" },
		{ "\xfe\xff\0a\0b\0\n", 8, "ab\n" },
		{ "a\0b\0c\0", 6, "abc" },			/* no mark, but zeros */
		{ "\0a\0b\0c", 6, "abc" },
		{ "a\0b\0", 4, "ab" }, { "\0a\0b", 4, "ab" },
		{ "a\0b\0c", 5, "ab\xef\xbf\xbd" },
		{ "\xe9\x16\xe9\x16,\0\xe9\x16", 8, "\xe1\x9b\xa9\xe1\x9b\xa9,\xe1\x9b\xa9" },
		{ "\x16\xe9\0,\x16\xe9\x16\xe9", 8, "\xe1\x9b\xa9,\xe1\x9b\xa9\xe1\x9b\xa9" },
		{ "\xff\xfe", 2, "" },
		{ "\xff\xfe" "a", 3, "\xef\xbf\xbd" },		/* half a unit */
		{ "\xff\xfe\xe9\0\xac\x20", 6, "\xc3\xa9\xe2\x82\xac" },
		{ "\xff\xfe\x3d\xd8\x00\xde", 6, "\xf0\x9f\x98\x80" },	/* U+1F600 */
		{ "\xfe\xff\xd8\x3d\xde\x00", 6, "\xf0\x9f\x98\x80" },
		{ "\xff\xfe\x3d\xd8" "a\0", 6, "\xef\xbf\xbd" "a" },
		{ "\xff\xfe\x00\xde" "a\0", 6, "\xef\xbf\xbd" "a" },
		{ "\xff\xfe\x3d\xd8", 4, "\xef\xbf\xbd" },
		{ "\xff\xfe\x3d\xd8\x00", 5, "\xef\xbf\xbd\xef\xbf\xbd" },
	};
	/* zeros at both sides, or in too few of the pairs: bytes as they are */
	static const struct { const char *in; size_t n; } narrow[] = {
		{ "a\0", 2 }, { "a\0b", 3 }, { "a\0\0b", 4 }, { "a\0b\0c\0\0", 8 },
		{ "a\0bcdefghi", 10 }, { "abcdefgh\0i", 10 },
	};
	unsigned char gz[256];
	static unsigned char big[60002];
	static char want[30000];

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		gives(cases[i].in, cases[i].n, cases[i].out, strlen(cases[i].out), false);
		gives(gz, member(gz, sizeof gz, cases[i].in, cases[i].n), cases[i].out,
		    strlen(cases[i].out), true);
	}
	for (size_t i = 0; i < COUNT(narrow); i++)
		gives(narrow[i].in, narrow[i].n, narrow[i].in, narrow[i].n, false);
	big[0] = 0xff;
	big[1] = 0xfe;
	for (size_t i = 0; i < sizeof want; i++)
		big[2 + i * 2] = (unsigned char)(want[i] = (char)('a' + i % 26));
	gives(big, sizeof big, want, sizeof want, false);
	fails("\xff\xfe\0\0a\0\0\0", 8, ERR_DATA, "UTF-32");
	fails("\0\0\xfe\xff\0\0\0a", 8, ERR_DATA, "UTF-32");
}

static void
windows_1252(void **state)
{
	static const struct { const char *in, *out; } cases[] = {
		{ "", "" }, { "abc", "abc" },
		{ "\x80\x99\x9f", "\xe2\x82\xac\xe2\x84\xa2\xc5\xb8" },
		{ "\x81\x8d\x8f\x90\x9d", "\xc2\x81\xc2\x8d\xc2\x8f\xc2\x90\xc2\x9d" },
		{ "\xa0\xe9\xff", "\xc2\xa0\xc3\xa9\xc3\xbf" },
	};
	struct arena a = { 0 };

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct span s = bytes_from_1252(&a, span_of(cases[i].in));

		assert_true(span_eq(s, span_of(cases[i].out)));
	}
	arena_release(&a);
}

static void
files(void **state)
{
	char path[] = "/tmp/bytes-test-XXXXXX";
	int fd = mkstemp(path), pipes[2], saved;
	struct err e = { 0 };
	struct bytes *b;
	size_t n;
	char *out;

	(void)state;
	assert_int_equal(write(fd, "hello\n", 6), 6);
	close(fd);
	b = bytes_open(path, &e);
	assert_non_null(b);
	assert_string_equal(bytes_name(b), path);
	assert_int_equal(bytes_expected(b), 6);
	out = all(b, 100, &n, &e);
	assert_int_equal(n, 6);
	assert_memory_equal(out, "hello\n", 6);
	free(out);
	bytes_close(b);
	unlink(path);
	assert_null(bytes_open(path, &e));
	assert_int_equal(e.code, ERR_IO);
	assert_non_null(strstr(e.text, "cannot open"));
	assert_null(bytes_open("/tmp", &e));
	assert_non_null(strstr(e.text, "is a folder"));
	assert_null(bytes_open("", &e));
	bytes_close(NULL);

	/* standard input, which stays open */
	assert_int_equal(pipe(pipes), 0);
	assert_int_equal(write(pipes[1], "from a pipe", 11), 11);
	close(pipes[1]);
	saved = dup(STDIN_FILENO);
	dup2(pipes[0], STDIN_FILENO);
	b = bytes_open("-", &e);
	assert_non_null(b);
	assert_string_equal(bytes_name(b), "standard input");
	assert_int_equal(bytes_expected(b), 0);
	out = all(b, 100, &n, &e);
	assert_int_equal(n, 11);
	free(out);
	bytes_close(b);
	assert_true(fcntl(STDIN_FILENO, F_GETFD) >= 0);
	dup2(saved, STDIN_FILENO);
	close(saved);
	close(pipes[0]);
}

/* One input read twice: from memory, a file, a pipe, and what a shell left of a file. */
static void
again(void **state)
{
	enum { MANY = 300000 };
	static const char *const how[] = { "memory", "file", "pipe", "rest" };
	static char text[MANY];
	static unsigned char gz[MANY];
	char path[] = "/tmp/bytes-test-XXXXXX";
	int fd = mkstemp(path), saved = dup(STDIN_FILENO);
	uint32_t roll = 1;
	size_t gz_n;

	(void)state;
	for (size_t i = 0; i < MANY; i++)
		text[i] = (char)('!' + ((roll = roll * 1664525 + 1013904223) >> 26));
	gz_n = member(gz, sizeof gz, text, MANY);
	assert_true(gz_n > 100000);		/* more than a pipe holds */
	assert_int_equal(write(fd, gz, gz_n), (ssize_t)gz_n);
	for (size_t i = 0; i < COUNT(how); i++) {
		for (int before = 0; before < 2; before++) {
			struct err e = { 0 };
			struct bytes *b, *twin;
			char part[4096], *one, *two;
			ssize_t got = 0;
			size_t n, m;

			if (i == 0) {
				b = bytes_memory("memory", gz, gz_n, 7777, &e);
			} else if (i == 1) {
				b = bytes_open(path, &e);
			} else {
				if (i == 2) {
					int ends[2];

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
				} else {
					char junk[] = "before";
					int whole = open(path, O_RDWR);

					assert_int_equal(ftruncate(whole, 0), 0);
					assert_int_equal(write(whole, junk, 6), 6);
					assert_int_equal(write(whole, gz, gz_n), (ssize_t)gz_n);
					lseek(whole, 6, SEEK_SET);
					dup2(whole, STDIN_FILENO);
					close(whole);
				}
				b = bytes_open("-", &e);
			}
			assert_non_null(b);
			if (before) {		/* in the middle of it */
				got = bytes_read(b, part, sizeof part, &e);
				assert_true(got > 0);
			}
			twin = bytes_again(b, gz_n, &e);
			if (!twin)
				print_error("%s: %s\n", how[i], e.text);
			assert_non_null(twin);
			bytes_settle(b);
			two = all(twin, 1000, &m, &e);
			one = all(b, 5000, &n, &e);
			assert_int_equal(m, MANY);
			assert_memory_equal(two, text, MANY);
			assert_int_equal(n + (size_t)got, MANY);
			assert_memory_equal(one, text + got, n);
			assert_int_equal(bytes_size(b), gz_n);
			assert_int_equal(bytes_crc32(b), crc32_z(0, gz, gz_n));
			assert_int_equal(bytes_expected(b), gz_n);
			free(one);
			free(two);
			bytes_close(twin);
			bytes_close(b);
		}
	}
	dup2(saved, STDIN_FILENO);
	close(saved);
	close(fd);
	unlink(path);
}

/* What is kept of a pipe at most: below, at and above the limit; and nowhere to keep it. */
static void
kept(void **state)
{
	int saved = dup(STDIN_FILENO), ends[2];

	(void)state;
	for (uint64_t limit = 10; limit <= 12; limit++) {
		struct err e = { 0 };
		struct bytes *b, *twin;

		assert_int_equal(pipe(ends), 0);
		assert_int_equal(write(ends[1], "from a pipe", 11), 11);
		close(ends[1]);
		dup2(ends[0], STDIN_FILENO);
		close(ends[0]);
		b = bytes_open("-", &e);
		if (limit == 12)
			setenv("TMPDIR", "/nonexistent", 1);
		twin = bytes_again(b, limit, &e);
		assert_int_equal(twin == NULL, limit != 11);
		if (limit == 10)
			assert_int_equal(e.code, ERR_LIMIT);
		if (limit == 12)
			assert_non_null(strstr(e.text, "cannot make a file to keep it in"));
		bytes_close(twin);
		bytes_close(b);
	}
	unsetenv("TMPDIR");
	dup2(saved, STDIN_FILENO);
	close(saved);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(plain),
		cmocka_unit_test(gzip_members),
		cmocka_unit_test(gzip_damage),
		cmocka_unit_test(gzip_behind),
		cmocka_unit_test(inflation),
		cmocka_unit_test(utf16),
		cmocka_unit_test(windows_1252),
		cmocka_unit_test(files),
		cmocka_unit_test(again),
		cmocka_unit_test(kept),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
