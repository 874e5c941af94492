#!/usr/bin/env bash
# Speed, ours and the peer in turn in one run, one bench after another; all figures once more in one table at the end.
# CRATES="power network" runs these alone. Fails when a bench fails or misses its bound.
set -euo pipefail
cd "$(dirname "$0")/.."

bash scripts/need.sh cc python pip venv
bash scripts/venv.sh
export PYTHON=$PWD/.venv/bin/python
# The page goes into the program, and is measured in it.
bash scripts/need.sh node chromium
bash scripts/page.sh > /dev/null
cargo build --release

figures=$(mktemp)
trap 'rm -f "$figures"' EXIT
failed=()
for crate in ${CRATES:-power network mooring signal detect injection assess desk soundline page}; do
    if [ "$crate" = page ]; then
        printf '\n== the page\n'
        printf '\npage, bench\n' >> "$figures"
        SOUNDLINE_BIN=target/release/soundline npm --prefix web run --silent bench | tee -a "$figures" || failed+=("the page")
        continue
    fi
    for bench in crates/"$crate"/benches/*.rs; do
        name=$(basename "$bench" .rs)
        printf '\n== %s, %s\n' "$crate" "$name"
        printf '\n%s, %s\n' "$crate" "$name" >> "$figures"
        cargo bench -p "$crate" --bench "$name" | tee -a "$figures" || failed+=("$crate, $name")
    done
done

printf '\n== all figures, %s, %s\n' "$(uname -m)" "$(rustc --version)"
sed 's/^\(.*\)$/  \1/; s/^ *$//; s/^  \([a-z]*, [a-z]*\)$/\1/' "$figures"
if [ "${#failed[@]}" -gt 0 ]; then
    printf '\nFAILED: %s\n' "${failed[@]}"
    exit 1
fi
