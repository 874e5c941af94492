#!/usr/bin/env bash
# `signal` and `detect` must build without the standard library, for use on a module's own processor. Declaring `no_std` binds
# a crate, not what it depends on; so a probe with a panic handler of its own is compiled on top of both (scripts/no_std).
# It must compile as it is, and must be refused when it links the standard library on purpose.
set -euo pipefail
cd "$(dirname "$0")/.."

target=$PWD/target/no_std
mkdir -p "$target/probe"
cp -r scripts/no_std/. "$target/probe"
sed -i "s|\"\.\./\.\./crates/|\"$PWD/crates/|" "$target/probe/Cargo.toml"
cp Cargo.lock "$target/probe/Cargo.lock"

for crate in signal detect; do
    cargo build -p "$crate" --no-default-features
done
probe=(cargo build --manifest-path "$target/probe/Cargo.toml" --target-dir "$target")
"${probe[@]}"
if said=$("${probe[@]}" --features std 2>&1); then
    echo "the probe compiled with the standard library linked: it proves nothing" >&2
    exit 1
elif ! grep -q 'E0152' <<< "$said"; then
    printf '%s\n' "$said" >&2
    echo "the probe with the standard library failed for another reason than two panic handlers" >&2
    exit 1
fi
echo "signal and detect build without the standard library, and so does all that they depend on"
