/* fuzz_bytes.c - any file at any read size, as it is, and packed by gzip: no crash; the
 * same text, error and fingerprint as in one read; a second reading gives the same; what
 * is no gzip and no UTF-16 comes out as it went in. The first byte chooses the size. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#include "daemon/base/arena.h"
#include "parsers/bytes.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* DEFLATE makes a few bytes a million zeros; that is slow and tells nothing more. */
enum { MOST = 1 << 20 };

static void
promise(int kept)
{
	if (!kept)
		abort();
}

struct text {
	char  *p;
	size_t n, cap;
	int    rc;
	struct err e;
};

static void
read_all(struct bytes *b, size_t cap, struct text *t)
{
	ssize_t got = 1;

	while (got > 0 && t->n < MOST) {
		t->p = x_grow(t->p, &t->cap, t->n + cap, 1);
		got = bytes_read(b, t->p + t->n, cap, &t->e);
		promise(got <= (ssize_t)cap);
		t->n += got > 0 ? (size_t)got : 0;
	}
	t->rc = got > 0 ? 0 : (int)got;
}

static void
same(const struct text *a, const struct text *b)
{
	if (a->n >= MOST || b->n >= MOST)
		return;
	promise(a->rc == b->rc);
	/* An error may come at an earlier byte of the text, but not a different text. */
	promise(a->rc < 0 || a->n == b->n);
	if (a->n && b->n)
		promise(memcmp(a->p, b->p, a->n < b->n ? a->n : b->n) == 0);
	if (a->rc < 0)
		promise(*a->e.text && strcmp(a->e.text, b->e.text) == 0);
}

static void
look(const uint8_t *p, size_t n, size_t step)
{
	struct err e[2];
	struct bytes *b[2] = { bytes_memory("fuzz", p, n, step, &e[0]),
		bytes_memory("fuzz", p, n, 0, &e[1]) };
	struct text t[3] = { 0 };

	promise(!b[0] == !b[1]);
	if (!b[0]) {
		promise(strcmp(e[0].text, e[1].text) == 0 && *e[0].text);
		return;
	}
	for (int i = 0; i < 2; i++) {
		struct bytes *twin = i ? NULL : bytes_again(b[0], 0, &e[0]);

		read_all(b[i], i ? 65536 : 8 + step % 90, &t[i]);
		if (twin)
			read_all(twin, 4096, &t[2]);
		bytes_close(twin);
	}
	same(&t[0], &t[1]);
	same(&t[0], &t[2]);
	if (t[0].rc == 0 && t[0].n < MOST) {
		promise(bytes_size(b[0]) == n && bytes_size(b[1]) == n);
		promise(bytes_crc32(b[0]) == bytes_crc32(b[1]));
		promise(bytes_behind(b[0]) == bytes_behind(b[1]) && bytes_behind(b[0]) <= n);
		promise(bytes_is_gzip(b[0]) == (n >= 2 && p[0] == 0x1f && p[1] == 0x8b));
		if (n >= 4 && !memchr(p, 0, n) && !bytes_is_gzip(b[0]) && p[0] < 0xe0)
			promise(t[0].n == n && memcmp(t[0].p, p, n) == 0);
	}
	for (int i = 0; i < 3; i++)
		free(t[i].p);
	bytes_close(b[0]);
	bytes_close(b[1]);
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	z_stream z = { 0 };
	uint8_t *packed;
	size_t cap;

	if (size < 1)
		return 0;
	look(data + 1, size - 1, 1 + data[0]);
	cap = compressBound((uLong)size) + 64;
	packed = x_alloc(cap);
	promise(deflateInit2(&z, 1, Z_DEFLATED, 15 + 16, 8, Z_DEFAULT_STRATEGY) == Z_OK);
	z.next_in = (uint8_t *)(uintptr_t)(data + 1);
	z.avail_in = (uInt)(size - 1);
	z.next_out = packed;
	z.avail_out = (uInt)cap;
	promise(deflate(&z, Z_FINISH) == Z_STREAM_END);
	look(packed, cap - z.avail_out, 1 + data[0]);
	deflateEnd(&z);
	free(packed);
	return 0;
}
