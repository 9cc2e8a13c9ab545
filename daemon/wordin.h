/* wordin.h - the wordings of one call: taken in, lent to readers, told about. */
#ifndef DAEMON_WORDIN_H
#define DAEMON_WORDIN_H

#include <stdbool.h>
#include <stdint.h>

#include "daemon/ingest.h"
#include "daemon/store/reword.h"
#include "parsers/reader.h"
#include "parsers/wordings.h"

struct wordin_file {
	struct ingest_file *out;	/* NULL: of an earlier call, kept in the store */
	const char         *name, *place;
	int64_t             id;		/* in the store */
	long                applied;	/* files that were read with it */
};

struct wordin {
	struct wordings   **list;	/* by place the same as `file` */
	struct wordin_file *file;
	size_t              n, cap, cap_file;
	size_t              n_kept;	/* the last of them: kept in the store */
	bool                named;	/* by --wordings: the first is the only one that counts */
};

void wordin_release(struct wordin *in);

/* Reads one file of wordings and takes it in as a version, with the events that an
 * earlier version read. A fault of the file marks `f` as failed and is no error. */
int wordin_take(struct wordin *in, struct store *s, struct reader *reader, const char *place,
    int64_t taken, struct arena *a, struct ingest_file *f, struct err *e);

/* Then those that the store keeps of earlier calls, for files that none of these fits. */
int wordin_kept(struct wordin *in, struct store *s, struct arena *a, struct err *e);

/* What a reader needs to choose among them; lent. */
void wordin_options(const struct wordin *in, struct reader_options *o);

/* The file id under which the wordings of a reader stand; 0 = it has none. */
int64_t wordin_id(const struct wordin *in, const struct reader *r);
/* At the end of a file: counts it, and fills f->wordings; adds to f->note. */
void wordin_told(struct wordin *in, const struct reader *r, struct arena *a,
    struct ingest_file *f);
/* At the end of all: says of each file of wordings what it was good for. */
void wordin_end(struct wordin *in, struct arena *a);

/* A reword_fn; `run` is a struct wordings_run. */
reword_fn wordin_reword;
/* What a rewording changed, in words; "" = nothing. */
const char *wordin_reworded(struct arena *a, const struct reworded *n);

/* The marks of a row that its meaning alone gives: of REWORD_MARKS. */
uint16_t wordin_marks(const struct meaning *m);

/* Two remarks as one; either may be "". */
const char *wordin_join(struct arena *a, const char *one, const char *two);

#endif
