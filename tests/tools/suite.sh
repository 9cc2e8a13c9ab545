#!/bin/sh
# suite.sh BUILD - every quick test, each with one line; logs of those that fail are shown.
set -u
build=$1
program=$build/tripsift
passed=0 failed=0
try() {	# name, command...
	name=$1
	shift
	log=$build/log.$(echo "$name" | tr -c 'a-z0-9\n' _)
	if "$@" >"$log" 2>&1; then
		echo "ok    $name"
		passed=$((passed + 1))
	else
		cat "$log"
		echo "FAIL  $name"
		failed=$((failed + 1))
	fi
}
try "who includes whom" tests/tools/layers.sh
try "banned calls" tests/tools/banned.sh
try "what exists is written down" tests/tools/docs.sh "$program"
try "what is installed" tests/tools/install.sh "$build"
try "query plans" tests/tools/plans.sh "$program"
for t in "$build"/tests/unit/test_*; do
	case $t in *.o|*.d) continue ;; esac
	try "unit ${t##*test_}" "$t"
done
for f in "$build"/tests/fuzz/fuzz_*; do
	case $f in *.o|*.d) continue ;; esac
	n=${f##*fuzz_}
	try "corpus $n" "$f" tests/fuzz/corpus/"$n"/*
done
try "golden output" tests/golden/run.sh "$program"
for p in repeats splits invariant due aside wordings dc09 watch retention group kill; do
	try "property $p" python3 tests/property/$p.py "$program"
done
# What is put between the program and the system does not go with sanitizers.
case $build in
*sanitize*) ;;
*)
	try "crash" python3 tests/crash/crash.py "$program" "$build"/tests/crash/shim.so 1 40
	try "fault" python3 tests/crash/fault.py "$program" "$build"/tests/crash/shim.so 1 1
	try "odd" python3 tests/crash/odd.py "$program" "$build"/tests/crash/shim.so
	;;
esac
echo "$passed passed, $failed failed"
[ "$failed" = 0 ]
