#!/bin/sh
# layers.sh - who may include whom; one line a folder. DEVELOPERS.md gives the reasons.
set -u
bad=0
check() {	# folder, then the only project folders whose headers it may include
	dir=$1
	shift
	allowed=$(echo "$@" | tr ' ' '|')
	out=$(grep -nE '^# *include "' "$dir"/*.[ch] |
	    grep -vE "include \"($allowed)/[a-z0-9_]+\.h\"")
	[ -z "$out" ] || { echo "layer broken:"; echo "$out"; bad=1; }
}
check daemon/base   daemon/base
check parsers       parsers daemon/base
check rules         rules daemon/base
check daemon/report daemon/report daemon/base daemon/store parsers rules
check daemon/store  daemon/store daemon/base rules
check daemon        daemon daemon/store daemon/report daemon/base parsers rules
# The report folder may know what the store's answers look like, not how it is asked.
out=$(grep -nE 'include "daemon/store/' daemon/report/*.[ch] | grep -v 'daemon/store/store\.h')
[ -z "$out" ] || { echo "layer broken:"; echo "$out"; bad=1; }
out=$(grep -ln 'sqlite3\.h' daemon/*.[ch] daemon/base/*.[ch] daemon/report/*.[ch] parsers/*.[ch] rules/*.[ch])
[ -z "$out" ] || { echo "sqlite3.h belongs to daemon/store:"; echo "$out"; bad=1; }
out=$(grep -ln 'pcre2\.h' daemon/*.[ch] daemon/*/*.[ch] parsers/*.[ch] rules/*.[ch] | grep -v '^parsers/wordings\.c$')
[ -z "$out" ] || { echo "pcre2.h belongs to parsers/wordings.c:"; echo "$out"; bad=1; }
out=$(grep -nE '\b(fopen|open|printf|time|clock_gettime)\(' rules/*.c)
[ -z "$out" ] || { echo "rules do no I/O and read no clock:"; echo "$out"; bad=1; }
exit $bad
