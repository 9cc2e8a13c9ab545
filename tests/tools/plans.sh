#!/bin/sh
# plans.sh PROGRAM - the view over events never walks the whole table for one account,
# and a person can read the store with the ordinary sqlite3 shell.
set -u
program=$1
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
printf 'account,time,event,zone\nA1,2026-10-01T08:00:00Z,zone-open,5\na1,2026-10-01T08:00:09Z,zone-close,5\nB2,2026-10-01T08:00:00Z,E384,2\n' > "$dir/e.csv"
"$program" ingest --db "$dir/s.db" "$dir/e.csv" >/dev/null 2>&1 || { echo "cannot ingest"; exit 1; }
bad=0
plan() {	# what, SQL
	out=$(sqlite3 "$dir/s.db" "EXPLAIN QUERY PLAN $2") || { echo "$1: the shell cannot read it"; bad=1; }
	echo "$out" | grep -qE 'SCAN (b|block|r|run)\b' && { echo "$1 walks a whole table:"; echo "$out"; bad=1; }
	echo "$out" | grep -q 'SEARCH b USING INTEGER PRIMARY KEY' || { echo "$1 does not find blocks by id:"; echo "$out"; bad=1; }
}
plan "one account" "SELECT * FROM event_log WHERE account = 'A1'"
plan "one account, one day" "SELECT * FROM event_log WHERE account = 'A1' AND utc >= '2026-10-01' AND utc < '2026-10-02'"
plan "one account by zone" "SELECT * FROM event_log WHERE account = 'A1' AND zone = '5'"
n=$(sqlite3 "$dir/s.db" "SELECT count(*) FROM event_log WHERE account = 'a1'")
[ "$n" = 2 ] || { echo "event_log: $n rows for A1 instead of 2"; bad=1; }
line=$(sqlite3 "$dir/s.db" "SELECT utc, event, word, zone FROM event_log WHERE account = 'B2'")
[ "$line" = "2026-10-01T08:00:00Z|E384|low-battery|2" ] || { echo "event_log shows: $line"; bad=1; }
# What the program exports is what the view shows, row for row.
printf 'account,time,event,zone,user,text,received,signal,partition,serial\nA1,2026-10-25 02:30:00,zone-open,7,,"a ""b""\n\\c\001é",2026-10-25 02:30:09.5,-71 dBm,1,4A-01\nB2,2026-10-01T08:00:00.250+05:30,R401,0,3,same,2026-10-01T08:00:01Z,,,\nB2,2026-10-01 08:00,E130,3,,same,2026-10-01T08:00:03+02:00,,,\nB2,1970-01-01 00:00:10,zone-open,3,,same,2026-10-01T09:00:03+02:00,,,\n' > "$dir/f.csv"
"$program" ingest --db "$dir/s.db" --timezone Europe/Berlin "$dir/f.csv" >/dev/null 2>&1
"$program" export events --db "$dir/s.db" > "$dir/export.csv"
python3 - "$dir" <<'PY' || bad=1
import csv, sqlite3, sys
where = sys.argv[1]
with open(where + "/export.csv", newline="") as f:
    told = [tuple(r[k] for k in ("account", "utc", "time", "event", "word", "partition", "zone",
            "serial", "user", "received", "signal", "marks")) for r in csv.DictReader(f)]
with sqlite3.connect(where + "/s.db") as db:
    shown = [tuple("" if v is None else str(v) for v in r) for r in db.execute(
        "SELECT account, utc, time, event, word, partition, zone, serial, user, received, signal,"
        " marks FROM event_log")]
    number = db.execute("SELECT count(*), sum(wall), sum(shift) FROM event").fetchone()
if sorted(told) != sorted(shown) or number[0] != len(told) or len(told) != 7:
    sys.exit(f"export and event_log differ:\n{sorted(told)}\n{sorted(shown)}\n{number}")
PY
sqlite3 "$dir/s.db" "SELECT count(*) FROM pragma_table_list WHERE schema = 'main' AND type = 'table' AND strict = 0 AND name NOT LIKE 'sqlite%'" | grep -qx 0 ||
    { echo "a table is not STRICT"; bad=1; }
sqlite3 "$dir/s.db" "SELECT name FROM sqlite_schema WHERE type IN ('table', 'view') AND name NOT LIKE 'sqlite%' AND sql NOT LIKE '%--%'" |
    grep -vE '^(word|mark|night)$' && { echo "these tables carry no comment"; bad=1; }
exit $bad
