# Each part of the store as CSV.
tripsift export events --account 7166 | sed -n '1p;$p'
tripsift export findings --account 4774
tripsift export aside
id=$(tripsift triage --format csv --rule chatter --limit 1 | sed -n '2s/,.*//p')
tripsift decide "$id" --as expected --until 2099-01-01 --who 'A. Weber' --why '=1+1' > /dev/null
tripsift export decisions | sed -E 's/,20[2-8][0-9]-[0-9T:-]+Z,/,NOW,/'
tripsift export files | cut -d, -f1,2,5,7-12 | grep -v gz
tripsift export findings --out out.csv && stat -c '%a' out.csv && wc -l < out.csv
