#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "daemon/base/arena.h"
#include "daemon/base/sha256.h"

static void
is(struct span s, const char *hex)
{
	uint8_t sum[SHA256_BYTES];
	char text[2 * SHA256_BYTES + 1];

	sha256(s, sum);
	for (int i = 0; i < SHA256_BYTES; i++)
		snprintf(text + 2 * i, 3, "%02x", sum[i]);
	assert_string_equal(text, hex);
}

/* The examples that NIST publishes for FIPS 180-4: "abc", 448 bits, a million a. */
static void
published(void **state)
{
	char *million = x_alloc(1000000);

	(void)state;
	is(SPAN("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
	is(SPAN("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"),
	    "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
	is(SPAN(""), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
	memset(million, 'a', 1000000);
	is((struct span){ million, 1000000 },
	    "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
	free(million);
}

/* Where the length still fits the last block and where it does not. From sha256sum. */
static void
ends_of_block(void **state)
{
	static const struct { size_t n; const char *hex; } at[] = {
		{ 55, "9f4390f8d30c2dd92ec9f095b65e2b9ae9b0a925a5258e241c9f1e910f734318" },
		{ 56, "b35439a4ac6f0948b6d6f9e3c6af0f5f590ce20f1bde7090ef7970686ec6738a" },
		{ 63, "7d3e74a05d7db15bce4ad9ec0658ea98e3f06eeecf16b4c6fff2da457ddc2f34" },
		{ 64, "ffe054fe7ae0cb6dc65c3af9b61d5209f439851db43d0ba5997337df154668eb" },
	};
	char a[64];

	(void)state;
	memset(a, 'a', sizeof a);
	for (size_t i = 0; i < sizeof at / sizeof *at; i++)
		is((struct span){ a, at[i].n }, at[i].hex);
}

static void
base64(void **state)
{
	char text[SHA256_BASE64];

	(void)state;
	/* The empty text's, as pages about Content-Security-Policy print it. */
	sha256_base64(SPAN(""), text);
	assert_string_equal(text, "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=");
	sha256_base64(SPAN("abc"), text);
	assert_string_equal(text, "ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0=");
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(published),
		cmocka_unit_test(ends_of_block),
		cmocka_unit_test(base64),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
