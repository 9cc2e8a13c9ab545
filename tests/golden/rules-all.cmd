tripsift rules
