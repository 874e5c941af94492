//! The closed table of unit spellings and their conversion to SI.
//!
//! Source of the factors: NIST Special Publication 811 (2008 edition), A. Thompson and B. N. Taylor, "Guide for
//! the Use of the International System of Units", appendix B, for the exact ones: inch 0.0254 m, foot 0.3048 m,
//! nautical mile 1852 m, kilogram-force 9.80665 N, pound 0.453 592 37 kg (hence pound-force 4.448 221 615 260 5 N
//! and psi). The fathom here is six international feet, 1.8288 m; the one printed in that appendix rests on the US
//! survey foot and is 2 parts in a million longer. The page was not at hand: these values are from memory and, but for
//! the fathom's remark, checked against `scipy.constants` (reference/quantity/scipy-conversions.csv). Decimal
//! prefixes are exact; `KiB`, `MiB`, `GiB` are powers of 1024 (IEC 80000-13). `deg` is pi/180 rad. `degF` to `degC` is (x - 32) * 5/9.
//!
//! A unit is `si = (x * 10^ten - minus) * times / over`. The power of ten is applied to the decimal text before
//! it becomes binary, so that `12.8 mW` gives the same bits as the literal `0.0128`.
//!
//! Prefixes are listed one by one, only where the trade uses them: as `MW` is not there, a `0.4 MW` that should
//! have been `0.4 mW` is a fault with help and not a plan that is wrong by nine powers of ten.

use std::f64::consts::PI;

use crate::{Dimension, SECONDS_PER_DAY, STANDARD_GRAVITY_M_S2};

#[derive(Debug)]
pub(crate) struct Unit {
    pub(crate) spelling: &'static str,
    pub(crate) ten: i32,
    pub(crate) minus: f64,
    pub(crate) times: f64,
    pub(crate) over: f64,
}

impl Unit {
    /// SI value of a number whose power of ten is already applied.
    pub(crate) fn to_si(&self, scaled: f64) -> f64 {
        (scaled - self.minus) * self.times / self.over
    }

    /// SI value of a difference: as [`Unit::to_si`] without the zero point.
    pub(crate) fn difference_to_si(&self, scaled: f64) -> f64 {
        scaled * self.times / self.over
    }
}

const fn ten(spelling: &'static str, ten: i32) -> Unit {
    ratio(spelling, ten, 1.0, 1.0)
}

const fn times(spelling: &'static str, times: f64) -> Unit {
    ratio(spelling, 0, times, 1.0)
}

const fn ratio(spelling: &'static str, ten: i32, times: f64, over: f64) -> Unit {
    Unit {
        spelling,
        ten,
        minus: 0.0,
        times,
        over,
    }
}

const INCH_M: f64 = 0.0254;
const FOOT_M: f64 = 0.3048;
const FATHOM_M: f64 = 1.8288;
const NAUTICAL_MILE_M: f64 = 1852.0;
const POUND_KG: f64 = 0.453_592_37;
const POUND_FORCE_N: f64 = 4.448_221_615_260_5;
const SQUARE_INCH_M2: f64 = 6.4516e-4;
const HOUR_S: f64 = 3600.0;

