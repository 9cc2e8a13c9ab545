# As a page: the picture of the days, serial against serial, evidence.
tripsift site 4774 --format html | sed -n '/<main/,$p' | grep -v 'Written by'
# Nothing silent gets in, by name or by code; the count is 0.
tripsift site 2244 --format html | sed -n '/<main/,$p' | grep -ciE 'hold-?up|panic|duress|E12[0-9]'
