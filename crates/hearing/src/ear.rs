//! One channel of a recording as one sensor hears it.

use detect::{Spec, Stage};
use signal::{AIR_REFERENCE_UPA, WATER_REFERENCE_UPA, peak_level_db};

/// What levels are told against.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reference {
    /// 1 uPa, sound in water (ISO 18405).
    Water,
    /// 20 uPa, sound in air.
    Air,
    /// The largest sample that the recording can hold, 1.0.
    FullScale,
}

impl Reference {
    /// The reference of a level of sound pressure, as text.
    #[must_use]
    pub fn pressure(self) -> &'static str {
        match self {
            Reference::Water => "1 uPa",
            Reference::Air => "20 uPa",
            Reference::FullScale => "full scale",
        }
    }

    /// The reference of a level of sound exposure, as text.
    #[must_use]
    pub fn exposure(self) -> &'static str {
        match self {
            Reference::Water => "1 uPa2 s",
            Reference::Air => "(20 uPa)2 s",
            Reference::FullScale => "(full scale)2 s",
        }
    }

    /// The reference of a level of power spectral density, as text.
    #[must_use]
    pub fn density(self) -> &'static str {
        match self {
            Reference::Water => "1 uPa2/Hz",
            Reference::Air => "(20 uPa)2/Hz",
            Reference::FullScale => "(full scale)2/Hz",
        }
    }
}

/// One channel of a recording as one sensor hears it.
#[derive(Debug, Clone, PartialEq)]
pub struct Ear {
    /// Index of the channel in the recording, from 0.
    pub channel: u16,
    /// Sound pressure of a sample of 1.0, uPa; greater than zero and within single precision.
    pub full_scale_upa: f64,
    /// What its levels are told against. Detectors always work in uPa.
    pub reference: Reference,
    /// Its detectors, at the rate of the recording, thresholds re 1 uPa.
    pub detectors: Vec<Spec>,
}

impl Ear {
    /// Pressure of the reference, uPa.
    pub(crate) fn reference_upa(&self) -> f64 {
        match self.reference {
            Reference::Water => WATER_REFERENCE_UPA,
            Reference::Air => AIR_REFERENCE_UPA,
            Reference::FullScale => self.full_scale_upa,
        }
    }

    /// What is taken from a level re 1 uPa to tell it against the reference, dB.
    #[must_use]
    pub fn reference_db(&self) -> f64 {
        peak_level_db(self.reference_upa(), WATER_REFERENCE_UPA)
    }

    /// The same for the levels of one of its detectors: odds are told as they are.
    #[must_use]
    pub fn detector_reference_db(&self, detector: usize) -> f64 {
        let spec = &self.detectors[detector];
        if of_odds(spec) {
            0.0
        } else {
            self.reference_db()
        }
    }

    /// Reference of the levels of one of its detectors; odds are those of a learned model over even ones. The level told with a
    /// likeness is that of the sound under the template; the likeness itself is a score, as every excess over a background.
    #[must_use]
    pub fn level_reference(&self, detector: usize) -> &'static str {
        if of_odds(&self.detectors[detector]) {
            return "even odds";
        }
        let exposure = self.detectors[detector]
            .stages
            .iter()
            .any(|stage| matches!(stage, Stage::Exposure { .. }));
        if exposure {
            self.reference.exposure()
        } else {
            self.reference.pressure()
        }
    }
}

/// Whether a detector decides on the odds that a learned model tells.
fn of_odds(spec: &Spec) -> bool {
    let mut stages = spec.stages.iter();
    stages.any(|stage| matches!(stage, Stage::Learned { .. }))
}
