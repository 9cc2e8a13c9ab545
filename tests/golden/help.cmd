tripsift
for c in ingest check triage site visit explain decide rules status export; do
	echo "---- $c"
	tripsift $c --help
done
