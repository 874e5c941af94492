//! Rays through water whose sound speed changes with depth alone, with surface and bed.
//!
//! Layers of constant gradient, in which a ray is an arc of a circle (L. E. Kinsler and others, *Fundamentals of Acoustics*;
//! textbook, from memory; equations derived anew in `leg`): Snell's `a = cos t / c`, range `a W` with `W` the integral of `c ds`,
//! both in closed form, so that a ray is exact to rounding for its layers and no step size enters.
//!
//! Level: `|p|^2 = c_r a / (r |q|)` for a unit source at 1 m, `q` the width of the ray tube (module `walk`); absorption along the path
//! (Francois and Garrison 1982, of the middle of each layer); loss of every bounce. Phase, for a time that goes as `e^(-i w t)`: half
//! a turn at the surface, the bed's own at the bed, minus a quarter turn at a caustic.
//!
//! Validity: flat surface and bed, water alike at every range, frequencies whose wavelength is small against depth and layers
//! (common practice: at least ten wavelengths of depth). Ray theory has no sound in a shadow and too much at a caustic; both are
//! told, and the level of a path near a caustic is held at [`CAUSTIC_GAIN_DB`] above spherical spreading.

mod eigen;
mod field;
mod layers;
mod leg;
mod pair;
mod path;
mod trace;
mod walk;

use crate::absorption;
use crate::bed::Bed;
use crate::limits::{Limit, Method, SeaError, Variable};
use crate::profile::Profile;

pub use field::LossField;
pub use layers::Layers;
pub use pair::Pair;
pub use path::{
    Eigenray, Eigenrays, Family, RayLimits, Reach, coherent_loss_db, incoherent_loss_db,
};
pub use trace::Trace;

use walk::Column;

/// A path is flagged, and its level held, where its tube is so much narrower than spherical spreading makes it, dB. Judgement,
/// no source.
pub const CAUSTIC_GAIN_DB: f64 = 15.0;

const FREQUENCY: Limit = Limit::new(Variable::Frequency, 1.0, 1e6);
const RANGE: Limit = Limit::new(Variable::HorizontalDistance, 0.0, 500_000.0);
const ABSORPTION: Limit = Limit::new(Variable::Absorption, 0.0, 1000.0);
const WATER_DENSITY: Limit = Limit::new(Variable::WaterDensity, 900.0, 1200.0);

/// A sea to send rays through, at one frequency.
#[derive(Clone, Debug)]
pub struct RaySea {
    layers: Layers,
    /// By layer, dB/m.
    absorption_db_m: Vec<f64>,
    bed: Bed,
    water_kg_m3: f64,
    frequency_hz: f64,
}

impl RaySea {
    /// The sea of a profile down to a bed, with the absorption of its water at `frequency_hz` (1 Hz to 1 MHz) and an acidity.
    ///
    /// # Errors
    /// [`SeaError`] for water, bed, depth or frequency outside what the formulas hold for.
    pub fn new(
        profile: &Profile,
        seabed_m: f64,
        bed: Bed,
        frequency_hz: f64,
        ph: f64,
    ) -> Result<Self, SeaError> {
        FREQUENCY.require(frequency_hz, Method::Rays)?;
        bed.check()?;
        let layers = Layers::of(profile, seabed_m)?;
        let absorption_db_m = layers
            .depths_m()
            .windows(2)
            .map(|z| {
                let middle_m = 0.5 * (z[0] + z[1]);
                absorption(
                    frequency_hz,
                    profile.temperature_degc(middle_m)?,
                    profile.salinity(middle_m)?,
                    middle_m,
                    ph,
                )
                .map(|a| 1e-3 * a.total_db_per_km)
            })
            .collect::<Result<_, SeaError>>()?;
        let water_kg_m3 = crate::density_kg_m3(
            profile.temperature_degc(seabed_m)?,
            profile.salinity(seabed_m)?,
            crate::pressure_from_depth_dbar(seabed_m, 45.0)?,
        )?;
        Ok(Self {
            layers,
            absorption_db_m,
            bed,
            water_kg_m3,
            frequency_hz,
        })
    }

    /// A sea of given layers with one absorption (0 to 1000 dB/km) and one density of the water at the bed (900 to 1200 kg/m3).
    ///
    /// # Errors
    /// [`SeaError::OutOfRange`].
    pub fn of_layers(
        layers: Layers,
        absorption_db_per_km: f64,
        water_kg_m3: f64,
        bed: Bed,
        frequency_hz: f64,
    ) -> Result<Self, SeaError> {
        FREQUENCY.require(frequency_hz, Method::Rays)?;
        ABSORPTION.require(absorption_db_per_km, Method::Rays)?;
        WATER_DENSITY.require(water_kg_m3, Method::Rays)?;
        bed.check()?;
        let count = layers.depths_m().len() - 1;
        Ok(Self {
            layers,
            absorption_db_m: vec![1e-3 * absorption_db_per_km; count],
            bed,
            water_kg_m3,
            frequency_hz,
        })
    }

    /// The layers.
    #[must_use]
    pub fn layers(&self) -> &Layers {
        &self.layers
    }

    /// The frequency for which absorption and bed are taken, Hz.
    #[must_use]
    pub fn frequency_hz(&self) -> f64 {
        self.frequency_hz
    }

    /// The column with `depths_m` among its boundaries, and their indices.
    fn column<const N: usize>(&self, depths_m: [f64; N]) -> (Column, [usize; N]) {
        let of = &self.layers;
        let mut knots: Vec<(f64, f64)> = of
            .depths_m()
            .iter()
            .copied()
            .zip(of.speeds_m_s().iter().copied())
            .collect();
        for depth_m in depths_m {
            let at = knots.partition_point(|k| k.0 < depth_m);
            if knots.get(at).is_none_or(|k| k.0 != depth_m) {
                knots.insert(at, (depth_m, of.speed_m_s(depth_m)));
            }
        }
        let layer_of: Vec<usize> = knots
            .windows(2)
            .map(|k| of.layer(0.5 * (k[0].0 + k[1].0)))
            .collect();
        let column = Column {
            gradient_per_s: layer_of.iter().map(|&i| of.gradient_per_s(i)).collect(),
            absorption_db_m: layer_of.iter().map(|&i| self.absorption_db_m[i]).collect(),
            depth_m: knots.iter().map(|k| k.0).collect(),
            speed_m_s: knots.iter().map(|k| k.1).collect(),
            bed: self.bed,
            water_kg_m3: self.water_kg_m3,
        };
        let places = depths_m.map(|depth_m| {
            column
                .depth_m
                .iter()
                .position(|z| *z == depth_m)
                .expect("the depth was made a boundary")
        });
        (column, places)
    }

    fn require_depth(&self, variable: Variable, depth_m: f64) -> Result<(), SeaError> {
        const SHALLOWEST_M: f64 = 0.01;
        Limit::new(variable, SHALLOWEST_M, self.layers.seabed_m()).require(depth_m, Method::Rays)
    }
}
