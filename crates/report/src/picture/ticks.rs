//! Where ticks stand and how they are written.
//!
//! Steps are one, two or five times a power of ten (common practice). Decimal steps are formed as
//! a whole number over a power of ten, so that `0.3` is the double nearest to 0.3.

/// Ticks of a linear axis: multiples of 1, 2 or 5 times a power of ten within `low..=high`, as
/// many as possible but at most `most` (at least 2). Empty when the range does not rise or is not
/// finite. The second value is the number of decimals that writes each tick exactly.
pub(super) fn linear_ticks(low: f64, high: f64, most: usize) -> (Vec<f64>, usize) {
    if !(low.is_finite() && high.is_finite() && low < high) {
        return (Vec::new(), 0);
    }
    let most = most.max(2) as f64;
    let mut exponent = libm::floor(libm::log10((high - low) / most)) as i32 - 1;
    loop {
        for mantissa in [1.0, 2.0, 5.0] {
            let at = |k: f64| scaled(k * mantissa, exponent);
            let step = at(1.0);
            let first = libm::ceil(low / step - 1e-9);
            let last = libm::floor(high / step + 1e-9);
            if last - first + 1.0 <= most {
                let count = (last - first + 1.0).max(0.0) as usize;
                let ticks = (0..count).map(|i| at(first + i as f64) + 0.0).collect();
                return (ticks, usize::try_from(-exponent).unwrap_or(0));
            }
        }
        exponent += 1;
    }
}

/// Ticks of a logarithmic axis within `low..=high`: 1-2-5 in each decade, or 1-3, or the powers of
/// ten, or every second, third ... of them, whatever is densest with at most `most` (at least 2).
/// Where that leaves fewer than three, the linear ticks are taken. Empty when the range does not
/// rise above zero.
pub(super) fn logarithmic_ticks(low: f64, high: f64, most: usize) -> Vec<f64> {
    if !(low.is_finite() && high.is_finite() && low < high && low > 0.0) {
        return Vec::new();
    }
    let most = most.max(2);
    let decades = decades(low, high);
    let within = |mantissas: &[f64], every: i32| -> Vec<f64> {
        decades
            .clone()
            .filter(|d| d.rem_euclid(every) == 0)
            .flat_map(|d| mantissas.iter().map(move |&m| scaled(m, d)))
            .filter(|v| (low * (1.0 - 1e-9)..=high * (1.0 + 1e-9)).contains(v))
            .collect()
    };
    let mut ticks = within(&[1.0, 2.0, 5.0], 1);
    if ticks.len() > most {
        ticks = within(&[1.0, 3.0], 1);
    }
    let mut every = 1;
    while ticks.len() > most {
        ticks = within(&[1.0], every);
        every += 1;
    }
    if ticks.len() < 3 {
        ticks = linear_ticks(low, high, most).0;
    }
    ticks
}

/// The nine-to-a-decade positions of a logarithmic axis, for ticks without a number.
pub(super) fn logarithmic_minor_ticks(low: f64, high: f64) -> Vec<f64> {
    decades(low, high)
        .flat_map(|d| (1..10).map(move |m| scaled(f64::from(m), d)))
        .filter(|v| (low..=high).contains(v))
        .collect()
}

fn decades(low: f64, high: f64) -> std::ops::RangeInclusive<i32> {
    libm::floor(libm::log10(low)) as i32..=libm::ceil(libm::log10(high)) as i32
}

/// `whole` times ten to the `exponent`, rounded once for exponents of magnitude up to 22.
fn scaled(whole: f64, exponent: i32) -> f64 {
    let power = (0..exponent.unsigned_abs()).fold(1.0_f64, |p, _| p * 10.0);
    if exponent < 0 {
        whole / power
    } else {
        whole * power
    }
}

/// A quantity in at most `digits` significant digits with an SI prefix from nano to giga, such as
/// `1.5 kHz`. Zero has no prefix. A number that is not finite is written as it is.
pub fn si_label(value: f64, unit: &str, digits: usize) -> String {
    const PREFIXES: [(i32, &str); 7] = [
        (9, "G"),
        (6, "M"),
        (3, "k"),
        (0, ""),
        (-3, "m"),
        (-6, "µ"),
        (-9, "n"),
    ];
    if value == 0.0 || !value.is_finite() {
        return format!("{} {unit}", signed(value, 0));
    }
    let rounded = rounded_to_digits(value, digits);
    let (exponent, prefix) = PREFIXES
        .into_iter()
        .find(|&(e, _)| rounded.abs() >= scaled(1.0, e) * (1.0 - 1e-12))
        .unwrap_or((-9, "n"));
    let number = rounded_to_digits(scaled(value, -exponent), digits);
    format!("{} {prefix}{unit}", number.to_string().replace('-', "−"))
}

