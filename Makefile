# make             the program, build/release/tripsift
# make demo        packages, program, samples read, the three users' views shown
# make test        packages, then every quick test
# make sanitize    the tests under AddressSanitizer and UBSan
# make clang       the tests with the second compiler
# make fuzz [T=60] each fuzz target for T seconds (clang)
# make test-pages  packages, then the pages in a real browser (chromium, node, npm)
# make shots       pictures of the pages for people, build/pages/shots [PAGE=PATTERN]
# make crash       the power goes, calls fail, the daemon is killed: many times over
# make kill        the last of these alone (TRIALS=)
# make score       what the rules find, miss and invent over planted faults
# make score-table the same into rules/SCORE.md, which the rules page shows
# make mutants     do the tests notice when a rule is made wrong? (minutes)
# make bench       ratios of one run over 10 million rows (ROWS=)
# make install     program, man pages, completion, unit: PREFIX=/usr/local DESTDIR=
# make uninstall   takes these away again; store, folders and configuration stay
# make dist        build/tripsift-VERSION.tar.gz of what is committed
# make distcheck   unpacks that, builds and tests it by itself
#
# Every output is under build/KIND/. A new .c file in a listed folder is found
# by itself; its header dependencies are written by the compiler (-MMD).

PROG    := tripsift
VERSION := 0.1
DATE    := 2026-11-25
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
# daemon/install/ is what is installed beside the program.
SRCS  := $(filter-out daemon/install/%,\
         $(sort $(wildcard daemon/*.c daemon/*/*.c parsers/*.c rules/*.c)))
OBJS  := $(SRCS:%.c=$B/%.o)
LIB   := $B/lib$(PROG).a
TESTS := $(patsubst %.c,$B/%,$(sort $(wildcard tests/unit/test_*.c)))
FUZZ  := $(patsubst %.c,$B/%,$(sort $(wildcard tests/fuzz/fuzz_*.c)))
HELP  := $(patsubst %.c,$B/%.o,$(sort $(wildcard tests/unit/help_*.c)))

MADE  := $(patsubst %.css,$B/made/%_css.h,$(wildcard daemon/report/*.css)) \
         $(patsubst %.js,$B/made/%_js.h,$(wildcard daemon/report/*.js)) \
         $B/made/rules/rules_md.h $B/made/rules/score_md.h

Q := $(if $(V),,@)

.DEFAULT_GOAL := all
.DELETE_ON_ERROR:
.SECONDARY:
.PHONY: all demo test test-built packages sanitize clang fuzz run-fuzz test-pages shots crash kill score score-table mutants bench manual install uninstall dist distcheck clean FORCE

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

# Tables whose rows begin with the name of a rule, as rows of texts: rules/RULES.md is
# X("life-alarm", "an alarm of ...", ...). SCORE.md's line of text, if any, is another Y("...").
$B/made/rules/rules_md.h: rules/RULES.md
$B/made/rules/score_md.h: rules/SCORE.md
$B/made/rules/rules_md.h $B/made/rules/score_md.h:
	@mkdir -p $(@D)
	$(Q)awk -F ' *[|] *' '{ gsub(/[\\"]/, "\\&") } \
	    /^Measured / { print "Y(\"" $$0 "\")" } \
	    /^[|] `/ { gsub(/`/, "", $$2); row = "X(\"" $$2 "\""; \
	      for (i = 3; i < NF; i++) row = row ", \"" $$i "\""; print row ")" }' $< > $@

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
test-built: $B/$(PROG) $(TESTS) $(FUZZ) $B/tests/crash/shim.so manual
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

# Not a test of the program's making, so without its flags.
$B/tests/crash/shim.so: tests/crash/shim.c
	@mkdir -p $(@D)
	$(Q)$(CC) $(CSTD) -O2 $(WARN) $(WERROR) -shared -fPIC -U_FORTIFY_SOURCE -o $@ $< -ldl -lpthread

crash: $B/$(PROG) $B/tests/crash/shim.so
	$(Q)python3 tests/crash/crash.py $B/$(PROG) $B/tests/crash/shim.so $(or $(SEED),1)
	$(Q)python3 tests/crash/fault.py $B/$(PROG) $B/tests/crash/shim.so $(or $(SEED),1)
	$(Q)python3 tests/crash/odd.py $B/$(PROG) $B/tests/crash/shim.so
	$(Q)$(MAKE) --no-print-directory kill

# The daemon is killed at random instants.
kill: $B/$(PROG)
	$(Q)python3 tests/property/kill.py $B/$(PROG) $(or $(SEED),1) $(or $(TRIALS),200)

score: $B/$(PROG)
	$(Q)python3 tests/score.py $B/$(PROG)
# What the rules page says was measured: written anew, then read and committed.
score-table: $B/$(PROG)
	$(Q)python3 tests/score.py $B/$(PROG) --tune 0 --nights 2 --table rules/SCORE.md

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

# Pages and completion come from the program's own tables, see daemon/install/manual.c.
M := $B/manual
$M/tables: $B/daemon/install/manual.o $(LIB)
	@mkdir -p $(@D)
	$(Q)$(CC) $(ALL_CFLAGS) $(LDFLAGS) -o $@ $^ $(LDLIBS)
$M/tripsift.1: $M/tables
	$(Q)$< page $(DATE) > $@
$M/tripsift.bash: $M/tables
	$(Q)$< completion > $@
man = awk -f daemon/install/man.awk -v date=$(DATE) -v version=$(VERSION)
$M/tripsift-formats.5: parsers/FORMAT.md daemon/install/man.awk $M/tables
	$(Q){ $(man) -v name=TRIPSIFT-FORMATS -v section=5 -v title="the files that tripsift reads" $< && \
	      $M/tables see; } > $@
$M/tripsift-rules.7: rules/RULES.md daemon/install/man.awk $M/tables
	$(Q){ $(man) -v name=TRIPSIFT-RULES -v section=7 -v title="what tripsift looks for" $< && \
	      $M/tables settings && $M/tables see; } > $@
$M/tripsift.service: daemon/install/tripsift.service FORCE
	@mkdir -p $(@D)
	$(Q)sed 's,@BINDIR@,$(PREFIX)/bin,' $< > $@
MANUAL := $(addprefix $M/,tripsift.1 tripsift-formats.5 tripsift-rules.7 tripsift.bash tripsift.service)
manual: $(MANUAL)

SHARE   = $(DESTDIR)$(PREFIX)/share
SYSTEMD = $(DESTDIR)$(PREFIX)/lib
INSTALLED = $(DESTDIR)$(PREFIX)/bin/$(PROG) $(SHARE)/man/man1/tripsift.1 \
            $(SHARE)/man/man5/tripsift-formats.5 $(SHARE)/man/man7/tripsift-rules.7 \
            $(SHARE)/bash-completion/completions/tripsift \
            $(SHARE)/doc/tripsift/watch.conf \
            $(SYSTEMD)/systemd/system/tripsift.service $(SYSTEMD)/sysusers.d/tripsift.conf
install: all manual
	$(Q)for d in $(sort $(dir $(INSTALLED))); do install -d "$$d" || exit 1; done
	$(Q)install -m 755 $B/$(PROG) $(DESTDIR)$(PREFIX)/bin/$(PROG)
	$(Q)for n in 1 5 7; do install -m 644 $M/*.$$n $(SHARE)/man/man$$n/ || exit 1; done
	$(Q)install -m 644 $M/tripsift.bash $(SHARE)/bash-completion/completions/tripsift
	$(Q)install -m 644 daemon/install/watch.conf $(SHARE)/doc/tripsift/watch.conf
	$(Q)install -m 644 $M/tripsift.service $(SYSTEMD)/systemd/system/tripsift.service
	$(Q)install -m 644 daemon/install/sysusers.conf $(SYSTEMD)/sysusers.d/tripsift.conf
uninstall:
	rm -f $(INSTALLED)
	-rmdir $(SHARE)/doc/tripsift

# Sorted, owners and times fixed: the same commit gives the same bytes.
TARBALL := build/$(PROG)-$(VERSION).tar.gz
dist:
	$(Q)git diff --quiet HEAD || { echo "commit first: what is not committed is left out"; exit 1; }
	@mkdir -p build
	$(Q)git -c tar.umask=0022 archive --format=tar --prefix=$(PROG)-$(VERSION)/ HEAD | gzip -9n > $(TARBALL)
	@echo $(TARBALL)
distcheck: dist
	$(Q)rm -rf build/dist && mkdir build/dist && tar -C build/dist -xzf $(TARBALL)
	$(Q)$(MAKE) -C build/dist/$(PROG)-$(VERSION) test
clean:
	rm -rf build

-include $(shell find $B -name '*.d' 2>/dev/null)
