# make             the program, build/release/tripsift
# make demo        packages, program, samples read, the three users' views shown
# make test        packages, then every quick test
# make sanitize    the tests under AddressSanitizer and UBSan
# make clang       the tests with the second compiler
# make fuzz [T=60] each fuzz target for T seconds (clang)
# make test-pages  packages, then the pages in a real browser (chromium, node, npm)
# make shots       pictures of the pages for people, build/pages/shots [PAGE=PATTERN]
# make score       what the rules find, miss and invent over planted faults
# make mutants     do the tests notice when a rule is made wrong? (minutes)
# make bench       ratios of one run over 10 million rows (ROWS=)
# make install     PREFIX=/usr/local DESTDIR=
#
# Every output is under build/KIND/. A new .c file in a listed folder is found
# by itself; its header dependencies are written by the compiler (-MMD).

PROG    := tripsift
VERSION := 0.1
PREFIX  ?= /usr/local
KIND    ?= release
B       := build/$(KIND)

PKGS     := libpcre2-8 zlib sqlite3
CC       := $(if $(filter default,$(origin CC)),gcc,$(CC))
CSTD     := -std=gnu17
WARN     := -Wall -Wextra -Wshadow -Wstrict-prototypes -Wmissing-prototypes \
            -Wpointer-arith -Wcast-qual -Wwrite-strings -Wformat=2 -Wundef -Wvla
WERROR   ?= -Werror
CPPFLAGS += -I. -I$B/made -D_GNU_SOURCE -D_FILE_OFFSET_BITS=64 -DVERSION='"$(VERSION)"'
LDLIBS   += -lsqlite3 -lz -lpcre2-8 -lpthread -lm
CFLAGS_release  := -O2 -g -D_FORTIFY_SOURCE=2 -fstack-protector-strong
CFLAGS_clang    := $(CFLAGS_release)
CFLAGS_sanitize := -O1 -g -fno-omit-frame-pointer \
                   -fsanitize=address,undefined -fno-sanitize-recover=all
CFLAGS_fuzz     := $(CFLAGS_sanitize) -fsanitize=fuzzer-no-link
CFLAGS   ?=
ALL_CFLAGS = $(CSTD) $(WARN) $(WERROR) $(CFLAGS_$(KIND)) $(CFLAGS)

