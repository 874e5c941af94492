//! Current that an anode can give: its resistance in the water, at the beginning and at the end of its life.
//!
//! `I = (E_c - E_a) / R`: the design potential of what is protected less that of the anode, through the resistance of the water about the anode. All from memory, as the recommended practice
//! DNV-RP-B401 has it; the practice itself was not read.
//!
//! | anode | resistance | by |
//! |---|---|---|
//! | slender, off the surface, `L >= 4 r` | `rho/(2 pi L) (ln(4 L/r) - 1)` | Dwight |
//! | slender, off the surface, shorter | `rho/(2 pi L) (ln(2 L/r (1 + sqrt(1 + (r/2L)^2))) + r/2L - sqrt(1 + (r/2L)^2))` | Dwight |
//! | slender, 0.15 m to 0.30 m off the surface | 1.3 times that of Dwight | |
//! | slender, nearer | the greater of that and of one that is flat on the surface with the width of its diameter | |
//! | flat on the surface, `L` at least four times width and thickness | `rho/(2 S)`, `S = (L + W)/2` | Lloyd |
//! | flat and shorter, bracelet | `0.315 rho/sqrt(A)`, `A` the area that the water wets | McCoy |
//!
//! `r` is the girth over `2 pi`. Worn to the share `u`: a slender or long flat one is shorter by `0.1 u` and keeps the share `1 - u` of its volume, round about its core, or as a half round on its surface;
//! of others the area that faces what they protect is left.

use crate::anode::part_of_one;
use crate::error::{MooringError, not_negative, positive};

/// Design potential of protected metal, V against silver/silver chloride in sea water (from memory).
pub const PROTECTED_V: f64 = -0.80;
/// Design potential of aluminium anodes in sea water, the same (from memory).
pub const ALUMINIUM_V: f64 = -1.05;
/// Design potential of zinc anodes in sea water, the same (from memory).
pub const ZINC_V: f64 = -1.00;
/// Design potential of aluminium and zinc anodes in mud, the same (from memory).
pub const IN_MUD_V: f64 = -0.95;
/// Density of aluminium alloys of anodes, kg/m3 (from memory).
pub const ALUMINIUM_KG_M3: f64 = 2750.0;
/// Density of zinc of anodes, kg/m3 (from memory).
pub const ZINC_KG_M3: f64 = 7130.0;

/// From this distance on a bar gives what Dwight says, m (from memory).
const FAR_OFF_M: f64 = 0.30;
/// From this distance on it gives that over [`NEAR`], m; nearer it counts as lying on the surface (from memory).
const NEAR_OFF_M: f64 = 0.15;
/// How much more resistance a bar has that stands nearer than [`FAR_OFF_M`].
const NEAR: f64 = 1.3;
/// McCoy's factor.
const MCCOY: f64 = 0.315;
/// A long anode is at least so many times as long as its radius, or its width and thickness.
const LONG: f64 = 4.0;
/// Share of its length that an anode loses as all of it is used up.
const SHORTER: f64 = 0.1;

/// Form of an anode.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum AnodeForm {
    /// A bar that stands off what it protects.
    Slender {
        /// Length, m; above zero.
        length_m: f64,
        /// Around its cross-section, m; above zero.
        girth_m: f64,
        /// Diameter of its core, m; not negative.
        core_m: f64,
        /// Distance to what it protects, m; not negative.
        stands_off_m: f64,
    },
    /// A plate or bar that lies on what it protects.
    Flat {
        /// Length, m; above zero.
        length_m: f64,
        /// Width, m; above zero.
        width_m: f64,
        /// Thickness, m; above zero.
        thickness_m: f64,
    },
    /// A ring about what it protects.
    Bracelet {
        /// Area that the water wets, m2; above zero.
        outer_m2: f64,
        /// Area that faces what it protects, m2; above zero.
        inner_m2: f64,
    },
}

/// Resistance of a new anode in water of a resistivity, ohm.
///
/// # Errors
/// A figure out of its range.
pub fn anode_ohm(form: &AnodeForm, resistivity_ohm_m: f64) -> Result<f64, MooringError> {
    positive("the resistivity of water, ohm m", resistivity_ohm_m)?;
    check_sizes(form)?;
    match *form {
        AnodeForm::Slender {
            length_m,
            girth_m,
            stands_off_m,
            ..
        } => {
            let radius_m = girth_m / (2.0 * std::f64::consts::PI);
            bar_ohm((length_m, radius_m), stands_off_m, resistivity_ohm_m)
        }
        AnodeForm::Flat {
            length_m,
            width_m,
            thickness_m,
        } => {
            if is_long(length_m, width_m, thickness_m) {
                return Ok(plate_ohm(length_m, width_m, resistivity_ohm_m));
            }
            let sides_m2 = 2.0 * (length_m + width_m) * thickness_m;
            let wetted_m2 = length_m * width_m + sides_m2;
            Ok(area_ohm(wetted_m2, resistivity_ohm_m))
        }
        AnodeForm::Bracelet { outer_m2, .. } => Ok(area_ohm(outer_m2, resistivity_ohm_m)),
    }
}

