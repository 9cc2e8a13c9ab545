# Reading the same files again changes nothing.
tripsift triage --format csv > before
cd "$SAMPLES/.." && tripsift ingest samples/town | tail -5
cd "$OLDPWD" && tripsift triage --format csv | cmp - before && echo same
