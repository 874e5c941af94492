#!/usr/bin/env bash
# `signal` and `detect` must build without the standard library, for use on a module's own processor. They declare
# `no_std`, so the compiler refuses any use of std in them; their dependencies in that build are looked through too.
set -euo pipefail
cd "$(dirname "$0")/.."

for crate in signal detect; do
    cargo build --quiet -p "$crate" --no-default-features
    grep -q 'no_std' "crates/$crate/src/lib.rs" || { echo "$crate does not declare no_std"; exit 1; }
    if cargo tree -p "$crate" --no-default-features -e normal --prefix none | grep -E '^(rustfft|realfft|num-complex)'; then
        echo "$crate needs a crate of the standard library"
        exit 1
    fi
done
echo "signal and detect build without the standard library"
