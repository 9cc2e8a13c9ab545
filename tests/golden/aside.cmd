# What is set aside can be written out, mended and read back.
cat > bad.csv <<EOT
Account,Time,Event,Zone,Text,operator
5684,2026-10-01 10:00:00,E999x,1,,a
5684,2026-02-30 10:00:00,E130,1,"=1+1, ""x""",b
5684,2026-10-01 10:00:00,130,1,,c
EOT
tripsift check bad.csv --format json
echo "exit $?"
tripsift ingest bad.csv
echo "exit $?"
tripsift export --set-aside | tee mend.csv
sed -i 's/E999x/E130/; s/2026-02-30/2026-02-28/; s/,130,/,E130,/' mend.csv
tripsift ingest mend.csv