/// Resistance, ohm, of an anode of this volume of alloy, m3, of which a share has been used up.
///
/// # Errors
/// A figure out of its range.
pub fn worn_anode_ohm(
    form: &AnodeForm,
    volume_m3: f64,
    used_share: f64,
    resistivity_ohm_m: f64,
) -> Result<f64, MooringError> {
    positive("the resistivity of water, ohm m", resistivity_ohm_m)?;
    positive("the volume of an anode, m3", volume_m3)?;
    part_of_one("the share of an anode that can be used", used_share)?;
    check_sizes(form)?;
    let left_m3 = volume_m3 * (1.0 - used_share);
    let shorter = 1.0 - SHORTER * used_share;
    match *form {
        AnodeForm::Slender {
            length_m,
            core_m,
            stands_off_m,
            ..
        } => {
            let length_m = length_m * shorter;
            let round_m2 = left_m3 / (std::f64::consts::PI * length_m) + core_m * core_m / 4.0;
            let radius_m = libm::sqrt(round_m2);
            bar_ohm((length_m, radius_m), stands_off_m, resistivity_ohm_m)
        }
        AnodeForm::Flat {
            length_m,
            width_m,
            thickness_m,
        } => {
            if !is_long(length_m, width_m, thickness_m) {
                return Ok(area_ohm(length_m * width_m, resistivity_ohm_m));
            }
            let length_m = length_m * shorter;
            // Half a circle of this radius has the section that is left.
            let radius_m = libm::sqrt(2.0 * left_m3 / (std::f64::consts::PI * length_m));
            Ok(plate_ohm(length_m, 2.0 * radius_m, resistivity_ohm_m))
        }
        AnodeForm::Bracelet { inner_m2, .. } => Ok(area_ohm(inner_m2, resistivity_ohm_m)),
    }
}

fn check_sizes(form: &AnodeForm) -> Result<(), MooringError> {
    let (sizes, core_m) = match *form {
        AnodeForm::Slender {
            length_m,
            girth_m,
            core_m,
            stands_off_m,
        } => {
            not_negative(
                "the distance of an anode to what it protects, m",
                stands_off_m,
            )?;
            ([length_m, girth_m, girth_m], core_m)
        }
        AnodeForm::Flat {
            length_m,
            width_m,
            thickness_m,
        } => ([length_m, width_m, thickness_m], 0.0),
        AnodeForm::Bracelet { outer_m2, inner_m2 } => ([outer_m2, inner_m2, inner_m2], 0.0),
    };
    for size in sizes {
        positive("a size of an anode, m or m2", size)?;
    }
    not_negative("the core of an anode, m", core_m)
}

fn is_long(length_m: f64, width_m: f64, thickness_m: f64) -> bool {
    length_m >= LONG * width_m && length_m >= LONG * thickness_m
}

/// The most alloy, m3, that a form of these sizes holds; `None` where they do not say.
///
/// # Errors
/// A figure out of its range.
pub fn anode_holds_m3(form: &AnodeForm) -> Result<Option<f64>, MooringError> {
    check_sizes(form)?;
    Ok(match *form {
        // Of all sections with one girth the round one is the largest.
        AnodeForm::Slender {
            length_m,
            girth_m,
            core_m,
            ..
        } => {
            let round_m2 = girth_m * girth_m / (4.0 * std::f64::consts::PI);
            let core_m2 = std::f64::consts::PI * core_m * core_m / 4.0;
            Some(length_m * (round_m2 - core_m2))
        }
        AnodeForm::Flat {
            length_m,
            width_m,
            thickness_m,
        } => Some(length_m * width_m * thickness_m),
        AnodeForm::Bracelet { .. } => None,
    })
}

/// A bar of this length and radius, by how far it stands off.
fn bar_ohm(
    (length_m, radius_m): (f64, f64),
    stands_off_m: f64,
    resistivity_ohm_m: f64,
) -> Result<f64, MooringError> {
    let free_ohm = slender_ohm(length_m, radius_m, resistivity_ohm_m)?;
    if stands_off_m >= FAR_OFF_M {
        return Ok(free_ohm);
    }
    let near_ohm = NEAR * free_ohm;
    if stands_off_m >= NEAR_OFF_M {
        return Ok(near_ohm);
    }
    let width_m = 2.0 * radius_m;
    let lying_ohm = if is_long(length_m, width_m, width_m) {
        plate_ohm(length_m, width_m, resistivity_ohm_m)
    } else {
        area_ohm(length_m * width_m, resistivity_ohm_m)
    };
    Ok(near_ohm.max(lying_ohm))
}

/// Dwight.
fn slender_ohm(length_m: f64, radius_m: f64, resistivity_ohm_m: f64) -> Result<f64, MooringError> {
    positive("the radius of an anode, m", radius_m)?;
    let of_length = resistivity_ohm_m / (2.0 * std::f64::consts::PI * length_m);
    if length_m >= LONG * radius_m {
        return Ok(of_length * (libm::log(4.0 * length_m / radius_m) - 1.0));
    }
    let x = radius_m / (2.0 * length_m);
    let root = libm::sqrt(1.0 + x * x);
    Ok(of_length * (libm::log((1.0 + root) / x) + x - root))
}

/// Lloyd.
fn plate_ohm(length_m: f64, width_m: f64, resistivity_ohm_m: f64) -> f64 {
    resistivity_ohm_m / (length_m + width_m)
}

/// McCoy.
fn area_ohm(area_m2: f64, resistivity_ohm_m: f64) -> f64 {
    MCCOY * resistivity_ohm_m / libm::sqrt(area_m2)
}
