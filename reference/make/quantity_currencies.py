"""Currency codes in use with their number of decimals -> reference/quantity/iso4217-decimals.csv

Python 3.11 or later; iso4217 1.16.20260101 (it packs list one of ISO 4217 as published on 2026-01-01).
Funds, metals, test and other codes that no invoice uses are left out: codes without decimals, X.. codes other
than the five currency unions, and the fund codes below.
"""
import hashlib
import importlib.metadata
import pathlib
import xml.etree.ElementTree as tree

import iso4217

HERE = pathlib.Path(__file__)
TARGET = HERE.parents[1] / "quantity" / "iso4217-decimals.csv"
UNIONS = {"XAF", "XCD", "XCG", "XOF", "XPF"}
table = tree.parse(pathlib.Path(iso4217.__file__).with_name("table.xml"))
published = table.getroot().get("Pblshd")
decimals = {}
for entry in table.iter("CcyNtry"):
    code, units, name = (entry.find(tag) for tag in ("Ccy", "CcyMnrUnts", "CcyNm"))
    if code is None or units is None or not units.text.isdigit():
        continue
    if name.get("IsFund") or (code.text.startswith("X") and code.text not in UNIONS):
        continue
    decimals[code.text] = int(units.text)
version = importlib.metadata.version("iso4217")
lines = [
    "# ISO 4217 currency codes in use and the number of their decimals (exponent of the minor unit).",
    f"# source: ISO 4217 list one, published {published}, as packed by the Python library iso4217 {version}",
    "# script: reference/make/quantity_currencies.py",
    f"# script-sha256: {hashlib.sha256(HERE.read_bytes()).hexdigest()}",
    "# tolerance: none, codes and counts",
    "code,decimals",
]
lines += [f"{code},{decimals[code]}" for code in sorted(decimals)]
TARGET.write_text("\n".join(lines) + "\n")
