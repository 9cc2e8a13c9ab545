# A decision moves a finding down, never away; on life safety it moves nothing.
now() { sed -E 's/20[2-8][0-9]-[0-9]{2}-[0-9]{2}( [0-9]{2}:[0-9]{2})?/NOW/'; }
id() { tripsift triage --format csv --account "$1" --rule "$2" | sed -n 2p | cut -d, -f1; }
chatter=$(id 5684 chatter)
life=$(id 7784 life-alarm)
tripsift decide "$chatter" "$life" --as planned --who 'R. Moser' --until 2099-01-01 \
    --why 'magnet on order' | now
tripsift decide "$chatter" --as expected --who 'R. Moser'
echo "exit $?"
tripsift explain "$chatter" | now | sed -n '/^DECISIONS/,/^$/p'
tripsift triage --rule chatter --format csv | cut -d, -f1,3
tripsift decide "$chatter" --as seen --who 'A. Weber' | now
