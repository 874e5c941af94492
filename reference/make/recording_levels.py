"""Levels of the real recordings, read by libsndfile and computed by numpy.

Needs numpy 2.4.6 and soundfile 0.14.0 (libsndfile 1.2.2), and the recordings (reference/fetch.py). Writes
  recording/soundfile-levels.csv   one line a recording and channel
"""

import hashlib
import pathlib
import tomllib

import numpy as np
import soundfile

assert np.__version__ == "2.4.6" and soundfile.__version__ == "0.14.0"
assert soundfile.__libsndfile_version__ == "1.2.2"

HERE = pathlib.Path(__file__).resolve()
REFERENCE = HERE.parent.parent
RECORDINGS = REFERENCE.parent / "fetched" / "recordings"
SHA = hashlib.sha256(HERE.read_bytes()).hexdigest()


def main():
    listed = tomllib.loads((REFERENCE / "recordings.toml").read_text(encoding="utf-8"))["recording"]
    rows = []
    for name, entry in listed.items():
        path = RECORDINGS / name
        assert hashlib.sha256(path.read_bytes()).hexdigest() == entry["sha256"], name
        x, rate = soundfile.read(path, dtype="float64", always_2d=True)
        for channel in range(x.shape[1]):
            y = x[:, channel]
            rms_db = 20 * np.log10(np.sqrt(np.mean(y * y)))
            peak_db = 20 * np.log10(np.max(np.abs(y)))
            top = 32767 / 32768 if entry["encoding"] == "16-bit integer" else 1.0
            full_scale = np.count_nonzero((y >= top) | (y <= -1.0))
            rows.append(f"{name},{rate},{x.shape[1]},{x.shape[0]},{channel},{rms_db:.5f},{peak_db:.5f},{full_scale}")
    about = [
        "# Levels of the real recordings re full scale (1.0): 20 log10 of rms and of the largest magnitude, float64.",
        "# soundfile 0.14.0 (libsndfile 1.2.2), numpy 2.4.6; the recordings and their SHA-256 stand in recordings.toml.",
        "# tolerance: 0.01 dB, the precision in which levels are shown; integer files agree in every sample, Vorbis decoders differ in",
        "# rounding. full_scale (samples at the highest or lowest code; for Vorbis at 1.0 and beyond): exact.",
        "# script: reference/make/" + HERE.name,
        "# script-sha256: " + SHA,
        "recording,rate_hz,channels,frames,channel,rms_db_re_fs,peak_db_re_fs,full_scale",
    ]
    (REFERENCE / "recording").mkdir(exist_ok=True)
    (REFERENCE / "recording" / "soundfile-levels.csv").write_text("\n".join(about + rows) + "\n")


main()
