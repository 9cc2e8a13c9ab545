#include "parsers/bytes.h"

#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zlib.h>

#include "daemon/base/arena.h"

enum { RAW = 64 * 1024, WIDE = 16 * 1024, GUESS = 256 };

enum gzip_state { GZIP_NO, GZIP_MEMBER, GZIP_BETWEEN, GZIP_BEHIND };
enum text { TEXT_BYTES, TEXT_UTF16LE, TEXT_UTF16BE };

struct bytes {
	char           *name;
	int             fd;		/* -1: memory */
	const unsigned char *mem;	/* borrowed */
	size_t          mem_n, mem_at, step;
	bool            regular;	/* can be read at any place, from `base` on */
	off_t           base;
	unsigned char  *head;		/* what came so far of what cannot; until bytes_settle() */
	size_t          head_n, head_cap;
	bool            settled;
	uint64_t        size, expected, inflated, behind;
	uint32_t        crc;

	unsigned char  *raw;		/* bytes of the file not yet used */
	size_t          raw_at, raw_n;

	enum gzip_state gzip;
	z_stream        z;
	unsigned        member;		/* number of the gzip member, from 1 */
	const char     *broken;		/* what is wrong behind the bytes given so far */
	uint64_t        ratio_limit, inflated_limit;

	enum text       text;
	unsigned char  *wide;		/* UTF-16 not yet decoded, at least the head */
	size_t          wide_at, wide_n;
	bool            wide_end;
};

/* The file's own bytes, counted and summed as they come. */
static ssize_t
own_read(struct bytes *b, void *to, size_t cap, struct err *e)
{
	ssize_t n;

	if (b->fd >= 0) {
		do
			n = b->regular ? pread(b->fd, to, cap, b->base + (off_t)b->size) :
			    read(b->fd, to, cap);
		while (n < 0 && errno == EINTR);
		if (n < 0)
			return err_set(e, err_system(errno), b->name, 0, "cannot read: %s",
			    strerror(errno));
		if (!b->regular && !b->settled && n) {
			b->head = x_grow(b->head, &b->head_cap, b->head_n + (size_t)n, 1);
			memcpy(b->head + b->head_n, to, (size_t)n);
			b->head_n += (size_t)n;
		}
	} else {
		size_t left = b->mem_n - b->mem_at;

		n = (ssize_t)(cap < left ? cap : left);
		if (b->step && (size_t)n > b->step)
			n = (ssize_t)b->step;
		if (n)
			memcpy(to, b->mem + b->mem_at, (size_t)n);
		b->mem_at += (size_t)n;
	}
	b->size += (uint64_t)n;
	b->crc = (uint32_t)crc32_z(b->crc, to, (size_t)n);
	return n;
}

/* At least `want` unused bytes in b->raw, or all that is left: the number, -1 and *e. */
static ssize_t
own_need(struct bytes *b, size_t want, struct err *e)
{
	if (b->raw_n - b->raw_at >= want)
		return (ssize_t)(b->raw_n - b->raw_at);
	memmove(b->raw, b->raw + b->raw_at, b->raw_n - b->raw_at);
	b->raw_n -= b->raw_at;
	b->raw_at = 0;
	while (b->raw_n < want) {
		ssize_t n = own_read(b, b->raw + b->raw_n, RAW - b->raw_n, e);

		if (n < 0)
			return -1;
		if (n == 0)
			break;
		b->raw_n += (size_t)n;
	}
	return (ssize_t)b->raw_n;
}

static int
gzip_fault(struct bytes *b, struct err *e, const char *what)
{
	return err_set(e, ERR_DATA, b->name, 0, "%s (gzip member %u, %llu bytes inflated);"
	    " nothing of this file is taken", what, b->member,
	    (unsigned long long)b->inflated);
}

/* After a member: zero bytes, another one, or the end. What is neither is no part of
 * the data, whose members are whole and checked: it is counted and left. 1 to go on,
 * 0 at the end, -1 and *e. */