/// The units of one dimension; the first is the SI unit (degC for temperature).
pub(crate) fn table(dimension: Dimension) -> &'static [Unit] {
    match dimension {
        Dimension::Length => {
            const {
                &[
                    ten("m", 0),
                    ten("km", 3),
                    ten("cm", -2),
                    ten("mm", -3),
                    ten("um", -6),
                    times("nmi", NAUTICAL_MILE_M),
                    times("fathom", FATHOM_M),
                    times("fathoms", FATHOM_M),
                    times("ft", FOOT_M),
                    times("in", INCH_M),
                ]
            }
        }
        Dimension::Area => const { &[ten("m2", 0), ten("cm2", -4), ten("mm2", -6), ten("km2", 6)] },
        Dimension::Mass => {
            const {
                &[
                    ten("kg", 0),
                    ten("g", -3),
                    ten("mg", -6),
                    ten("t", 3),
                    times("lb", POUND_KG),
                ]
            }
        }
        Dimension::Time => {
            const {
                &[
                    ten("s", 0),
                    ten("ms", -3),
                    ten("us", -6),
                    ten("ns", -9),
                    times("min", 60.0),
                    times("h", HOUR_S),
                    times("d", SECONDS_PER_DAY),
                    times("wk", 7.0 * SECONDS_PER_DAY),
                ]
            }
        }
        Dimension::Frequency => {
            const { &[ten("Hz", 0), ten("kHz", 3), ten("MHz", 6), ten("GHz", 9)] }
        }
        Dimension::Speed => {
            const {
                &[
                    ten("m/s", 0),
                    ten("cm/s", -2),
                    ten("mm/s", -3),
                    ratio("km/h", 3, 1.0, HOUR_S),
                    ratio("kn", 0, NAUTICAL_MILE_M, HOUR_S),
                ]
            }
        }
        Dimension::Force => {
            const {
                &[
                    ten("N", 0),
                    ten("kN", 3),
                    times("kgf", STANDARD_GRAVITY_M_S2),
                    times("kg", STANDARD_GRAVITY_M_S2),
                    ratio("g", -3, STANDARD_GRAVITY_M_S2, 1.0),
                    times("lbf", POUND_FORCE_N),
                ]
            }
        }
        Dimension::LinearWeight => {
            const {
                &[
                    ten("N/m", 0),
                    times("kg/m", STANDARD_GRAVITY_M_S2),
                    times("kgf/m", STANDARD_GRAVITY_M_S2),
                    ratio("g/m", -3, STANDARD_GRAVITY_M_S2, 1.0),
                ]
            }
        }
        Dimension::Stiffness => {
            const {
                &[
                    ten("N", 0),
                    ten("kN", 3),
                    ten("MN", 6),
                    times("kgf", STANDARD_GRAVITY_M_S2),
                ]
            }
        }
        Dimension::Pressure => {
            const {
                &[
                    ten("Pa", 0),
                    ten("uPa", -6),
                    ten("hPa", 2),
                    ten("kPa", 3),
                    ten("MPa", 6),
                    ten("mbar", 2),
                    ten("dbar", 4),
                    ten("bar", 5),
                    ratio("psi", 0, POUND_FORCE_N, SQUARE_INCH_M2),
                ]
            }
        }
        Dimension::Voltage => {
            const {
                &[
                    ten("V", 0),
                    ten("nV", -9),
                    ten("uV", -6),
                    ten("mV", -3),
                    ten("kV", 3),
                ]
            }
        }
        Dimension::Current => const { &[ten("A", 0), ten("nA", -9), ten("uA", -6), ten("mA", -3)] },
        Dimension::Resistance => {
            const {
                &[
                    ten("ohm", 0),
                    ten("uohm", -6),
                    ten("mohm", -3),
                    ten("kohm", 3),
                    ten("Mohm", 6),
                    ten("Gohm", 9),
                ]
            }
        }
        Dimension::Capacitance => {
            const {
                &[
                    ten("F", 0),
                    ten("pF", -12),
                    ten("nF", -9),
                    ten("uF", -6),
                    ten("mF", -3),
                ]
            }
        }
        Dimension::Power => {
            const {
                &[
                    ten("W", 0),
                    ten("nW", -9),
                    ten("uW", -6),
                    ten("mW", -3),
                    ten("kW", 3),
                ]
            }
        }
        Dimension::Energy => {
            const {
                &[
                    ten("J", 0),
                    ten("pJ", -12),
                    ten("nJ", -9),
                    ten("uJ", -6),
                    ten("mJ", -3),
                    ten("kJ", 3),
                    ten("MJ", 6),
                    times("Wh", HOUR_S),
                    ratio("mWh", -3, HOUR_S, 1.0),
                    ratio("kWh", 3, HOUR_S, 1.0),
                ]
            }
        }
        Dimension::Charge => {
            const {
                &[
                    ten("C", 0),
                    times("Ah", HOUR_S),
                    ratio("mAh", -3, HOUR_S, 1.0),
                ]
            }
        }
        Dimension::Temperature => {
            const {
                &[
                    ten("degC", 0),
                    Unit {
                        spelling: "degF",
                        ten: 0,
                        minus: 32.0,
                        times: 5.0,
                        over: 9.0,
                    },
                ]
            }
        }
        Dimension::TemperatureDifference => const { &[ten("K", 0), ten("mK", -3)] },
        Dimension::Angle => const { &[ten("rad", 0), ten("mrad", -3), ratio("deg", 0, PI, 180.0)] },
        Dimension::Ratio => const { &[ten("%", -2), ten("ppm", -6)] },
        Dimension::DataSize => {
            const {
                &[
                    ten("B", 0),
                    ten("kB", 3),
                    ten("MB", 6),
                    ten("GB", 9),
                    ten("TB", 12),
                    times("KiB", 1024.0),
                    times("MiB", 1_048_576.0),
                    times("GiB", 1_073_741_824.0),
                    ratio("bit", 0, 1.0, 8.0),
                ]
            }
        }
        Dimension::DataRate => {
            const {
                &[
                    ten("bit/s", 0),
                    ten("kbit/s", 3),
                    ten("Mbit/s", 6),
                    ten("Gbit/s", 9),
                    ten("b/s", 0),
                    ten("kb/s", 3),
                    ten("Mb/s", 6),
                    ten("Gb/s", 9),
                    times("B/s", 8.0),
                    ratio("kB/s", 3, 8.0, 1.0),
                    ratio("MB/s", 6, 8.0, 1.0),
                ]
            }
        }
        Dimension::Density => const { &[ten("kg/m3", 0), ten("g/cm3", 3)] },
        Dimension::Irradiance => const { &[ten("W/m2", 0), ten("kW/m2", 3)] },
        Dimension::ThermalResistivity => const { &[ten("K.m/W", 0)] },
        Dimension::SweepRate => const { &[ten("Hz/s", 0), ten("kHz/s", 3), ten("MHz/s", 6)] },
        Dimension::CurrentDensity => const { &[ten("A/m2", 0), ten("mA/m2", -3)] },
        Dimension::ChargePerMass => const { &[ten("C/kg", 0), times("Ah/kg", HOUR_S)] },
        Dimension::Resistivity => const { &[ten("ohm.m", 0), ten("ohm.cm", -2)] },
        Dimension::NoiseVoltage => {
            const {
                &[
                    ten("V/rtHz", 0),
                    ten("mV/rtHz", -3),
                    ten("uV/rtHz", -6),
                    ten("nV/rtHz", -9),
                ]
            }
        }
    }
}

