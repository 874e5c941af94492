//! Transmission loss by a simple spreading law and absorption.
//!
//! Source: textbook laws, from memory (for instance R. J. Urick, *Principles of Underwater Sound*). A measured shelf case is
//! near 15 lg r (right-whale calls in the Bering Sea, J. Acoust. Soc. Am. 129, 4047, 2011); pile strikes near 21 lg r (SEL,
//! Korea, Front. Mar. Sci. 2022, 654991).
//!
//! Spherical 20 lg r, cylindrical 10 lg r, practical 15 lg r, transition 20 lg r up to r0 and 20 lg r0 + 10 lg(r / r0) beyond,
//! power n lg r; r range over 1 m; through a loss L at a range R, L + n lg(r / R). Absorption adds alpha r. The loss is relative to 1 m.
//!
//! Validity: from 1 m; beyond 50 km a warning, for there a simple law gives arithmetic rather than physics (judgement, no
//! source); half the Earth's circumference ends it.

use crate::limits::{Limit, Method, SeaError, Variable, Warning};

/// Range beyond which [`transmission_loss`] warns. A judgement without a source.
pub const SIMPLE_LAW_LIMIT_M: f64 = 50_000.0;

const RANGE: Limit = Limit::new(Variable::Range, 1.0, 2e7);
const TRANSITION: Limit = Limit::new(Variable::TransitionRange, 1.0, 2e7);
/// From a lossless duct (10) to the far field of a source and its surface image (40).
const SLOPE: Limit = Limit::new(Variable::Slope, 10.0, 40.0);
/// More than any sound at sea loses and is heard.
const KNOWN_LOSS: Limit = Limit::new(Variable::Loss, 0.0, 200.0);
/// Twice the absorption at 1 MHz; anything above is a slip of units.
const ABSORPTION: Limit = Limit::new(Variable::Absorption, 0.0, 1000.0);

/// How sound thins out with range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spreading {
    /// 20 dB per decade: open water, no boundaries.
    Spherical,
    /// 10 dB per decade: trapped between surface and bed without loss.
    Cylindrical,
    /// 15 dB per decade: the usual compromise for shelf water.
    Practical,
    /// Spherical up to a range, cylindrical beyond.
    Transition {
        /// Where one gives way to the other, m; at least 1.
        at_m: f64,
    },
    /// A slope measured or assumed for the site.
    Power {
        /// dB per decade of range, 10 to 40.
        slope_db_per_decade: f64,
    },
    /// A slope through a loss that is known at one range, as a line is laid through losses that were measured. Nearer than measured
    /// it may leave the ground: below 0 dB it is arithmetic.
    Through {
        /// dB per decade of range, 10 to 40.
        slope_db_per_decade: f64,
        /// The range of the known loss, m; at least 1.
        at_m: f64,
        /// The loss there, dB re 1 m, 0 to 200.
        loss_db: f64,
    },
}

impl Spreading {
    /// Spreading loss in dB relative to 1 m.
    ///
    /// # Errors
    /// [`SeaError::OutOfRange`] for a range below 1 m or above 2e7 m, a transition or a known range outside the same limits, a slope
    /// outside 10 to 40 dB per decade, or a known loss outside 0 to 200 dB.
    pub fn loss_db(self, range_m: f64) -> Result<f64, SeaError> {
        RANGE.require(range_m, Method::SpreadingLaw)?;
        let lg_range = libm::log10(range_m);
        Ok(match self {
            Self::Spherical => 20.0 * lg_range,
            Self::Cylindrical => 10.0 * lg_range,
            Self::Practical => 15.0 * lg_range,
            Self::Transition { at_m } => {
                TRANSITION.require(at_m, Method::SpreadingLaw)?;
                if range_m <= at_m {
                    20.0 * lg_range
                } else {
                    10.0 * lg_range + 10.0 * libm::log10(at_m)
                }
            }
            Self::Power {
                slope_db_per_decade,
            } => {
                SLOPE.require(slope_db_per_decade, Method::SpreadingLaw)?;
                slope_db_per_decade * lg_range
            }
            Self::Through {
                slope_db_per_decade,
                at_m,
                loss_db,
            } => {
                SLOPE.require(slope_db_per_decade, Method::SpreadingLaw)?;
                RANGE.require(at_m, Method::SpreadingLaw)?;
                KNOWN_LOSS.require(loss_db, Method::SpreadingLaw)?;
                loss_db + slope_db_per_decade * (lg_range - libm::log10(at_m))
            }
        })
    }
}

/// Transmission loss with its two parts.
#[derive(Debug, Clone, PartialEq)]
pub struct TransmissionLoss {
    /// By spreading, dB re 1 m.
    pub spreading_db: f64,
    /// By absorption, dB.
    pub absorption_db: f64,
    /// Their sum, dB re 1 m.
    pub total_db: f64,
    /// What makes it doubtful; empty where nothing does.
    pub warnings: Vec<Warning>,
}

/// Transmission loss at a range, from a spreading law and an absorption in dB/km (for instance of [`crate::absorption`]).
///
/// Valid from 1 m to 2e7 m; warns beyond [`SIMPLE_LAW_LIMIT_M`].
///
/// # Errors
/// [`SeaError::OutOfRange`] as [`Spreading::loss_db`], and for an absorption outside 0 to 1000 dB/km.
pub fn transmission_loss(
    spreading: Spreading,
    range_m: f64,
    absorption_db_per_km: f64,
) -> Result<TransmissionLoss, SeaError> {
    let spreading_db = spreading.loss_db(range_m)?;
    ABSORPTION.require(absorption_db_per_km, Method::SpreadingLaw)?;
    let absorption_db = absorption_db_per_km * range_m * 1e-3;
    let beyond = Warning::BeyondSimpleLaw {
        range_m,
        limit_m: SIMPLE_LAW_LIMIT_M,
    };
    Ok(TransmissionLoss {
        spreading_db,
        absorption_db,
        total_db: spreading_db + absorption_db,
        warnings: (range_m > SIMPLE_LAW_LIMIT_M)
            .then_some(beyond)
            .into_iter()
            .collect(),
    })
}

/// The total of [`transmission_loss`] alone, dB re 1 m: for solvers that try many ranges. It cannot warn, so hold the range
/// that comes out against [`SIMPLE_LAW_LIMIT_M`].
///
/// # Errors
/// As [`transmission_loss`].
pub fn transmission_loss_db(
    spreading: Spreading,
    range_m: f64,
    absorption_db_per_km: f64,
) -> Result<f64, SeaError> {
    transmission_loss(spreading, range_m, absorption_db_per_km).map(|loss| loss.total_db)
}
