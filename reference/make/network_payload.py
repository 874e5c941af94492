"""Checks, frames and CBOR of messages by general-purpose libraries.

Python 3.11, crccheck==1.3.1, cobs==1.2.2, cbor2==6.3.0. Run with no arguments to write reference/network/crccheck-crc16.csv,
reference/network/cobs-frames.csv, reference/network/cbor2-items.csv, and, by exact fractions from the rules of docs/method/payload.md and not from the
Rust, reference/network/fractions-records.csv. Running it again gives the same bytes.
"""

import hashlib
import json
import math
import pathlib
from fractions import Fraction

import cbor2
from cobs import cobs
from crccheck.crc import Crc16CcittFalse

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parent.parent / "network"


class Draw:
    """Numbers that are the same everywhere: x becomes 6364136223846793005 x + 1442695040888963407 modulo 2^64 (Knuth, TAOCP 2, 3.3.4)."""

    def __init__(self, state):
        self.state = state

    def below(self, n):
        self.state = (self.state * 6364136223846793005 + 1442695040888963407) % 2**64
        return (self.state >> 33) % n

    def bytes(self, length, zeros):
        """So many bytes, of which `zeros` in eight are zero."""
        return bytes(0 if self.below(8) < zeros else 1 + self.below(255) for _ in range(length))


def write(name, about, headings, rows):
    digest = hashlib.sha256(HERE.read_bytes()).hexdigest()
    head = [*about, "tolerance: exact", "script: reference/make/network_payload.py", f"script-sha256: {digest}"]
    lines = [f"# {line}" for line in head] + [headings] + [",".join(row) for row in rows]
    (OUT / name).write_text("\n".join(lines) + "\n", encoding="utf-8")


def checks():
    # The check value of the catalogue of parametrised CRC algorithms, nothing, one zero byte, a record of seven bytes; then random ones.
    messages = [b"123456789", b"", b"\0", bytes.fromhex("e1338f4f6d93b2")]
    draw = Draw(16)
    messages += [draw.bytes(1 + draw.below(300), 1) for _ in range(60)]
    return [(m.hex(), f"{Crc16CcittFalse.calc(m):04x}") for m in messages]


def frames():
    run = lambda a, b: bytes(range(a, b + 1))
    # The example of figure 3 of the paper (header of an IPv4 packet), then the edges of a run of 254.
    messages = [
        bytes.fromhex("4500002c4c79000040064f37"), b"", b"\0", b"\0\0", b"\0\x11\0", bytes.fromhex("11220033"),
        bytes.fromhex("11223344"), bytes.fromhex("11000000"), run(1, 0xFE), b"\0" + run(1, 0xFE), run(1, 0xFF),
        run(2, 0xFF) + b"\0", run(3, 0xFF) + b"\0\x01", bytes.fromhex("e1338f4f6d93b25e60"),
    ]
    draw = Draw(254)
    messages += [draw.bytes(draw.below(700), draw.below(3)) for _ in range(60)]
    return [(m.hex(), cobs.encode(m).hex()) for m in messages]


def items():
    # Appendix A of RFC 8949, as far as records have such values; then one record in four forms.
    texts = ["0", "1", "10", "23", "24", "25", "100", "1000", "1000000", "1000000000000", "18446744073709551615", "-1", "-10", "-100", "-1000",
             "-18446744073709551616", "0.0", "-0.0", "1.0", "1.1", "1.5", "65504.0", "100000.0", "3.4028234663852886e+38", "1e+300",
             "5.960464477539063e-8", "0.00006103515625", "-4.0", "-4.1", "false", "true", "null", '""', '"a"', '"IETF"', '"\\"\\\\"', '"\\u00fc"',
             '"\\u6c34"', '"\\ud800\\udd51"', "[]", "[1,2,3]", "[1,[2,3],[4,5]]", "{}", '{"a":1,"b":[2,3]}', '["a",{"b":"c"}]',
             '{"a":"A","b":"B","c":"C","d":"D","e":"E"}']
    rows = [(preferred(json.loads(t)).hex(), cell(t)) for t in texts]
    record = {"time": 1767225615, "class": "whistle", "level": 121.3, "bearing": 217, "depth": 47.26, "batt_low": False}
    for form in (record, list(record.values()), {k: None for k in record}):
        rows.append((preferred(form).hex(), cell(json.dumps(form, separators=(",", ":")))))
    draw = Draw(8949)
    for _ in range(60):
        value = (draw.below(2**31) - 2**30) / 2 ** draw.below(40)
        rows.append((preferred(value).hex(), repr(value)))
    return rows


