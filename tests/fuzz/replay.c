/* replay.c - runs a fuzz target over the files named, without a fuzzer, so that
 * the corpus and every crash ever found stay tests. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int
main(int argc, char **argv)
{
	for (int i = 1; i < argc; i++) {
		FILE *f = fopen(argv[i], "rb");
		uint8_t *p = NULL;
		size_t n = 0, got;

		if (!f) {
			perror(argv[i]);
			return 1;
		}
		do {
			p = realloc(p, n + 65536);
			if (!p)
				abort();
			got = fread(p + n, 1, 65536, f);
			n += got;
		} while (got);
		fclose(f);
		LLVMFuzzerTestOneInput(p, n);
		free(p);
	}
	return 0;
}
