"""First words of named streams, by a second program -> reference/chance/twin-streams.csv

Python 3.11 or later, standard library only. Written from the description of the stream: ChaCha with 8 rounds, keyed
by SHA-256 of the seed (eight bytes, lowest first) and the name in UTF-8; the index is the 64-bit stream number.
"""
import hashlib
import itertools
import pathlib
import struct

HERE = pathlib.Path(__file__)
TARGET = HERE.parents[1] / "chance" / "twin-streams.csv"
MASK = 0xFFFFFFFF


def quarter(s, a, b, c, d):
    for x, y, z, turn in ((a, b, d, 16), (c, d, b, 12), (a, b, d, 8), (c, d, b, 7)):
        s[x] = (s[x] + s[y]) & MASK
        s[z] ^= s[x]
        s[z] = ((s[z] << turn) | (s[z] >> (32 - turn))) & MASK


def block(key, counter, number):
    start = list(struct.unpack("<16I", b"expand 32-byte k" + key + struct.pack("<QQ", counter, number)))
    state = start[:]
    for _ in range(4):
        for i in range(4):
            quarter(state, i, 4 + i, 8 + i, 12 + i)
        for i in range(4):
            quarter(state, i, 4 + (i + 1) % 4, 8 + (i + 2) % 4, 12 + (i + 3) % 4)
    return struct.pack("<16I", *((a + b) & MASK for a, b in zip(start, state)))


def words(seed, name, index):
    """The 64-bit words of a stream, one after another."""
    key = hashlib.sha256(struct.pack("<Q", seed) + name.encode()).digest()
    counter = 0
    while True:
        yield from struct.unpack("<8Q", block(key, counter, index))
        counter += 1


def main():
    zero = block(bytes(32), 0, 0).hex()
    assert zero.startswith("3e00ef2f895f40d67f5bb8e81f09a5a1"), "draft-strombergson-chacha-test-vectors-01, TC1"
    lines = [
        "# First, ninth and 41st 64-bit word of named streams.",
        "# source: written from the description of the stream; ChaCha block checked against",
        "# draft-strombergson-chacha-test-vectors-01 (2013), TC1",
        "# script: reference/make/chance_streams.py",
        f"# script-sha256: {hashlib.sha256(HERE.read_bytes()).hexdigest()}",
        "# tolerance: none, words",
        "seed,name,index,word_1,word_9,word_41",
    ]
    for seed in (0, 1, 2**64 - 1):
        for name in ("", "weather", "módulo ear"):
            for index in (0, 1, 2**63 + 5):
                first = list(itertools.islice(words(seed, name, index), 41))
                lines.append(f"{seed},{name},{index},{first[0]},{first[8]},{first[40]}")
    TARGET.write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
