//! Butterworth filters as cascades of second-order sections.
//!
//! Source: the maximally flat prototype of S. Butterworth (1930), mapped to a low-pass, high-pass or band-pass by the usual
//! frequency transformations and to sampled time by the bilinear transform with pre-warped corners, as textbooks on
//! digital filters give it (common practice; checked against an independent library, `reference/make/signal_filters.py`).
//!
//! Symbols: `s` analogue frequency divided by twice the rate, so that `z = (1 + s)/(1 - s)` and a corner `f` maps to
//! `w = tan(pi f / rate)`. All in double precision.
//!
//! Gain, from `s - p = ((1 - p) z - (1 + p))/(z + 1)`: low-pass `w^N / prod(1 - p)`, high-pass `1 / prod(1 - p)`, band-pass
//! `b^N / prod(1 - p)` with `b = w2 - w1`; no response has to be evaluated near `z = 1`, where it would lose digits.
//!
//! Validity: orders 1 to 16, corners strictly inside 0 to half the rate. Accuracy: coefficients within 1e-12 relative of
//! the reference for bands of 5 kHz to 40 kHz and 60 Hz to 260 Hz at 96 kHz.

use alloc::vec::Vec;
use core::f64::consts::PI;

use crate::error::{FilterError, checked_rate};
use crate::sos::Sos;

const MAX_ORDER: usize = 16;

/// Band-pass with `order` prototype poles, hence `2 * order` poles and `order` second-order sections.
///
/// `low_hz` and `high_hz` are the -3 dB edges, `rate_hz` the sampling rate.
///
/// # Errors
/// [`FilterError`] for an order outside 1 to 16, a rate that is not positive, or edges that are not `0 < low < high < rate/2`.
pub fn butterworth_bandpass(
    order: usize,
    low_hz: f64,
    high_hz: f64,
    rate_hz: f64,
) -> Result<Sos, FilterError> {
    checked_order(order)?;
    let w_low = warped(low_hz, rate_hz)?;
    let w_high = warped(high_hz, rate_hz)?;
    if low_hz >= high_hz {
        return Err(FilterError::Edges { low_hz, high_hz });
    }
    let width = w_high - w_low;
    let w0_squared = w_low * w_high;
    let mut sections = Vec::with_capacity(order);
    let mut gain = 1.0;
    for k in 0..order.div_ceil(2) {
        let pole = prototype_pole(order, k);
        if pole.im == 0.0 {
            let (first, second) = band_poles(pole, width, w0_squared);
            gain *= width / ((ONE - first) * (ONE - second)).re;
            sections.push(pair_section(first, second, 0.0, -1.0));
        } else {
            let (first, second) = band_poles(pole, width, w0_squared);
            for p in [first, second] {
                gain *= width / (ONE - p).norm_squared();
                sections.push(conjugate_section(p, 0.0, -1.0));
            }
        }
    }
    if sections.iter().any(|s| !is_stable(s)) {
        return Err(FilterError::TooNarrow {
            low_hz,
            high_hz,
            rate_hz,
        });
    }
    let centre_hz = rate_hz / PI * libm::atan(libm::sqrt(w0_squared));
    Ok(Sos::from_normalised(gain, sections, rate_hz, centre_hz))
}

/// Low-pass with `order` poles; `corner_hz` is the -3 dB corner.
///
/// # Errors
/// [`FilterError`] for an order outside 1 to 16, a rate that is not positive, or a corner not inside 0 to `rate_hz / 2`.
pub fn butterworth_lowpass(order: usize, corner_hz: f64, rate_hz: f64) -> Result<Sos, FilterError> {
    checked_order(order)?;
    let w = warped(corner_hz, rate_hz)?;
    one_sided(order, rate_hz, corner_hz, 1.0, |p| p * w, w)
}

/// High-pass with `order` poles; `corner_hz` is the -3 dB corner.
///
/// # Errors
/// [`FilterError`] for an order outside 1 to 16, a rate that is not positive, or a corner not inside 0 to `rate_hz / 2`.
pub fn butterworth_highpass(
    order: usize,
    corner_hz: f64,
    rate_hz: f64,
) -> Result<Sos, FilterError> {
    checked_order(order)?;
    let w = warped(corner_hz, rate_hz)?;
    one_sided(
        order,
        rate_hz,
        corner_hz,
        -1.0,
        |p| Complex { re: w, im: 0.0 } / p,
        1.0,
    )
}

