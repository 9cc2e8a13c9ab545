#!/bin/sh
# run.sh PROGRAM [NAME...] - what people and programs are shown, compared byte by byte.
#
# NAME.cmd is a shell script; "tripsift" in it is PROGRAM, $SAMPLES the folder of samples,
# and $TRIPSIFT_DB a store of its own that holds samples/town. NAME.out is what it must
# print: standard output, standard error after it, and "exit N".
# UPDATE=1 writes the .out files anew: read the difference before it is committed.
set -u
here=$(cd "$(dirname "$0")" && pwd)
program=$(cd "$(dirname "$1")" && pwd)/$(basename "$1")
shift
work=$(mktemp -d "${TMPDIR:-/tmp}/golden.XXXXXX") || exit 3
trap 'rm -rf "$work"' EXIT
SAMPLES=$(cd "$here/../../samples" && pwd)
LC_ALL=C.UTF-8 TZ=UTC NO_COLOR=1
export SAMPLES LC_ALL TZ NO_COLOR
unset TRIPSIFT_DB TRIPSIFT_WHO COLUMNS
mkdir "$work/bin"
ln -s "$program" "$work/bin/tripsift"
PATH=$work/bin:$PATH
export PATH

# The store is made once, from a folder without this machine's name in it.
mkdir "$work/master"
(cd "$SAMPLES/.." && tripsift ingest --db "$work/master/town.db" samples/town) \
    > "$work/ingest" 2>&1
if [ ! -f "$work/master/town.db" ]; then
	cat "$work/ingest"
	echo "golden: the samples could not be read"
	exit 1
fi

[ $# -gt 0 ] || set -- $(cd "$here" && ls ./*.cmd 2>/dev/null | sed 's,^\./,,; s,\.cmd$,,')
bad=0 n=0
for name; do
	n=$((n + 1))
	rm -rf "$work/run"
	mkdir "$work/run"
	cp "$work/master/"* "$work/run/"
	TRIPSIFT_DB=$work/run/town.db
	export TRIPSIFT_DB
	(cd "$work/run" && sh "$here/$name.cmd" > ../out 2> ../err)
	rc=$?
	{ cat "$work/out"; sed 's/^/! /' "$work/err"; echo "exit $rc"; } |
	    sed "s,$work,WORK,g; s,$SAMPLES,SAMPLES,g" > "$work/got"
	if [ -n "${UPDATE:-}" ]; then
		cmp -s "$work/got" "$here/$name.out" || echo "golden: $name written anew"
		cp "$work/got" "$here/$name.out"
	elif ! diff -u "$here/$name.out" "$work/got"; then
		echo "golden: $name differs"
		bad=$((bad + 1))
	fi
done
echo "golden: $n compared, $bad differ"
[ $bad -eq 0 ]
