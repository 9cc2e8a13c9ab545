# A folder of every kind of file into a new store: what is stored, repeated, set aside, failed.
mkdir in
cat > in/sites.csv <<EOT
account,timezone,name,group
A1,Europe/Vienna,Thistle,home
,Europe/Vienna,Nowhere,home
EOT
cat > in/roster.csv <<EOT
account;zone;device;serial;name;cell;checkin
A1;1;contact;4A0071;back door;CR123A;12h
A1;2;smoke;4A-00:72;landing;CR123A;12h
A1;3;telephone;4A0073;hall;;
EOT
cat > in/events.csv <<EOT
Account,Time,Event,Zone,Operator
a1,2026-10-25 02:30:00,zone-open,1,x
a1,2026-10-25 02:30:05,zone-close,1,x
a1,2026-10-25 02:20:00,zone-open,1,x
a1,2026-10-25 02:20:05,zone-close,1,x
A1,2026-10-26 08:00:00,E110,2,
A1,2026-10-26 08:00:00,E110,2,
A1,01/02/2026 08:05,R110,2,
0A1,2026-10-26 09:00:00,open,4,
A1,2026-10-26 10:00:00,"E384,1
A1,2026-10-26 11:00:00,R110,2,
EOT
cp in/events.csv in/events-again.csv
printf '\037\213\010\000cut off' > in/cut.csv.gz
printf 'name,colour\na,red\n' > in/other.csv
tripsift ingest --db new.db in; echo "exit $?"
tripsift ingest --db new.db in/events.csv in/roster.csv --format csv; echo "exit $?"
zone='A1,2026-10-26 12:00:00,zone-open,1'
printf 'account,time,event,zone\n%s\n' "$zone" | tripsift ingest --db new.db - --format json
echo "exit $?"