static int
gzip_border(struct bytes *b, struct err *e)
{
	ssize_t n = own_need(b, 2, e);
	const unsigned char *p = b->raw + b->raw_at;

	if (n <= 0)
		return (int)n;
	if (b->gzip == GZIP_BEHIND) {
		b->behind += (uint64_t)n;
		b->raw_at = b->raw_n;
	} else if (p[0] == 0) {
		b->raw_at++;
	} else if (n >= 2 && p[0] == 0x1f && p[1] == 0x8b) {
		if (inflateReset(&b->z) != Z_OK)
			return gzip_fault(b, e, "cannot inflate");
		b->gzip = GZIP_MEMBER;
		b->member++;
	} else {
		b->gzip = GZIP_BEHIND;
	}
	return 1;
}

static const char *
inflate_fault(int rc, const char *msg)
{
	if (msg && strcmp(msg, "incorrect data check") == 0)
		return "gzip checksum is wrong";
	if (msg && strcmp(msg, "incorrect length check") == 0)
		return "gzip length is wrong";
	if (rc == Z_NEED_DICT)
		return "gzip needs a dictionary";
	return "gzip data is damaged";
}

static ssize_t
gzip_read(struct bytes *b, void *to, size_t cap, struct err *e)
{
	size_t got = 0;
	ssize_t have;
	int rc;

	while (got == 0) {
		if (b->broken)
			return gzip_fault(b, e, b->broken);
		if (b->gzip != GZIP_MEMBER) {
			rc = gzip_border(b, e);
			if (rc <= 0)
				return rc;
			continue;
		}
		have = own_need(b, 1, e);
		if (have < 0)
			return -1;
		b->z.next_in = b->raw + b->raw_at;
		b->z.avail_in = (uInt)have;
		b->z.next_out = to;
		b->z.avail_out = (uInt)(cap < RAW ? cap : RAW);
		got = b->z.avail_out;
		rc = inflate(&b->z, Z_NO_FLUSH);
		got -= b->z.avail_out;
		b->raw_at = b->raw_n - b->z.avail_in;
		b->inflated += got;
		/* Without more input there may still be output: ask until there is none. */
		if (rc == Z_STREAM_END)
			b->gzip = GZIP_BETWEEN;
		else if (rc != Z_OK && !(rc == Z_BUF_ERROR && b->z.avail_in == 0))
			b->broken = inflate_fault(rc, b->z.msg);
		else if (have == 0 && got == 0)
			b->broken = "gzip data ends too early";
		if (b->inflated > b->inflated_limit &&
		    b->inflated > b->ratio_limit * b->size)
			return err_set(e, ERR_LIMIT, b->name, 0, "inflates to more than %llu"
			    " times its size; nothing of this file is taken",
			    (unsigned long long)b->ratio_limit);
	}
	return (ssize_t)got;
}

/* What the file says, before anybody asks for its encoding. */
static ssize_t
plain_read(struct bytes *b, void *to, size_t cap, struct err *e)
{
	size_t left = b->raw_n - b->raw_at;

	if (b->gzip != GZIP_NO)
		return gzip_read(b, to, cap, e);
	if (left == 0)
		return own_read(b, to, cap, e);
	if (left > cap)
		left = cap;
	memcpy(to, b->raw + b->raw_at, left);
	b->raw_at += left;
	return (ssize_t)left;
}

/* At least `want` bytes in b->wide, or all that is left. */
static int
wide_need(struct bytes *b, size_t want, struct err *e)
{
	size_t left = b->wide_n - b->wide_at;

	if (left < want && b->wide_at) {
		memmove(b->wide, b->wide + b->wide_at, left);
		b->wide_at = 0;
		b->wide_n = left;
	}
	while (b->wide_n - b->wide_at < want && !b->wide_end) {
		ssize_t n = plain_read(b, b->wide + b->wide_n, WIDE - b->wide_n, e);

		if (n < 0)
			return -1;
		b->wide_end = n == 0;
		b->wide_n += (size_t)n;
	}
	return 0;
}

