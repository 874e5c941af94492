//! What an ear hears when nothing sounds: the sea and its own electronics ([`assess::input::SiteNoise`]).

use assess::input::{SiteNoise, SiteNoiseError};
use signal::ShapedNoise;

use super::error::EarError;
use super::numbers::Numbers;

/// Background noise of one ear, as a function of the sample index.
#[derive(Debug)]
pub(crate) struct Background {
    shaped: ShapedNoise,
    numbers: Numbers,
}

/// What makes the background.
pub(crate) struct Surroundings<'a> {
    pub(crate) ear: &'a str,
    pub(crate) rate_hz: f64,
    pub(crate) wind_m_s: f64,
    pub(crate) shipping: f64,
    pub(crate) self_noise: &'a [(f64, f64)],
    pub(crate) seed: u64,
}

impl Background {
    pub(crate) fn new(around: &Surroundings<'_>) -> Result<Self, EarError> {
        let refused = |source| EarError::Noise {
            of: around.ear.to_owned(),
            source,
        };
        let noise = SiteNoise::new(
            around.wind_m_s,
            around.shipping,
            around.self_noise,
            around.rate_hz,
        )
        .map_err(|error| match error {
            SiteNoiseError::Spectrum(source) => refused(source),
            SiteNoiseError::Sea(source) => EarError::Ambient {
                ear: around.ear.to_owned(),
                source,
            },
        })?;
        Ok(Self {
            shaped: noise.shaped().map_err(refused)?,
            numbers: Numbers::new(around.seed, format!("noise/{}", around.ear)),
        })
    }

    /// Samples `first`, `first + 1`, ... in uPa.
    pub(crate) fn fill(&mut self, first: u64, out: &mut [f32]) {
        let Self { shaped, numbers } = self;
        shaped.fill(first, out, |i| numbers.at(i));
    }
}
