#!/usr/bin/env bash
# Installs what the tests need and this machine lacks. Debian only; elsewhere it says what is missing.
set -euo pipefail

missing=()
command -v python3 >/dev/null || missing+=(python3)
command -v cc >/dev/null || missing+=(gcc libc6-dev)
command -v dpkg-deb >/dev/null || missing+=(dpkg)
python3 -c 'import ensurepip' 2>/dev/null || missing+=(python3-venv)
python3 -m pip --version >/dev/null 2>&1 || missing+=(python3-pip)
if ! command -v cargo >/dev/null; then
    echo "cargo is missing: install Rust 1.95 or later with rustup" >&2
    exit 2
fi
if [ "${#missing[@]}" -gt 0 ]; then
    echo "installing: ${missing[*]}"
    if ! command -v apt-get >/dev/null; then
        echo "apt-get is missing; install these by hand: ${missing[*]}" >&2
        exit 2
    fi
    as_root=()
    [ "$(id -u)" -eq 0 ] || as_root=(sudo)
    "${as_root[@]}" apt-get update
    "${as_root[@]}" apt-get install -y --no-install-recommends "${missing[@]}"
fi
