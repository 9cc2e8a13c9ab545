/* disk.h - names that stay when the machine stops.
 *
 * fsync() of a file brings what is in it to the disk; its name is there once its folder is.
 * A file system that cannot be asked for that (EINVAL, as some network shares; EROFS) does
 * what it does, and that is no fault.
 */
#ifndef DAEMON_BASE_DISK_H
#define DAEMON_BASE_DISK_H

/* The names in the folder `fd`. 0, or -1 and errno. */
int disk_sync_names(int fd);
/* The names in the folder that `path` lies in; one that may be written to but not read
 * cannot be asked. 0, or -1 and errno. */
int disk_sync_name_of(const char *path);
/* Makes the folder `path` (mode 0770 less the umask) when it is not there, for good: also one that another
 * made who was stopped before he came to that. 0, or -1 and errno. */
int disk_folder(const char *path);

#endif
