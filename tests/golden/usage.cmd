# Wrong use is told with what would be right, and exits with 2; no store with 3.
try() { tripsift "$@"; echo "exit $?"; }
exec 2>&1
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
try ingest --timezone Europe/Viena "$SAMPLES/town/sites.csv"
try ingest --covers 2026-10-02/2026-10-01 "$SAMPLES/town/sites.csv"
try triage --db none.db
try status --db none.db
