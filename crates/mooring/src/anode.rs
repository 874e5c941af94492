//! Mass of the anodes that protect bare metal.
//!
//! `M = I t / (u e)` with `I = sum A i f`: `A` the area in the water, `i` the mean current density that it takes, `f` the share of it that is bare (1 without a coating; the coating
//! breakdown factor), `t` the life, `u` the share of an anode that can be used up before it no longer works, `e` its capacity, Ah/kg. Source: DNV-RP-B401, cathodic protection design, "anode mass
//! calculations" (form from memory; a page that cites it gives the same, read). Current densities and utilisation are of water, metal and anode: the recommended practice has tables, and nothing here is a default.
//!
//! Capacities: [`ALUMINIUM_AH_KG`] and [`ZINC_AH_KG`], design values of that practice for sea water, [`ALUMINIUM_IN_MUD_AH_KG`] and [`ZINC_IN_MUD_AH_KG`] for mud, from memory. An anode that is much nobler metal's only partner in a small bag of water
//! may last shorter: mass is not the only check (`anode_output` has what it can give at once).

use crate::error::{MooringError, not_negative, positive};

/// Capacity of aluminium anodes in sea water, Ah/kg (design value, from memory).
pub const ALUMINIUM_AH_KG: f64 = 2000.0;
/// Capacity of zinc anodes in sea water, Ah/kg (design value, from memory).
pub const ZINC_AH_KG: f64 = 780.0;
/// The same of aluminium in mud, Ah/kg.
pub const ALUMINIUM_IN_MUD_AH_KG: f64 = 1500.0;
/// The same of zinc in mud, Ah/kg.
pub const ZINC_IN_MUD_AH_KG: f64 = 750.0;

const SECONDS_AN_HOUR: f64 = 3600.0;

/// Metal in the water.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wetted {
    /// Area in the water, m2; not negative.
    pub area_m2: f64,
    /// Mean current density that bare metal takes, A/m2; not negative.
    pub current_density_a_m2: f64,
    /// Share of it that is bare, above 0 up to 1.
    pub bare_share: f64,
}

/// Anode material and form.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Anode {
    /// Capacity, Ah/kg; above zero.
    pub capacity_ah_kg: f64,
    /// Share that can be used up, above 0 up to 1.
    pub usable_share: f64,
}

/// Current that metal takes, A.
///
/// # Errors
/// A figure out of its range.
pub fn protection_a(metal: &[Wetted]) -> Result<f64, MooringError> {
    let mut current_a = 0.0;
    for part in metal {
        not_negative("the area of bare metal, m2", part.area_m2)?;
        not_negative("a current density, A/m2", part.current_density_a_m2)?;
        part_of_one("the share of metal that is bare", part.bare_share)?;
        current_a += part.area_m2 * part.current_density_a_m2 * part.bare_share;
    }
    Ok(current_a)
}

/// Mass of anodes that gives a current for a life, kg.
///
/// # Errors
/// A figure out of its range.
pub fn anode_kg(current_a: f64, life_s: f64, anode: Anode) -> Result<f64, MooringError> {
    not_negative("the current of anodes, A", current_a)?;
    not_negative("the life of anodes, s", life_s)?;
    Ok(current_a * life_s / usable_c_kg(anode)?)
}

/// Life of a mass of anodes at a current, s.
///
/// # Errors
/// A figure out of its range.
pub fn anode_life_s(mass_kg: f64, current_a: f64, anode: Anode) -> Result<f64, MooringError> {
    not_negative("the mass of anodes, kg", mass_kg)?;
    positive("the current of anodes, A", current_a)?;
    Ok(mass_kg * usable_c_kg(anode)? / current_a)
}

fn usable_c_kg(anode: Anode) -> Result<f64, MooringError> {
    positive("the capacity of an anode, Ah/kg", anode.capacity_ah_kg)?;
    part_of_one("the share of an anode that can be used", anode.usable_share)?;
    Ok(anode.capacity_ah_kg * SECONDS_AN_HOUR * anode.usable_share)
}

pub(crate) fn part_of_one(what: &'static str, value: f64) -> Result<(), MooringError> {
    if value > 0.0 && value <= 1.0 {
        return Ok(());
    }
    Err(MooringError::NotAShare { what, value })
}