fn one_sided(
    order: usize,
    rate_hz: f64,
    corner_hz: f64,
    zero_sign: f64,
    map: impl Fn(Complex) -> Complex,
    pole_gain: f64,
) -> Result<Sos, FilterError> {
    let mut sections = Vec::with_capacity(order.div_ceil(2));
    let mut gain = 1.0;
    for k in 0..order.div_ceil(2) {
        let pole = map(prototype_pole(order, k));
        if 2 * k + 1 == order {
            gain *= pole_gain / (1.0 - pole.re);
            sections.push([zero_sign, 0.0, -bilinear(pole).re, 0.0]);
        } else {
            gain *= pole_gain * pole_gain / (ONE - pole).norm_squared();
            sections.push(conjugate_section(pole, 2.0 * zero_sign, 1.0));
        }
    }
    if sections.iter().any(|s| !is_stable(s)) {
        return Err(FilterError::TooNarrow {
            low_hz: corner_hz,
            high_hz: corner_hz,
            rate_hz,
        });
    }
    Ok(Sos::from_normalised(gain, sections, rate_hz, corner_hz))
}

fn checked_order(order: usize) -> Result<(), FilterError> {
    if (1..=MAX_ORDER).contains(&order) {
        Ok(())
    } else {
        Err(FilterError::Order {
            order,
            max: MAX_ORDER,
        })
    }
}

fn warped(corner_hz: f64, rate_hz: f64) -> Result<f64, FilterError> {
    checked_rate(rate_hz)?;
    let nyquist_hz = 0.5 * rate_hz;
    if corner_hz > 0.0 && corner_hz < nyquist_hz {
        Ok(libm::tan(PI * corner_hz / rate_hz))
    } else {
        Err(FilterError::Corner {
            corner_hz,
            nyquist_hz,
        })
    }
}

/// Poles of the prototype in the upper half plane, the real one (odd order) last.
fn prototype_pole(order: usize, k: usize) -> Complex {
    if 2 * k + 1 == order {
        return Complex { re: -1.0, im: 0.0 };
    }
    let angle = PI * (2 * k + 1) as f64 / (2 * order) as f64;
    Complex {
        re: -libm::sin(angle),
        im: libm::cos(angle),
    }
}

/// The two band-pass poles of one prototype pole: roots of `s^2 - p b s + w0^2`, the small one from the product of roots so
/// that wide bands keep its digits.
fn band_poles(pole: Complex, width: f64, w0_squared: f64) -> (Complex, Complex) {
    let half = pole * (0.5 * width);
    let root = (half * half
        - Complex {
            re: w0_squared,
            im: 0.0,
        })
    .sqrt();
    let (plus, minus) = (half + root, half - root);
    let large = if plus.norm_squared() >= minus.norm_squared() {
        plus
    } else {
        minus
    };
    (
        large,
        Complex {
            re: w0_squared,
            im: 0.0,
        } / large,
    )
}

fn bilinear(p: Complex) -> Complex {
    (ONE + p) / (ONE - p)
}

fn conjugate_section(p: Complex, b1: f64, b2: f64) -> [f64; 4] {
    let z = bilinear(p);
    [b1, b2, -2.0 * z.re, z.norm_squared()]
}

fn pair_section(p: Complex, q: Complex, b1: f64, b2: f64) -> [f64; 4] {
    let (zp, zq) = (bilinear(p), bilinear(q));
    [b1, b2, -(zp + zq).re, (zp * zq).re]
}

/// Both poles strictly inside the unit circle: the stability triangle of a second-order section.
fn is_stable(section: &[f64; 4]) -> bool {
    let [_, _, a1, a2] = *section;
    a2.abs() < 1.0 && a1.abs() < 1.0 + a2
}

const ONE: Complex = Complex { re: 1.0, im: 0.0 };

#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Complex {
    pub(crate) re: f64,
    pub(crate) im: f64,
}

impl Complex {
    pub(crate) fn norm_squared(self) -> f64 {
        self.re * self.re + self.im * self.im
    }

    fn sqrt(self) -> Self {
        let modulus = libm::sqrt(self.norm_squared());
        let re = libm::sqrt(0.5 * (modulus + self.re).max(0.0));
        let im = libm::sqrt(0.5 * (modulus - self.re).max(0.0));
        Self {
            re,
            im: if self.im < 0.0 { -im } else { im },
        }
    }
}

impl core::ops::Add for Complex {
    type Output = Self;
    fn add(self, o: Self) -> Self {
        Self {
            re: self.re + o.re,
            im: self.im + o.im,
        }
    }
}

impl core::ops::Sub for Complex {
    type Output = Self;
    fn sub(self, o: Self) -> Self {
        Self {
            re: self.re - o.re,
            im: self.im - o.im,
        }
    }
}

impl core::ops::Mul for Complex {
    type Output = Self;
    fn mul(self, o: Self) -> Self {
        Self {
            re: self.re * o.re - self.im * o.im,
            im: self.re * o.im + self.im * o.re,
        }
    }
}

impl core::ops::Mul<f64> for Complex {
    type Output = Self;
    fn mul(self, k: f64) -> Self {
        Self {
            re: self.re * k,
            im: self.im * k,
        }
    }
}

impl core::ops::Div for Complex {
    type Output = Self;
    fn div(self, o: Self) -> Self {
        let n = o.norm_squared();
        Self {
            re: (self.re * o.re + self.im * o.im) / n,
            im: (self.im * o.re - self.re * o.im) / n,
        }
    }
}
