/* outfile.h - a file that is there whole or not at all.
 *
 * Written beside its place as PATH.part, mode 0600, and renamed when it is whole. What
 * is there already must be a regular file.
 */
#ifndef DAEMON_REPORT_OUTFILE_H
#define DAEMON_REPORT_OUTFILE_H

#include <stdio.h>

#include "daemon/base/err.h"

struct outfile {
	FILE *f;
	char *path, *part;
};

int outfile_open(struct outfile *o, const char *path, struct err *e);
/* All is written and on the disk, under PATH.part: so that of several files none takes its
 * place before all are whole. On failure as outfile_close(). */
int outfile_seal(struct outfile *o, struct err *e);
/* Looks at all errors since the opening; on failure the old file stays as it was. Once it
 * is back, the new one stays in place whatever happens to the machine. */
int outfile_close(struct outfile *o, struct err *e);
/* Gives the writing up; nothing remains. After outfile_close() it does nothing. */
void outfile_drop(struct outfile *o);

#endif