static size_t
put_utf8(unsigned char *to, uint32_t c)
{
	if (c < 0x80) {
		to[0] = (unsigned char)c;
		return 1;
	}
	if (c < 0x800) {
		to[0] = (unsigned char)(0xc0 | c >> 6);
		to[1] = (unsigned char)(0x80 | (c & 0x3f));
		return 2;
	}
	if (c < 0x10000) {
		to[0] = (unsigned char)(0xe0 | c >> 12);
		to[1] = (unsigned char)(0x80 | (c >> 6 & 0x3f));
		to[2] = (unsigned char)(0x80 | (c & 0x3f));
		return 3;
	}
	to[0] = (unsigned char)(0xf0 | c >> 18);
	to[1] = (unsigned char)(0x80 | (c >> 12 & 0x3f));
	to[2] = (unsigned char)(0x80 | (c >> 6 & 0x3f));
	to[3] = (unsigned char)(0x80 | (c & 0x3f));
	return 4;
}

static uint32_t
unit(const struct bytes *b, size_t at)
{
	const unsigned char *p = b->wide + b->wide_at + at;

	return b->text == TEXT_UTF16LE ? p[0] | (uint32_t)p[1] << 8 : p[1] | (uint32_t)p[0] << 8;
}

static ssize_t
utf16_read(struct bytes *b, unsigned char *to, size_t cap, struct err *e)
{
	enum { NOT_ONE = 0xfffd };
	size_t out = 0;

	while (cap - out >= 4) {
		size_t left;
		uint32_t c;

		if (out && b->wide_n - b->wide_at < 4)
			break;			/* give what there is, read on next time */
		if (wide_need(b, 4, e) < 0)
			return -1;
		left = b->wide_n - b->wide_at;
		if (left == 0)
			break;
		if (left == 1) {
			c = NOT_ONE;
			b->wide_at++;
		} else {
			c = unit(b, 0);
			b->wide_at += 2;
			if (c >= 0xd800 && c < 0xdc00 && left >= 4 &&
			    unit(b, 0) >= 0xdc00 && unit(b, 0) < 0xe000) {
				c = 0x10000 + ((c - 0xd800) << 10) + (unit(b, 0) - 0xdc00);
				b->wide_at += 2;
			} else if (c >= 0xd800 && c < 0xe000) {
				c = NOT_ONE;
			}
		}
		out += put_utf8(to + out, c);
	}
	return (ssize_t)out;
}

ssize_t
bytes_read(struct bytes *b, void *to, size_t cap, struct err *e)
{
	size_t left = b->wide_n - b->wide_at;

	if (b->text != TEXT_BYTES)
		return utf16_read(b, to, cap, e);
	if (left == 0)
		return plain_read(b, to, cap, e);
	if (left > cap)
		left = cap;
	memcpy(to, b->wide + b->wide_at, left);
	b->wide_at += left;
	return (ssize_t)left;
}

/* UTF-16 without its mark: zero bytes at one side of the pairs only, and at no fewer
 * than a quarter of them. The header, the digits and the separators are such pairs. */
static enum text
guess_wide(const unsigned char *p, size_t n)
{
	size_t zeros[2] = { 0, 0 };

	n &= ~(size_t)1;
	for (size_t i = 0; i < n; i++)
		zeros[i % 2] += p[i] == 0;
	if (n < 4 || (zeros[0] != 0) == (zeros[1] != 0) || (zeros[0] + zeros[1]) * 8 < n)
		return TEXT_BYTES;
	return zeros[0] ? TEXT_UTF16BE : TEXT_UTF16LE;
}

