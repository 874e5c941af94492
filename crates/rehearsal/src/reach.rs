//! What of a sound lies above what a hydrophone hears at its rate.

use std::fmt;

use assess::input::Exact;
use plan::{CueSheet, Line, SensorIx, SoundIx, SoundKind};

/// A sound of which a hydrophone hears a part, or nothing, since its rate is too low.
#[derive(Clone, PartialEq, Debug)]
pub struct Above {
    /// The sound: a typed path.
    pub sound: String,
    /// The hydrophone: a typed path.
    pub sensor: String,
    /// Least frequency of the sound, Hz.
    pub low_hz: f64,
    /// Greatest frequency of the sound, Hz.
    pub high_hz: f64,
    /// Up to which frequency the hydrophone hears, Hz.
    pub audible_hz: f64,
}

impl Above {
    /// Whether nothing of the sound is heard.
    #[must_use]
    pub fn wholly(&self) -> bool {
        self.low_hz >= self.audible_hz
    }
}

impl fmt::Display for Above {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (sound, sensor, audible_hz) = (&self.sound, &self.sensor, self.audible_hz);
        if self.wholly() {
            let low_hz = self.low_hz;
            write!(
                f,
                "{sound} lies above {low_hz:.0} Hz, and {sensor} hears up to {audible_hz:.0} Hz: nothing of it is heard"
            )
        } else {
            let high_hz = self.high_hz;
            write!(
                f,
                "{sound} reaches {high_hz:.0} Hz, and {sensor} hears up to {audible_hz:.0} Hz"
            )
        }
    }
}

/// What of a sound lies above what a hydrophone hears; `None` where all of it can be heard, and for a recording.
#[must_use]
pub fn above(line: &Line, cues: &CueSheet, sound: SoundIx, sensor: SensorIx) -> Option<Above> {
    let played = &cues.sounds[sound.0];
    let (low_hz, high_hz) = match &played.what {
        SoundKind::Hum {
            low_hz, high_hz, ..
        } => (low_hz.si, high_hz.si),
        SoundKind::Recording { .. } => return None,
        // What makes no sound has stopped the rehearsal.
        formula => {
            let exact = Exact::new(formula, 0.0).ok().flatten()?;
            (exact.low_hz, exact.high_hz)
        }
    };
    let audible_hz = line.sensor(sensor).chain.as_ref()?.audible_hz();
    (high_hz > audible_hz).then(|| Above {
        sound: format!("sound.{}", played.id),
        sensor: line.sensor_path(sensor),
        low_hz,
        high_hz,
        audible_hz,
    })
}
