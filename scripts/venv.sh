#!/usr/bin/env bash
# A Python environment with the pinned reference libraries, in .venv.
set -euo pipefail
cd "$(dirname "$0")/.."

if [ ! -x .venv/bin/python ] || ! cmp -s reference/requirements.txt .venv/requirements.txt; then
    python3 -m venv .venv
    .venv/bin/python -m pip install --quiet --disable-pip-version-check -r reference/requirements.txt
    cp reference/requirements.txt .venv/requirements.txt
fi