static int
begin(struct bytes *b, struct err *e)
{
	const unsigned char *p;
	size_t n;

	b->raw = x_alloc(RAW);
	b->wide = x_alloc(WIDE);
	b->ratio_limit = BYTES_RATIO;
	b->inflated_limit = BYTES_INFLATED;
	if (own_need(b, 2, e) < 0)
		return -1;
	if (b->raw_n >= 2 && b->raw[0] == 0x1f && b->raw[1] == 0x8b) {
		if (inflateInit2(&b->z, 15 + 16) != Z_OK)
			return err_set(e, ERR_LATER, b->name, 0, "cannot begin to inflate");
		b->gzip = GZIP_MEMBER;
		b->member = 1;
	}

	if (wide_need(b, GUESS, e) < 0)
		return -1;
	p = b->wide;
	n = b->wide_n;
	if (n >= 4 && ((p[0] == 0xff && p[1] == 0xfe && !p[2] && !p[3]) ||
	    (!p[0] && !p[1] && p[2] == 0xfe && p[3] == 0xff)))
		return err_set(e, ERR_DATA, b->name, 0, "UTF-32 is not read; save it as UTF-8");
	if (n >= 3 && p[0] == 0xef && p[1] == 0xbb && p[2] == 0xbf) {
		b->wide_at = 3;
	} else if (n >= 2 && p[0] == 0xff && p[1] == 0xfe) {
		b->text = TEXT_UTF16LE;
		b->wide_at = 2;
	} else if (n >= 2 && p[0] == 0xfe && p[1] == 0xff) {
		b->text = TEXT_UTF16BE;
		b->wide_at = 2;
	} else {
		b->text = guess_wide(p, n < GUESS ? n : GUESS);
	}
	return 0;
}

static struct bytes *
named(const char *name)
{
	struct bytes *b = x_calloc(1, sizeof *b);
	size_t n = strlen(name) + 1;

	b->name = x_alloc(n);
	memcpy(b->name, name, n);
	b->fd = -1;
	return b;
}

struct bytes *
bytes_open(const char *path, struct err *e)
{
	bool std = strcmp(path, "-") == 0;
	struct bytes *b = named(std ? "standard input" : path);
	struct stat st;

	b->fd = std ? STDIN_FILENO : open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY);
	if (b->fd < 0) {
		err_set(e, err_system(errno), path, 0, "cannot open: %s", strerror(errno));
		goto fail;
	}
	if (fstat(b->fd, &st) < 0) {
		err_set(e, err_system(errno), path, 0, "cannot look at it: %s", strerror(errno));
		goto fail;
	}
	if (S_ISDIR(st.st_mode)) {
		err_set(e, ERR_IO, path, 0, "is a folder");
		goto fail;
	}
	if (S_ISREG(st.st_mode)) {
		b->regular = true;
		b->base = std ? lseek(b->fd, 0, SEEK_CUR) : 0;	/* a shell may have read some */
		b->expected = (uint64_t)(st.st_size > b->base ? st.st_size - b->base : 0);
	}
	if (begin(b, e) < 0)
		goto fail;
	return b;
fail:
	bytes_close(b);
	return NULL;
}

struct bytes *
bytes_memory(const char *name, const void *p, size_t n, size_t step, struct err *e)
{
	struct bytes *b = named(name);

	b->mem = p;
	b->mem_n = n;
	b->expected = n;
	b->step = step;
	if (begin(b, e) < 0) {
		bytes_close(b);
		return NULL;
	}
	return b;
}

static int
write_all(int fd, const unsigned char *p, size_t n)
{
	while (n) {
		ssize_t done = write(fd, p, n);

		if (done < 0 && errno == EINTR)
			continue;
		if (done <= 0)
			return -1;
		p += done;
		n -= (size_t)done;
	}
	return 0;
}

/* A file without a name for what cannot be read twice: what came so far, and the rest.
 * From then on the bytes come from there. */
