#!/bin/sh
# install.sh BUILD - `make install` into a folder of its own: what is there, what the pages and
# the completion say, what the unit may do, and that `make uninstall` leaves data.
#
# Pages are checked where mandoc is, the unit where systemd-analyze is; else that is said.
set -u
build=$1
kind=${build##*/}
bad=0
say() { echo "$1"; bad=1; }
to=$(mktemp -d)
trap 'rm -rf "$to"' EXIT
[ "$kind" = clang ] && export CC=clang
run() { make -s KIND="$kind" PREFIX=/usr DESTDIR="$to" "$@" 2>&1; }

log=$(run install) || say "make install: $log"
for f in bin/tripsift share/man/man1/tripsift.1 share/man/man5/tripsift-formats.5 \
    share/man/man7/tripsift-rules.7 share/bash-completion/completions/tripsift \
    share/doc/tripsift/watch.conf lib/systemd/system/tripsift.service \
    lib/sysusers.d/tripsift.conf; do
	[ -s "$to/usr/$f" ] || say "$f is not installed"
done
program=$to/usr/bin/tripsift
page=$to/usr/share/man/man1/tripsift.1
unit=$to/usr/lib/systemd/system/tripsift.service

# The page has what --help has.
commands=$(sed -n 's/^X(\([a-z]*\)).*/\1/p' daemon/cmd_list.h)
for c in $commands; do
	grep -q "^\.SS tripsift $c" "$page" || say "tripsift.1 lacks $c"
	for o in $("$program" "$c" --help | sed -n 's/^  .*--\([a-z-]*\).*/\1/p' | sort -u); do
		tr -d '\\' <"$page" | grep -q -- "--$o" || say "tripsift.1 lacks --$o"
	done
done
for r in rules/*.c; do
	id=$(sed -n 's/^	\.id = "\(.*\)",.*/\1/p' "$r" | head -n 1)
	[ -z "$id" ] || grep -q "^\.SS $id" "$to/usr/share/man/man7/tripsift-rules.7" ||
		say "tripsift-rules.7 lacks the settings of $id"
done
if command -v mandoc >/dev/null; then
	for p in "$to"/usr/share/man/man?/*; do
		found=$(mandoc -Tlint "$p") || say "$found"
	done
else
	echo "the pages were not checked: no mandoc here"
fi

# What bash offers. Words: expected, then the line as typed.
offers() {
	want=$1
	shift
	have=$(bash -c 'source "$0"; COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); _tripsift 2>/dev/null
		echo "${COMPREPLY[*]}"' "$to/usr/share/bash-completion/completions/tripsift" tripsift "$@")
	[ "$have" = "$want" ] || say "completion of \"$*\" gives \"$have\", not \"$want\""
}
if command -v bash >/dev/null; then
	offers "status" st
	offers "--level --limit" triage --l
	offers "now soon later" triage --level ""
	offers "now soon later" triage -l ""
	offers "chatter" triage --rule ch
	offers "chatter" rules ch
	offers "events" export ev
	offers "samples" ingest sam
	offers "samples" watch sam
	offers "" watch README
	offers "nightly" help n
	offers "" nonsense ""
else
	echo "the completion was not tried: no bash here"
fi

grep -q '^ExecStart=/usr/bin/tripsift watch ' "$unit" || say "the unit starts another program"
if command -v systemd-analyze >/dev/null; then
	told=$(systemd-analyze security --offline=yes --threshold=10 "$unit" 2>&1) || say "the unit exposes more than 1.0"
	echo "$told" | grep 'Overall exposure'
	found=$(echo "$told" | grep -E 'Unknown key|Failed to parse')
	[ -z "$found" ] || say "$found"
else
	echo "the unit was not looked at: no systemd-analyze here"
fi

# What people made stays.
mkdir -p "$to/var/lib/tripsift/drop/inbox" "$to/etc/tripsift"
echo kept >"$to/var/lib/tripsift/tripsift.db"
echo kept >"$to/etc/tripsift/watch.conf"
log=$(run uninstall) || say "make uninstall: $log"
left=$(cd "$to" && find . -type f | sort | tr '\n' ' ')
[ "$left" = "./etc/tripsift/watch.conf ./var/lib/tripsift/tripsift.db " ] || say "left: $left"
exit $bad
