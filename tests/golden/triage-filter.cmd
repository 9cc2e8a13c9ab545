tripsift triage --level soon --rule chatter --limit 2
