//! A sound of the cue sheet, ready to be evaluated at any time after its beginning.
//!
//! What a sound given by a formula sounds like, and what its level means, is in [`assess::input::Exact`].
//!
//! One frequency stands for the sound where absorption is taken: the geometric mean of a sweep's ends and of a hum's edges, the
//! frequency of a tone, pulse or click, and the power-weighted geometric mean of a recording's spectrum.

use assess::input::Exact;
use plan::{CueSheet, Sound, SoundIx, SoundKind};

use super::error::EarError;
use super::hum::HumSource;
use super::played::Played;
use super::track::Track;

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
    if let Some(exact) = Exact::new(&plan.what, level_db).map_err(refused)? {
        let (duration_s, middle_hz) = (exact.duration_s, exact.representative_hz);
        return Ok((What::Exact(exact), duration_s, middle_hz));
    }
    Ok(match &plan.what {
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
        SoundKind::Upsweep { .. }
        | SoundKind::Tone { .. }
        | SoundKind::PulseTrain { .. }
        | SoundKind::ClickTrain { .. } => unreachable!("these have a formula"),
    })
}
