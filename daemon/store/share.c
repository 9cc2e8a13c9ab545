#include "daemon/store/share.h"

#include <stddef.h>

bool
share_is(int64_t type)
{
	static const uint32_t share[] = {
		0x6969,			/* NFS */
		0x517b,			/* SMB */
		0xff534d42,		/* CIFS */
		0xfe534d42,		/* SMB2 */
		0x5346414f,		/* AFS of the OpenAFS project */
		0x6b414653,		/* AFS of the kernel */
		0x564c,			/* NCP */
		0x73757245,		/* Coda */
		0x00c36400,		/* Ceph */
		0x01021997,		/* 9P */
		0x7461636f,		/* OCFS2 */
		0x01161970,		/* GFS2 */
		0x0bd00bd0,		/* Lustre */
	};

	for (size_t i = 0; i < sizeof share / sizeof *share; i++)
		if ((uint32_t)type == share[i])
			return true;
	return false;
}
