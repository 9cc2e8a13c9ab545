# The same reading as ingest; nothing is stored, and no store is made.
printf 'account\ttime\tevent\tzone\r\n5684\t2026-10-30T08:00:00Z\tE384\t3\r\n5684\t2026-10-30T08:00:00Z\tE38\t3\r\n' > tab.csv
tripsift check tab.csv; echo "exit $?"
tripsift check --format json - < tab.csv; echo "exit $?"
unset TRIPSIFT_DB
tripsift check "$SAMPLES/town/plan.csv"; echo "exit $?"
tripsift check none.csv; echo "exit $?"
ls *.db
