# Cells of one age, what to bring, a fire test, work done and the weeks before and after.
tripsift site 2048
