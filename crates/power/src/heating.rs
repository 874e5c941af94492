//! What a cable's own loss does to the temperature of its conductors, and so to its resistance.
//!
//! Two round cores in one jacket, in the form of IEC 60287: `T_c - T_a = q (T1/2 + T3 + T4)`, `q = I^2 r(T_c)` of the loop,
//! `T1 = rho_i/(2 pi) ln(D_insulated / D_core)`, `T3 = rho_j/(2 pi) ln(D_outer / D_under_jacket)` (IEC 60287-2-1, read on a
//! public page that cites it). Both cores side by side, so half of one's T1; what fills the space between them is left out.
//! Outside:
//!
//! - sediment: `T4 = rho_s/(2 pi) acosh(2 L / D)`, L to the cable's axis, the floor at the temperature of the water;
//! - a film given by its coefficient h: `T4 = 1/(pi D h)`;
//! - still sea water and still air: h solved with the rise of the surface, by Churchill and Chu 1975 for a horizontal
//!   cylinder, `Nu = (0.6 + 0.387 Ra^(1/6) / (1 + (0.559/Pr)^(9/16))^(8/27))^2`, Ra 1e-5 to 1e12, properties of the film at
//!   the mean temperature. Moving water cools better. In air what is radiated is left out: the cable is cooler than said.
//! - on a drum or in a coil the turns warm each other, and no simple formula holds: that is an error, never a number.
//!
//! The resistance is that at the conductor's temperature. Where each further kelvin adds more loss than it carries off there
//! is no rest: [`HeatingError::Runaway`].
//!
//! Validity: steady state, conductors up to 120 degC, sea water of 35 g/kg with a film of 0 to 40 degC (fresh water near
//! 4 degC hardly convects at all), air at 101 kPa. Accuracy: films some 10 % (from memory of the correlation's spread), which
//! is a small part of the whole in water; no marine growth.

use std::f64::consts::PI;

use numerics::brent;
use thiserror::Error;

use crate::conductor::{
    HIGHEST_TEMPERATURE_DEGC, LOWEST_TEMPERATURE_DEGC, TEMPERATURE_COEFFICIENT_PER_K,
};

const GRAVITY_M_S2: f64 = 9.80665;
const PRESSURE_PA: f64 = 101_325.0;
const GAS_CONSTANT_AIR_J_KG_K: f64 = 287.052_87;
const HEAT_CAPACITY_AIR_J_KG_K: f64 = 1006.0;
const ZERO_DEGC_K: f64 = 273.15;

/// Sea water: degC, kinematic viscosity m2/s, conductivity W/(m K), diffusivity m2/s, expansion 1/K. Made by
/// `reference/make/power_heating.py` from TEOS-10, Sharqawy et al. 2010 and IAPWS.
const SEA_WATER: [[f64; 5]; 9] = [
    [0.0, 1.85407e-6, 0.55565, 1.35574e-7, 5.29895e-5],
    [5.0, 1.57623e-6, 0.567794, 1.38556e-7, 0.000113468],
    [10.0, 1.36058e-6, 0.578777, 1.41248e-7, 0.000166409],
    [15.0, 1.1894e-6, 0.588802, 1.43722e-7, 0.00021397],
    [20.0, 1.05099e-6, 0.598012, 1.46031e-7, 0.000257462],
    [25.0, 9.37305e-7, 0.606516, 1.48208e-7, 0.000297595],
    [30.0, 8.42668e-7, 0.614392, 1.50274e-7, 0.000334661],
    [35.0, 7.6297e-7, 0.6217, 1.5224e-7, 0.000368685],
    [40.0, 6.95163e-7, 0.628486, 1.54113e-7, 0.000399519],
];
/// Warmest film of air, degC: within the range of the atmosphere's formulas.
const WARMEST_AIR_DEGC: f64 = 120.0;

/// A material between conductor and water.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Material {
    /// Polyethylene, also cross-linked.
    Polyethylene,
    /// Polyvinyl chloride.
    Pvc,
    /// Ethylene propylene rubber.
    Epr,
    /// Silicone rubber.
    Silicone,
}

