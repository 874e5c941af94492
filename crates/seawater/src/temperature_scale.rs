//! From the temperature scale of today (ITS-90) to that of the 1980 equations (IPTS-68).
//!
//! `T68 = 1.00024 T90`, degC. Source: the conversion recommended for oceanographic data after P. M. Saunders (1990); the
//! factor is from memory. Validity: -2 to 40 degC, within about 0.001 K.
//!
//! Ignoring it shifts the sound speed of Chen and Millero by up to 0.02 m/s (at 0 degC per kelvin the speed rises by 5 m/s,
//! and at 20 degC the scales differ by 5 mK).

/// IPTS-68 temperature of an ITS-90 temperature, both in degC.
pub fn t68_from_t90_degc(t90_degc: f64) -> f64 {
    1.00024 * t90_degc
}
