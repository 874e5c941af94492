//! Values that a key may take instead of its own, step by step away from it.
//!
//! A number is stepped in its own unit, and what follows it (the unit, a spread) stays as it is written. The steps are those of two
//! significant digits (100, 110, 120 ... 990, 1000, 1100), where the trade has no steps of its own.

use quantity::{Conductor, SECONDS_PER_DAY, parse_conductor, parse_event_rate, show_bare};

/// A value that a key may take.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Rung {
    /// As the key is written, without quotes.
    pub(super) value: String,
    /// How large the change is: the natural logarithm of the ratio of the larger value to the smaller.
    pub(super) size: f64,
}

/// Which way a number goes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Way {
    Up,
    Down,
}

/// Natural logarithm of two: the size of a change that has no measure, such as another kind of link.
pub(super) const DOUBLING: f64 = std::f64::consts::LN_2;

/// Nominal direct voltages, V: IEC 60038, "IEC standard voltages", preferred and supplementary values of equipment below 750 V. From
/// memory; the standard was not read.
const VOLTAGES_V: [f64; 20] = [
    5.0, 6.0, 7.5, 9.0, 12.0, 15.0, 24.0, 30.0, 36.0, 40.0, 48.0, 60.0, 72.0, 80.0, 96.0, 110.0,
    125.0, 220.0, 250.0, 440.0,
];

/// Rates of asynchronous lines and of CAN, bit/s: common practice.
const RATES_B_S: [f64; 15] = [
    1200.0,
    2400.0,
    4800.0,
    9600.0,
    19_200.0,
    38_400.0,
    50_000.0,
    57_600.0,
    100_000.0,
    115_200.0,
    125_000.0,
    250_000.0,
    500_000.0,
    800_000.0,
    1_000_000.0,
];

/// Panels are had in steps of this up to [`SMALL_PANEL_W`], then of twice as much, W: common practice.
const PANEL_STEP_W: f64 = 5.0;
const SMALL_PANEL_W: f64 = 100.0;
/// No single panel gives more; what is larger is an array, W (judgement).
const MOST_PANEL_W: f64 = 2000.0;

/// Below this a number is not stepped: a thousandth of it would lose digits, as the smallest number that keeps them all is 2.2e-308.
const SMALLEST: f64 = 1e-300;

/// A text that begins with a number: the number, and the rest.
pub(crate) fn split(text: &str) -> Option<(f64, &str)> {
    let digits = |c: char| c.is_ascii_digit() || matches!(c, '.' | '+' | '-');
    let text = text.trim();
    let end = text.find(|c| !digits(c)).unwrap_or(text.len());
    let x: f64 = text[..end].parse().ok()?;
    x.is_finite().then_some((x, &text[end..]))
}

fn size(from: f64, to: f64) -> f64 {
    libm::fabs(libm::log(to / from))
}

fn rung(from: f64, to: f64, tail: &str) -> Rung {
    Rung {
        value: format!("{}{tail}", show_bare(to)),
        size: size(from, to),
    }
}

/// Numbers of two significant digits from the number of a text to `times` of it or its `times`-th part. None for zero and below, nor for
/// what is so small that its second digit is lost ([`SMALLEST`]).
pub(super) fn two_digits(text: &str, way: Way, times: f64) -> Vec<Rung> {
    let Some((x, tail)) = split(text).filter(|(x, _)| *x >= SMALLEST) else {
        return Vec::new();
    };
    let mut power = libm::floor(libm::log10(x)) as i32 - 1;
    let number = |mantissa: i64, power: i32| -> f64 {
        let text = format!("{mantissa}e{power}");
        text.parse().expect("a whole number with a power of ten")
    };
    const HAIR: f64 = 1e-9;
    let in_steps = x / number(1, power);
    let mut mantissa = match way {
        Way::Up => libm::floor(in_steps + HAIR) as i64,
        Way::Down => libm::ceil(in_steps - HAIR) as i64,
    };
    let mut rungs = Vec::new();
    loop {
        match way {
            Way::Up => {
                mantissa += 1;
                if mantissa > 100 {
                    (mantissa, power) = (11, power + 1);
                }
            }
            Way::Down => {
                mantissa -= 1;
                if mantissa < 10 {
                    (mantissa, power) = (99, power - 1);
                }
            }
        }
        let to = number(mantissa, power);
        let far = if way == Way::Up { to / x } else { x / to };
        if far > times * (1.0 + HAIR) {
            return rungs;
        }
        rungs.push(rung(x, to, tail));
    }
}

/// The numbers of a list beyond that of a text.
fn listed(text: &str, way: Way, list: &[f64]) -> Vec<Rung> {
    let Some((x, tail)) = split(text).filter(|(x, _)| *x > 0.0) else {
        return Vec::new();
    };
    let mut found: Vec<f64> = list
        .iter()
        .copied()
        .filter(|v| if way == Way::Up { *v > x } else { *v < x })
        .collect();
    if way == Way::Down {
        found.reverse();
    }
    found.into_iter().map(|v| rung(x, v, tail)).collect()
}

