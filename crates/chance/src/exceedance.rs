//! How long what is drawn by the ranks of a Gaussian sequence stays above a level.
//!
//! Of two neighbours with the correlation r both lie above the value h that a share p exceeds with the chance `p^2 + (1/2 pi) int_0^asin(r) exp(-h^2 / (1 + sin t)) dt`
//! (R. L. Plackett, Biometrika 41, 1954, 351-360: the density is the derivative by the correlation; with both levels equal). The correlation of "above" and "above a step later" is that integral
//! over `p (1 - p)`; at the median it is `(2/pi) asin r` (Sheppard 1899). Simpson's rule, of a smooth integrand.

use core::f64::consts::PI;

use crate::normal_law::normal_value_at_share;

/// Steps of Simpson's rule, even.
const STEPS: u32 = 400;

/// Correlation of "above" with "above a step later", 0 to 1, of a level that this share of the time is exceeded, with neighbours whose Gaussian ranks have this correlation, both 0 to 1; `None` for
/// other numbers. A level that is never or always exceeded has none: 0.
#[must_use]
pub fn exceedance_persistence(share_above: f64, correlation: f64) -> Option<f64> {
    if !(0.0..=1.0).contains(&share_above) || !(0.0..=1.0).contains(&correlation) {
        return None;
    }
    let spread = share_above * (1.0 - share_above);
    if spread == 0.0 {
        return Some(0.0);
    }
    let level = normal_value_at_share(share_above);
    let end = libm::asin(correlation);
    let at = |t: f64| libm::exp(-level * level / (1.0 + libm::sin(t)));
    let width = end / f64::from(STEPS);
    let inner = (1..STEPS).map(|i| {
        let weight = if i % 2 == 1 { 4.0 } else { 2.0 };
        weight * at(f64::from(i) * width)
    });
    let integral = width / 3.0 * (at(0.0) + inner.sum::<f64>() + at(end));
    Some((integral / (2.0 * PI * spread)).clamp(0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::exceedance_persistence;

    /// Sheppard's formula, from memory: at the median `(2/pi) asin r`. Never, always, and hours on their own know nothing of each other; equal ones everything.
    #[test]
    fn verif_closed_forms() {
        for r in [0.0_f64, 0.2, 0.5, 0.9, 0.959_189_457, 0.999, 1.0] {
            let found = exceedance_persistence(0.5, r).unwrap();
            let exact = 2.0 / std::f64::consts::PI * r.asin();
            assert!((found - exact).abs() < 1e-9, "{r}: {found} {exact}");
            assert_eq!(exceedance_persistence(0.0, r), Some(0.0));
            assert_eq!(exceedance_persistence(1.0, r), Some(0.0));
        }
        for p in [0.01, 0.3, 0.8] {
            assert!(exceedance_persistence(p, 0.0).unwrap().abs() < 1e-12);
            assert!((exceedance_persistence(p, 1.0).unwrap() - 1.0).abs() < 1e-6);
        }
        assert_eq!(exceedance_persistence(f64::NAN, 0.5), None);
        assert_eq!(exceedance_persistence(0.5, 1.5), None);
    }
}
