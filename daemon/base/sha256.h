/* sha256.h - SHA-256 (FIPS 180-4), for the hashes that a page's Content-Security-Policy
 * names and for file names that were cut short. Not for secrets. */
#ifndef DAEMON_BASE_SHA256_H
#define DAEMON_BASE_SHA256_H

#include <stdint.h>

#include "daemon/base/span.h"

enum { SHA256_BYTES = 32, SHA256_BASE64 = 45 };

void sha256(struct span s, uint8_t out[SHA256_BYTES]);
/* The same as padded base64 (RFC 4648 section 4) with a NUL. */
void sha256_base64(struct span s, char out[SHA256_BASE64]);

#endif
