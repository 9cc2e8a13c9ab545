# As it stood earlier: what came later is not known.
tripsift site 5684 --as-of 2026-09-24 | sed -n '/^Covered/,/^DEVICES/p'
