# What is too old goes by night, and the digest tells it; open findings stay as they are.
mkdir in
echo 'account,timezone,name
A1,UTC,Thistle' > in/sites.csv
{
	echo account,time,event,zone
	for d in 01 02 03 04 05 06 07 08; do
		echo "A1,2024-03-$d 08:00:00,zone-open,1"
		echo "A1,2024-03-$d 08:00:05,zone-close,1"
	done
	echo "A1,2024-03-08 09:00:00,low-battery,2"
	echo "A1,2024-03-40 09:00:00,low-battery,2"
} > in/old.csv
echo 'account,time,event,zone
A1,2025-10-01 08:00:00,zone-open,1
A1,2025-10-01 23:00:00,zone-close,1' > in/new.csv
tripsift ingest --db new.db in | tail -3
cp new.db copy.db
tripsift expire --db new.db
echo 'rule,setting,value,who
kept,events,90,A. Weber
kept,backups,30,A. Weber' > short.csv
tripsift ingest --db new.db short.csv
echo 'rule,setting,value,who,scope
kept,events,400,A. Weber,
kept,set_aside,30,A. Weber,*
kept,done,90,A. Weber,account=A1' > in/kept.csv
tripsift ingest --db new.db in/kept.csv
tripsift expire --db new.db
tripsift expire --db new.db --format json
tripsift triage --db new.db --format csv | sed 's:,new,:,:; s:,continuing,:,:' > before
tripsift nightly --db new.db in --out out --now 2025-10-02T05:30 | grep -v html
sed -n '/^REMOVED/,/^$/p' out/digest.txt
tripsift triage --db new.db --format csv | sed 's:,new,:,:; s:,continuing,:,:' | cmp - before && echo the same findings
tripsift status --db new.db | grep -E '^(files|holds|keeps)' -A 1 | grep -v '^--'
tripsift ingest --db new.db in/old.csv | sed 2q
tripsift ingest --db new.db in/old.csv --format csv
tripsift expire --db new.db --yes
tripsift expire --db new.db nowhere; echo "exit $?"
tripsift rules kept --db new.db | sed -E 's/20[2-8][0-9]-[0-9]{2}-[0-9]{2}/TODAY/'