impl Material {
    /// Thermal resistivity, K m/W. Source: IEC 60287-2-1, read on a public page that cites it.
    #[must_use]
    pub fn thermal_resistivity_k_m_per_w(self) -> f64 {
        match self {
            Self::Polyethylene | Self::Epr => 3.5,
            Self::Pvc | Self::Silicone => 5.0,
        }
    }
}

/// A cable with two round cores in one jacket. Diameters rise from inside to outside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cable {
    /// Diameter of a core's conductor, m; above zero.
    pub core_m: f64,
    /// Diameter of a core over its insulation, m.
    pub insulated_m: f64,
    /// Diameter under the jacket, m.
    pub under_jacket_m: f64,
    /// Outer diameter, m.
    pub outer_m: f64,
    /// Insulation of a core.
    pub insulation: Material,
    /// Jacket.
    pub jacket: Material,
    /// Resistance of the loop at 20 degC, ohm for each metre of cable; above zero.
    pub loop_20_ohm_per_m: f64,
}

/// What lies round a cable.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Surroundings {
    /// Still sea water.
    SeaWater,
    /// Still air, a single straight length.
    Air,
    /// Sediment under the floor.
    Sediment {
        /// Depth of the cable's axis, m; more than half its outer diameter.
        buried_m: f64,
        /// Thermal resistivity, K m/W; above zero.
        resistivity_k_m_per_w: f64,
    },
    /// A film of known coefficient, W/(m2 K); above zero.
    Film {
        /// Heat that leaves a square metre of surface for each kelvin, W/(m2 K).
        coefficient_w_m2_k: f64,
    },
    /// On a drum or in a coil: there is no answer.
    Drum,
}

/// A cable at rest with its current.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Warmth {
    /// Temperature of the conductors, degC.
    pub conductor_degc: f64,
    /// Temperature of the surface, degC.
    pub surface_degc: f64,
    /// Loss in both conductors, W for each metre.
    pub loss_w_per_m: f64,
    /// Resistance of the loop, ohm for each metre.
    pub loop_ohm_per_m: f64,
}

/// Why a cable has no temperature.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum HeatingError {
    /// A number is out of its range.
    #[error("{quantity} is {value}, must be {wanted}")]
    BadValue {
        /// Name of the quantity with its unit.
        quantity: &'static str,
        /// The number given.
        value: f64,
        /// The range it must lie in.
        wanted: &'static str,
    },
    /// On a drum or in a coil no simple formula holds.
    #[error(
        "on a drum the turns warm each other and no simple formula holds: test there at reduced current, or lay the cable out"
    )]
    OnADrum,
    /// The conductors are warmer than the law of resistance holds for.
    #[error("at {current_a} A its conductors are warmer than {HIGHEST_TEMPERATURE_DEGC} degC")]
    TooWarm {
        /// The current, A.
        current_a: f64,
    },
    /// Each further kelvin adds more loss than it carries off.
    #[error("at {current_a} A it runs away: each kelvin adds more loss than it carries off")]
    Runaway {
        /// The current, A.
        current_a: f64,
    },
    /// The film is colder or warmer than the properties of the fluid are held for.
    #[error(
        "the film round it would be at {film_degc} degC; held are {low_degc} to {high_degc} degC"
    )]
    Film {
        /// Mean temperature of the film, degC.
        film_degc: f64,
        /// Coldest held, degC.
        low_degc: f64,
        /// Warmest held, degC.
        high_degc: f64,
    },
    /// The root was not found.
    #[error("its surface temperature was not found: {0}")]
    NotFound(#[from] numerics::RootError),
}

