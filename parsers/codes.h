/* codes.h - what an event cell means.
 *
 * A cell is a word of daemon/base/words.h, an ANSI/SIA DC-05 code with its
 * qualifier (E130, R130, P130, 1130, 3130, 6130, also E 130 and E-130), a DC-05
 * message (see code_message()), or an ANSI/SIA DC-03 two-letter code.
 * Tables, one place each: DC-05 after the 1999 edition's
 * appendix with later codes as noted; DC-03 after the list used with DC-09.
 * A well-formed code that the tables lack means W_OTHER and keeps its code.
 */
#ifndef PARSERS_CODES_H
#define PARSERS_CODES_H

#include <stdbool.h>
#include <stddef.h>

#include "daemon/base/span.h"
#include "daemon/base/words.h"

/* What the `zone` cell of a row with this meaning holds. */
enum address {
	ADDR_ZONE,	/* a zone or sensor; 0 and blank are the panel itself */
	ADDR_USER,	/* a user number */
	ADDR_PANEL,	/* a module, receiver, line, area or nothing: the panel itself */
};

struct meaning {
	enum word    word;
	enum address address;
	bool         still;	/* qualifier 6: was reported before and is still so */
	bool         life;	/* a code of the life-safety classes, whatever the word */
	enum kind    hint;	/* kind of device that the code implies, or KIND_UNKNOWN */
};

/* NULL and *out, or the reason why the row is set aside, as a static text
 * ("ambiguous: a bare code has no qualifier", ...). */
const char *code_meaning(struct span cell, struct meaning *out);
/* A stable text in words for people: "RF low battery" for E384; "" if none is known. */
const char *code_text(struct span cell);

/* A DC-05 message or the end of one, blanks and dashes anywhere or nowhere:
 *   1131 01 015             qualifier (a digit, or E, R, P) with code, partition, zone
 *   18 1131 01 015          with the message type, 18 or 98, in front
 *   1234 18 1131 01 015 8   the whole, 16 digits of 0-9 and B-F with the check digit
 * The check digit brings the sum of all to a multiple of 15, 0 counted as 10 and B to
 * F as 11 to 15 (ANSI/SIA DC-05-1999.09; from public texts on it). */
struct code_message {
	char event[5];		/* "E131": the letter of the qualifier, and the code */
	char account[5];	/* "" unless the cell holds the whole */
	char partition[3], zone[4];
};
/* False: the cell is no message. True: *why is NULL and *out filled, or why it is
 * set aside, a static text. */
bool code_message(struct span cell, struct code_message *out, const char **why);

/* The tables themselves, for tests and documentation. */
struct code_row {
	const char  *code;	/* "384" or "XT" */
	enum word    begins;	/* DC-05: qualifier 1; DC-03: the code itself */
	enum word    ends;	/* DC-05: qualifier 3; DC-03: same as `begins` */
	enum address address;
	bool         life;
	enum kind    hint;
	const char  *text;	/* the code's meaning in our own words */
};
const struct code_row *code_table_dc05(size_t *n);
const struct code_row *code_table_dc03(size_t *n);

#endif
