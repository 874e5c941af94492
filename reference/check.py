#!/usr/bin/env python3
"""Holds every reference file against the script that made it.

A reference file says in its header (comment lines, or "provenance" in JSON) where it comes from and, when a script made it,
the script's name and SHA-256. Prints what is wrong and how many were looked at. Exit status 1 when anything is wrong.
"""

import hashlib
import re
import sys
from pathlib import Path

REFERENCE = Path(__file__).resolve().parent
SCRIPT = re.compile(r"([a-z0-9_]+\.py)")
DIGEST = re.compile(r"script[-_ ]sha256\W{1,6}([0-9a-f]{64})")
ORIGIN = re.compile(r"source|(numpy|scipy|gsw|soundfile|simpy|mpmath|ngspice)\W+\d", re.IGNORECASE)
HEADER_BYTES = 6000


def main():
    wrong = []
    by_script = 0
    files = sorted(p for p in REFERENCE.glob("*/*") if p.suffix in (".csv", ".json") and p.parent.name != "make")
    for path in files:
        name = path.relative_to(REFERENCE)
        head = path.read_bytes()[:HEADER_BYTES].decode("utf-8", errors="replace")
        if not ORIGIN.search(head):
            wrong.append(f"{name}: its header names neither a source nor a library with its version")
        found = DIGEST.search(head)
        if not found:
            if SCRIPT.search(head):
                wrong.append(f"{name}: names a script without the script's SHA-256")
            continue
        by_script += 1
        scripts = [REFERENCE / "make" / s for s in SCRIPT.findall(head)]
        digests = {hashlib.sha256(s.read_bytes()).hexdigest() for s in scripts if s.is_file()}
        if found.group(1) not in digests:
            wrong.append(f"{name}: no script that it names has the SHA-256 in its header; run the script again")
    for line in wrong:
        print(f"wrong: {line}")
    print(f"{len(files)} reference files, {by_script} made by scripts, {len(wrong)} wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
