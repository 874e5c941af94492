#!/usr/bin/env bash
# The main job on the example deployment: rehearse a night, then check the plan with that evidence.
set -euo pipefail
cd "$(dirname "$0")/.."

cargo build --release
soundline=target/release/soundline
plan=plans/harrow-sound/plan.toml
out=target/demo
mkdir -p "$out"

echo
echo "== soundline rehearse $plan plans/harrow-sound/cues/ferry-night.toml"
"$soundline" rehearse "$plan" plans/harrow-sound/cues/ferry-night.toml --trace "$out/ferry-night.jsonl" --force > "$out/ferry-night.txt"
sed -n '1,22p' "$out/ferry-night.txt"
echo "  ..."
tail -n 3 "$out/ferry-night.txt"
echo
echo "== soundline check $plan"
"$soundline" check "$plan"
"$soundline" check "$plan" --format json > "$out/verdicts.json"
echo
echo "Files:"
echo "  $out/ferry-night.txt    the whole rehearsal, every sound traced to the lamp and the shore"
echo "  $out/ferry-night.jsonl  every record, each with the record that caused it"
echo "  $out/verdicts.json      the verdicts"
echo "  plans/harrow-sound/plan.evidence/  the evidence that check reads"
