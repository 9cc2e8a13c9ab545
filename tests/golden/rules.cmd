cat > settings.csv <<EOT
rule,setting,value,scope,who
chatter,bursts,4,group=town,A. Weber
chatter,window,2m,account=5684,A. Weber
EOT
tripsift ingest settings.csv > /dev/null
tripsift rules chatter
tripsift rules --format csv | grep -E 'scope|Weber' | sed 's/,[^,]*$/,TAKEN/'
