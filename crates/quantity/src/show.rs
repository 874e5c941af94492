//! Numbers for people: four significant digits and the unit that keeps them short.

use crate::Dimension;
use crate::unit::{self, Unit};

/// Significant digits shown.
const DIGITS: usize = 4;

/// Beyond this the conversion to a unit of display could overflow, and the SI unit serves.
const LARGEST: f64 = 1e300;

/// A unit and the size in SI from which it is used.
type Rung = (&'static str, f64);

/// The units of display of a dimension, from small to large; the first serves everything below the second.
fn ladder(dimension: Dimension) -> &'static [Rung] {
    match dimension {
        Dimension::Length => &[("um", 0.0), ("mm", 1e-3), ("m", 1.0), ("km", 1e3)],
        Dimension::Area => &[("mm2", 0.0), ("cm2", 1e-4), ("m2", 1e-2), ("km2", 1e6)],
        Dimension::Mass => &[("mg", 0.0), ("g", 1e-3), ("kg", 1.0), ("t", 1e4)],
        Dimension::Time => &[
            ("ns", 0.0),
            ("us", 1e-6),
            ("ms", 1e-3),
            ("s", 1.0),
            ("min", 120.0),
            ("h", 7200.0),
            ("d", 172_800.0),
        ],
        Dimension::Frequency => &[("Hz", 0.0), ("kHz", 1e3), ("MHz", 1e6), ("GHz", 1e9)],
        Dimension::Speed => &[("mm/s", 0.0), ("m/s", 0.01)],
        Dimension::Force => &[("N", 0.0), ("kN", 1e3)],
        Dimension::LinearWeight => &[("N/m", 0.0)],
        Dimension::Stiffness => &[("N", 0.0), ("kN", 1e3), ("MN", 1e6)],
        Dimension::Pressure => &[("uPa", 0.0), ("Pa", 0.1), ("kPa", 1e3), ("MPa", 1e6)],
        Dimension::Voltage => &[
            ("nV", 0.0),
            ("uV", 1e-6),
            ("mV", 1e-3),
            ("V", 1.0),
            ("kV", 1e3),
        ],
        Dimension::Current => &[("nA", 0.0), ("uA", 1e-6), ("mA", 1e-3), ("A", 1.0)],
        Dimension::Resistance => &[
            ("uohm", 0.0),
            ("mohm", 1e-3),
            ("ohm", 1.0),
            ("kohm", 1e3),
            ("Mohm", 1e6),
            ("Gohm", 1e9),
        ],
        Dimension::Capacitance => &[("pF", 0.0), ("nF", 1e-9), ("uF", 1e-6), ("F", 0.1)],
        Dimension::Power => &[
            ("nW", 0.0),
            ("uW", 1e-6),
            ("mW", 1e-3),
            ("W", 1.0),
            ("kW", 1e3),
        ],
        Dimension::Energy => &[
            ("pJ", 0.0),
            ("nJ", 1e-9),
            ("uJ", 1e-6),
            ("mJ", 1e-3),
            ("J", 1.0),
            ("Wh", 360.0),
            ("kWh", 3.6e6),
        ],
        Dimension::Charge => &[("C", 0.0), ("mAh", 3.6), ("Ah", 3600.0)],
        Dimension::Temperature => &[("degC", 0.0)],
        Dimension::TemperatureDifference => &[("mK", 0.0), ("K", 0.1)],
        Dimension::Angle => &[("deg", 0.0)],
        Dimension::Ratio => &[("ppm", 0.0), ("%", 1e-4)],
        Dimension::DataSize => &[
            ("B", 0.0),
            ("kB", 1e3),
            ("MB", 1e6),
            ("GB", 1e9),
            ("TB", 1e12),
        ],
        Dimension::DataRate => &[
            ("bit/s", 0.0),
            ("kbit/s", 1e3),
            ("Mbit/s", 1e6),
            ("Gbit/s", 1e9),
        ],
        Dimension::Density => &[("kg/m3", 0.0)],
        Dimension::Irradiance => &[("W/m2", 0.0)],
        Dimension::ThermalResistivity => &[("K.m/W", 0.0)],
        Dimension::SweepRate => &[("Hz/s", 0.0), ("kHz/s", 1e3), ("MHz/s", 1e6)],
        Dimension::CurrentDensity => &[("mA/m2", 0.0), ("A/m2", 1.0)],
        Dimension::ChargePerMass => &[("C/kg", 0.0), ("Ah/kg", 3600.0)],
        Dimension::Resistivity => &[("ohm.m", 0.0)],
        Dimension::NoiseVoltage => &[
            ("nV/rtHz", 0.0),
            ("uV/rtHz", 1e-6),
            ("mV/rtHz", 1e-3),
            ("V/rtHz", 1.0),
        ],
    }
}

/// The unit in which a value of exactly zero is shown.
fn unit_of_zero(dimension: Dimension) -> &'static str {
    match dimension {
        Dimension::Angle => "deg",
        Dimension::Ratio => "%",
        Dimension::Charge => "Ah",
        Dimension::Energy => "Wh",
        other => other.si_unit(),
    }
}

