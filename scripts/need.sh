#!/usr/bin/env bash
# need.sh WHAT...: installs what is asked for and this machine lacks (cc, python, pip, venv, deb, ngspice).
# Debian only; elsewhere it says what is missing.
set -euo pipefail

missing=()
lacks() { ! command -v "$1" >/dev/null; }
for what in "$@"; do
    case $what in
        cc) if lacks cc; then missing+=(gcc libc6-dev); fi ;;
        python) if lacks python3; then missing+=(python3); fi ;;
        pip) if ! python3 -m pip --version >/dev/null 2>&1; then missing+=(python3-pip); fi ;;
        venv) if ! python3 -c 'import ensurepip, venv' 2>/dev/null; then missing+=(python3-venv); fi ;;
        deb) if lacks dpkg-deb; then missing+=(dpkg); fi ;;
        ngspice) if lacks ngspice; then missing+=(ngspice); fi ;;
        *) echo "need.sh: $what is not known here" >&2; exit 2 ;;
    esac
done
if lacks cargo; then
    echo "cargo is missing: install Rust 1.95 or later with rustup" >&2
    exit 2
fi
[ "${#missing[@]}" -gt 0 ] || exit 0

echo "installing: ${missing[*]}"
if lacks apt-get; then
    echo "apt-get is missing; install by hand what is called on Debian: ${missing[*]}" >&2
    exit 2
fi
as_root=()
[ "$(id -u)" -eq 0 ] || as_root=(sudo)
"${as_root[@]}" apt-get update
"${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends "${missing[@]}"
