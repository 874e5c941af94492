#!/usr/bin/env bash
# Builds the page of the desk from web/ into web/built/page, from where a build of the program takes it.
set -euo pipefail
cd "$(dirname "$0")/.."
bash scripts/need.sh node
major=$(node -p 'process.versions.node.split(".")[0]')
if [ "$major" -lt 20 ]; then
    echo "the page needs Node 20 or later; this is $(node --version)" >&2
    exit 2
fi
cd web
# What is installed already is kept, unless the lock file says otherwise.
if ! cmp -s package-lock.json node_modules/.installed-for 2>/dev/null; then
    npm ci --no-audit --no-fund --loglevel=error
    cp package-lock.json node_modules/.installed-for
fi
# What was built of the same sources stays as it is, so that no program is built anew for it.
made_of() { find . -path ./node_modules -prune -o -path ./built -prune -o -type f -print0 | LC_ALL=C sort -z | xargs -0 sha256sum | sha256sum; }
if [ ! -e built/page/index.html ] || [ "$(made_of)" != "$(cat built/.made-of 2>/dev/null)" ]; then
    npm run --silent build
    made_of > built/.made-of
fi
