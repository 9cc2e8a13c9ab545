# The whole site lost: receiver before cells.
tripsift site 7921
