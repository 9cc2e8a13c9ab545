# To print and to sign.
tripsift visit 5041 --format html | sed -n '/<main/,$p' | grep -v 'Written by'