impl Cable {
    fn check(&self) -> Result<(), HeatingError> {
        let rising = [
            ("core_m", self.core_m, 0.0, "finite and above zero"),
            (
                "insulated_m",
                self.insulated_m,
                self.core_m,
                "finite and above core_m",
            ),
            (
                "under_jacket_m",
                self.under_jacket_m,
                self.insulated_m,
                "finite and above insulated_m",
            ),
            (
                "outer_m",
                self.outer_m,
                self.under_jacket_m,
                "finite and above under_jacket_m",
            ),
            (
                "loop_20_ohm_per_m",
                self.loop_20_ohm_per_m,
                0.0,
                "finite and above zero",
            ),
        ];
        for (quantity, value, below, wanted) in rising {
            if !(value.is_finite() && value > below) {
                return Err(HeatingError::BadValue {
                    quantity,
                    value,
                    wanted,
                });
            }
        }
        Ok(())
    }

    /// `T1/2 + T3`, K m/W.
    fn layers_k_m_per_w(&self) -> f64 {
        let layer = |material: Material, outer_m: f64, inner_m: f64| {
            material.thermal_resistivity_k_m_per_w() / (2.0 * PI) * libm::log(outer_m / inner_m)
        };
        0.5 * layer(self.insulation, self.insulated_m, self.core_m)
            + layer(self.jacket, self.outer_m, self.under_jacket_m)
    }

    /// Resistance of the loop at a conductor temperature, ohm for each metre.
    fn loop_ohm_per_m(&self, conductor_degc: f64) -> f64 {
        self.loop_20_ohm_per_m * (1.0 + TEMPERATURE_COEFFICIENT_PER_K * (conductor_degc - 20.0))
    }
}

/// Temperature and resistance at which the cable is at rest with a steady current.
///
/// `ambient_degc`: temperature of the water, of the air, or of the water over the sediment, -40 to 120 degC (still water:
/// 0 to 40). `current_a`: in each conductor, finite, its sign does not matter.
///
/// Errors: every variant of [`HeatingError`]. Source: IEC 60287, Churchill and Chu 1975, see the head of this module.
pub fn warmth(
    cable: &Cable,
    surroundings: Surroundings,
    ambient_degc: f64,
    current_a: f64,
) -> Result<Warmth, HeatingError> {
    cable.check()?;
    if !(LOWEST_TEMPERATURE_DEGC..=HIGHEST_TEMPERATURE_DEGC).contains(&ambient_degc) {
        return Err(HeatingError::BadValue {
            quantity: "ambient_degc",
            value: ambient_degc,
            wanted: "-40 to 120",
        });
    }
    if !current_a.is_finite() {
        return Err(HeatingError::BadValue {
            quantity: "current_a",
            value: current_a,
            wanted: "finite",
        });
    }
    let rise_k = match surroundings {
        Surroundings::Drum => return Err(HeatingError::OnADrum),
        Surroundings::Film { coefficient_w_m2_k } => {
            check_above_zero("coefficient_w_m2_k", coefficient_w_m2_k)?;
            let outside = 1.0 / (PI * cable.outer_m * coefficient_w_m2_k);
            fixed_rise_k(cable, outside, ambient_degc, current_a)?
        }
        Surroundings::Sediment {
            buried_m,
            resistivity_k_m_per_w,
        } => {
            check_above_zero("resistivity_k_m_per_w", resistivity_k_m_per_w)?;
            if !(buried_m.is_finite() && buried_m > 0.5 * cable.outer_m) {
                return Err(HeatingError::BadValue {
                    quantity: "buried_m",
                    value: buried_m,
                    wanted: "finite and more than half the outer diameter",
                });
            }
            let outside =
                resistivity_k_m_per_w / (2.0 * PI) * libm::acosh(2.0 * buried_m / cable.outer_m);
            fixed_rise_k(cable, outside, ambient_degc, current_a)?
        }
        Surroundings::SeaWater => {
            convective_rise_k(cable, sea_water, sea_water_range(), ambient_degc, current_a)?
        }
        Surroundings::Air => {
            let range = (LOWEST_TEMPERATURE_DEGC, WARMEST_AIR_DEGC);
            convective_rise_k(cable, air, range, ambient_degc, current_a)?
        }
    };
    let (surface_degc, loss_w_per_m) = (ambient_degc + rise_k.surface_k, rise_k.loss_w_per_m);
    let conductor_degc = surface_degc + loss_w_per_m * cable.layers_k_m_per_w();
    if conductor_degc > HIGHEST_TEMPERATURE_DEGC {
        return Err(HeatingError::TooWarm { current_a });
    }
    Ok(Warmth {
        conductor_degc,
        surface_degc,
        loss_w_per_m,
        loop_ohm_per_m: cable.loop_ohm_per_m(conductor_degc),
    })
}

