# What could not be written is noticed.
tripsift triage > /dev/full; echo "exit $?"
tripsift export events --out /dev/full; echo "exit $?"
tripsift triage >&-; echo "exit $?"
