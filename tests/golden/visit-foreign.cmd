# A neighbour's device got in beside the planned one.
tripsift visit 5041
