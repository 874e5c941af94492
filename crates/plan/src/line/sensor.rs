//! Sensors and the chains from sound to samples.

use jiff::Timestamp;

use super::{Decibels, ModuleIx, Q};
use crate::site::Site;

/// What a sensor measures.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum SensorKind {
    /// Sound in water.
    Hydrophone,
    /// Sound in air (bench work), re 20 uPa.
    Microphone,
    /// Water temperature.
    Temperature,
    /// Water pressure.
    Pressure,
    /// Conductivity.
    Conductivity,
}

/// A sensor of a module.
#[derive(Clone, Debug)]
pub struct Sensor {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// What it measures.
    pub kind: SensorKind,
    /// From micropascals to counts; for hydrophones and microphones.
    pub chain: Option<Chain>,
    /// Time from power to usable samples, s.
    pub settles_s: Option<Q>,
    /// Last calibration.
    pub calibrated: Option<Calibration>,
}

/// The sensor chain: from sound pressure to counts.
#[derive(Clone, Debug)]
pub struct Chain {
    /// Sensitivity: dB re 1 V/uPa for a hydrophone, dB re 1 V/Pa for a microphone.
    pub sensitivity_db: Decibels,
    /// Gain, dB.
    pub gain_db: Decibels,
    /// Converter full scale (peak), V.
    pub full_scale_v: Q,
    /// Converter width, bits.
    pub bits: u32,
    /// Effective number of bits of the converter; those of an ideal one when not written.
    pub effective_bits: Option<Q>,
    /// Sample rate, Hz.
    pub rate_hz: Q,
    /// High-pass ahead of the converter.
    pub high_pass: Option<HighPass>,
    /// Noise voltage density at the input of the amplifier, V/sqrt(Hz), where the self-noise does not hold it.
    pub amplifier_noise_v_rthz: Option<Q>,
    /// Noise of the chain ahead of its converter, at its input: frequency in Hz and dB re 1 uPa2/Hz (1 (20 uPa)2/Hz in air is not used), rising frequency.
    pub self_noise: Vec<(Q, Decibels)>,
    /// Low-pass ahead of the converter, for what folds down.
    pub anti_alias: Option<AntiAliasSaid>,
    /// The converter's own way of keeping out what folds down.
    pub oversampling: Option<OversamplingSaid>,
    /// What electronics put into it; `None` when the plan does not say.
    pub pick_up: Option<Vec<PickUp>>,
}

/// A low-pass ahead of a converter.
#[derive(Clone, Copy, Debug)]
pub struct AntiAliasSaid {
    /// Corner (-3 dB), Hz.
    pub corner_hz: Q,
    /// Poles.
    pub poles: u32,
}

/// A converter that takes its samples faster than it tells them.
#[derive(Clone, Copy, Debug)]
pub struct OversamplingSaid {
    /// Rate at which it takes them, Hz.
    pub rate_hz: Q,
    /// By how much its filter weakens what lies beyond half the rate that it tells, dB.
    pub stop_band_db: Decibels,
}

/// What the electronics of a module put into a chain.
#[derive(Clone, Debug)]
pub struct PickUp {
    /// Where it was declared.
    pub at: Site,
    /// The module that makes it.
    pub from: ModuleIx,
    /// Its states in which it happens, by their place in its loads; all of them when not written.
    pub in_states: Option<Vec<usize>>,
    /// Of a converter the level of its fundamental, of ticks that while one lasts.
    pub level: PickUpLevel,
    /// Which.
    pub kind: PickUpKind,
}

/// A level at the input of a chain, or in its samples.
#[derive(Clone, Copy, Debug)]
pub enum PickUpLevel {
    /// As that of a sound at the hydrophone, dB re 1 uPa.
    Pressure(Decibels),
    /// As a voltage, V rms.
    Voltage(Q),
    /// As samples show it, by the sensitivity and the gain alone, dB re 1 uPa: behind the high-pass and behind all that keeps it out.
    Shown(Decibels),
}

/// What a pick-up is of.
#[derive(Clone, Copy, Debug)]
pub enum PickUpKind {
    /// A switching converter.
    Converter {
        /// Frequency at which it switches, Hz.
        frequency_hz: Q,
        /// The highest harmonic.
        harmonics: u32,
        /// By how much the harmonics fall in an octave, dB.
        falls_db: Decibels,
    },
    /// A line in samples, wherever it comes from.
    Shown {
        /// Where samples show it, Hz: at most half their rate.
        at_hz: Q,
    },
    /// Ticks.
    Ticks {
        /// From one to the next, s.
        every_s: Q,
        /// How long each lasts, s.
        lasts_s: Q,
        /// Band over which their power is spread evenly, Hz.
        band_hz: (Q, Q),
    },
}

impl Chain {
    /// Share of half the sample rate up to which an ear hears in a rehearsal. It stands for the converter's own filter; see
    /// docs/method/rehearsal-sound.md, "Half the rate".
    pub const AUDIBLE_SHARE: f64 = 0.9;

    /// Frequency up to which an ear hears in a rehearsal, Hz.
    #[must_use]
    pub fn audible_hz(&self) -> f64 {
        Chain::AUDIBLE_SHARE * 0.5 * self.rate_hz.si
    }
}

/// High-pass of a sensor chain.
#[derive(Clone, Copy, Debug)]
pub struct HighPass {
    /// Corner (-3 dB), Hz.
    pub corner_hz: Q,
    /// Poles.
    pub poles: u32,
}

/// A calibration.
#[derive(Clone, Debug)]
pub struct Calibration {
    /// When.
    pub date: Timestamp,
    /// By whom or where.
    pub by: String,
    /// Uncertainty (k = 2), dB.
    pub uncertainty_db: Option<Decibels>,
}
