#!/usr/bin/env bash
# Everything that CI runs. Every step runs even when an earlier one failed. Ends with one line: N passed, N failed, N skipped.
# Passed and failed count tests, and each step without tests of its own that failed. CRATES="power network" looks at these crates alone.
set -euo pipefail
cd "$(dirname "$0")/.."

scope=(--workspace)
if [ -n "${CRATES:-}" ]; then
    scope=()
    for crate in $CRATES; do scope+=(-p "$crate"); done
fi
# In CI the lock file is the one that was committed.
locked=()
[ "${CI:-}" != true ] || locked=(--locked)

log=$(mktemp)
trap 'rm -f "$log"' EXIT
failed=0

step() { # title, command...
    local title=$1 status=0 begun=$SECONDS
    shift
    printf '\n== %s\n' "$title"
    "$@" || status=$?
    if [ "$status" -ne 0 ]; then
        printf 'FAILED: %s\n' "$title"
        failed=$((failed + 1))
    fi
    printf '(%d s)\n' "$((SECONDS - begun))"
}

# What could not be fetched is not a failure here: the checks that need it say SKIPPED.
fetch() {
    local status=0
    python3 reference/fetch.py || status=$?
    [ "$status" -ne 3 ] || { echo "some recordings were not fetched; the checks on them are skipped"; status=0; }
    return "$status"
}

format() {
    if [ -n "${CRATES:-}" ]; then cargo fmt --check "${scope[@]}"; else cargo fmt --all --check; fi
}

count() { # word of cargo's summaries
    awk -v word="$1" '/^test result: / { for (i = 2; i <= NF; i++) if ($i ~ "^" word ";?$") n += $(i - 1) } END { print n + 0 }' "$log"
}

bash scripts/need.sh cc python pip deb mosquitto poppler
step "recordings" fetch
step "reference files" python3 reference/check.py
[ -n "${CRATES:-}" ] || step "page" bash scripts/page.sh
step "format" format
step "lints" cargo clippy "${locked[@]}" "${scope[@]}" --all-targets -- -D warnings
step "cores without the standard library" bash scripts/no_std.sh

printf '\n== tests\n'
begun=$SECONDS
# Tests tell what they skip on standard error, hence --nocapture; the lines of tests that passed are not shown.
set +e
cargo test "${locked[@]}" "${scope[@]}" --no-fail-fast -- --nocapture 2>&1 | tee "$log" |
    sed -E '/^test .* \.\.\. ok$/d; /^running [0-9]+ tests?$/d; /^$/d'
status=${PIPESTATUS[0]}
set -e
printf '(%d s)\n' "$((SECONDS - begun))"

passed=$(count passed)
tests_failed=$(count failed)
# A build that failed, or a test program that died, leaves no count.
if [ "$status" -ne 0 ] && [ "$tests_failed" -eq 0 ]; then tests_failed=1; fi
failed=$((failed + tests_failed))
if [ -z "${CRATES:-}" ]; then
    printf '\n== the page\n'
    begun=$SECONDS
    pages=$(mktemp)
    # The program that the tests have built carries the page already.
    [ ! -x target/debug/soundline ] || export SOUNDLINE_BIN=$PWD/target/debug/soundline
    bash scripts/page_test.sh 2>&1 | tee "$pages" || true
    # Its last line counts; without one, it died.
    read -r page_passed page_failed < <(awk '/^page: [0-9]+ passed, / { p = $2; f = $4; n = 1 } END { print n ? p " " f : "0 1" }' "$pages")
    rm -f "$pages"
    passed=$((passed + page_passed))
    failed=$((failed + page_failed))
    printf '(%d s)\n' "$((SECONDS - begun))"
fi
skips=$(grep -oE 'SKIPPED: .*' "$log" || true)
skipped=$(count ignored)
if [ -n "$skips" ]; then
    printf '\nskipped:\n%s\n' "$skips"
    skipped=$((skipped + $(wc -l <<< "$skips")))
fi
if [ "${CI:-}" = true ] && [ "$skipped" -gt 0 ]; then
    echo "in CI a skipped check is a failure"
fi
if [ "$passed" -eq 0 ]; then
    echo "no test ran"
fi
printf '\n%d passed, %d failed, %d skipped\n' "$passed" "$failed" "$skipped"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ] && { [ "${CI:-}" != true ] || [ "$skipped" -eq 0 ]; }
