//! Sound files (WAV, RF64, FLAC, Ogg Vorbis) as streams of samples with their start time.
