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
	echo "$out" | grep -qE 'SCAN (e|event|r|run)\b' && { echo "$1 walks a whole table:"; echo "$out"; bad=1; }
	echo "$out" | grep -q 'SEARCH e USING INTEGER PRIMARY KEY' || { echo "$1 does not find events by id:"; echo "$out"; bad=1; }
}
plan "one account" "SELECT * FROM event_log WHERE account = 'A1'"
plan "one account, one day" "SELECT * FROM event_log WHERE account = 'A1' AND utc >= '2026-10-01' AND utc < '2026-10-02'"
plan "one account by zone" "SELECT * FROM event_log WHERE account = 'A1' AND zone = '5'"
n=$(sqlite3 "$dir/s.db" "SELECT count(*) FROM event_log WHERE account = 'a1'")
[ "$n" = 2 ] || { echo "event_log: $n rows for A1 instead of 2"; bad=1; }
line=$(sqlite3 "$dir/s.db" "SELECT utc, event, word, zone FROM event_log WHERE account = 'B2'")
[ "$line" = "2026-10-01T08:00:00Z|E384|low-battery|2" ] || { echo "event_log shows: $line"; bad=1; }
sqlite3 "$dir/s.db" "SELECT count(*) FROM pragma_table_list WHERE schema = 'main' AND type = 'table' AND strict = 0 AND name NOT LIKE 'sqlite%'" | grep -qx 0 ||
    { echo "a table is not STRICT"; bad=1; }
sqlite3 "$dir/s.db" "SELECT name FROM sqlite_schema WHERE type IN ('table', 'view') AND name NOT LIKE 'sqlite%' AND sql NOT LIKE '%--%'" |
    grep -vE '^(word|mark|night)$' && { echo "these tables carry no comment"; bad=1; }
exit $bad
