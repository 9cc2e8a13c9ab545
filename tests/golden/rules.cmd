cat > settings.csv <<EOT
rule,setting,value,scope,who
chatter,bursts,4,group=town,A. Weber
chatter,window,2m,account=5684,A. Weber
EOT
tripsift ingest settings.csv > /dev/null
tripsift rules chatter | sed -E 's/20[2-8][0-9]-[0-9]{2}-[0-9]{2}/NOW/'
tripsift rules --format csv | grep -E 'scope|Weber' | sed 's/,[^,]*$/,TAKEN/'
