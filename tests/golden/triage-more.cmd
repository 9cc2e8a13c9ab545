# Filters, and how each says what is left out.
tripsift triage --format csv --group lake | cut -d, -f1-4
tripsift triage --format csv --state cleared | cut -d, -f2-4,7-8
tripsift triage --account 5684
tripsift triage --state continuing
tripsift triage --since 1h --format csv --account 5684 | cut -d, -f1-4
