tripsift site 5684
