//! Against libsndfile (through soundfile) and hound: the same files give the same samples.

use recording::{
    Container, Encoding, Overwrite, Recording, RecordingError, SampleFormat, Unsupported, WavWriter,
};
use sha2::{Digest, Sha256};

use crate::bytes::{all, data, open, reference};

/// `reference/recording/soundfile-vorbis.csv`: rounding of the inverse transform, share of full scale.
const VORBIS_TOLERANCE_FS: f32 = 2e-6;

fn digest(samples: &[f32]) -> String {
    let bytes: Vec<u8> = samples
        .iter()
        .flat_map(|sample| sample.to_le_bytes())
        .collect();
    Sha256::digest(bytes)
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

#[test]
fn val_files_without_loss_read_bit_for_bit_as_libsndfile_reads_them() {
    let mut compared = 0;
    for row in reference("soundfile-files.csv") {
        let [file, rate_hz, channels, frames, sha256] = &row[..] else {
            panic!("five columns")
        };
        let mut recording = open(&data(file)).unwrap();
        let info = recording.info().clone();
        assert_eq!(info.rate_hz.to_string(), *rate_hz, "{file}");
        assert_eq!(info.channels.to_string(), *channels, "{file}");
        assert_eq!(info.frames.unwrap().to_string(), *frames, "{file}");
        let samples = all(&mut recording, 64).unwrap();
        assert_eq!(
            (samples.len() as u64 / u64::from(info.channels)).to_string(),
            *frames,
            "{file}"
        );
        assert_eq!(recording.warnings(), [], "{file}");
        if info.encoding != Encoding::Vorbis {
            assert_eq!(digest(&samples), *sha256, "{file}");
            compared += 1;
        }
    }
    assert_eq!(compared, 9);
}

#[test]
fn val_vorbis_reads_as_libsndfile_reads_it() {
    let mut worst: f32 = 0.0;
    for file in ["tone.ogg", "stereo.ogg"] {
        let mut recording = open(&data(file)).unwrap();
        let channels = usize::from(recording.info().channels);
        let samples = all(&mut recording, 100).unwrap();
        let rows: Vec<_> = reference("soundfile-vorbis.csv")
            .into_iter()
            .filter(|row| row[0] == file)
            .collect();
        assert!(rows.len() >= 20, "{file}");
        for row in rows {
            let frame: usize = row[1].parse().unwrap();
            for channel in 0..channels {
                let expected: f32 = row[2 + channel].parse().unwrap();
                let error = (samples[frame * channels + channel] - expected).abs();
                worst = worst.max(error);
                assert!(
                    error <= VORBIS_TOLERANCE_FS,
                    "{file} frame {frame} channel {channel}: off by {error}"
                );
            }
        }
    }
    println!("largest difference {worst} of full scale");
}

#[test]
fn val_each_kind_is_named_as_it_was_written() {
    let kinds = [
        ("u8.wav", Container::Wav, Encoding::Pcm8),
        ("i16.wav", Container::Wav, Encoding::Pcm16),
        ("i24.wav", Container::Wav, Encoding::Pcm24),
        ("i32.wav", Container::Wav, Encoding::Pcm32),
        ("f32.wav", Container::Wav, Encoding::Float32),
        ("f64.wav", Container::Wav, Encoding::Float64),
        ("i16.rf64", Container::Rf64, Encoding::Pcm16),
        ("i16.flac", Container::Flac, Encoding::Flac { bits: 16 }),
        ("i24.flac", Container::Flac, Encoding::Flac { bits: 24 }),
        ("tone.ogg", Container::Ogg, Encoding::Vorbis),
    ];
    for (file, container, encoding) in kinds {
        let recording = open(&data(file)).unwrap();
        assert_eq!(
            (recording.info().container, recording.info().encoding),
            (container, encoding),
            "{file}"
        );
    }
}

/// A divisor of 32767 (a known other convention) must not pass for libsndfile's 32768.
#[test]
fn verif_red_full_scale_of_32767_gives_other_samples() {
    let samples = all(&mut open(&data("i16.wav")).unwrap(), 64).unwrap();
    let other: Vec<f32> = samples
        .iter()
        .map(|sample| sample * 32768.0 / 32767.0)
        .collect();
    let rows = reference("soundfile-files.csv");
    let expected = &rows.iter().find(|row| row[0] == "i16.wav").unwrap()[4];
    assert_eq!(digest(&samples), *expected);
    assert_ne!(digest(&other), *expected);
}

#[test]
fn val_what_hound_writes_is_read_back() {
    let folder = tempfile::tempdir().unwrap();
    for bits in [8_u16, 16, 24, 32] {
        let path = folder.path().join(format!("{bits}.wav"));
        let spec = hound::WavSpec {
            channels: 3,
            sample_rate: 64_000,
            bits_per_sample: bits,
            sample_format: hound::SampleFormat::Int,
        };
        let full_scale = 1_i64 << (bits - 1);
        let codes: Vec<i32> = (0..3 * 100_i64)
            .map(|i| (i * 7_919_131 * full_scale / 997 % (2 * full_scale) - full_scale) as i32)
            .collect();
        let mut writer = hound::WavWriter::create(&path, spec).unwrap();
        codes
            .iter()
            .for_each(|&code| writer.write_sample(code).unwrap());
        writer.finalize().unwrap();
        let mut recording = Recording::open(&path).unwrap();
        let samples = all(&mut recording, 7).unwrap();
        let expected: Vec<f32> = codes
            .iter()
            .map(|&code| (f64::from(code) / full_scale as f64) as f32)
            .collect();
        assert_eq!(samples, expected, "{bits} bits");
        assert_eq!(recording.info().rate_hz, 64_000);
    }
}

#[test]
fn val_hound_reads_back_what_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let samples: Vec<f32> = (0..600)
        .map(|i| (i * 37 % 512 - 256) as f32 / 256.0)
        .collect();
    for (format, bits) in [
        (SampleFormat::Pcm16, 16_u32),
        (SampleFormat::Pcm24, 24),
        (SampleFormat::Float32, 32),
    ] {
        for channels in [1_u16, 2, 6] {
            let path = folder.path().join(format!("{bits}-{channels}.wav"));
            let mut writer =
                WavWriter::create(&path, 96_000, channels, format, Overwrite::Refuse).unwrap();
            writer.write(&samples[..300]).unwrap();
            writer.write(&samples[300..]).unwrap();
            let written = writer.finish().unwrap();
            assert_eq!(written.frames, 600 / u64::from(channels));
            assert_eq!(written.bytes, std::fs::metadata(&path).unwrap().len());
            let mut read = hound::WavReader::open(&path).unwrap();
            let spec = read.spec();
            assert_eq!(
                (
                    spec.channels,
                    spec.sample_rate,
                    u32::from(spec.bits_per_sample)
                ),
                (channels, 96_000, bits)
            );
            let back: Vec<f32> = if format == SampleFormat::Float32 {
                read.samples::<f32>().map(Result::unwrap).collect()
            } else {
                let full_scale = (1_i64 << (bits - 1)) as f32;
                read.samples::<i32>()
                    .map(|code| code.unwrap() as f32 / full_scale)
                    .collect()
            };
            assert_eq!(back, samples, "{bits} bits, {channels} channels");
        }
    }
}

/// Vorbis of three channels is refused: undone in the wrong order, their coupling gives samples that are not the sea's.
#[test]
fn verif_vorbis_of_three_channels_is_refused() {
    let error = open(&data("three.ogg")).unwrap_err();
    let what = Unsupported::VorbisChannels { channels: 3 };
    assert!(
        matches!(&error, RecordingError::Unsupported { what: found, .. } if *found == what),
        "{error}"
    );
}
