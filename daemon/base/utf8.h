/* utf8.h - characters for people: decoding, terminal width, what may be shown.
 *
 * UTF-8 as RFC 3629 has it: overlong forms, surrogates and values above
 * U+10FFFF are malformed. A malformed sequence is taken one byte at a time, so
 * that every byte of the input is accounted for.
 */
#ifndef DAEMON_BASE_UTF8_H
#define DAEMON_BASE_UTF8_H

#include <stdbool.h>
#include <stdint.h>

#include "daemon/base/span.h"

#define UTF8_BAD UINT32_MAX	/* the byte at s.p[0] begins no well-formed character */

/* Bytes that the first character of `s` takes (0 only for an empty span), and *c. */
size_t utf8_next(struct span s, uint32_t *c);
bool utf8_valid(struct span s);

/* Columns that a terminal gives the character: 0 for combining marks, 2 for wide
 * and fullwidth ones (Unicode Standard Annex 11, the blocks in common use), else 1.
 * Asked only for characters that utf8_shown() allows. */
int utf8_width(uint32_t c);

/* May the character reach a terminal or a sheet as it is? Not: C0 and C1 controls and
 * DEL (they steer terminals: CWE-150), the bidirectional marks, embeddings, overrides
 * and isolates (they make a line read otherwise than it is), line and paragraph
 * separators, invisible fillers and tags, UTF8_BAD. */
bool utf8_shown(uint32_t c);

/* How a character that may not is written instead: "\x1B", "\u202E", "\U000E0041"; for
 * UTF8_BAD the byte itself, "\xFF". Returns the length. */
enum { UTF8_ESCAPE = 12 };
int utf8_escape(char out[UTF8_ESCAPE], uint32_t c, char byte);

#endif