struct Rise {
    surface_k: f64,
    loss_w_per_m: f64,
}

/// Heat resistance outside the jacket does not depend on the rise: closed form.
fn fixed_rise_k(
    cable: &Cable,
    outside_k_m_per_w: f64,
    ambient_degc: f64,
    current_a: f64,
) -> Result<Rise, HeatingError> {
    let per_kelvin_w =
        current_a * current_a * cable.loop_20_ohm_per_m * TEMPERATURE_COEFFICIENT_PER_K;
    let left = 1.0 - per_kelvin_w * (cable.layers_k_m_per_w() + outside_k_m_per_w);
    if left <= 0.0 {
        return Err(HeatingError::Runaway { current_a });
    }
    let loss_w_per_m = current_a * current_a * cable.loop_ohm_per_m(ambient_degc) / left;
    Ok(Rise {
        surface_k: loss_w_per_m * outside_k_m_per_w,
        loss_w_per_m,
    })
}

fn convective_rise_k(
    cable: &Cable,
    fluid: fn(f64) -> Fluid,
    (low_degc, high_degc): (f64, f64),
    ambient_degc: f64,
    current_a: f64,
) -> Result<Rise, HeatingError> {
    if !(low_degc..=high_degc).contains(&ambient_degc) {
        return Err(HeatingError::Film {
            film_degc: ambient_degc,
            low_degc,
            high_degc,
        });
    }
    let layers = cable.layers_k_m_per_w();
    let per_kelvin_w =
        current_a * current_a * cable.loop_20_ohm_per_m * TEMPERATURE_COEFFICIENT_PER_K;
    if per_kelvin_w * layers >= 1.0 {
        return Err(HeatingError::Runaway { current_a });
    }
    let cold_w = current_a * current_a * cable.loop_ohm_per_m(ambient_degc);
    if cold_w == 0.0 {
        return Ok(Rise {
            surface_k: 0.0,
            loss_w_per_m: 0.0,
        });
    }
    let carried_w = |rise_k: f64| {
        let film = fluid(ambient_degc + 0.5 * rise_k);
        PI * cable.outer_m * film.coefficient_w_m2_k(cable.outer_m, rise_k) * rise_k
    };
    let over = |rise_k: f64| {
        let carried_w = carried_w(rise_k);
        carried_w - cold_w - per_kelvin_w * (rise_k + layers * carried_w)
    };
    let by_film_k = 2.0 * (high_degc - ambient_degc);
    let most_k = by_film_k.min(HIGHEST_TEMPERATURE_DEGC - ambient_degc);
    if over(most_k) < 0.0 {
        return Err(if most_k < by_film_k {
            HeatingError::TooWarm { current_a }
        } else {
            HeatingError::Film {
                film_degc: ambient_degc + 0.5 * most_k,
                low_degc,
                high_degc,
            }
        });
    }
    let surface_k = brent(over, 0.0, most_k, SURFACE_TOLERANCE_K)?.x;
    Ok(Rise {
        surface_k,
        loss_w_per_m: carried_w(surface_k),
    })
}

/// How closely the surface is found, K.
const SURFACE_TOLERANCE_K: f64 = 1e-12;

/// A fluid round a cable, at one temperature.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Fluid {
    kinematic_viscosity_m2_s: f64,
    conductivity_w_m_k: f64,
    diffusivity_m2_s: f64,
    expansion_per_k: f64,
}

