tripsift visit 5041 --format json; echo "exit $?"
tripsift visit 7166 --format json; echo "exit $?"
