id=$(tripsift triage --format csv --account 8104 --rule chatter | sed -n 2p | cut -d, -f1)
tripsift decide "$id" --as seen --who 'R. Moser' > /dev/null
tripsift explain "$id" --format json | sed -E 's/"at":"[^"]*"/"at":"NOW"/'
