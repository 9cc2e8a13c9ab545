# The first minute, and the help of every command that it names.
tripsift
for c in $(tripsift | sed -n '/^Commands/,/^$/s/^  \([a-z]*\) .*/\1/p'); do
	echo "---- $c"
	tripsift $c --help
done
