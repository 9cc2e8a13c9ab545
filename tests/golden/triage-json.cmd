tripsift triage --format json --rule life-alarm --account 7784
