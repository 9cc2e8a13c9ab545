/* bytes.h - where an input's bytes come from: file, standard input, memory.
 *
 * What arrives is UTF-8, or single bytes of an older encoding; gzip and UTF-16
 * are undone here. Gzip (RFC 1952) is known by its first two bytes, whatever
 * the name: several members make one text, zero bytes may stand between and behind
 * them, and other bytes behind the last one are counted and left. UTF-16 is known by
 * its byte-order mark, or where the first 256 bytes have zeros at one side of their
 * pairs only, in at least a quarter of the pairs; a UTF-8 mark is taken off. An
 * unpaired surrogate becomes U+FFFD.
 *
 * Faults of the file as a whole are errors: ERR_IO (cannot be opened or read),
 * ERR_DATA (gzip cut off, checksum or length wrong), ERR_LIMIT (inflates beyond both
 * limits below).
 */
#ifndef PARSERS_BYTES_H
#define PARSERS_BYTES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>

#include "daemon/base/arena.h"
#include "daemon/base/err.h"
#include "daemon/base/span.h"

/* A gzip file is refused once it has inflated to more than BYTES_RATIO times
 * what was read of it *and* to more than BYTES_INFLATED bytes. DEFLATE cannot
 * exceed a ratio of about 1032; event logs stay under 50 (measured). */
#define BYTES_RATIO    1000
#define BYTES_INFLATED (UINT64_C(1) << 30)

/* Of an input that cannot be read twice, so much is kept in a file for bytes_again(). */
#define BYTES_SPOOL (UINT64_C(4) << 30)

struct bytes;

/* `path` is a file, or "-" for standard input. Gives; bytes_close() takes. */
struct bytes *bytes_open(const char *path, struct err *e);
/* The same over borrowed bytes, handed out at most `step` at a time (0 = all). */
struct bytes *bytes_memory(const char *name, const void *p, size_t n, size_t step,
    struct err *e);
/* Other limits than the two above, for tests. */
void bytes_limit(struct bytes *b, uint64_t ratio, uint64_t inflated);

/* 1..cap bytes stored, 0 at the end, -1 and *e. A short read is not the end.
 * `cap` is at least 8. */
ssize_t bytes_read(struct bytes *b, void *to, size_t cap, struct err *e);

/* A second reading of the same input from its beginning; the first goes on where it
 * is. A pipe is read to its end for it and kept, as it came, in a file without a name
 * in $TMPDIR, else /tmp; ERR_LIMIT if it has over `limit` bytes. Gives; not after
 * bytes_settle(). Until then a pipe's bytes are held in memory. */
struct bytes *bytes_again(struct bytes *b, uint64_t limit, struct err *e);
void bytes_settle(struct bytes *b);

const char *bytes_name(const struct bytes *b);
bool bytes_is_gzip(const struct bytes *b);
/* Of the file's own bytes taken so far, before inflation; whole at the end. */
uint64_t bytes_size(const struct bytes *b);
uint32_t bytes_crc32(const struct bytes *b);
uint64_t bytes_behind(const struct bytes *b);	/* other bytes behind the gzip data */
uint64_t bytes_expected(const struct bytes *b);	/* the file's size, 0 if not known */
void bytes_close(struct bytes *b);

/* The same text in UTF-8, from Windows-1252; the five bytes that it leaves
 * undefined become the control characters of the same number. Lent by `a`. */
struct span bytes_from_1252(struct arena *a, struct span s);

#endif
