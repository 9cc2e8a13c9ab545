# A finding on the whole site, and one that many accounts make together.
id=$(tripsift triage --format csv --account 7921 | sed -n 2p | cut -d, -f1)
tripsift explain "$id" | sed '/^SETTINGS/,/^THE RULE/d'
id=$(tripsift triage --format csv --rule battery-cluster | grep ',\*,' | cut -d, -f1)
tripsift explain "$id" | sed '/^SETTINGS/,/^THE RULE/d'
# One after work on the site.
id=$(tripsift triage --format csv --account 2048 --rule low-battery | sed -n 2p | cut -d, -f1)
tripsift explain "$id" | sed '/^SETTINGS/,/^THE RULE/d'
tripsift explain "$id" --format json | sed -n '/"work"/,$p'
