//! A recording, played as a source.
//!
//! One channel is held in memory and scaled so that its rms over the whole file is the source level. Between its samples it is
//! read by a windowed sinc of 32 zero crossings to each side at the lower of the two rates (file and ear): flat within 0.01 dB to
//! 0.82 of half that rate, 80 dB down from half of it on. Nothing is added at its ends: a file that begins or ends abruptly
//! sounds so.

use std::path::Path;

use recording::Recording;
use signal::{Arithmetic, Block, Welch};

use super::error::EarError;
use super::interpolate::{Kernel, transition};

/// 200 MiB of samples.
const MOST_FRAMES: usize = 200 * 1024 * 1024 / size_of::<f32>();
const CHUNK_FRAMES: usize = 16_384;
const CROSSINGS: f64 = 32.0;
const LONGEST_SEGMENT: usize = 4096;
const SHORTEST_SEGMENT: usize = 4;

/// One channel of a recording, in uPa at 1 m.
#[derive(Debug)]
pub(crate) struct Played {
    samples: Vec<f32>,
    rate_hz: f64,
    middle_hz: f64,
}

impl Played {
    pub(crate) fn open(
        sound: &str,
        path: &Path,
        channel: Option<u32>,
        level_db: f64,
    ) -> Result<Self, EarError> {
        let (mut samples, rate_hz) = read(sound, path, channel)?;
        let sum: f64 = samples.iter().map(|&x| f64::from(x) * f64::from(x)).sum();
        if sum == 0.0 {
            return Err(EarError::RecordingSilent {
                sound: sound.to_owned(),
            });
        }
        let rms = (sum / samples.len() as f64).sqrt();
        let factor = libm::pow(10.0, level_db / 20.0) / rms;
        for x in &mut samples {
            *x = (f64::from(*x) * factor) as f32;
        }
        let middle_hz = middle_hz(sound, &samples, rate_hz)?;
        Ok(Self {
            samples,
            rate_hz,
            middle_hz,
        })
    }

    pub(crate) fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// Power-weighted geometric mean frequency, Hz.
    pub(crate) fn middle_hz(&self) -> f64 {
        self.middle_hz
    }

    pub(crate) fn duration_s(&self) -> f64 {
        self.samples.len() as f64 / self.rate_hz
    }

    /// The kernel for an ear.
    pub(crate) fn kernel(&self, ear_rate_hz: f64) -> Kernel {
        let slower = (ear_rate_hz / self.rate_hz).min(1.0);
        let reach = (CROSSINGS / slower).ceil();
        Kernel::new(reach as usize, 0.5 * slower - 0.5 * transition(reach))
    }

    /// Samples from `first` on, in uPa at 1 m; none lie outside the file.
    pub(crate) fn fill(&self, first: i64, out: &mut [f64]) {
        for (i, o) in out.iter_mut().enumerate() {
            let at = usize::try_from(first + i as i64).ok();
            *o = at
                .and_then(|at| self.samples.get(at))
                .map_or(0.0, |x| f64::from(*x));
        }
    }
}

/// All samples of a channel, counted from 1, and their rate in Hz. Only of a single channel need nobody say which it is.
fn read(sound: &str, path: &Path, channel: Option<u32>) -> Result<(Vec<f32>, f64), EarError> {
    let refused = |source| EarError::Recording {
        sound: sound.to_owned(),
        source,
    };
    let mut recording = Recording::open(path).map_err(refused)?;
    let (channels, rate_hz) = (recording.info().channels, recording.info().rate_hz);
    let channel = match channel {
        Some(channel) if (1..=u32::from(channels)).contains(&channel) => channel,
        Some(channel) => {
            return Err(EarError::NoChannel {
                sound: sound.to_owned(),
                channel,
                channels,
            });
        }
        None if channels == 1 => 1,
        None => {
            return Err(EarError::WhichChannel {
                sound: sound.to_owned(),
                channels,
            });
        }
    };
    let width = usize::from(channels);
    let mut buffer = vec![0.0; CHUNK_FRAMES * width];
    let mut samples: Vec<f32> = Vec::new();
    loop {
        let chunk = recording.read(&mut buffer).map_err(refused)?;
        if chunk.after_gap || chunk.first != samples.len() as u64 {
            return Err(EarError::RecordingGap {
                sound: sound.to_owned(),
                frame: chunk.first,
            });
        }
        if chunk.frames == 0 {
            return Ok((samples, f64::from(rate_hz)));
        }
        if samples.len() + chunk.frames > MOST_FRAMES {
            return Err(EarError::RecordingTooLong {
                sound: sound.to_owned(),
                limit_frames: MOST_FRAMES,
            });
        }
        for frame in buffer[..chunk.frames * width].chunks_exact(width) {
            samples.push(frame[channel as usize - 1]);
        }
    }
}

/// `exp(sum S ln f / sum S)` over the lines above 0 Hz.
fn middle_hz(sound: &str, samples: &[f32], rate_hz: f64) -> Result<f64, EarError> {
    let refused = |source| EarError::Noise {
        of: format!("sound.{sound}"),
        source,
    };
    let segment = (samples.len() / 2 * 2).min(LONGEST_SEGMENT);
    if segment < SHORTEST_SEGMENT {
        return Err(EarError::Value {
            sound: sound.to_owned(),
            what: "recording's length",
            value: samples.len() as f64,
            unit: "frames",
            expected: "at least 4 frames",
        });
    }
    let mut welch =
        Welch::new(segment, segment / 2, rate_hz, Arithmetic::Scalar).map_err(refused)?;
    welch
        .process(Block::new(0, samples))
        .expect("one block of a stretch is in order");
    let psd = welch.psd().map_err(refused)?;
    let (mut power, mut weighted) = (0.0, 0.0);
    for (k, s) in psd.density.iter().enumerate().skip(1) {
        power += s;
        weighted += s * libm::log(k as f64 * psd.bin_hz);
    }
    if power > 0.0 {
        Ok(libm::exp(weighted / power))
    } else {
        Err(EarError::RecordingSilent {
            sound: sound.to_owned(),
        })
    }
}
