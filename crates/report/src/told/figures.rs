//! Figures of verdicts for people: four significant digits, and one unit for what is compared.

use std::borrow::Cow;

use assess::Figure;

/// Significant digits of a figure.
const SIGNIFICANT: usize = 4;
/// A number that needs more decimals is written with a power of ten.
const MOST_DECIMALS: i32 = 9;

/// Value, limit and margin; lengths in km where value and limit both reach one, or one of them reaches ten.
pub(super) fn in_one_unit(figures: [&Figure; 3]) -> [Figure; 3] {
    const KM: f64 = 1e3;
    let sizes = figures.map(|f| f.value.abs());
    let (least, most) = (sizes[0].min(sizes[1]), sizes[0].max(sizes[1]));
    let long = figures.iter().all(|f| f.unit == "m") && (least >= KM || most >= 10.0 * KM);
    figures.map(|f| {
        if long {
            Figure {
                value: f.value / KM,
                unit: "km".to_owned(),
            }
        } else {
            f.clone()
        }
    })
}

/// The same three as they are shown.
pub(crate) fn in_words(figures: [&Figure; 3]) -> [String; 3] {
    let [value, limit, margin] = in_one_unit(figures);
    [
        shown(&value, &value.unit),
        shown(&limit, shortened(&limit.unit)),
        shown(&margin, shortened(&margin.unit)),
    ]
}

/// `21.3 V, limit 18 V, margin 3.3 V`.
pub(super) fn in_a_row(figures: [&Figure; 3]) -> String {
    let [value, limit, margin] = in_words(figures);
    format!("{value}, limit {limit}, margin {margin}")
}

/// A unit without what it is of: that is told once, with the value.
pub(crate) fn shortened(unit: &str) -> &str {
    let ends = [" of ", " that ", " a "]
        .iter()
        .filter_map(|w| unit.find(w));
    ends.min().map_or(unit, |end| &unit[..end])
}

/// Units that count things, and the same of one thing.
const COUNTED: [(&str, &str); 12] = [
    ("hydrophones", "hydrophone"),
    ("times", "time"),
    ("modules that run", "module that runs"),
    ("messages", "message"),
    (
        "failures that leave it unsafe",
        "failure that leaves it unsafe",
    ),
    ("failures", "failure"),
    ("false alarms", "false alarm"),
    ("expectations", "expectation"),
    (
        "steps of the way from flat that are met",
        "step of the way from flat that is met",
    ),
    ("steps", "step"),
    ("months", "month"),
    ("modules", "module"),
];

/// A unit as it is told of a number: things are told of one in the singular.
fn of_number(x: f64, unit: &str) -> Cow<'_, str> {
    let counted = COUNTED.iter().find_map(|(many, one)| {
        let rest = unit.strip_prefix(many)?;
        (rest.is_empty() || rest.starts_with(' ')).then(|| format!("{one}{rest}"))
    });
    match counted {
        Some(one) if x.abs() == 1.0 => Cow::Owned(one),
        _ => Cow::Borrowed(unit),
    }
}

/// A share below this is told as less than it: what rounding leaves of nothing, and what no one can tell from nothing, %.
const LEAST_PERCENT: f64 = 1e-6;

