# Arithmetic of routines against Python: whole numbers of 64 bits, decimal numbers by IEEE 754, and libm's functions to one unit in the last place.
# Python 3.11 or later, standard library only.
import hashlib, json, math, pathlib, struct

here = pathlib.Path(__file__)
whole = [
    ("7 / 2", 7 // 2), ("-7 / 2", -(7 // 2)), ("7 % 3", 7 % 3), ("-7 % 3", int(math.fmod(-7, 3))),
    ("9223372036854775807 - 1", 2**63 - 2), ("1 << 40", 1 << 40), ("255 & 85", 255 & 85), ("12 ^ 10", 12 ^ 10),
    ("3 * -4 + 2", -10), ("to_int(-2.9)", int(-2.9)), ("max(3, 9)", 9), ("abs(-5)", 5),
]
x = [0.1, 1.5, 2.0, 3.7, 12.25, 123.456]
decimal = [("0.1 + 0.2", 0.1 + 0.2), ("1.0 / 3.0", 1.0 / 3.0), ("7.5 % 2.0", math.fmod(7.5, 2.0)), ("2 * 0.1", 2 * 0.1),
           ("round(2.5)", 3.0), ("round(-2.5)", -3.0), ("floor(-2.5)", math.floor(-2.5) * 1.0), ("ceil(2.1)", math.ceil(2.1) * 1.0)]
near = []
for v in x:
    decimal.append((f"sqrt({v!r})", math.sqrt(v)))
    for name, f in [("exp", math.exp), ("ln", math.log), ("log10", math.log10), ("sin", math.sin), ("cos", math.cos)]:
        near.append((f"{name}({v!r})", f(v)))
    near.append((f"pow({v!r}, 1.7)", math.pow(v, 1.7)))
text = {
    "provenance": {
        "what": "arithmetic as Python does it; decimal numbers by the sixteen hexadecimal digits of their double",
        "source": "Python 3.11 (arbitrary whole numbers, IEEE 754 doubles, the C library's mathematics)",
        "script": "reference/make/routine_arithmetic.py",
        "script-sha256": hashlib.sha256(here.read_bytes()).hexdigest(),
        "tolerance": "whole and decimal exactly; near within two units in the last place, for two libraries that each err by less than one",
    },
    "whole": [{"text": t, "value": v} for t, v in whole],
    "decimal": [{"text": t, "bits": struct.pack(">d", v).hex()} for t, v in decimal],
    "near": [{"text": t, "bits": struct.pack(">d", v).hex()} for t, v in near],
}
out = here.parent.parent / "routine" / "python-arithmetic.json"
out.parent.mkdir(exist_ok=True)
out.write_text(json.dumps(text, indent=1) + "\n")
