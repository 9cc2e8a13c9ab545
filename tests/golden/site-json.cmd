tripsift site 8335 --format json
