//! A sound of the cue sheet, ready to be evaluated at any time after its beginning.
//!
//! Levels. The source level is an rms level; its meaning is that of [`plan::Sound::source_level_db`]. Tones, sweeps and pulses
//! have edges of a tenth of their length, at most 50 ms (`signal::Sweep`: the level is that of the energy duration, here that
//! of the steady part). Of a click it is the rms over its -10 dB duration, turned into the peak-to-peak level that
//! `signal::ClickTrain` asks for by integrating one click.
//!
//! One frequency stands for the sound where absorption is taken: the geometric mean of a sweep's ends and of a hum's edges, the
//! frequency of a tone, pulse or click, and the power-weighted geometric mean of a recording's spectrum.

use plan::{CueSheet, Sound, SoundIx, SoundKind};
use signal::{ClickTrain, PulseTrain, Sweep};

use super::error::EarError;
use super::hum::HumSource;
use super::played::Played;
use super::track::Track;

const EDGE_SHARE: f64 = 0.1;
const LONGEST_EDGE_S: f64 = 0.05;
/// Panels of Simpson's rule over one click: 20 to a period up to a hundred periods.
const CLICK_PANELS: u32 = 2000;
/// Where the Gaussian spectrum of a click is 80 dB down, in its standard deviations: sqrt(2 ln 10^4).
const CLICK_BAND: f64 = 4.292;

/// A sound, shared between the ears that hear it.
#[derive(Debug)]
pub struct Voice {
    pub(crate) sound: SoundIx,
    pub(crate) id: String,
    pub(crate) begin_s: f64,
    pub(crate) every_s: f64,
    pub(crate) times: u32,
    pub(crate) duration_s: f64,
    pub(crate) source_level_db: f64,
    pub(crate) representative_hz: f64,
    pub(crate) track: Track,
    pub(crate) what: What,
}

#[derive(Debug)]
pub(crate) enum What {
    Exact(Exact),
    Hum(HumSource),
    Played(Played),
}

/// A sound given by a formula in time.
#[derive(Debug)]
pub(crate) struct Exact {
    formula: Formula,
    pub(crate) low_hz: f64,
    pub(crate) high_hz: f64,
}

#[derive(Debug)]
enum Formula {
    Sweep(Sweep),
    Pulses(PulseTrain),
    Clicks(ClickTrain),
}

impl Exact {
    /// Pressure in uPa at 1 m, `t_s` after the beginning.
    pub(crate) fn value(&self, t_s: f64) -> f64 {
        match &self.formula {
            Formula::Sweep(s) => s.value(t_s),
            Formula::Pulses(p) => p.value(t_s),
            Formula::Clicks(c) => c.value(t_s),
        }
    }
}

impl Voice {
    /// The sound `sound` of a cue sheet; a recording is read whole.
    ///
    /// # Errors
    /// [`EarError`] for figures that make no sound, a recording that cannot be read, is silent, has gaps or no such channel or
    /// more than 52 million frames, and a track that does not advance in time or is faster than 100 m/s.
    ///
    /// # Panics
    /// If the cue sheet has no such sound.
    pub fn new(cues: &CueSheet, sound: SoundIx) -> Result<Self, EarError> {
        let plan = &cues.sounds[sound.0];
        let id = plan.id.as_str();
        let (every_s, times) = match plan.repeats {
            Some(r) => (r.every_s.si, r.times),
            None => (0.0, 1),
        };
        for (what, value, unit) in [
            ("beginning", plan.at_s.si, "s"),
            ("source level", plan.source_level_db.db, "dB re 1 uPa m"),
            ("time between repeats", every_s, "s"),
        ] {
            if !(value.is_finite() && (value >= 0.0 || unit != "s")) {
                return Err(EarError::Value {
                    sound: id.to_owned(),
                    what,
                    value,
                    unit,
                    expected: "a finite number, and no negative time",
                });
            }
        }
        let (what, duration_s, representative_hz) = what(plan, cues.seed)?;
        Ok(Self {
            sound,
            id: id.to_owned(),
            begin_s: plan.at_s.si,
            every_s,
            times,
            duration_s,
            source_level_db: plan.source_level_db.db,
            representative_hz,
            track: Track::new(id, &plan.track)?,
            what,
        })
    }

