#!/usr/bin/env bash
# The main job on the example deployment: check the plan, rehearse a night, check again with what the rehearsal has shown.
set -euo pipefail
cd "$(dirname "$0")/.."

bash scripts/need.sh cc
cargo build --release --package soundline
soundline=${CARGO_TARGET_DIR:-target}/release/soundline
plan=plans/harrow-sound/plan.toml
cues=plans/harrow-sound/cues/ferry-night.toml
out=target/demo
mkdir -p "$out"

# Runs a command into a file. Exit status 0, 1 (broken) and 3 (unknown) are answers; any other is a failure.
answer() { # file, arguments...
    local file=$1
    shift
    status=0
    "$soundline" "$@" > "$file" || status=$?
    case $status in
        0 | 1 | 3) ;;
        *) cat "$file"; echo "soundline $1 ended with exit status $status" >&2; exit "$status" ;;
    esac
}

# What a check did not find met, and its line of totals.
in_short() {
    awk '/^  (marginal|broken|unknown) / { shown = 1; print; next } /^  met / { shown = 0; next }
         /^$/ { shown = 0 } shown { print } /^[0-9]+ met, / { print "  " $0 }' "$1"
}

printf '\n== soundline check %s\n(in short; the whole in %s)\n' "$plan" "$out/before.txt"
answer "$out/before.txt" check "$plan"
in_short "$out/before.txt"
echo "  exit status $status"

printf '\n== soundline rehearse %s %s\n(in part; the whole in %s)\n' "$plan" "$cues" "$out/ferry-night.txt"
answer "$out/ferry-night.txt" rehearse "$plan" "$cues" --trace "$out/ferry-night.jsonl" --force
sed -n '1,40p' "$out/ferry-night.txt"
echo "  ..."
tail -n 3 "$out/ferry-night.txt"
echo "  exit status $status"
rehearsed=$status

printf '\n== soundline check %s\n(again, with the evidence of the rehearsal)\n' "$plan"
answer "$out/after.txt" check "$plan"
cat "$out/after.txt"
echo "  exit status $status"
checked=$status
answer "$out/verdicts.json" check "$plan" --format json

cat <<END

Files:
  $out/before.txt, after.txt   the check before and after the rehearsal
  $out/verdicts.json           the same verdicts for programs
  $out/ferry-night.txt         the whole rehearsal, each sound traced to the lamp and the shore
  $out/ferry-night.jsonl       every record, each with the record that caused it
  ${plan%.toml}.evidence/   what check reads of the rehearsal
  $plan        the plan: change it and run target/release/soundline check $plan
END
[ "$rehearsed" -eq 0 ] && [ "$checked" -eq 0 ]