/// Standard voltages, of a voltage that is written in volts.
pub(super) fn voltages(text: &str, way: Way) -> Vec<Rung> {
    match split(text) {
        Some((_, tail)) if tail.trim_start().starts_with('V') => listed(text, way, &VOLTAGES_V),
        _ => two_digits(text, way, 4.0),
    }
}

/// Usual rates, of a rate in any unit.
pub(super) fn rates(text: &str, way: Way) -> Vec<Rung> {
    let Ok(rate) = quantity::parse_amount(text, quantity::Dimension::DataRate) else {
        return Vec::new();
    };
    let mut rungs: Vec<Rung> = RATES_B_S
        .iter()
        .filter(|v| {
            if way == Way::Up {
                **v > rate.si
            } else {
                **v < rate.si
            }
        })
        .map(|v| Rung {
            value: quantity::show(*v, quantity::Dimension::DataRate),
            size: size(rate.si, *v),
        })
        .collect();
    if way == Way::Down {
        rungs.reverse();
    }
    rungs
}

/// Panels in the steps in which they are had, up to eight times the one there is; above [`MOST_PANEL_W`] by two digits.
pub(super) fn panels(text: &str) -> Vec<Rung> {
    let Some((x, tail)) = split(text)
        .filter(|(x, t)| *x > 0.0 && *x <= MOST_PANEL_W && t.trim_start().starts_with('W'))
    else {
        return two_digits(text, Way::Up, 8.0);
    };
    let mut rungs = Vec::new();
    let mut to = x;
    loop {
        let step = if to < SMALL_PANEL_W {
            PANEL_STEP_W
        } else {
            2.0 * PANEL_STEP_W
        };
        to = (libm::floor(to / step) + 1.0) * step;
        if to > 8.0 * x {
            return rungs;
        }
        rungs.push(rung(x, to, tail));
    }
}

/// Standard conductors that are thicker than one: cross-sections of IEC 60228, or gauges down to 4/0.
pub(super) fn conductors(text: &str) -> Vec<Rung> {
    let Ok(conductor) = parse_conductor(text) else {
        return Vec::new();
    };
    let thicker = crate::conductors::thicker(conductor).into_iter();
    match conductor {
        Conductor::Stranded { area_mm2, .. } => {
            let Some((_, tail)) = split(text) else {
                return Vec::new();
            };
            let areas_mm2 = thicker.filter_map(|(c, _)| match c {
                Conductor::Stranded { area_mm2, .. } => Some(area_mm2),
                Conductor::Awg(_) => None,
            });
            areas_mm2.map(|to| rung(area_mm2, to, tail)).collect()
        }
        Conductor::Awg(_) => {
            // ASTM B258: 39 steps of one ratio from 36 AWG (0.005 inch) to 4/0 (0.46 inch), which are 92 in diameter.
            let step = 2.0 * libm::log(92.0) / 39.0;
            let numbered = thicker.zip(1_u32..);
            let rungs = numbered.map(|((_, value), steps)| Rung {
                value,
                size: f64::from(steps) * step,
            });
            rungs.collect()
        }
    }
}

/// Whole decibels away from a level, up to so many.
pub(super) fn decibels(text: &str, way: Way, most_db: u32) -> Vec<Rung> {
    let Some((x, tail)) = split(text).filter(|(_, t)| t.trim_start().starts_with("dB")) else {
        return Vec::new();
    };
    (1..=most_db)
        .map(|n| {
            let by_db = f64::from(n);
            let to = if way == Way::Up { x + by_db } else { x - by_db };
            Rung {
                value: format!("{}{tail}", show_bare(libm::round(to * 1e6) / 1e6)),
                size: by_db * std::f64::consts::LN_10 / 10.0,
            }
        })
        .collect()
}

/// Tenths away from a number of volts, up to so many; of volts only.
pub(super) fn tenths(text: &str, way: Way, most: u32) -> Vec<Rung> {
    let volts = |t: &str| t.trim_start().starts_with('V');
    let Some((x, tail)) = split(text).filter(|(_, t)| volts(t)) else {
        return Vec::new();
    };
    let each = (1..=most).map(|n| {
        let by = f64::from(n) / 10.0;
        let to = if way == Way::Up { x + by } else { x - by };
        libm::round(to * 1e6) / 1e6
    });
    each.filter(|to| *to > 0.0)
        .map(|to| rung(x, to, tail))
        .collect()
}