/// An SI value ([`Dimension::si_unit`]) as people read it: four significant digits, no trailing zeros, a decimal
/// point, and a unit that [`crate::parse_amount`] reads back (`12.3 mW`, `1.2 km`, `21.6 V`).
///
/// What is shown, read back, is within half a unit of the fourth digit, for sizes up to 1e300. A value that is not
/// finite is shown as `unknown`, which reads back as a fault.
pub fn show(si: f64, dimension: Dimension) -> String {
    if !si.is_finite() {
        return "unknown".to_owned();
    }
    if si == 0.0 {
        return format!("0 {}", unit_of_zero(dimension));
    }
    if si.abs() > LARGEST {
        return format!("{} {}", plain(&four_digits(si)), dimension.si_unit());
    }
    let rungs = ladder(dimension);
    let mut at = rungs
        .iter()
        .rposition(|&(_, from)| si.abs() >= from)
        .expect("the first rung begins at nothing");
    let mut digits = four_digits(in_unit(si, rungs[at].0, dimension));
    if let Some(&(next, from)) = rungs.get(at + 1) {
        let edge = in_unit(from, rungs[at].0, dimension);
        let rounded: f64 = digits.parse().expect("formatted numbers are numbers");
        if rounded.abs() >= edge {
            at += 1;
            digits = four_digits(in_unit(si, next, dimension));
        }
    }
    format!("{} {}", plain(&digits), rungs[at].0)
}

/// A bare number as people read it: four significant digits, no trailing zeros. What is not finite is shown as `unknown`.
#[must_use]
pub fn show_number(x: f64) -> String {
    if !x.is_finite() {
        return "unknown".to_owned();
    }
    if x == 0.0 {
        return "0".to_owned();
    }
    plain(&four_digits(x))
}

/// A share, 0 to 1, in percent: to a tenth, and in two digits of what it is or of what is missing where that is less than 1 %, so that nearly all is never told as all, nor next to nothing as
/// nothing. What is not finite is shown as `unknown`.
#[must_use]
pub fn show_share(share: f64) -> String {
    if !share.is_finite() {
        return "unknown".to_owned();
    }
    let percent = 100.0 * share;
    let side = percent.abs().min((100.0 * (1.0 - share)).abs());
    if side == 0.0 {
        return format!("{percent:.0} %");
    }
    let scientific = format!("{side:e}");
    let power = scientific.split_once('e').map(|(_, power)| power.parse());
    let Some(Ok(power)) = power else {
        return format!("{percent} %");
    };
    let decimals = 1_i32.saturating_sub(power).clamp(1, 12);
    format!("{percent:.*} %", usize::try_from(decimals).unwrap_or(1))
}

/// A bare number as people write it: all its digits, with an exponent where it would be longer than sixteen digits.
#[must_use]
pub fn show_bare(x: f64) -> String {
    const LARGEST_PLAIN: f64 = 1e16;
    const SMALLEST_PLAIN: f64 = 1e-5;
    if x == 0.0 || (SMALLEST_PLAIN..LARGEST_PLAIN).contains(&x.abs()) {
        format!("{x}")
    } else {
        format!("{x:e}")
    }
}

fn in_unit(si: f64, spelling: &str, dimension: Dimension) -> f64 {
    let unit: &Unit =
        unit::find(spelling, dimension).expect("units of display are units of the dimension");
    let scaled = si * unit.over / unit.times + unit.minus;
    if unit.ten < 0 {
        scaled * power_of_ten(-unit.ten)
    } else {
        scaled / power_of_ten(unit.ten)
    }
}

fn power_of_ten(exponent: i32) -> f64 {
    format!("1e{exponent}")
        .parse()
        .expect("a power of ten is a number")
}

fn four_digits(value: f64) -> String {
    format!("{value:.*e}", DIGITS - 1)
}

/// Turns `1.200e2` into `120` and leaves very large and very small numbers with their exponent.
fn plain(scientific: &str) -> String {
    let (mantissa, exponent) = scientific
        .split_once('e')
        .expect("scientific notation has an exponent");
    let exponent: i32 = exponent.parse().expect("the exponent is whole");
    let mantissa = mantissa.trim_end_matches('0').trim_end_matches('.');
    if !(-4..=6).contains(&exponent) {
        return format!("{mantissa}e{exponent}");
    }
    let value: f64 = scientific.parse().expect("formatted numbers are numbers");
    let decimals = (mantissa.trim_start_matches('-').len() as i32 - 2).max(0) - exponent;
    format!("{value:.*}", usize::try_from(decimals).unwrap_or(0))
}

#[cfg(test)]
mod tests {
    use super::{show_bare, show_number, show_share};

    /// Worked by hand.
    #[test]
    fn verif_numbers_for_people_keep_four_significant_digits() {
        for (x, shown) in [
            (469.971, "470"),
            (1160.553, "1161"),
            (0.025_318, "0.02532"),
            (-0.0, "0"),
            (12_345.6, "12350"),
            (f64::NAN, "unknown"),
        ] {
            assert_eq!(show_number(x), shown);
        }
    }

    /// Worked by hand.
    #[test]
    fn verif_nearly_all_is_not_told_as_all() {
        for (share, shown) in [
            (0.0, "0 %"),
            (1.0, "100 %"),
            (0.4567, "45.7 %"),
            (0.01, "1.0 %"),
            (0.004_96, "0.50 %"),
            (0.000_023_4, "0.0023 %"),
            (0.9961, "99.61 %"),
            (0.999_987_7, "99.9988 %"),
            (1.234, "123.4 %"),
            (f64::NAN, "unknown"),
        ] {
            assert_eq!(show_share(share), shown);
        }
    }

    #[test]
    fn verif_bare_numbers_stay_short_and_read_back() {
        for (x, shown) in [
            (0.0, "0"),
            (-3.5, "-3.5"),
            (1e15, "1000000000000000"),
            (1e300, "1e300"),
            (-2.5e16, "-2.5e16"),
            (1e-7, "1e-7"),
        ] {
            assert_eq!(show_bare(x), shown);
            assert_eq!(shown.parse::<f64>(), Ok(x));
        }
    }
}
