/* bytes.h - where an input's bytes come from: file, standard input, memory.
 *
 * What arrives is UTF-8, or single bytes of an older encoding; gzip and UTF-16
 * are undone here. Gzip (RFC 1952) is known by its first two bytes, whatever
 * the name: several members make one text, zero bytes may follow the last one.
 * UTF-16 is known by its byte-order mark, or by the zero bytes between the
 * first two characters; a UTF-8 mark is taken off. An unpaired surrogate
 * becomes U+FFFD.
 *
 * Faults of the file as a whole are errors: ERR_IO (cannot be opened or read),
 * ERR_DATA (gzip cut off, checksum wrong, other data after the last member),
 * ERR_LIMIT (inflates beyond both limits below).
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

const char *bytes_name(const struct bytes *b);
bool bytes_is_gzip(const struct bytes *b);
/* Of the file's own bytes taken so far, before inflation; whole at the end. */
uint64_t bytes_size(const struct bytes *b);
uint32_t bytes_crc32(const struct bytes *b);
uint64_t bytes_expected(const struct bytes *b);	/* the file's size, 0 if not known */
void bytes_close(struct bytes *b);

/* The same text in UTF-8, from Windows-1252; the five bytes that it leaves
 * undefined become the control characters of the same number. Lent by `a`. */
struct span bytes_from_1252(struct arena *a, struct span s);

#endif
