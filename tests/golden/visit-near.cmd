# Another serial than planned, one digit off.
tripsift visit 4774 | sed -n '/^NOT COMPLETE/,/^THE PANEL/p'
