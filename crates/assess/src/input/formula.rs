//! Sounds given by a formula in time, as cue sheets and calls name them.
//!
//! Levels. The source level is an rms level; its meaning is that of [`plan::Sound::source_level_db`]. Tones, sweeps and pulses
//! have edges of a tenth of their length, at most 50 ms (`signal::Sweep`: the level is that of the energy duration, here that
//! of the steady part). Of a click it is the rms over its -10 dB duration, turned into the peak-to-peak level that
//! `signal::ClickTrain` asks for by integrating one click.
//!
//! One frequency stands for the sound where absorption is taken: the geometric mean of a sweep's ends, the frequency of a tone,
//! pulse or click.

use plan::SoundKind;
use signal::{ClickTrain, PulseTrain, Sweep, SynthError};

const EDGE_SHARE: f64 = 0.1;
const LONGEST_EDGE_S: f64 = 0.05;
/// Panels of Simpson's rule over one click: 20 to a period up to a hundred periods.
const CLICK_PANELS: u32 = 2000;
/// Where the Gaussian spectrum of a click is 80 dB down, in its standard deviations: sqrt(2 ln 10^4).
const CLICK_BAND: f64 = 4.292;

/// A sound given by a formula in time.
#[derive(Clone, Debug)]
pub struct Exact {
    formula: Formula,
    /// Least frequency that it holds, Hz.
    pub low_hz: f64,
    /// Greatest frequency that it holds, Hz.
    pub high_hz: f64,
    /// How long it sounds, s.
    pub duration_s: f64,
    /// The frequency that stands for it, Hz.
    pub representative_hz: f64,
}

#[derive(Clone, Debug)]
enum Formula {
    Sweep(Sweep),
    Pulses(PulseTrain),
    Clicks(ClickTrain),
}

impl Exact {
    /// The sound of a kind at a source level in dB re 1 uPa m; `None` for a kind that is not a formula (a hum, a recording).
    ///
    /// # Errors
    /// [`SynthError`] for figures that make no sound.
    pub fn new(kind: &SoundKind, level_db: f64) -> Result<Option<Self>, SynthError> {
        let burst = |from_hz: f64, to_hz: f64, length_s: f64| {
            let edge_s = (EDGE_SHARE * length_s).min(LONGEST_EDGE_S);
            Sweep::new(from_hz, to_hz, length_s, edge_s, level_db)
        };
        let narrow = |formula, duration_s, low_hz: f64, high_hz: f64| Self {
            formula,
            low_hz,
            high_hz,
            duration_s,
            representative_hz: (low_hz * high_hz).sqrt(),
        };
        Ok(Some(match kind {
            SoundKind::Upsweep {
                from_hz,
                to_hz,
                length_s,
            } => {
                let (a, b) = (from_hz.si, to_hz.si);
                let sweep = burst(a, b, length_s.si)?;
                narrow(Formula::Sweep(sweep), length_s.si, a.min(b), a.max(b))
            }
            SoundKind::Tone {
                frequency_hz,
                length_s,
            } => {
                let f = frequency_hz.si;
                narrow(Formula::Sweep(burst(f, f, length_s.si)?), length_s.si, f, f)
            }
            SoundKind::PulseTrain {
                frequency_hz,
                pulse_s,
                interval_s,
                pulses,
            } => {
                let f = frequency_hz.si;
                let pulse = burst(f, f, pulse_s.si)?;
                let train = PulseTrain::new(pulse, interval_s.si, u64::from(*pulses))?;
                let duration_s = interval_s.si * f64::from(pulses.saturating_sub(1)) + pulse_s.si;
                narrow(Formula::Pulses(train), duration_s, f, f)
            }
            SoundKind::ClickTrain {
                centre_hz,
                click_s,
                interval_s,
                clicks,
            } => {
                let (f, d) = (centre_hz.si, click_s.si);
                let train = |peak_to_peak_db| {
                    ClickTrain::new(f, d, peak_to_peak_db, interval_s.si, u64::from(*clicks))
                };
                let rms_db = click_rms_db(&train(0.0)?, d, interval_s.si);
                let train = train(level_db - rms_db)?;
                // The window exp(-t^2/2s^2) has the spectrum exp(-(2 pi s f)^2/2), with s = d / (2 sqrt(ln 10)).
                let deviation_hz = libm::sqrt(libm::log(10.0)) / (std::f64::consts::PI * d);
                let half_hz = CLICK_BAND * deviation_hz;
                Self {
                    duration_s: train.duration_s(),
                    formula: Formula::Clicks(train),
                    low_hz: (f - half_hz).max(0.0),
                    high_hz: f + half_hz,
                    representative_hz: f,
                }
            }
            SoundKind::Hum { .. } | SoundKind::Recording { .. } => return Ok(None),
        }))
    }

    /// Pressure in uPa at 1 m, `t_s` after the beginning.
    #[must_use]
    pub fn value(&self, t_s: f64) -> f64 {
        match &self.formula {
            Formula::Sweep(s) => s.value(t_s),
            Formula::Pulses(p) => p.value(t_s),
            Formula::Clicks(c) => c.value(t_s),
        }
    }
}

/// Level of the mean square over the -10 dB duration about the middle of the first click, dB re 1 uPa m.
fn click_rms_db(train: &ClickTrain, duration_s: f64, interval_s: f64) -> f64 {
    let step_s = duration_s / f64::from(CLICK_PANELS);
    let from_s = 0.5 * (interval_s - duration_s);
    let square = |share: f64| {
        let p = train.value(from_s + share * step_s);
        p * p
    };
    let sum: f64 = (0..CLICK_PANELS)
        .map(f64::from)
        .map(|i| square(i) + 4.0 * square(i + 0.5) + square(i + 1.0))
        .sum();
    10.0 * libm::log10(sum / (6.0 * f64::from(CLICK_PANELS)))
}
