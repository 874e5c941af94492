//! From the temperature scale of today (ITS-90) to that of the 1980 equations (IPTS-68).
//!
//! `T68 = 1.00024 T90`, degC. Source: the conversion recommended for oceanographic data after P. M. Saunders (1990); the
//! factor is from memory. Validity: -2 to 40 degC, within about 0.001 K.
//!
//! Leaving it out shifts the sound speed of Chen and Millero by up to 0.017 m/s.

/// IPTS-68 temperature of an ITS-90 temperature, both in degC.
pub fn t68_from_t90_degc(t90_degc: f64) -> f64 {
    1.00024 * t90_degc
}
