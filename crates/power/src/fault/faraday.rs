//! How long metal lasts that a leak dissolves.
//!
//! Faraday's law of electrolysis: a current `I` that leaves a metal into the water for a time `t` dissolves `m = M I t / (z F)`, with `M` the molar mass, `z` the
//! charge of the ions it goes as, and `F = N_A e` = 96 485.332 123 310 C/mol, exact since 2019 (SI brochure, 9th edition). All of the current is taken to dissolve
//! metal, and all of it at the one contact: both err towards a shorter life.
//!
//! Only metal from which the current leaves is eaten: that of the positive conductor. Which ions a metal goes as is chemistry, not geometry: copper goes as
//! cuprous ions (`z` 1) in neutral sodium chloride, as sea water is, and lasts half as long as the `z` of 2 that tables print would say; [`COPPER_IN_SEA_WATER`]
//! takes 1. That rests on the abstract of "Real-time observation of the anodic dissolution of copper in NaCl solution with the digital holography" alone, whose
//! copy names neither authors nor year: unverified, and the shorter life of the two. Passive metals (titanium, stainless steel) may dissolve less, or locally much faster.
//!
//! Molar masses: standard atomic weights, by the library chemicals; densities and charges from memory (handbook values, three digits).
//! Validity: direct current; life is that to a share of the metal, not to the loss of contact, which may come sooner.

use core::f64::consts::PI;

use super::insulation::{LeakError, above_zero};

/// Charge of a mole of elementary charges, C/mol (exact, `N_A e`).
pub const FARADAY_C_MOL: f64 = 96_485.332_123_310_02;

/// A metal as it dissolves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Metal {
    /// Molar mass, g/mol.
    pub molar_mass_g_mol: f64,
    /// Elementary charges that each ion carries off.
    pub charge: u8,
    /// Density, kg/m3.
    pub density_kg_m3: f64,
}

/// Copper that goes as cuprous ions, as in sea water: the shorter life.
pub const COPPER_IN_SEA_WATER: Metal = Metal::new(63.546, 1, 8960.0);
/// Copper that goes as cupric ions, as tables print.
pub const COPPER: Metal = Metal::new(63.546, 2, 8960.0);
/// Nickel.
pub const NICKEL: Metal = Metal::new(58.6934, 2, 8908.0);
/// Iron, for carbon steel.
pub const IRON: Metal = Metal::new(55.845, 2, 7874.0);
/// Zinc.
pub const ZINC: Metal = Metal::new(65.38, 2, 7140.0);
/// Aluminium.
pub const ALUMINIUM: Metal = Metal::new(26.981_538, 3, 2700.0);
/// Silver.
pub const SILVER: Metal = Metal::new(107.8682, 1, 10_490.0);

impl Metal {
    /// A metal of a molar mass in g/mol, a charge number and a density in kg/m3.
    #[must_use]
    pub const fn new(molar_mass_g_mol: f64, charge: u8, density_kg_m3: f64) -> Metal {
        Metal {
            molar_mass_g_mol,
            charge,
            density_kg_m3,
        }
    }

    /// Mass of a round pin, kg. Both lengths above zero.
    ///
    /// # Errors
    /// A number out of range.
    pub fn pin_kg(&self, diameter_m: f64, length_m: f64) -> Result<f64, LeakError> {
        let diameter_m = above_zero("diameter_m", diameter_m)?;
        let length_m = above_zero("length_m", length_m)?;
        let density_kg_m3 = above_zero("density_kg_m3", self.density_kg_m3)?;
        Ok(density_kg_m3 * PI / 4.0 * diameter_m * diameter_m * length_m)
    }

    /// Charge that dissolves a mass, C. The mass above zero.
    ///
    /// # Errors
    /// A number out of range, a charge number of zero.
    pub fn charge_c(&self, mass_kg: f64) -> Result<f64, LeakError> {
        let mass_kg = above_zero("mass_kg", mass_kg)?;
        let molar_mass_kg = 1e-3 * above_zero("molar_mass_g_mol", self.molar_mass_g_mol)?;
        let charge = above_zero("the charge number", f64::from(self.charge))?;
        Ok(mass_kg / molar_mass_kg * charge * FARADAY_C_MOL)
    }

    /// Time in which a current dissolves a mass, s: that of the metal that may go. Both above zero.
    ///
    /// # Errors
    /// As [`Metal::charge_c`].
    pub fn life_s(&self, mass_kg: f64, current_a: f64) -> Result<f64, LeakError> {
        Ok(self.charge_c(mass_kg)? / above_zero("current_a", current_a)?)
    }

    /// What a current dissolves in a time, kg. Both above zero.
    ///
    /// # Errors
    /// A number out of range, a charge number of zero.
    pub fn dissolved_kg(&self, current_a: f64, time_s: f64) -> Result<f64, LeakError> {
        let charge_c = above_zero("current_a", current_a)? * above_zero("time_s", time_s)?;
        Ok(charge_c / self.charge_c(1.0)?)
    }

    /// Least insulation resistance with which a mass lasts for a life, ohm, where the whole of a voltage stands across it: one pole of the supply in the water, or
    /// the other conductor leaking freely.
    ///
    /// # Errors
    /// As [`Metal::charge_c`].
    pub fn least_insulation_ohm(
        &self,
        mass_kg: f64,
        life_s: f64,
        voltage_v: f64,
    ) -> Result<f64, LeakError> {
        let most_a = self.charge_c(mass_kg)? / above_zero("life_s", life_s)?;
        Ok(above_zero("voltage_v", voltage_v)? / most_a)
    }
}
