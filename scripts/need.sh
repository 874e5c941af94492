#!/usr/bin/env bash
# need.sh WHAT...: installs what is asked for and this machine lacks (cc, python, pip, venv, deb, ngspice, mosquitto, poppler, node, chromium).
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
        mosquitto) if lacks mosquitto && [ ! -x /usr/sbin/mosquitto ]; then missing+=(mosquitto); fi ;;
        poppler) if lacks pdftotext || lacks pdfinfo; then missing+=(poppler-utils); fi ;;
        node) if lacks node || lacks npm; then missing+=(nodejs npm); fi ;;
        chromium) if lacks chromium; then missing+=(chromium); fi ;;
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
# A package may bring a service that starts by itself; none is wanted: the tests start what they need. While this file is there, none starts
# (Debian's policy-rc.d; 101 is "not allowed").
quiet=/usr/sbin/policy-rc.d
if [[ " ${missing[*]} " == *" mosquitto "* ]] && [ ! -e "$quiet" ]; then
    printf '#!/bin/sh\nexit 101\n' | "${as_root[@]}" tee "$quiet" > /dev/null
    "${as_root[@]}" chmod 755 "$quiet"
    trap '"${as_root[@]}" rm -f "$quiet"' EXIT
fi
"${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends "${missing[@]}"
if [[ " ${missing[*]} " == *" mosquitto "* ]] && command -v systemctl > /dev/null && [ -d /run/systemd/system ]; then
    "${as_root[@]}" systemctl disable --now mosquitto.service > /dev/null 2>&1 || true
fi
