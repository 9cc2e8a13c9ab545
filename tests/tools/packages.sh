#!/bin/sh
# packages.sh WHAT - brings the Debian packages that `run`, `test`, `ci` or `pages` needs.
#
# Says what it installs; where it may not, says what to run instead and leaves with 1.
set -u
run="gcc make libsqlite3-dev zlib1g-dev libpcre2-dev tzdata"
case "${1:-run}" in
run)  want=$run ;;
test) want="$run libcmocka-dev python3 sqlite3" ;;
ci)   want="$run libcmocka-dev python3 sqlite3 clang mandoc systemd" ;;
pages)	# the browser, and what runs the tests in it; npm may come with a node of another maker
	want="$run chromium"
	command -v node >/dev/null || want="$want nodejs"
	command -v npm >/dev/null || want="$want npm" ;;
*)    echo "usage: packages.sh run|test|ci|pages"; exit 2 ;;
esac

command -v dpkg-query >/dev/null 2>&1 || {
	echo "This is no Debian or Ubuntu machine. Please install, under your system's names:"
	echo "  $want"
	exit 0
}
missing=""
for p in $want; do
	dpkg-query -W -f='${Status}' "$p" 2>/dev/null | grep -q '^install ok installed' || missing="$missing $p"
done
[ -n "$missing" ] || exit 0
if [ "$(id -u)" != 0 ]; then
	echo "These packages are missing:$missing"
	echo "Please run:  sudo apt-get install$missing"
	exit 1
fi
echo "Installing packages:$missing"
log=$(mktemp)
# shellcheck disable=SC2086
if { apt-get update && DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends $missing; } >"$log" 2>&1; then
	rm -f "$log"
else
	tail -n 20 "$log"
	rm -f "$log"
	echo "The packages could not be installed. Please run:  apt-get install$missing"
	exit 1
fi
