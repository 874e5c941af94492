#!/usr/bin/env python3
"""Fetches what reference/recordings.toml lists: real recordings into fetched/recordings/, weather into fetched/weather/.

Uses the ordinary package clients only (pip for the source archive, apt-get and dpkg-deb for the Debian package), takes
out the listed files and nothing else, and holds archives and files against their SHA-256. What is there already is not
fetched again. Prints one line a file: "fetched", "already there" or "NOT fetched: reason".

Exit status: 0 when everything is there, 3 when something could not be fetched.
Needs Python 3.11 or later; for the Debian package, apt-get and dpkg-deb.
"""

import hashlib
import os
import shutil
import subprocess
import sys
import tarfile
import tempfile
import tomllib
from pathlib import Path

REFERENCE = Path(__file__).resolve().parent
FETCHED = REFERENCE.parent / "fetched"
# Tables of the list, and the folder that their files go to.
FOLDERS = {"recording": "recordings", "text": "recordings", "weather": "weather"}


class NotFetched(Exception):
    """Why a package could not be had."""


def main():
    listed = tomllib.loads((REFERENCE / "recordings.toml").read_text(encoding="utf-8"))
    wanted = {}
    for table, folder in FOLDERS.items():
        wanted |= {name: {**entry, "target": FETCHED / folder / name} for name, entry in listed[table].items()}
    missing = {name: entry for name, entry in wanted.items() if not is_there(entry)}
    reasons = {}
    for package in sorted({entry["package"] for entry in missing.values()}):
        members = {name: entry for name, entry in missing.items() if entry["package"] == package}
        reasons |= fetch(package, listed["package"][package], members)
    for name in wanted:
        if name not in missing:
            print(f"{name}: already there")
        elif name in reasons:
            print(f"{name}: NOT fetched: {reasons[name]}")
        else:
            print(f"{name}: fetched")
    return 3 if reasons else 0


def is_there(entry):
    path = entry["target"]
    return path.is_file() and digest(path.read_bytes()) == entry["sha256"]


def digest(data):
    return hashlib.sha256(data).hexdigest()


def fetch(package, about, members):
    """Fetches one package and takes the members out; gives the reasons of what failed, by name."""
    try:
        with tempfile.TemporaryDirectory() as folder:
            archive = CLIENTS[about["client"]](package, about, Path(folder))
            return take_out(archive, members)
    except NotFetched as reason:
        return {name: str(reason) for name in members}


def from_pip(package, about, folder):
    # The hash is checked before pip asks the archive for its metadata.
    listing = folder / "wanted.txt"
    listing.write_text(f"{package}=={about['version']} --hash=sha256:{about['sha256']}\n", encoding="utf-8")
    run([sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--no-binary", package, "--require-hashes",
         "-r", str(listing), "-d", str(folder)], folder)
    return folder / about["archive"]


def from_apt(package, about, folder):
    wanted = f"{package}={about['version']}"
    # apt-get hands the download to a user of its own where it can.
    folder.chmod(0o755)
    try:
        run(["apt-get", "download", "-qq", wanted], folder)
    except NotFetched:
        if os.geteuid() != 0:
            raise
        run(["apt-get", "update", "-qq"], folder)
        run(["apt-get", "download", "-qq", wanted], folder)
    archive = folder / about["archive"]
    if not archive.is_file() or digest(archive.read_bytes()) != about["sha256"]:
        raise NotFetched(f"{about['archive']} is missing or has another SHA-256")
    unpacked = folder / "unpacked.tar"
    with unpacked.open("wb") as out:
        run(["dpkg-deb", "--fsys-tarfile", str(archive)], folder, stdout=out)
    return unpacked


CLIENTS = {"pip": from_pip, "apt": from_apt}


def run(command, folder, stdout=subprocess.DEVNULL):
    try:
        done = subprocess.run(command, cwd=folder, stdout=stdout, stderr=subprocess.PIPE, timeout=900, check=False)
    except (OSError, subprocess.TimeoutExpired) as error:
        raise NotFetched(f"{command[0]}: {error}") from error
    if done.returncode != 0:
        said = done.stderr.decode(errors="replace").strip().splitlines() or ["nothing"]
        raise NotFetched(f"{' '.join(command[:4])} ended with {done.returncode} and said: {said[-1]}")


def take_out(archive, members):
    reasons = {}
    with tarfile.open(archive) as tar:
        files = {item.name.removeprefix("./"): item for item in tar if item.isfile()}
        for name, entry in members.items():
            item = files.get(entry["member"])
            data = tar.extractfile(item).read() if item else b""
            if not item:
                reasons[name] = f"{entry['member']} is not in the package"
            elif digest(data) != entry["sha256"]:
                reasons[name] = "its SHA-256 is not the listed one"
            else:
                target = entry["target"]
                target.parent.mkdir(parents=True, exist_ok=True)
                part = target.with_name(name + ".part")
                part.write_bytes(data)
                shutil.move(part, target)
    return reasons


if __name__ == "__main__":
    sys.exit(main())