fn rounded_to_digits(value: f64, digits: usize) -> f64 {
    format!("{value:.*e}", digits.max(1) - 1)
        .parse()
        .expect("a number as Rust writes it can be read back")
}

/// A number with a fixed count of decimals and a true minus sign; never a negative zero.
pub(super) fn signed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().any(|b| (b'1'..=b'9').contains(&b)) || !value.is_finite() => {
            format!("−{rest}")
        }
        Some(rest) => rest.to_owned(),
        None => text,
    }
}

/// A reference as it is lettered on a picture: with µ and ², which plain text here writes as u and 2.
#[must_use]
pub fn lettered(reference: &str) -> String {
    reference
        .replace("uPa", "µPa")
        .replace("µPa2", "µPa²")
        .replace(")2", ")²")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verif_linear_ticks_are_whole_multiples_inside_the_range() {
        for (low, high, most) in [
            (0.0, 1.0, 6),
            (-3.7, 12.2, 8),
            (0.0, 4000.0, 9),
            (1e-6, 3e-6, 5),
            (99.95, 100.05, 7),
            (-1.0, 0.0, 2),
        ] {
            let (ticks, decimals) = linear_ticks(low, high, most);
            assert!((1..=most).contains(&ticks.len()), "{low} {high}: {ticks:?}");
            for tick in &ticks {
                assert!(*tick >= low - 1e-9 && *tick <= high + 1e-9);
                let written: f64 = format!("{tick:.decimals$}").parse().unwrap();
                assert_eq!(written, *tick, "{decimals} decimals do not write {tick}");
            }
            for pair in ticks.windows(2) {
                let step = pair[1] - pair[0];
                let mantissa = step / libm::pow(10.0, libm::floor(libm::log10(step * 1.000001)));
                assert!(
                    [1.0, 2.0, 5.0].iter().any(|m| (m - mantissa).abs() < 1e-6),
                    "step {step}"
                );
            }
        }
    }

    #[test]
    fn verif_ticks_of_known_ranges() {
        assert_eq!(
            linear_ticks(0.0, 1.0, 6),
            (vec![0.0, 0.2, 0.4, 0.6, 0.8, 1.0], 1)
        );
        assert_eq!(linear_ticks(0.0, 4000.0, 5).0, [0.0, 1e3, 2e3, 3e3, 4e3]);
        assert_eq!(
            logarithmic_ticks(10.0, 1000.0, 9),
            [10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0]
        );
        assert_eq!(
            logarithmic_ticks(10.0, 1000.0, 5),
            [10.0, 30.0, 100.0, 300.0, 1000.0]
        );
        assert_eq!(logarithmic_ticks(10.0, 1000.0, 3), [10.0, 100.0, 1000.0]);
        assert_eq!(logarithmic_ticks(210.0, 390.0, 5), [250.0, 300.0, 350.0]);
        assert!(linear_ticks(1.0, f64::NAN, 5).0.is_empty());
        assert!(logarithmic_ticks(0.0, 5.0, 5).is_empty());
    }

    #[test]
    fn verif_si_labels() {
        assert_eq!(si_label(1500.0, "Hz", 3), "1.5 kHz");
        assert_eq!(si_label(999.96, "Hz", 4), "1 kHz");
        assert_eq!(si_label(7.8125, "Hz", 3), "7.81 Hz");
        assert_eq!(si_label(0.128, "s", 3), "128 ms");
        assert_eq!(si_label(0.0, "Hz", 3), "0 Hz");
        assert_eq!(si_label(-2.5e6, "Hz", 3), "−2.5 MHz");
        assert_eq!(si_label(3.2e-7, "s", 3), "320 ns");
        assert_eq!(signed(-0.04, 1), "0.0");
        assert_eq!(signed(-12.0, 0), "−12");
    }
}
