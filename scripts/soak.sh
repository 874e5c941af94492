#!/usr/bin/env bash
# Slow checks: property tests with many cases, and every reference script run again with its results compared.
set -euo pipefail
cd "$(dirname "$0")/.."

bash scripts/need.sh
PROPTEST_CASES=10000 cargo test --workspace --release --no-fail-fast
bash scripts/venv.sh
for script in reference/make/*.py; do
    echo "running $script"
    .venv/bin/python "$script" > /dev/null
done
if ! git diff --exit-code --stat -- reference crates; then
    echo "a script gave other results than those that are committed"
    exit 1
fi
echo "every reference file was made again, the same to the byte"
