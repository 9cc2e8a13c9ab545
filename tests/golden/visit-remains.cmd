tripsift visit 5176
