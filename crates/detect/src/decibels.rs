//! Decibels of many cells, without a library call for each.
//!
//! A number is `2^e m` with `m` in `sqrt(1/2)` to `sqrt(2)`, and `ln m = 2 (t + t^3/3 + t^5/5 + ...)` with `t = (m - 1) / (m + 1)`
//! (Gregory's series). Five terms leave less than 1e-8 dB (checked).

/// 10 lg of a power that is zero (minus infinity) or more; not a number for anything else, infinity too.
pub(crate) fn decibels(power: f64) -> f64 {
    if power == 0.0 {
        return f64::NEG_INFINITY;
    }
    if !(power >= f64::MIN_POSITIVE && power.is_finite()) {
        return if power > 0.0 && power.is_finite() {
            10.0 * libm::log10(power)
        } else {
            f64::NAN
        };
    }
    const MANTISSA: u64 = (1 << 52) - 1;
    let bits = power.to_bits();
    let mut exponent = (bits >> 52) as i64 - 1023;
    let mut m = f64::from_bits((bits & MANTISSA) | (1023 << 52));
    if m > core::f64::consts::SQRT_2 {
        m *= 0.5;
        exponent += 1;
    }
    let t = (m - 1.0) / (m + 1.0);
    let s = t * t;
    let series = 1.0 + s * (1.0 / 3.0 + s * (0.2 + s * (1.0 / 7.0 + s * (1.0 / 9.0))));
    exponent as f64 * DB_PER_OCTAVE + 2.0 * DB_PER_NEPER * t * series
}

/// 10 lg 2.
const DB_PER_OCTAVE: f64 = 10.0 * core::f64::consts::LOG10_2;
/// 10 lg e.
const DB_PER_NEPER: f64 = 10.0 * core::f64::consts::LOG10_E;

#[cfg(test)]
mod tests {
    use super::decibels;

    #[test]
    fn verif_decibels_are_ten_times_the_logarithm() {
        let mut power = 1e-40;
        while power < 1e40 {
            let expected = 10.0 * libm::log10(power);
            assert!((decibels(power) - expected).abs() < 1e-8, "{power}");
            power *= 1.0173;
        }
        assert_eq!(decibels(0.0), f64::NEG_INFINITY);
        assert_eq!(decibels(1.0), 0.0);
        assert!((decibels(5e-310) + 3_093.010_299_956_64).abs() < 1e-8);
        for wrong in [-1.0, f64::NAN, f64::INFINITY] {
            assert!(decibels(wrong).is_nan());
        }
    }
}
