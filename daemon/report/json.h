/* json.h - JSON as the program writes it (RFC 8259), one value after another.
 *
 * `key` is NULL inside an array. Texts are UTF-8; a malformed byte becomes
 * U+FFFD, and whatever utf8_shown() does not allow is written as \uXXXX, so that
 * the output does no harm on a terminal either. Errors stay in the FILE: look at
 * ferror() once, at the end.
 */
#ifndef DAEMON_REPORT_JSON_H
#define DAEMON_REPORT_JSON_H

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

struct json {
	FILE *f;	/* borrowed */
	int   depth;
	bool  inside;	/* the innermost object or array has a member already */
};

void json_open(struct json *j, const char *key, char bracket);	/* '{' or '[' */
void json_close(struct json *j, char bracket);			/* '}' or ']' */
void json_text(struct json *j, const char *key, const char *text);	/* NULL and "" are null */
void json_string(struct json *j, const char *key, const char *text);	/* "" stays "" */
void json_int(struct json *j, const char *key, int64_t n);
void json_num(struct json *j, const char *key, double n);	/* not finite: null */
void json_bool(struct json *j, const char *key, bool b);
void json_time(struct json *j, const char *key, int64_t at);	/* RFC 3339 UTC; NO_TIME null */
void json_null(struct json *j, const char *key);
void json_end(struct json *j);		/* the last line end; all is closed (asserted) */

#endif
