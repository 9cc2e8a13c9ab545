# Wordings that change give the stored events their meaning anew, and double nothing.
cat > words.csv <<EOT
what,match,gives
column,When,time
column,Site,account
column,What,event
column,Note,text
event,^alarm,alarm
event,^door,zone-open
EOT
cat > export.csv <<EOT
Site,When,What,Note
77,2026-10-01 08:00:00,Alarm,smoke in the kitchen
77,2026-10-01 09:00:00,Door,opened
77,2026-10-01 09:01:00,Hatch,opened
77,2026-10-01 10:00:00,E111,door
EOT
log() { sqlite3 "$1" "SELECT time, event, word, text, marks FROM event_log ORDER BY id"; }
tripsift ingest --db a.db words.csv export.csv --timezone UTC
log a.db
sed -i 's/^event,^alarm,alarm/event,^alarm\\n.*smoke,E111/; s/zone-open/trip/' words.csv
tripsift ingest --db a.db words.csv --timezone UTC
log a.db
echo "--- the same again"
tripsift ingest --db a.db words.csv export.csv --timezone UTC
log a.db
echo "--- a later call, which brings no wordings: the store keeps them"
sed 's/2026-10-01/2026-10-02/' export.csv > later.csv
tripsift ingest --db a.db later.csv --timezone UTC | sed -n '/note/,/^$/p'
log a.db | tail -n 3
echo "--- a pattern that is wrong"
echo 'event,(,trip' >> words.csv
tripsift ingest --db b.db words.csv export.csv --timezone UTC
echo "exit $?"
tripsift check --wordings words.csv export.csv
echo "exit $?"
tripsift check --wordings export.csv export.csv
echo "exit $?"
echo "--- none any more"
echo 'what,match,gives' > words.csv
tripsift ingest --db a.db words.csv --timezone UTC | head -n 2
tripsift ingest --db a.db export.csv --timezone UTC | head -n 3
