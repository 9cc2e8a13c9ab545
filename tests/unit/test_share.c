/* test_share.c - kinds of file systems. Numbers: <linux/magic.h> where it has them. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <linux/magic.h>

#include "daemon/store/share.h"

static void
kinds(void **state)
{
	static const struct { int64_t type; bool share; } cases[] = {
		{ NFS_SUPER_MAGIC, true }, { SMB_SUPER_MAGIC, true }, { CIFS_SUPER_MAGIC, true },
		{ SMB2_SUPER_MAGIC, true }, { V9FS_MAGIC, true }, { CEPH_SUPER_MAGIC, true },
		{ CODA_SUPER_MAGIC, true }, { AFS_FS_MAGIC, true }, { AFS_SUPER_MAGIC, true },
		{ NCP_SUPER_MAGIC, true }, { OCFS2_SUPER_MAGIC, true },
		{ EXT4_SUPER_MAGIC, false }, { XFS_SUPER_MAGIC, false }, { BTRFS_SUPER_MAGIC, false },
		{ TMPFS_MAGIC, false }, { OVERLAYFS_SUPER_MAGIC, false }, { FUSE_SUPER_MAGIC, false },
		{ 0, false },
		/* As a 32-bit long has it. */
		{ (int32_t)CIFS_SUPER_MAGIC, true },
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
		if (share_is(cases[i].type) != cases[i].share)
			fail_msg("%llx", (unsigned long long)cases[i].type);
}

int
main(void)
{
	const struct CMUnitTest tests[] = { cmocka_unit_test(kinds) };

	return cmocka_run_group_tests(tests, NULL, NULL);
}
