#!/bin/sh
# demo.sh PROGRAM - the invented town of samples/, as each of the three users sees it.
set -eu
program=$1
store=build/demo.db
rm -f $store $store-wal $store-shm
run() {
	echo
	echo "\$ tripsift $*"
	TRIPSIFT_DB=$store "$program" "$@" || [ $? = 1 ]	# 1: done, and a person is needed
}
run ingest samples/town
echo
echo "== Monitoring staff: what needs a person, worst first =="
run triage
echo
echo "== A technician, before the call: one site =="
run site "$(cat samples/demo-site)"
echo
echo "== The same technician, before leaving: the visit =="
run visit "$(cat samples/demo-visit)"
echo
echo "The store is $store. Try:  TRIPSIFT_DB=$store $program explain FINDING"
