# Wrong use is told with what would be right, and exits with 2; no store with 3.
# Names of zones beyond the nearest depend on the machine's database.
try() { tripsift "$@" > said 2>&1; code=$?; sed 's,\(Europe/Vienna\)\, .*,\1 ...,' said; echo "exit $code"; }
try traige
try triage --lvl now
try triage --level urgent
try triage --limit -1
try triage --rule chater
try triage --account 99999
try site
try site 99999
try site 7921 2244
try explain nosuch
try decide nosuch --as seen
try decide nosuch --as planned --who X
try decide nosuch --as seen --who X
try rules chater
try export asid
try export
try export aside --set-aside
try ingest --timezone Europe/Viena "$SAMPLES/town/sites.csv"
try ingest --covers 2026-10-02/2026-10-01 "$SAMPLES/town/sites.csv"
try triage --db none.db
try status --db none.db
try visit
try visit 99999
try explain
try check
try check --as-of yesterday "$SAMPLES/town/sites.csv"
try status now
try export aside --kind rooster
try export events --account 99999
try triage --since tomorrow
try triage --group nowhere
try site 5684 --format csv
try nightly
try watch
try watch nowhere --nightly 05:30
