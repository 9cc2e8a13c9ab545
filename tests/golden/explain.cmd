id=$(tripsift triage --format csv --account 7784 --rule life-alarm | sed -n 2p | cut -d, -f1)
tripsift explain "$id"
