#!/usr/bin/env python3
"""Holds every reference file against the rules of this folder and against the script that made it.

A reference file says in its header (leading lines that begin with #, or the object "provenance" of a JSON file) where it comes from,
with what tolerance it is used, and which script made it, with the SHA-256 of that script. Only the standard library is needed.
Prints what is wrong and the counts. Exit status 1 when anything is wrong.
"""

import hashlib
import json
import re
import sys
from pathlib import Path

REFERENCE = Path(__file__).resolve().parent
# What lies beside the folders of the disciplines.
OWN = {"README.md", "check.py", "fetch.py", "recordings.toml", "requirements.txt"}
SCRIPT = re.compile(r"reference/make/([a-z0-9_]+\.py)")
TRANSCRIBED = re.compile(r"script: none, \w+")
DIGEST = re.compile(r"^script[-_]sha256: ([0-9a-f]{64})$", re.MULTILINE)
ORIGIN = re.compile(r"^source: |\b(numpy|scipy|gsw|soundfile|simpy|mpmath|ngspice)(\.\w+)* \d", re.IGNORECASE | re.MULTILINE)
TOLERANCE = re.compile(r"\btolerance: ", re.IGNORECASE)


def main():
    wrong = []
    known = set()
    by_script = 0
    files = sorted(p for p in REFERENCE.rglob("*") if p.is_file() and p.parent.name not in ("make", "__pycache__"))
    files = [p for p in files if p.relative_to(REFERENCE).as_posix() not in OWN]
    for path in files:
        name = path.relative_to(REFERENCE).as_posix()
        try:
            about = header(path)
        except ValueError as error:
            wrong.append(f"{name}: {error}")
            continue
        if not ORIGIN.search(about):
            wrong.append(f"{name}: its header names neither a source nor a library with its version")
        if not TOLERANCE.search(about):
            wrong.append(f"{name}: its header gives no tolerance")
        scripts = SCRIPT.findall(about)
        known.update(scripts)
        if scripts:
            by_script += 1
            wrong += [f"{name}: {said}" for said in against_script(about, scripts[0])]
        elif not TRANSCRIBED.search(about):
            wrong.append(f"{name}: names no script; where there is none, say `script: none, transcribed`")
    for script in sorted(REFERENCE.glob("make/*.py")):
        if script.name not in known:
            wrong.append(f"make/{script.name}: no reference file names it")
    for line in wrong:
        print(f"wrong: {line}")
    print(f"{len(files)} reference files, {by_script} made by scripts, {len(wrong)} wrong")
    return 1 if wrong else 0


def header(path):
    """What the file says of itself, one `key: value` or sentence a line."""
    if path.suffix == ".json":
        document = json.loads(path.read_text(encoding="utf-8"))
        if not isinstance(document, dict) or not isinstance(document.get("provenance"), dict):
            raise ValueError('a JSON file must have an object "provenance"')
        return "\n".join(f"{key}: {value}" for key, value in document["provenance"].items())
    if path.suffix == ".csv":
        lines = []
        with path.open(encoding="utf-8") as text:
            for line in text:
                if not line.startswith("#"):
                    break
                lines.append(line.lstrip("# ").rstrip())
        if not lines:
            raise ValueError("a CSV file must begin with lines of provenance (#)")
        return "\n".join(lines)
    raise ValueError("a reference file is CSV or JSON")


def against_script(about, script):
    path = REFERENCE / "make" / script
    digest = DIGEST.search(about)
    if not path.is_file():
        return [f"make/{script} is not there"]
    if not digest:
        return ["names a script without `script-sha256: ` and its 64 digits"]
    if digest.group(1) != hashlib.sha256(path.read_bytes()).hexdigest():
        return [f"make/{script} has changed since it made this file; run it again"]
    return []


if __name__ == "__main__":
    sys.exit(main())
