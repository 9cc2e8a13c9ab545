#!/bin/sh
# docs.sh PROGRAM - what exists is written down: every rule and command in README.md,
# every rule file in its list, every column and event word in parsers/FORMAT.md.
set -u
program=$1
bad=0
say() { echo "$1"; bad=1; }
for f in $(grep -l '^const struct rule rule_' rules/*.c); do
	name=$(basename "$f" .c)
	grep -q "^X($name)" rules/list.h || say "rules/list.h lacks $name"
	id=$(echo "$name" | tr _ -)
	grep -q "\`$id\`" README.md || say "README.md lacks the rule $id"
	grep -q "^| \`$id\` |" rules/RULES.md || say "rules/RULES.md lacks the rule $id"
	ls tests/rules/"$id"/*.txt >/dev/null 2>&1 || say "tests/rules/$id has no cases"
done
for c in $(sed -n 's/^X(\([a-z]*\)).*/\1/p' daemon/cmd_list.h); do
	grep -q "tripsift $c" README.md || say "README.md lacks the command $c"
	"$program" "$c" --help >/dev/null || say "$c --help fails"
done
for c in $(sed -n '/define COLUMN_LIST/,/^$/p' parsers/reader.h | grep -o '"[a-z_]*"' | tr -d '"'); do
	grep -q "\`$c\`" parsers/FORMAT.md || say "parsers/FORMAT.md lacks the column $c"
done
for w in $(sed -n '/define WORD_LIST/,/^$/p' daemon/base/words.h | sed -n 's/.*X([A-Z_]*, "\([a-z-]*\)".*/\1/p'); do
	grep -q "\`$w\`" parsers/FORMAT.md || say "parsers/FORMAT.md lacks the event word $w"
done
exit $bad