/// Lower counts of a rate such as `6 per hour`, down to one, and then fewer in a day.
pub(super) fn fewer(text: &str) -> Vec<Rung> {
    let (Some((count, tail)), Ok(rate)) = (split(text), parse_event_rate(text)) else {
        return Vec::new();
    };
    let whole = |r: &Rung| split(&r.value).is_some_and(|(n, _)| libm::floor(n) == n);
    let mut rungs = two_digits(text, Way::Down, count);
    rungs.retain(whole);
    let in_a_day = |n: f64| n * SECONDS_PER_DAY / rate.per_s;
    let least = in_a_day(1.0f64.min(count));
    if rate.per_s < SECONDS_PER_DAY && !tail.trim().is_empty() {
        let mut in_days = two_digits(&format!("{} per d", show_bare(least)), Way::Down, least);
        in_days.retain(whole);
        for rung in &mut in_days {
            rung.size += size(least, in_a_day(count));
        }
        rungs.extend(in_days);
    }
    rungs
}

#[cfg(test)]
mod tests {
    use super::*;

    fn values(rungs: &[Rung]) -> Vec<&str> {
        rungs.iter().map(|r| r.value.as_str()).collect()
    }

    /// Written by hand.
    #[test]
    fn verif_steps_keep_two_digits_and_the_unit_with_its_spread() {
        let up = two_digits("95 Ah ± 2 %", Way::Up, 1.2);
        assert_eq!(
            values(&up),
            [
                "96 Ah ± 2 %",
                "97 Ah ± 2 %",
                "98 Ah ± 2 %",
                "99 Ah ± 2 %",
                "100 Ah ± 2 %",
                "110 Ah ± 2 %"
            ]
        );
        let down = two_digits("1.05 km", Way::Down, 1.12);
        assert_eq!(
            values(&down),
            [
                "1 km", "0.99 km", "0.98 km", "0.97 km", "0.96 km", "0.95 km", "0.94 km"
            ]
        );
        let rates = fewer("3 per hour");
        assert_eq!(
            values(&rates)[..4],
            ["2 per hour", "1 per hour", "23 per d", "22 per d"]
        );
        assert_eq!(values(&rates).last(), Some(&"1 per d"));
        assert!((rates[2].size - libm::log(72.0 / 23.0)).abs() < 1e-12);
        assert_eq!(values(&fewer("3 per d")), ["2 per d", "1 per d"]);
        assert_eq!(two_digits("0 s", Way::Up, 10.0), []);
        let tiny = |zeros: usize, unit: &str| format!("0.{}1 {unit}", "0".repeat(zeros));
        for zeros in [300, 307, 308, 322, 400] {
            for way in [Way::Up, Way::Down] {
                assert_eq!(two_digits(&tiny(zeros, "s"), way, 1000.0), [], "{zeros}");
                assert_eq!(panels(&tiny(zeros, "A")), [], "{zeros}");
            }
        }
        for rung in two_digits(&tiny(298, "s"), Way::Down, 1000.0) {
            assert!(rung.size.is_finite() && rung.size > 0.0, "{rung:?}");
        }
        for (from, to) in up.iter().zip(&up[1..]) {
            assert!(from.size < to.size);
        }
    }

    #[test]
    fn verif_steps_of_the_trade() {
        assert_eq!(
            values(&conductors("10 mm2 class 5 tinned")),
            [
                "16 mm2 class 5 tinned",
                "25 mm2 class 5 tinned",
                "35 mm2 class 5 tinned",
                "50 mm2 class 5 tinned"
            ]
        );
        assert_eq!(
            values(&conductors("2 AWG")),
            ["1 AWG", "1/0 AWG", "2/0 AWG", "3/0 AWG", "4/0 AWG"]
        );
        for rung in conductors("2 AWG") {
            assert!(parse_conductor(&rung.value).is_ok(), "{}", rung.value);
        }
        assert_eq!(values(&voltages("48 V", Way::Up))[..2], ["60 V", "72 V"]);
        assert_eq!(values(&voltages("48 V", Way::Down))[..2], ["40 V", "36 V"]);
        // No panel is that large: what stands there is an array, or a slip of the pen, and is stepped by two digits.
        assert!((1..100).contains(&panels("1000000 W").len()));
        assert!((1..100).contains(&panels("1e18 W").len()));
        assert_eq!(values(&panels("92 W"))[..3], ["95 W", "100 W", "110 W"]);
        assert_eq!(
            values(&decibels("150 dB re 1 uPa2 s", Way::Down, 2)),
            ["149 dB re 1 uPa2 s", "148 dB re 1 uPa2 s"]
        );
        assert_eq!(values(&rates("9600 b/s", Way::Up))[..1], ["19.2 kbit/s"]);
        assert_eq!(
            values(&tenths("12.25 V", Way::Up, 2)),
            ["12.35 V", "12.45 V"]
        );
        assert_eq!(values(&tenths("0.15 V", Way::Down, 9)), ["0.05 V"]);
        assert_eq!(tenths("12 mV", Way::Up, 2), []);
    }
}
