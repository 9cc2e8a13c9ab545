/* fuzz_dc09.c - any line: no crash, spans lie within it, what is taken is whole, and a
 * frame that was taken is not taken any more once a byte of it is changed (another one
 * that stands within it may be). */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "parsers/dc09.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void
promise(int kept)
{
	if (!kept)
		abort();
}

static void
within(struct span whole, struct span part)
{
	promise(part.n == 0 || (part.p >= whole.p && part.p + part.n <= whole.p + whole.n));
}

static void
check(struct span line, enum dc09_result got, const struct dc09 *f)
{
	const struct span parts[] = { f->prefix, f->receiver, f->line, f->account, f->event,
		f->partition, f->zone, f->user, f->text };
	struct stamp received;

	for (size_t i = 0; i < sizeof parts / sizeof *parts; i++)
		within(line, parts[i]);
	promise((got == DC09_ASIDE) == (f->reason != NULL));
	if (got == DC09_EVENT)
		promise(f->account.n >= 3 && (f->event.n == 2 || f->event.n == 4));
	if (f->has_time)
		promise(f->time.offset == 0 && f->time.ms == 0);
	dc09_received(STAMP_DAY_FIRST, f->prefix, &received);
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	char *line = malloc(size + 512), *made = line + size;
	struct span s = { line, size };
	struct dc09 f;
	enum dc09_result got;
	size_t at, n;

	if (!line)
		abort();
	memcpy(line, data, size);
	got = dc09_parse(s, &f);
	check(s, got, &f);
	promise(dc09_find(s, &at) || got == DC09_ASIDE);

	/* The same bytes as the body of a frame with the right length and CRC. */
	n = size < 400 ? size : 400;
	for (int i = 0; i < 4; i++)
		made[i] = "0123456789ABCDEF"[dc09_crc(line, n) >> (12 - 4 * i) & 15];
	for (int i = 0; i < 4; i++)
		made[4 + i] = "0123456789ABCDEF"[n >> (12 - 4 * i) & 15];
	memcpy(made + 8, line, n);
	s = (struct span){ made, n + 8 };
	got = dc09_parse(s, &f);
	check(s, got, &f);
	if (got != DC09_ASIDE && f.prefix.n == 0) {
		made[8 + size % n] ^= 1;
		promise(dc09_parse(s, &f) == DC09_ASIDE || f.prefix.n > 0);
	}
	free(line);
	return 0;
}
