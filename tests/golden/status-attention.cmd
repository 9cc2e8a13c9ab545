# Accounts of sites that the exports do not reach, rows set aside, accounts not judged.
mask() { sed -E 's/"(store|last_taken)":"[^"]*"/"\1":"..."/; s/"bytes":[0-9]+/"bytes":0/
    s/^(store +).*/\1.../; s/^(last taken in +).*/\1.../
    s/^(free disk +).*/\1.../; s/"disk_(free|days)":[0-9]+/"disk_\1":0/; s/"log_bytes":[0-9]+/"log_bytes":0/'; }
printf 'account,timezone\nA1,UTC\nA2,UTC\n' > sites.csv
printf 'account,time,event\nA1,2026-10-01 08:00:00,arm\nA1,2026-10-01 09:00:00,\n' > events.csv
tripsift ingest --db new.db --no-judge sites.csv events.csv > /dev/null
tripsift status --db new.db > text; echo "exit $?"
mask < text
tripsift status --db new.db --format json | mask
