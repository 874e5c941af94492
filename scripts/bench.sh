#!/usr/bin/env bash
# Ours beside the peers, in one run. Prints the figures with their bounds.
set -euo pipefail
cd "$(dirname "$0")/.."

bash scripts/need.sh
bash scripts/venv.sh
PYTHON=$PWD/.venv/bin/python
export PYTHON
cargo build --release --quiet
for crate in power network signal soundline; do
    printf '\n== %s\n' "$crate"
    cargo bench --quiet -p "$crate"
done
