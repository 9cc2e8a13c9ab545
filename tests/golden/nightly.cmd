# Five nights: the first, one with changes, one without, one without new data, one with rows
# that come late.
zone=account,time,event,zone
mkdir in
cat > in/sites.csv <<EOT
account,timezone,name
A1,Europe/Vienna,Thistle
B2,Europe/Vienna,Teasel
C3,Europe/Vienna,Mallow
EOT
cat > in/roster.csv <<EOT
account,zone,device,name
A1,1,contact,back door
A1,2,smoke,landing
B2,1,contact,gate
EOT
cat > in/10-20.csv <<EOT
$zone
A1,2026-10-19 08:00:00,zone-open,1
A1,2026-10-19 08:00:05,zone-close,1
A1,2026-10-19 08:10:00,E110,2
A1,2026-10-19 08:20:00,R110,2
B2,2026-10-19 08:20:00,zone-open,1
B2,2026-10-20 01:00:00,zone-close,1
EOT
night() {
	tripsift nightly --db new.db in --out out --now "$1"; echo "exit $?"
	# Whose files they are, and the day of the decision, are this machine's.
	sed -E '/^CHANGED/,/^$/d; s/ on 20[2-9][0-9]-[0-9-]+/ on TODAY/' out/digest.txt
	sed -n '/^CHANGED/,/^$/p' out/digest.txt | tr -s '\n ' ' ' |
	    sed -E 's/file of [A-Za-z0-9_-]+/file of OWNER/g; s/\) /)\n/g'
	cat out/findings.csv out/set-aside.csv; ls out
}
night 2026-10-20T05:30
echo ------------------------------------------------------------------------ changes
{
	echo $zone
	for minute in 0 10; do
		for second in 00 05 10 15 20 25 30 35; do
			echo "B2,2026-10-20 2$((minute / 10)):30:$second,zone-open,1"
			echo "B2,2026-10-20 2$((minute / 10)):30:$((second + 2)),zone-close,1" | sed 's/:2,/:02,/; s/:7,/:07,/'
		done
	done
	echo 'A1,2026-10-20 22:00:00,130,3'
	echo 'A1,2026-10-21 00:30:00,"E130",3'
} > in/10-21.csv
echo 'rule,setting,value,scope,who
nightly,set_aside,2.5,*,A. Weber
chatter,bursts,3,account=A1,A. Weber' > in/settings.csv
printf 'name,colour\na,red\n' > in/other.csv
id=$(sed -n '2s/,.*//p' out/findings.csv)
tripsift decide --db new.db $id --as planned --who 'R. Moser' --until 2099-01-01 --why Friday > decided
night 2026-10-21T05:30
echo ------------------------------------------------------------------------ nothing
rm in/other.csv
echo "$zone
A1,2026-10-22 00:30:00,check-in,1
B2,2026-10-22 00:30:00,check-in,1" > in/10-22.csv
night 2026-10-22T05:30
echo ------------------------------------------------------------------------ no data
night 2026-10-23T05:30
echo ------------------------------------------------------------------------ late
{
	echo $zone
	for second in 00 10 20 30; do
		echo "B2,2026-10-18 21:30:$second,zone-open,1"
		echo "B2,2026-10-18 21:30:$((second + 2)),zone-close,1" | sed 's/:2,/:02,/'
	done
} > in/10-18-late.csv
night 2026-10-23T05:40 | sed '/^COVERAGE/,/^$/d'
echo ------------------------------------------------------------------------ wrong
tripsift nightly --db new.db in
tripsift nightly --db new.db in --out in; echo "exit $?"
tripsift nightly --db new.db in --out out --expect 25:00; echo "exit $?"
tripsift nightly --db new.db nowhere --out out; echo "exit $?"
tripsift nightly --db new.db in --out in/sites.csv
