/* serial.h - how serials and zone numbers are compared.
 *
 * A serial is letters and digits; blanks, dashes, dots and colons do not
 * count, letter case neither. "Same device" further ignores leading zeros.
 * A zone, partition or user number that is all digits is compared without
 * leading zeros; anything else letter case aside.
 */
#ifndef DAEMON_BASE_SERIAL_H
#define DAEMON_BASE_SERIAL_H

#include "daemon/base/arena.h"
#include "daemon/base/span.h"

enum serial_fault {
	SERIAL_OK,
	SERIAL_NONE,		/* blank cell, or only zeros */
	SERIAL_LOST_DIGITS,	/* "1.23457E+11": a spreadsheet ate digits */
	SERIAL_NOT_ONE,		/* another character than the allowed ones */
};

/* Is this a number in powers of ten, as a spreadsheet writes a long one? Its last digits
 * are gone. 12E4 is not: a serial may look so. */
bool serial_lost_digits(struct span s);

/* Upper case, separators taken out, leading zeros kept. "" unless SERIAL_OK. */
const char *serial_plain(struct arena *a, struct span s, enum serial_fault *fault);
/* The key under which one device is found: serial_plain() without its leading zeros. */
const char *serial_key(struct arena *a, struct span s);

/* Two serials that a person, a typist or a spreadsheet may have made of one; they are
 * pointed out and never merged. Both are plain ones or keys. */
enum serial_twin {
	SERIAL_NO_TWIN,		/* also the same serial, leading zeros aside */
	SERIAL_LOOKS_ALIKE,	/* O and 0, I and 1, Z and 2, S and 5, B and 8 */
	/* The one is the other's number in another base: 6699 and 1A2B. Under four characters,
	 * and under six where both are digits only, that is chance (common practice, no
	 * source). */
	SERIAL_OTHER_BASE,
};
enum serial_twin serial_twin(const char *one, const char *other);

/* "007" -> "7", "000" and "" -> "", "B3" -> "b3". */
const char *number_key(struct arena *a, struct span s);

#endif
