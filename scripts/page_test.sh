#!/usr/bin/env bash
# The page of the desk: types, its own tests, its build with its size, and the page in a browser on the real server.
# Ends with one line, page: N passed, N failed, N skipped. SOUNDLINE_BIN names a program that is built already, with this page in it.
set -euo pipefail
cd "$(dirname "$0")/.."

# All scripts and styles together, as they go over the wire.
largest_kb=250
log=$(mktemp)
trap 'rm -f "$log"' EXIT
passed=0
failed=0

check() { # title, command...
    local title=$1 status=0
    shift
    "$@" || status=$?
    if [ "$status" -eq 0 ]; then passed=$((passed + 1)); else printf 'FAILED: %s\n' "$title"; failed=$((failed + 1)); fi
}

# Tests of a run by their word in its last lines; a run that came to no count has failed once.
counted() { # status
    local good bad
    good=$(sed 's/\x1b\[[0-9;]*m//g' "$log" | awk '/^ *Tests / { for (i = 2; i <= NF; i++) if ($i ~ /^passed/) n = $(i - 1) } END { print n + 0 }')
    bad=$(sed 's/\x1b\[[0-9;]*m//g' "$log" | awk '/^ *Tests / { for (i = 2; i <= NF; i++) if ($i ~ /^failed/) n = $(i - 1) } END { print n + 0 }')
    if [ "$1" -ne 0 ] && [ "$bad" -eq 0 ]; then bad=1; fi
    if [ "$1" -eq 0 ] && [ "$good" -eq 0 ]; then echo "no test of the page ran"; bad=1; fi
    passed=$((passed + good))
    failed=$((failed + bad))
}

tests() { # command...
    local status=0
    "$@" 2>&1 | tee "$log" || status=${PIPESTATUS[0]}
    counted "$status"
}

size() {
    local bytes
    bytes=$(find web/built/page -type f \( -name '*.js' -o -name '*.css' -o -name '*.html' \) -exec sh -c 'gzip -9c "$1" | wc -c' _ {} \; | awk '{ n += $1 } END { print n }')
    printf 'the page: %d KB gzipped, bound %d KB\n' "$((bytes / 1000))" "$largest_kb"
    [ "$bytes" -le "$((largest_kb * 1000))" ]
}

addresses() { ! grep -nE '"resolved"|registry\.' web/package-lock.json; }

bash scripts/need.sh node chromium
check "the page builds" bash scripts/page.sh
check "size of the page" size
check "no address in the lock file" addresses
check "types of the page" npm --prefix web run --silent check
tests npm --prefix web run --silent unit

if [ -z "${SOUNDLINE_BIN:-}" ]; then
    check "the program builds" cargo build --quiet --workspace --bin soundline
    export SOUNDLINE_BIN=$PWD/target/debug/soundline
fi
tests npm --prefix web run --silent browser

printf 'page: %d passed, %d failed, 0 skipped\n' "$passed" "$failed"
[ "$failed" -eq 0 ]
