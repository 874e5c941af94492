//! A call, ready to be put into noise.
//!
//! Levels. The in-band level of a call is that of its energy within the detector's band, over its energy duration: the time
//! between the instants at which 5 % and 95 % of its whole energy have passed (the usual 90 % energy duration of marine
//! acoustics, common practice). The signal-to-noise ratio of an injection is this level less the level of the noise in the same
//! band, both behind the chain's high-pass, as the detector hears them: what the high-pass takes from a band that reaches below its corner
//! drowns no call. `2 W E / N = 2TW S` then holds for a call of any shape.

use signal::{SensorChain, band_energy, level_db};

use crate::error::InjectionError;

/// Share of the energy that the energy duration leaves out at each end.
const LEFT_OUT: f64 = 0.05;
/// Time constants of the high-pass for which it goes on after the call.
const RINGING: f64 = 6.0;

/// A call as samples, and its level in the band of a detector.
#[derive(Debug, Clone, PartialEq)]
pub struct CallSound {
    /// What the converter sees of a call with an in-band level of 0 dB re 1 uPa there.
    pub(crate) pressure_upa: Vec<f32>,
    /// Samples of the call itself, without what the high-pass adds.
    pub(crate) samples: u64,
    rate_hz: f64,
    energy_duration_s: f64,
    in_band_db: f64,
    band_hz: (f64, f64),
}

impl CallSound {
    /// A call of samples `pressure_upa` at `rate_hz`, heard through the high-pass of `chain` (if any) by a detector that listens
    /// within `band_hz`. The level of the samples is that which `in_band_db` counts from: give them as at a level of 0 dB.
    ///
    /// # Errors
    /// [`InjectionError`] for a call that is silent or has no energy in the band, or that cannot be transformed.
    pub fn new(
        pressure_upa: &[f32],
        rate_hz: f64,
        chain: Option<&SensorChain>,
        band_hz: (f64, f64),
    ) -> Result<Self, InjectionError> {
        let (low_hz, high_hz) = band_hz;
        let total = band_energy(pressure_upa, rate_hz, low_hz, high_hz)?.total;
        if !(total.is_finite() && total > 0.0) {
            return Err(InjectionError::Silent);
        }
        let mut sound = pressure_upa.to_vec();
        let high_pass = match chain {
            Some(chain) => chain.high_pass_filter().map_err(signal::ChainError::from)?,
            None => None,
        };
        let described = chain.and_then(SensorChain::high_pass);
        if let (Some(mut high_pass), Some(described)) = (high_pass, described) {
            let ringing_s = RINGING / (2.0 * std::f64::consts::PI * described.corner_hz);
            let more = (ringing_s * rate_hz).ceil() as usize;
            sound.resize(sound.len() + more, 0.0);
            let mut filtered = vec![0.0; sound.len()];
            high_pass.process(&sound, &mut filtered);
            sound = filtered;
        }
        let heard = band_energy(&sound, rate_hz, low_hz, high_hz)?.in_band;
        let energy_duration_s = energy_duration_s(pressure_upa, rate_hz);
        if !(heard > 1e-12 * total && energy_duration_s > 0.0) {
            return Err(InjectionError::OutsideBand { low_hz, high_hz });
        }
        let in_band = heard / energy_duration_s;
        let factor = 1.0 / in_band.sqrt();
        for x in &mut sound {
            *x = (f64::from(*x) * factor) as f32;
        }
        Ok(Self {
            pressure_upa: sound,
            samples: pressure_upa.len() as u64,
            rate_hz,
            energy_duration_s,
            in_band_db: level_db(in_band, 1.0),
            band_hz,
        })
    }

    /// In-band level of the call behind the high-pass less the level it was given at, dB: 0 where all of it lies in the band and passes.
    #[must_use]
    pub fn in_band_db(&self) -> f64 {
        self.in_band_db
    }

    /// Time between the instants at which 5 % and 95 % of the energy have passed, s.
    #[must_use]
    pub fn energy_duration_s(&self) -> f64 {
        self.energy_duration_s
    }

    /// Length of the call, s.
    #[must_use]
    pub fn duration_s(&self) -> f64 {
        self.samples as f64 / self.rate_hz
    }

    /// Samples of the call.
    #[must_use]
    pub fn samples(&self) -> u64 {
        self.samples
    }

    /// Samples of the call with what the high-pass adds.
    #[must_use]
    pub fn whole_samples(&self) -> u64 {
        self.pressure_upa.len() as u64
    }

    /// Product of the energy duration and the width of the band.
    #[must_use]
    pub fn time_bandwidth(&self) -> f64 {
        self.energy_duration_s * (self.band_hz.1 - self.band_hz.0)
    }

    /// The band in which the detector listens, Hz.
    #[must_use]
    pub fn band_hz(&self) -> (f64, f64) {
        self.band_hz
    }
}

fn energy_duration_s(x: &[f32], rate_hz: f64) -> f64 {
    let square = |v: &f32| f64::from(*v) * f64::from(*v);
    let total: f64 = x.iter().map(square).sum();
    let mut sum = 0.0;
    let (mut first, mut last) = (None, x.len());
    for (i, v) in x.iter().enumerate() {
        sum += square(v);
        if first.is_none() && sum >= LEFT_OUT * total {
            first = Some(i);
        }
        if sum >= (1.0 - LEFT_OUT) * total {
            last = i;
            break;
        }
    }
    let first = first.unwrap_or(0);
    // A single sample that holds it all lasts for one.
    ((last - first).max(1)) as f64 / rate_hz
}