    /// Which sound of the cue sheet this is.
    #[must_use]
    pub fn sound(&self) -> SoundIx {
        self.sound
    }

    /// How long it sounds, s.
    #[must_use]
    pub fn duration_s(&self) -> f64 {
        self.duration_s
    }

    /// The frequency at which its absorption is taken, Hz.
    #[must_use]
    pub fn representative_hz(&self) -> f64 {
        self.representative_hz
    }

    /// Least and greatest frequency that it holds, Hz.
    pub(crate) fn band_hz(&self) -> (f64, f64) {
        match &self.what {
            What::Exact(e) => (e.low_hz, e.high_hz),
            What::Hum(h) => h.band_hz(),
            What::Played(p) => (0.0, 0.5 * p.rate_hz()),
        }
    }
}

fn what(plan: &Sound, seed: u64) -> Result<(What, f64, f64), EarError> {
    let level_db = plan.source_level_db.db;
    let refused = |source| EarError::Synth {
        sound: plan.id.clone(),
        source,
    };
    let exact = |formula, duration_s, low_hz: f64, high_hz: f64| {
        let what = What::Exact(Exact {
            formula,
            low_hz,
            high_hz,
        });
        (what, duration_s, (low_hz * high_hz).sqrt())
    };
    let burst = |from_hz: f64, to_hz: f64, length_s: f64| {
        let edge_s = (EDGE_SHARE * length_s).min(LONGEST_EDGE_S);
        Sweep::new(from_hz, to_hz, length_s, edge_s, level_db).map_err(refused)
    };
    Ok(match &plan.what {
        SoundKind::Upsweep {
            from_hz,
            to_hz,
            length_s,
        } => {
            let (a, b) = (from_hz.si, to_hz.si);
            let sweep = burst(a, b, length_s.si)?;
            exact(Formula::Sweep(sweep), length_s.si, a.min(b), a.max(b))
        }
        SoundKind::Tone {
            frequency_hz,
            length_s,
        } => {
            let f = frequency_hz.si;
            exact(Formula::Sweep(burst(f, f, length_s.si)?), length_s.si, f, f)
        }
        SoundKind::PulseTrain {
            frequency_hz,
            pulse_s,
            interval_s,
            pulses,
        } => {
            let f = frequency_hz.si;
            let pulse = burst(f, f, pulse_s.si)?;
            let train =
                PulseTrain::new(pulse, interval_s.si, u64::from(*pulses)).map_err(refused)?;
            let duration_s = interval_s.si * f64::from(pulses.saturating_sub(1)) + pulse_s.si;
            exact(Formula::Pulses(train), duration_s, f, f)
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
                    .map_err(refused)
            };
            let rms_db = click_rms_db(&train(0.0)?, d, interval_s.si);
            let train = train(level_db - rms_db)?;
            let duration_s = train.duration_s();
            // The window exp(-t^2/2s^2) has the spectrum exp(-(2 pi s f)^2/2), with s = d / (2 sqrt(ln 10)).
            let deviation_hz = libm::sqrt(libm::log(10.0)) / (std::f64::consts::PI * d);
            let half_hz = CLICK_BAND * deviation_hz;
            let what = What::Exact(Exact {
                formula: Formula::Clicks(train),
                low_hz: (f - half_hz).max(0.0),
                high_hz: f + half_hz,
            });
            (what, duration_s, f)
        }
        SoundKind::Hum {
            low_hz,
            high_hz,
            blade_rate_hz,
            length_s,
        } => {
            let blade_rate_hz = blade_rate_hz.map(|q| q.si);
            let edges = (low_hz.si, high_hz.si);
            let hum = HumSource::new(&plan.id, edges, blade_rate_hz, length_s.si, level_db, seed)?;
            let middle_hz = (edges.0 * edges.1).sqrt();
            (What::Hum(hum), length_s.si, middle_hz)
        }
        SoundKind::Recording { path, channel } => {
            let played = Played::open(&plan.id, path, *channel, level_db)?;
            let (duration_s, middle_hz) = (played.duration_s(), played.middle_hz());
            (What::Played(played), duration_s, middle_hz)
        }
    })
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
