tripsift triage
