#!/bin/sh
# run.sh PROGRAM [TEST.mjs...] - the pages in a real browser; see `make test-pages`.
#
# Brings the npm packages of package-lock.json to build/pages (nothing of them lies in the
# tree), has PROGRAM write its pages (prepare.mjs tells over what), and runs all
# tests/pages/*.test.mjs, or those that are named. SHOTS=1 takes pictures for people
# instead: every page, in build/pages/shots. CHROMIUM names another browser.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
PROGRAM=$(cd "$(dirname "$1")" && pwd)/$(basename "$1")
PAGES=$(cd "$here/../.." && pwd)/build/pages
export PROGRAM PAGES
shift
node -e 'process.exit(process.versions.node.split(".")[0] < 20 ? 1 : 0)' ||
    { echo "node 20 or newer is needed, this is $(node --version)"; exit 1; }
mkdir -p "$PAGES"
# The mark is put down last: an install that was cut short is done again.
if ! cmp -s "$here/package-lock.json" "$PAGES/node_modules/installed"; then
	cp "$here/package.json" "$here/package-lock.json" "$here/.npmrc" "$PAGES"
	(cd "$PAGES" && npm ci --ignore-scripts >npm.log 2>&1) || { tail -n 20 "$PAGES/npm.log"; exit 1; }
	cp "$here/package-lock.json" "$PAGES/node_modules/installed"
fi
node "$here/prepare.mjs"
[ -z "${SHOTS:-}" ] || exec node "$here/shots.mjs" "$@"
[ $# != 0 ] || set -- "$here"/*.test.mjs
exec node --test --test-concurrency=2 --test-reporter=spec "$@"
