tripsift triage --format csv
