//! Insulation of a conductor against the water: by temperature and length, what is accepted, and what leaks at a supply voltage.
//!
//! `R(T) = R0 2^((T0 - T)/10)`: insulation falls to half for each 10 degC that it is warmer (common practice; materials differ, some by twice that). Parts of a conductor
//! leak side by side: `1/R = sum 1/R_i`, with a cable as long as it is (`R_km / (L/1000)`).
//!
//! With `R_p` and `R_n` of the positive and the negative conductor against the water and a supply of `V`: where neither pole is in the water,
//! `I = V/(R_p + R_n)` goes out of the one and into the other, and the water takes the voltage between them; with one pole in the water the other
//! conductor bears all of `V` (Ohm's law). The voltage along the line is taken as that of the supply, which errs towards more leakage.
//!
//! Accepted: 100 Mohm of a new conductor, 10 Mohm after a soak in salt water, read at 60 s (common practice, no source).

use super::insulation::{LeakError, above_zero};

/// Warmer by so much, insulation has half the resistance, K (common practice).
pub const HALVES_EACH_K: f64 = 10.0;

/// A part of a conductor, with what its insulation had when it was read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Insulated {
    /// Cable, which leaks along its length.
    Cable {
        /// Insulation resistance of one kilometre, ohm; above zero.
        one_km_ohm: f64,
        /// Temperature at which that was read, degC.
        read_degc: f64,
        /// Its length, m; above zero.
        length_m: f64,
    },
    /// A contact, a penetrator, a splice.
    Place {
        /// Insulation resistance, ohm; above zero.
        ohm: f64,
        /// Temperature at which that was read, degC.
        read_degc: f64,
    },
}

/// When a conductor is read, for what is accepted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Soaked {
    /// New and dry.
    New,
    /// After a soak in salt water.
    InSaltWater,
}

/// Which pole of the supply is connected to the water.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PoleInWater {
    /// Neither: a floating supply.
    Neither,
    /// The positive one.
    Positive,
    /// The negative one.
    Negative,
}

/// What leaks, and where both conductors stand against the water.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToWater {
    /// Current that leaves the insulation of the positive conductor into the water, A: it eats metal there.
    pub positive_a: f64,
    /// Current that enters that of the negative conductor, A.
    pub negative_a: f64,
    /// The positive conductor above the water, V.
    pub positive_v: f64,
    /// The negative conductor above the water, V: zero or less.
    pub negative_v: f64,
}

impl Soaked {
    /// What is accepted, ohm (common practice, no source).
    #[must_use]
    pub fn accepted_ohm(self) -> f64 {
        match self {
            Soaked::New => 100e6,
            Soaked::InSaltWater => 10e6,
        }
    }
}

/// Insulation resistance at another temperature than that at which it was read, ohm (common practice). Temperatures from -50 to 150 degC.
///
/// # Errors
/// A number out of range.
pub fn insulation_at_ohm(read_ohm: f64, read_degc: f64, at_degc: f64) -> Result<f64, LeakError> {
    let read_ohm = above_zero("read_ohm", read_ohm)?;
    let read_degc = temperature("read_degc", read_degc)?;
    let at_degc = temperature("at_degc", at_degc)?;
    Ok(read_ohm * libm::exp2((read_degc - at_degc) / HALVES_EACH_K))
}

/// Insulation resistance of a whole conductor against the water at a temperature, ohm; `None` for no parts.
///
/// # Errors
/// A number out of range.
pub fn conductor_to_water_ohm(parts: &[Insulated], at_degc: f64) -> Result<Option<f64>, LeakError> {
    let mut leak_s = 0.0;
    for part in parts {
        leak_s += match *part {
            Insulated::Cable {
                one_km_ohm,
                read_degc,
                length_m,
            } => {
                let km = above_zero("length_m", length_m)? / 1000.0;
                km / insulation_at_ohm(one_km_ohm, read_degc, at_degc)?
            }
            Insulated::Place { ohm, read_degc } => {
                1.0 / insulation_at_ohm(ohm, read_degc, at_degc)?
            }
        };
    }
    Ok((!parts.is_empty()).then(|| 1.0 / leak_s))
}

/// What leaks to the water at a supply voltage, with the insulation of both conductors. All above zero.
///
/// # Errors
/// A number out of range.
pub fn leak_to_water(
    voltage_v: f64,
    positive_ohm: f64,
    negative_ohm: f64,
    pole: PoleInWater,
) -> Result<ToWater, LeakError> {
    let voltage_v = above_zero("voltage_v", voltage_v)?;
    let positive_ohm = above_zero("positive_ohm", positive_ohm)?;
    let negative_ohm = above_zero("negative_ohm", negative_ohm)?;
    let positive_v = match pole {
        PoleInWater::Neither => voltage_v * (positive_ohm / (positive_ohm + negative_ohm)),
        PoleInWater::Positive => 0.0,
        PoleInWater::Negative => voltage_v,
    };
    let negative_v = positive_v - voltage_v;
    Ok(ToWater {
        positive_a: positive_v / positive_ohm,
        negative_a: -negative_v / negative_ohm,
        positive_v,
        negative_v,
    })
}

fn temperature(quantity: &'static str, degc: f64) -> Result<f64, LeakError> {
    if (-50.0..=150.0).contains(&degc) {
        return Ok(degc);
    }
    Err(LeakError::BadValue {
        quantity,
        value: degc,
        wanted: "from -50 to 150 degC",
    })
}
