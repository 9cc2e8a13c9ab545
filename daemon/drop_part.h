/* drop_part.h - what drop.c and drop_out.c share. */
#ifndef DAEMON_DROP_PART_H
#define DAEMON_DROP_PART_H

#include "daemon/drop.h"

/* What stands beside a file in failed/. */
#define DROP_NOTE ".why.txt"

/* One thing in inbox/ or desk/. */
struct waiting {
	enum tray   tray;
	char       *name;		/* "NAME", or "G/NAME" */
	const char *odd;		/* why it is passed over; NULL = a file */
	bool        told;		/* that it is odd */
	bool        stuck;		/* odd because it may not be moved */
	bool        moved;		/* renamed in: whole */
	bool        made;		/* heard of: a name was made */
	bool        open;		/* somebody writes, and has not closed it */
	bool        gone;		/* claimed just now */
	ino_t       ino;
	off_t       size;
	int64_t     mtime;		/* ns */
	int64_t     since;		/* monotonic, ms: unchanged from then on */
};

struct drop {
	char           *dir;		/* full path */
	int64_t         settle;
	bool            groups;		/* folders in inbox/ are groups */
	struct sub { int watch; char *name; } *sub;	/* those that are listened to */
	size_t          n_sub, cap_sub;
	int             root, tray[TRAYS], work, claimed[TRAYS], done, failed;	/* folders */
	int             notify, watch[TRAYS];
	struct waiting *list;		/* as last looked at, in the order of claiming */
	size_t          n;
	struct leaving { enum tray tray; char *name; struct stat st; } *leaving;
	size_t          n_leaving, cap_leaving;
	int             day;		/* folder of done/ that holds their copies; -1 */
	struct waiting *heard;		/* since then */
	size_t          n_heard, cap_heard;
};

/* The folder that a name stands in, opened, no link followed; *leaf is its last part.
 * -1 and errno. close() it. */
int drop_folder_of(int tray, const char *name, const char **leaf);

#endif