# All but main.c goes into one archive, so that a test links just what it uses.
SRCS  := $(sort $(wildcard daemon/*.c daemon/*/*.c parsers/*.c rules/*.c))
OBJS  := $(SRCS:%.c=$B/%.o)
LIB   := $B/lib$(PROG).a
TESTS := $(patsubst %.c,$B/%,$(sort $(wildcard tests/unit/test_*.c)))
FUZZ  := $(patsubst %.c,$B/%,$(sort $(wildcard tests/fuzz/fuzz_*.c)))
HELP  := $(patsubst %.c,$B/%.o,$(sort $(wildcard tests/unit/help_*.c)))

MADE  := $(patsubst %.css,$B/made/%_css.h,$(wildcard daemon/report/*.css)) \
         $(patsubst %.js,$B/made/%_js.h,$(wildcard daemon/report/*.js))

Q := $(if $(V),,@)

.DEFAULT_GOAL := all
.DELETE_ON_ERROR:
.SECONDARY:
.PHONY: all demo test test-built packages sanitize clang fuzz run-fuzz test-pages shots score mutants bench install uninstall clean FORCE

all: $B/$(PROG)

$B/$(PROG): $B/daemon/main.o $(LIB)
	$(Q)$(CC) $(ALL_CFLAGS) $(LDFLAGS) -o $@ $^ $(LDLIBS)

$(LIB): $(filter-out $B/daemon/main.o,$(OBJS))
	$(Q)rm -f $@ && $(AR) rcs $@ $^

# Objects depend on the flags: a changed CC or CFLAGS rebuilds, nothing stale.
$B/%.o: %.c $B/flags | $(MADE)
	@mkdir -p $(@D)
	$(Q)$(CC) $(CPPFLAGS) $(ALL_CFLAGS) -MMD -MP -c -o $@ $<

$B/flags: FORCE
	@mkdir -p $(@D)
	@echo '$(CC) $(CPPFLAGS) $(ALL_CFLAGS)' | cmp -s - $@ || \
	    echo '$(CC) $(CPPFLAGS) $(ALL_CFLAGS)' > $@

# Style and scripts of the pages, each as one C string: page.css is page_css.h.
quoted = sed 's/[\\"]/\\&/g; s/.*/"&\\n"/' $< > $@
$B/made/%_css.h: %.css
	@mkdir -p $(@D)
	$(Q)$(quoted)
$B/made/%_js.h: %.js
	@mkdir -p $(@D)
	$(Q)$(quoted)

$B/tests/unit/test_%: $B/tests/unit/test_%.o $(HELP) $(LIB)
	$(Q)$(CC) $(ALL_CFLAGS) $(LDFLAGS) -o $@ $^ -lcmocka $(LDLIBS)
ifeq ($(KIND),fuzz)
$B/tests/fuzz/fuzz_%: $B/tests/fuzz/fuzz_%.o $(LIB)
	$(Q)$(CC) $(ALL_CFLAGS) -fsanitize=fuzzer $(LDFLAGS) -o $@ $^ $(LDLIBS)
else
$B/tests/fuzz/fuzz_%: $B/tests/fuzz/fuzz_%.o $B/tests/fuzz/replay.o $(LIB)
	$(Q)$(CC) $(ALL_CFLAGS) $(LDFLAGS) -o $@ $^ $(LDLIBS)
endif

packages:
	$(Q)tests/tools/packages.sh test

test: packages
	$(Q)$(MAKE) --no-print-directory test-built

# A log is shown only when its test failed; the last line counts them all.
test-built: $B/$(PROG) $(TESTS) $(FUZZ)
	$(Q)tests/tools/suite.sh $B

sanitize:
	$(Q)$(MAKE) --no-print-directory KIND=sanitize test-built
clang:
	$(Q)$(MAKE) --no-print-directory KIND=clang CC=clang test-built

# New inputs land in build/, never in the committed corpus; move keepers by hand.
fuzz:
	$(Q)$(MAKE) --no-print-directory KIND=fuzz CC=clang run-fuzz
run-fuzz: $(FUZZ)
	$(Q)for f in $(FUZZ); do n=$${f##*fuzz_}; mkdir -p $B/corpus/$$n; \
	  $$f -max_total_time=$(or $(T),60) -artifact_prefix=$B/crash-$$n- \
	      $B/corpus/$$n tests/fuzz/corpus/$$n 2>$B/fuzz-$$n.log \
	    && tail -n 1 $B/fuzz-$$n.log || { tail -n 30 $B/fuzz-$$n.log; exit 1; }; \
	done

# The npm packages come by name from a lock without addresses; see tests/pages/run.sh.
test-pages:
	$(Q)tests/tools/packages.sh pages
	$(Q)$(MAKE) --no-print-directory all
	$(Q)tests/pages/run.sh $B/$(PROG)
shots: all
	$(Q)SHOTS=1 tests/pages/run.sh $B/$(PROG) $(PAGE)

score: $B/$(PROG)
	$(Q)python3 tests/score.py $B/$(PROG)

mutants: $B/$(PROG) $(TESTS)
	$(Q)python3 tests/mutants.py $B

bench: $B/$(PROG) $B/tests/bench/gen
	$(Q)python3 tests/bench/run.py $B $(ROWS)
$B/tests/bench/gen: $B/tests/bench/gen.o $(LIB)
	$(Q)$(CC) $(ALL_CFLAGS) $(LDFLAGS) -o $@ $^ $(LDLIBS)

# Reads the invented town of samples/ and shows what each of the three users gets.
demo:
	$(Q)tests/tools/packages.sh run
	$(Q)$(MAKE) --no-print-directory all
	$(Q)tests/tools/demo.sh $B/$(PROG)

install: all
	install -d $(DESTDIR)$(PREFIX)/bin
	install -m 755 $B/$(PROG) $(DESTDIR)$(PREFIX)/bin/$(PROG)
uninstall:
	rm -f $(DESTDIR)$(PREFIX)/bin/$(PROG)
clean:
	rm -rf build

-include $(shell find $B -name '*.d' 2>/dev/null)
