# A replacement that the plan names.
tripsift visit 7166
