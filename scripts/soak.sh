#!/usr/bin/env bash
# Slow checks: property tests with 10,000 cases, and every reference script run again with its results compared byte for byte.
# CRATES="power network" looks at these crates and their scripts alone; CASES is the number of cases.
set -euo pipefail
cd "$(dirname "$0")/.."

scope=(--workspace)
scripts=(reference/make/*.py)
if [ -n "${CRATES:-}" ]; then
    scope=()
    scripts=()
    for crate in $CRATES; do
        scope+=(-p "$crate")
        for script in reference/make/"$crate"_*.py; do
            if [ -e "$script" ]; then scripts+=("$script"); fi
        done
    done
fi

digests() { find reference crates/*/tests/data -type f ! -path 'reference/make/*' -exec sha256sum {} + | sort -k 2; }

bash scripts/need.sh cc python pip venv deb ngspice mosquitto poppler
status=0
printf '\n== property tests, %s cases each\n' "${CASES:-10000}"
# proptest gives up after 1024 inputs that a property refuses, which is 4 for each of its 256 cases; the same share of more cases.
export PROPTEST_CASES=${CASES:-10000}
# Sampled checks take their large sizes.
export SOUNDLINE_SOAK=1
export PROPTEST_MAX_GLOBAL_REJECTS=$((4 * PROPTEST_CASES))
cargo test --release "${scope[@]}" --no-fail-fast || status=1
if [[ " ${CRATES:-soundline} " == *" soundline "* ]]; then
    printf '\n== tables as Parquet\n'
    cargo test --release -p soundline --features parquet --test integration measur || status=1
fi
if [[ " ${CRATES:-learned} " == *" learned "* ]]; then
    printf '\n== learned stages\n'
    cargo test --release -p learned --features onnx || status=1
    cargo test --release -p soundline --features learned --test integration learned || status=1
fi

printf '\n== reference scripts\n'
bash scripts/venv.sh
# Some scripts read the real recordings; they stop where these are missing.
python3 reference/fetch.py || status=1
before=$(mktemp)
after=$(mktemp)
trap 'rm -f "$before" "$after"' EXIT
digests > "$before"
for script in "${scripts[@]}"; do
    begun=$SECONDS
    if .venv/bin/python -B "$script" > /dev/null; then
        printf '%s (%d s)\n' "$script" "$((SECONDS - begun))"
    else
        printf 'FAILED: %s\n' "$script"
        status=1
    fi
done
digests > "$after"
if ! diff "$before" "$after"; then
    echo "FAILED: a script gave other bytes than those that were there; git diff shows them"
    status=1
else
    echo "${#scripts[@]} scripts ran again; every file is the same to the byte"
fi
exit "$status"