impl Fluid {
    /// Churchill and Chu 1975 for a horizontal cylinder.
    fn coefficient_w_m2_k(&self, diameter_m: f64, rise_k: f64) -> f64 {
        let (nu, a) = (self.kinematic_viscosity_m2_s, self.diffusivity_m2_s);
        let rayleigh =
            GRAVITY_M_S2 * self.expansion_per_k * rise_k * diameter_m * diameter_m * diameter_m
                / (nu * a);
        let prandtl = nu / a;
        let slower = libm::pow(1.0 + libm::pow(0.559 / prandtl, 9.0 / 16.0), 8.0 / 27.0);
        let root = 0.6 + 0.387 * libm::pow(rayleigh, 1.0 / 6.0) / slower;
        root * root * self.conductivity_w_m_k / diameter_m
    }
}

fn sea_water_range() -> (f64, f64) {
    (SEA_WATER[0][0], SEA_WATER[SEA_WATER.len() - 1][0])
}

/// At a temperature of the table's range; straight between its rows.
fn sea_water(degc: f64) -> Fluid {
    let above = SEA_WATER
        .partition_point(|row| row[0] <= degc)
        .clamp(1, SEA_WATER.len() - 1);
    let (a, b) = (&SEA_WATER[above - 1], &SEA_WATER[above]);
    let share = (degc - a[0]) / (b[0] - a[0]);
    let at = |column: usize| a[column] + share * (b[column] - a[column]);
    Fluid {
        kinematic_viscosity_m2_s: at(1),
        conductivity_w_m_k: at(2),
        diffusivity_m2_s: at(3),
        expansion_per_k: at(4),
    }
}

/// US Standard Atmosphere 1976, equations 51 and 53 (viscosity, conductivity); an ideal gas at 101325 Pa.
fn air(degc: f64) -> Fluid {
    let kelvin = degc + ZERO_DEGC_K;
    let root = kelvin * kelvin.sqrt();
    let viscosity_pa_s = 1.458e-6 * root / (kelvin + 110.4);
    let conductivity_w_m_k = 2.64638e-3 * root / (kelvin + 245.4 * libm::pow(10.0, -12.0 / kelvin));
    let density_kg_m3 = PRESSURE_PA / (GAS_CONSTANT_AIR_J_KG_K * kelvin);
    Fluid {
        kinematic_viscosity_m2_s: viscosity_pa_s / density_kg_m3,
        conductivity_w_m_k,
        diffusivity_m2_s: conductivity_w_m_k / (density_kg_m3 * HEAT_CAPACITY_AIR_J_KG_K),
        expansion_per_k: 1.0 / kelvin,
    }
}

fn check_above_zero(quantity: &'static str, value: f64) -> Result<(), HeatingError> {
    if value.is_finite() && value > 0.0 {
        return Ok(());
    }
    Err(HeatingError::BadValue {
        quantity,
        value,
        wanted: "finite and above zero",
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The table is read at the mean of surface and surroundings; between its rows it is straight, and
    /// expansion bends most between 0 and 5 degC.
    const WATER_SHARE: f64 = 5e-3;
    const AIR_SHARE: f64 = 1e-6;

    #[test]
    fn val_sea_water_is_that_of_the_reference() {
        assert_eq!(truth::numbers("power/gsw-still-water.csv"), SEA_WATER);
    }

    #[test]
    fn val_films_are_those_of_an_independent_library() {
        let films = truth::json("power/scipy-heating.json")["films"].clone();
        let films = films.as_array().unwrap();
        assert_eq!(films.len(), 90);
        for film in films {
            let at = |key: &str| film[key].as_f64().unwrap();
            let rise_k = at("rise_k");
            let degc = at("ambient_degc") + 0.5 * rise_k;
            let (fluid, share) = match film["around"].as_str().unwrap() {
                "water" => (sea_water(degc), WATER_SHARE),
                _ => (air(degc), AIR_SHARE),
            };
            let ours = fluid.coefficient_w_m2_k(at("diameter_m"), rise_k);
            let off = ours / at("film_w_m2_k") - 1.0;
            assert!(off.abs() <= share, "{film}: {ours}");
        }
    }
}
