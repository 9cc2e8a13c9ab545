#!/bin/sh
# demo.sh PROGRAM - the invented town of samples/, as each of the three users sees it.
set -eu
program=$1
store=build/demo.db
mkdir -p build
rm -f $store $store-wal $store-shm
TRIPSIFT_DB=$store
export TRIPSIFT_DB
run() {
	echo
	echo "\$ tripsift $*"
	"$program" "$@" || [ $? = 1 ]	# 1: done, and a person is needed
}
title() {
	echo
	echo "== $1 =="
}
title "An invented town of 54 sites: samples/README.md tells what is wrong in it"
run ingest samples/town
title "Monitoring staff: what needs a person, worst first"
run triage
title "A technician, before the call: one site"
run site "$(cat samples/demo-site)"
title "The same technician, before leaving another site: the visit"
run visit "$(cat samples/demo-visit)"
finding=$("$program" triage --format csv --rule chatter --limit 1 | sed -n '2s/,.*//p')
echo
echo "The store is $store. Go on with"
echo "    export TRIPSIFT_DB=$store"
echo "    $program explain $finding"
echo "    $program decide $finding --as seen --who \"your name\""
echo "    $program --help"
