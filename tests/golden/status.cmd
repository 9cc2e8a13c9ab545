tripsift status | sed -E 's/^(store +).*/\1.../; s/^(last taken in +).*/\1.../; s/^(free disk +).*/\1.../'