/// A number with four significant digits, or all before the point when there are more, and its unit; money with the decimals of
/// its currency.
pub(crate) fn shown(figure: &Figure, unit: &str) -> String {
    let x = figure.value;
    if let Some(decimals) = quantity::currency_decimals(unit) {
        let width = usize::try_from(decimals).expect("a handful of decimals");
        return format!("{x:.width$} {unit}");
    }
    // Also minus zero.
    if x == 0.0 {
        return format!("0 {unit}");
    }
    let share = unit.starts_with('%') || unit == "points";
    if share && x > 0.0 && x < LEAST_PERCENT {
        return format!("less than {LEAST_PERCENT:.6} {unit}");
    }
    let unit = of_number(x, unit);
    if x.fract() == 0.0 {
        return format!("{x:.0} {unit}");
    }
    let scientific = format!("{x:.*e}", SIGNIFICANT - 1);
    let power: Option<i32> = scientific.split_once('e').and_then(|(_, p)| p.parse().ok());
    match power.map(|p| SIGNIFICANT as i32 - 1 - p) {
        Some(digits) if digits <= MOST_DECIMALS => {
            format!("{x:.*} {unit}", usize::try_from(digits).unwrap_or(0))
        }
        _ => format!("{scientific} {unit}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand.
    #[test]
    fn verif_figures_keep_four_significant_digits() {
        for (value, unit, expected) in [
            (0.000_04, "s", "0.00004000 s"),
            (-0.000_012_345, "s", "-0.00001234 s"),
            (1.234_56e-8, "s", "1.235e-8 s"),
            (0.700_34, "s", "0.7003 s"),
            (0.044_6, "V", "0.04460 V"),
            (9.999_96, "V", "10.00 V"),
            (0.999_96, "V", "1.000 V"),
            (23.918, "V", "23.92 V"),
            (-1.3, "s", "-1.300 s"),
            (123_456.7, "m", "123457 m"),
            (1234.5, "m", "1234 m"),
            (2.0, "s", "2 s"),
            (-0.0, "s", "0 s"),
            (43.2, "EUR", "43.20 EUR"),
            (288_000.0, "JPY", "288000 JPY"),
            (0.005, "KWD", "0.005 KWD"),
            (f64::INFINITY, "s", "inf s"),
            (1.225e-15, "%", "less than 0.000001 %"),
            (0.000_002, "%", "0.000002000 %"),
            (1.0, "modules that run", "1 module that runs"),
            (2.0, "modules that run", "2 modules that run"),
            (
                1.0,
                "failures that leave it unsafe",
                "1 failure that leaves it unsafe",
            ),
            (1.0, "failures", "1 failure"),
            (1.0, "hydrophones lost", "1 hydrophone lost"),
            (-1.0, "messages", "-1 message"),
            (1.0, "false alarms in 1 d", "1 false alarm in 1 d"),
            (1.0, "h", "1 h"),
        ] {
            let unit = unit.to_owned();
            let figure = Figure { value, unit };
            assert_eq!(shown(&figure, &figure.unit), expected);
        }
    }

    /// Worked by hand.
    #[test]
    fn verif_long_lengths_are_told_in_one_unit() {
        for (value_m, limit_m, expected) in [
            (12_113.0, 2000.0, "12.11 km, 2 km, 10.11 km"),
            (12_113.0, 2e6, "12.11 km, 2000 km, -1988 km"),
            (760.0, 1000.0, "760 m, 1000 m, 240 m"),
            (58.0, 3000.0, "58 m, 3000 m, 2942 m"),
            (900.0, 12_500.0, "0.9000 km, 12.50 km, 11.60 km"),
        ] {
            let margin_m: f64 = value_m - limit_m;
            let margin_m = if expected.contains('-') {
                margin_m
            } else {
                margin_m.abs()
            };
            let figures = [value_m, limit_m, margin_m].map(|value| Figure {
                value,
                unit: "m".to_owned(),
            });
            let [a, b, c] = &figures;
            let told = in_one_unit([a, b, c]).map(|f| shown(&f, &f.unit));
            assert_eq!(told.join(", "), expected);
        }
        let volts = [21.0, 18.0, 3.0].map(|value| Figure {
            value,
            unit: "V".to_owned(),
        });
        let [a, b, c] = &volts;
        assert_eq!(in_one_unit([a, b, c]), volts);
    }

    #[test]
    fn verif_a_unit_is_told_of_what_it_is_once() {
        for (unit, expected) in [
            ("% of the load that is asked", "%"),
            ("modules that run", "modules"),
            ("h a year", "h"),
            ("V", "V"),
            ("dB re 1 uPa", "dB re 1 uPa"),
            ("EUR", "EUR"),
        ] {
            assert_eq!(shortened(unit), expected);
        }
    }
}