# An invented alert: time of 24 bits in seconds since 2025-01-01, one of six classes, level, bearing, depth, a flag.
EPOCH = 1735689600
SCALED = {"level": ("60", "180", "1/2"), "bearing": ("0", "359", "1"), "depth": ("0", "1023/5", "1/10")}


def records():
    rows = [packed(1767225615, 2, "121.3", "217", "47.26", 0)]
    draw = Draw(7)
    for _ in range(200):
        # Levels on quarters and bearings on halves meet every tie; some lie outside of their range; "" is no data.
        level = "" if draw.below(12) == 0 else str(draw.below(640) / 4 + 40)
        bearing = "" if draw.below(12) == 0 else str((draw.below(800) - 40) / 2)
        # A tenth is no double: tenths and 0.03 or 0.07 are no ties, whatever the rounding.
        depth = "" if draw.below(12) == 0 else f"{draw.below(2200) // 10}.{draw.below(10)}{'37'[draw.below(2)]}"
        rows.append(packed(EPOCH + draw.below(2**33), draw.below(6), level, bearing, depth, draw.below(2)))
    return rows


def packed(time, choice, level, bearing, depth, flag):
    clamped = 0
    fields = [((time - EPOCH) % 2**24, 24), (choice, 3)]
    for (least, most, step), text in zip(SCALED.values(), (level, bearing, depth)):
        least, most, step = Fraction(least), Fraction(most), Fraction(step)
        count = int((most - least) / step) + 1
        bits = math.ceil(math.log2(count + 1))
        code = 2**bits - 1 if text == "" else math.floor((Fraction(text) - least) / step + Fraction(1, 2))
        if text and not 0 <= code < count:
            clamped += 1
            code = min(max(code, 0), count - 1)
        fields.append((code, bits))
    fields.append((flag, 1))
    text = "".join(f"{code:0{bits}b}" for code, bits in fields)
    text += "0" * (-len(text) % 8)
    message = int(text, 2).to_bytes(len(text) // 8, "big")
    return (str(time), str(choice), level, bearing, depth, str(flag), message.hex(), str(clamped))


def preferred(value):
    """Shortest form of every number, keys in their order."""
    if isinstance(value, dict):
        return head(5, len(value)) + b"".join(preferred(k) + preferred(v) for k, v in value.items())
    if isinstance(value, list):
        return head(4, len(value)) + b"".join(preferred(v) for v in value)
    return cbor2.dumps(value, canonical=True)


def head(major, count):
    """A list or map of so many items: what cbor2 makes of that many nulls, without them."""
    empty = [None] * count if major == 4 else {i: None for i in range(count)}
    whole = cbor2.dumps(empty)
    return whole[: 1 if count < 24 else 2]


def cell(text):
    return text.replace(",", ";")


def main():
    write("crccheck-crc16.csv", ["CRC-16/CCITT-FALSE of messages, both in hexadecimal.", "source: crccheck 1.3.1 (Crc16CcittFalse)"],
          "message,crc", checks())
    write("cobs-frames.csv", ["Messages and their frames by consistent overhead byte stuffing, without the zero byte between frames; hexadecimal.",
                              "source: cobs 1.2.2"], "message,frame", frames())
    write("cbor2-items.csv", ["CBOR in its preferred form, and the same as JSON with ; for every comma; maps in the order of the JSON.",
                              "source: cbor2 6.3.0; the values are those of RFC 8949, appendix A, a record, and sixty random numbers"], "cbor,json", items())
    write("fractions-records.csv", ["Packed alerts: time in s since 1970-01-01T00:00:00Z, number of the class, level, bearing, depth (empty is no data), flag;",
                                    "the message in hexadecimal without its check, and how many values lay outside their range.",
                                    "source: Python 3.11, module fractions, by the rules of docs/method/payload.md; the records are invented"],
          "time_s,class,level,bearing,depth,flag,message,clamped", records())


if __name__ == "__main__":
    main()
