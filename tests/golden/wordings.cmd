# Exports that speak otherwise: what their wordings map, which pattern decides, what none does.
cd "$SAMPLES"
tripsift check --wordings german/wordings.csv german/sites.csv german/melder.csv german/ereignisse.csv
echo "exit $?"
tripsift check clinic
echo "exit $?"
# Both in one call: each file finds its own.
tripsift check german clinic --format csv
echo "exit $?"
