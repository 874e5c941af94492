"""Small sound files written by libsndfile, and what libsndfile reads from them.

Needs numpy 2.4.6 and soundfile 0.14.0 (libsndfile 1.2.2). Writes invented noise and tones to
  crates/recording/tests/data/           the files
  recording/soundfile-files.csv          rate, channels, frames, digest of all samples as read
  recording/soundfile-vorbis.csv         samples of the Vorbis files, whose decoders differ in rounding
What libsndfile puts in from the clock or from chance (time in PEAK chunks, serial numbers of Ogg streams) is set to 0,
so that another run gives the same bytes.
"""

import hashlib
import pathlib

import numpy as np
import soundfile

assert np.__version__ == "2.4.6" and soundfile.__version__ == "0.14.0"
assert soundfile.__libsndfile_version__ == "1.2.2"

HERE = pathlib.Path(__file__).resolve()
OUT = HERE.parent.parent / "recording"
DATA = HERE.parent.parent.parent / "crates" / "recording" / "tests" / "data"
SHA = hashlib.sha256(HERE.read_bytes()).hexdigest()

# name, format, subtype, rate, channels, frames
FILES = [
    ("u8.wav", "WAV", "PCM_U8", 8000, 1, 333),
    ("i16.wav", "WAV", "PCM_16", 48000, 2, 200),
    ("i24.wav", "WAVEX", "PCM_24", 96000, 3, 101),
    ("i32.wav", "WAV", "PCM_32", 192000, 1, 150),
    ("f32.wav", "WAV", "FLOAT", 384000, 2, 80),
    ("f64.wav", "WAVEX", "DOUBLE", 44100, 1, 80),
    ("i16.rf64", "RF64", "PCM_16", 256000, 5, 60),
    ("i16.flac", "FLAC", "PCM_16", 48000, 1, 10000),
    ("i24.flac", "FLAC", "PCM_24", 96000, 1, 1500),
    ("tone.ogg", "OGG", "VORBIS", 44100, 1, 44000),
    ("stereo.ogg", "OGG", "VORBIS", 32000, 2, 3000),
    # its three channels are coupled in two steps; refused by the reader, so no values are kept
    ("three.ogg", "OGG", "VORBIS", 32000, 3, 1000),
]


def noise(count):
    """Integers of 32 bits from the generator x -> 1664525 x + 1013904223 modulo 2^32, every bit pattern alike."""
    x = 20270315
    out = np.empty(count, dtype=np.int64)
    for i in range(count):
        x = (1664525 * x + 1013904223) % 2**32
        out[i] = x - 2**31
    return out.astype(np.int32)


def samples(subtype, rate, channels, frames):
    if subtype == "VORBIS":
        t = np.arange(frames) / rate
        tones = np.stack([0.5 * np.sin(2 * np.pi * 440 * (k + 1) * t) / (k + 1) for k in range(channels)], axis=1)
        # noise makes the single tone fill several pages
        return tones + (noise(frames)[:, None] / 2.0**36 if channels == 1 else 0)
    codes = noise(frames * channels).reshape(frames, channels)
    # full scale on both ends, and the codes beside them
    codes[:6, 0] = [2**31 - 1, -(2**31), 0, 2**31 - 2**24, -(2**31) + 2**24, 2**16]
    # FLAC keeps noise of full scale as it is; most of it quiet keeps the files small
    if frames > 1000:
        codes[100:] >>= 13
    if subtype in ("FLOAT", "DOUBLE"):
        x = codes / 2.0**30
        return x.astype(np.float32) if subtype == "FLOAT" else x
    return codes if "24" not in subtype else (codes >> 8) << 8


def fixed(data):
    """The bytes without what comes from the clock or from chance."""
    data = bytearray(data)
    at = data.find(b"PEAK")
    if data[:4] in (b"RIFF", b"RF64") and at > 0:
        data[at + 12:at + 16] = bytes(4)
    if data[:4] == b"OggS":
        at = 0
        while at < len(data):
            count = data[at + 26]
            end = at + 27 + count + sum(data[at + 27:at + 27 + count])
            data[at + 14:at + 18] = bytes(4)
            data[at + 22:at + 26] = bytes(4)
            data[at + 22:at + 26] = ogg_sum(data[at:end]).to_bytes(4, "little")
            at = end
    return bytes(data)


def ogg_sum(page):
    """The checksum of RFC 3533, section 6: polynomial 04c11db7, no reflection, start 0."""
    register = 0
    for byte in page:
        register ^= byte << 24
        for _ in range(8):
            register = ((register << 1) ^ 0x04C11DB7) & 0xFFFFFFFF if register & 0x80000000 else register << 1
    return register


def write(name, about, columns, rows):
    lines = ["# " + line for line in about]
    lines += ["# script: reference/make/" + HERE.name, "# script-sha256: " + SHA, ",".join(columns)]
    lines += [",".join(row) for row in rows]
    (OUT / name).write_text("\n".join(lines) + "\n")


def main():
    OUT.mkdir(exist_ok=True)
    DATA.mkdir(parents=True, exist_ok=True)
    files, vorbis = [], []
    for name, form, subtype, rate, channels, frames in FILES:
        path = DATA / name
        # low quality couples the channels
        extra = {"compression_level": 0.9} if subtype == "VORBIS" and channels > 1 else {}
        soundfile.write(path, samples(subtype, rate, channels, frames), rate, format=form, subtype=subtype, **extra)
        path.write_bytes(fixed(path.read_bytes()))
        if name == "three.ogg":
            continue
        read, read_rate = soundfile.read(path, dtype="float32", always_2d=True)
        digest = hashlib.sha256(read.astype("<f4").tobytes()).hexdigest()
        files.append([name, str(read_rate), str(read.shape[1]), str(read.shape[0]), digest])
        if subtype == "VORBIS":
            vorbis += [[name, str(i), *(f"{v:.8g}" for v in read[i]), *[""] * (2 - channels)] for i in range(0, frames, frames // 20)]
    about = [
        "Small files written and read by libsndfile 1.2.2 through soundfile 0.14.0 (float32, full scale 1.0).",
        "f32_sha256: SHA-256 of all samples, interleaved, little-endian float32.",
        "tolerance: none but for Vorbis, where the digest does not apply (see soundfile-vorbis.csv).",
    ]
    write("soundfile-files.csv", about, ["file", "rate_hz", "channels", "frames", "f32_sha256"], files)
    about = [
        "Every 2200th frame of tone.ogg and every 150th of stereo.ogg, as libsndfile 1.2.2 through soundfile 0.14.0 reads it.",
        "tolerance: 2e-6 of full scale; Vorbis I does not fix the rounding of its inverse transform.",
    ]
    write("soundfile-vorbis.csv", about, ["file", "frame", "channel_0", "channel_1"], vorbis)


main()
