//! Sensors and the chains from sound to samples.

use jiff::Timestamp;

use super::{Decibels, Q};
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
