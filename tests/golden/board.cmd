# The rows of the page alone: the rest is style, script and this minute.
tripsift triage --format html --level later | sed -n '/<section class="list/,/<section id="bar"/p' | sed '$d'
echo
tripsift triage --format html --rule nonsense