static int
spool(struct bytes *b, uint64_t limit, struct err *e)
{
	const char *dir = getenv("TMPDIR");
	uint64_t all = b->head_n;
	unsigned char *part = NULL;
	char path[4096];
	ssize_t n = 0;
	int fd;

	if (snprintf(path, sizeof path, "%s/tripsift-XXXXXX", dir && *dir ? dir : "/tmp") >=
	    (int)sizeof path || (fd = mkostemp(path, O_CLOEXEC)) < 0)
		return err_set(e, err_system(errno), b->name, 0, "cannot make a file to keep it in: %s",
		    strerror(errno));
	unlink(path);
	part = x_alloc(RAW);
	if (write_all(fd, b->head, b->head_n) < 0)
		goto full;
	while (all <= limit) {
		n = read(b->fd, part, RAW);
		if (n < 0 && errno == EINTR)
			continue;
		if (n <= 0)
			break;
		if (write_all(fd, part, (size_t)n) < 0)
			goto full;
		all += (uint64_t)n;
	}
	if (n < 0) {
		err_set(e, err_system(errno), b->name, 0, "cannot read: %s", strerror(errno));
		goto fail;
	}
	if (all > limit) {
		err_set(e, ERR_LIMIT, b->name, 0, "is over %llu bytes and has to be read twice to"
		    " tell day and month apart; write it to a file first",
		    (unsigned long long)limit);
		goto fail;
	}
	free(part);
	if (b->fd > STDIN_FILENO)
		close(b->fd);
	b->fd = fd;
	b->regular = true;
	b->base = 0;
	b->expected = all;
	return 0;
full:
	err_set(e, err_system(errno), b->name, 0, "cannot keep it in a file of %s: %s",
	    dir && *dir ? dir : "/tmp", strerror(errno));
fail:
	free(part);
	close(fd);
	return -1;
}

struct bytes *
bytes_again(struct bytes *b, uint64_t limit, struct err *e)
{
	struct bytes *twin;

	assert(!b->settled);
	if (b->fd < 0)
		return bytes_memory(b->name, b->mem, b->mem_n, b->step, e);
	if (!b->regular && spool(b, limit, e) < 0)
		return NULL;
	twin = named(b->name);
	twin->fd = fcntl(b->fd, F_DUPFD_CLOEXEC, STDERR_FILENO + 1);
	twin->regular = true;
	twin->base = b->base;
	if (twin->fd < 0)
		err_set(e, err_system(errno), b->name, 0, "cannot open it again: %s", strerror(errno));
	else if (begin(twin, e) == 0)
		return twin;
	bytes_close(twin);
	return NULL;
}

void
bytes_settle(struct bytes *b)
{
	b->settled = true;
	free(b->head);
	b->head = NULL;
}

void
bytes_limit(struct bytes *b, uint64_t ratio, uint64_t inflated)
{
	b->ratio_limit = ratio;
	b->inflated_limit = inflated;
}

const char *
bytes_name(const struct bytes *b)
{
	return b->name;
}

bool
bytes_is_gzip(const struct bytes *b)
{
	return b->gzip != GZIP_NO;
}

uint64_t
bytes_size(const struct bytes *b)
{
	return b->size;
}

uint32_t
bytes_crc32(const struct bytes *b)
{
	return b->crc;
}

uint64_t
bytes_behind(const struct bytes *b)
{
	return b->behind;
}

uint64_t
bytes_expected(const struct bytes *b)
{
	return b->expected;
}

void
bytes_close(struct bytes *b)
{
	if (!b)
		return;
	if (b->fd > STDIN_FILENO)
		close(b->fd);
	if (b->gzip != GZIP_NO)
		inflateEnd(&b->z);
	free(b->head);
	free(b->raw);
	free(b->wide);
	free(b->name);
	free(b);
}

struct span
bytes_from_1252(struct arena *a, struct span s)
{
	/* 0x80..0x9f; the rest is as in Unicode. From memory: the table of the
	 * WHATWG Encoding Standard, "windows-1252". */
	static const uint16_t upper[] = {
		0x20ac, 0x0081, 0x201a, 0x0192, 0x201e, 0x2026, 0x2020, 0x2021,
		0x02c6, 0x2030, 0x0160, 0x2039, 0x0152, 0x008d, 0x017d, 0x008f,
		0x0090, 0x2018, 0x2019, 0x201c, 0x201d, 0x2022, 0x2013, 0x2014,
		0x02dc, 0x2122, 0x0161, 0x203a, 0x0153, 0x009d, 0x017e, 0x0178,
	};
	unsigned char *out = arena_take(a, s.n * 3 + 1);
	size_t n = 0;

	for (size_t i = 0; i < s.n; i++) {
		unsigned char c = (unsigned char)s.p[i];

		n += put_utf8(out + n, c >= 0x80 && c < 0xa0 ? upper[c - 0x80] : c);
	}
	return (struct span){ (char *)out, n };
}
