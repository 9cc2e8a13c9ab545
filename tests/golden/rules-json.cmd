tripsift rules life-alarm --format json
