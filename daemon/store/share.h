/* share.h - does a store lie on a share of the network?
 *
 * By the kind that statfs(2) tells. What reaches the file through a program of somebody's
 * (FUSE) cannot be told from a local disk that does, and passes for one.
 */
#ifndef DAEMON_STORE_SHARE_H
#define DAEMON_STORE_SHARE_H

#include <stdbool.h>
#include <stdint.h>

/* `type`: f_type of struct statfs; only its low 32 bits count. Numbers: <linux/magic.h>, and
 * the list in statfs(2). */
bool share_is(int64_t type);

#endif