/// The unit of `dimension` with this spelling, in any of its accepted typographic forms.
pub(crate) fn find(word: &str, dimension: Dimension) -> Option<&'static Unit> {
    let word = normalise(word);
    table(dimension).iter().find(|unit| unit.spelling == word)
}

/// The first dimension, in declaration order, that has a unit with this spelling.
pub(crate) fn dimension_of(word: &str) -> Option<Dimension> {
    Dimension::ALL
        .into_iter()
        .find(|&dimension| find(word, dimension).is_some())
}

/// Typographic forms brought to the spelling of the tables.
pub(crate) fn normalise(word: &str) -> String {
    let mut plain = String::with_capacity(word.len());
    for c in word.chars() {
        match c {
            '\u{b5}' | '\u{3bc}' => plain.push('u'),
            '\u{3a9}' | '\u{2126}' => plain.push_str("ohm"),
            '\u{b0}' => plain.push_str("deg"),
            '\u{2103}' => plain.push_str("degC"),
            '\u{2109}' => plain.push_str("degF"),
            '\u{b2}' => plain.push('2'),
            '\u{b3}' => plain.push('3'),
            '\u{221a}' => plain.push_str("rt"),
            other => plain.push(other),
        }
    }
    for (form, spelling) in [
        ("sqrt(Hz)", "rtHz"),
        ("Hz^0.5", "rtHz"),
        ("^2", "2"),
        ("^3", "3"),
    ] {
        if plain.contains(form) {
            plain = plain.replace(form, spelling);
        }
    }
    plain
}
