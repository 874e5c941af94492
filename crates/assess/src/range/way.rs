//! The ways of sound from a call to a hydrophone, and what is lost on them.

use plan::ModuleIx;
use seawater::{SeaError, Spreading, lloyd_mirror_loss_db, transmission_loss_db};

use super::{RangeError, Subject};
use crate::hang::TOLD_FROM_M;
use crate::input::InputError;
use crate::mooring_verdicts::Hangs;

/// Frequencies over a call's band at which the surface's image is taken, spread evenly over the logarithm.
const IMAGE_FREQUENCIES: u32 = 24;

/// What sound loses on its way, but for absorption.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Way {
    /// By a spreading law.
    Law(Spreading),
    /// By spherical spreading of the straight path and its image in a flat surface, the mean of the power over a call's band.
    Image { low_hz: f64, high_hz: f64 },
    /// A law over the ranges at which it was measured, and another coefficient nearer and beyond, from the loss that the law has there. Nearer it
    /// never falls below none.
    Joined {
        law: Spreading,
        from_m: f64,
        to_m: f64,
        outer_db_per_decade: f64,
    },
    /// The same to a hydrophone at one depth, whatever its own, m.
    ImageAt {
        low_hz: f64,
        high_hz: f64,
        depth_m: f64,
    },
    /// By all rays through the profile, absorption with it: to the hydrophone at its own depth, or at one of the ends of its depths.
    Rays { to: usize },
}

impl Subject {
    /// Loss to a hydrophone at a depth over a horizontal range, dB re 1 m.
    pub(crate) fn loss_db(
        &self,
        range_m: f64,
        depth_m: f64,
        absorption_db_per_km: f64,
    ) -> Result<f64, RangeError> {
        self.loss_by(self.way, range_m, depth_m, absorption_db_per_km)
    }

    /// The same by another way than the plan's.
    pub(super) fn loss_by(
        &self,
        way: Way,
        range_m: f64,
        depth_m: f64,
        absorption_db_per_km: f64,
    ) -> Result<f64, RangeError> {
        let rise_m = depth_m - self.source_depth_m;
        let slant_m = libm::sqrt(range_m * range_m + rise_m * rise_m).max(1.0);
        let loss = match way {
            Way::Law(law) => transmission_loss_db(law, slant_m, absorption_db_per_km),
            Way::Image { low_hz, high_hz } => self
                .image_loss_db(range_m, depth_m, low_hz, high_hz)
                .map(|loss_db| loss_db + absorption_db_per_km * slant_m * 1e-3),
            Way::ImageAt {
                low_hz,
                high_hz,
                depth_m,
            } => {
                let way = Way::Image { low_hz, high_hz };
                return self.loss_by(way, range_m, depth_m, absorption_db_per_km);
            }
            Way::Rays { to } => {
                let rays = self.rays.as_ref().ok().and_then(|all| all.get(to));
                Ok(rays.map_or(f64::INFINITY, |rays| rays.loss_db(range_m)))
            }
            Way::Joined {
                law,
                from_m,
                to_m,
                outer_db_per_decade,
            } => {
                let held_m = slant_m.clamp(from_m, to_m);
                let outer_db = outer_db_per_decade * libm::log10(slant_m / held_m);
                law.loss_db(held_m).map(|loss_db| {
                    (loss_db + outer_db).max(0.0) + absorption_db_per_km * slant_m * 1e-3
                })
            }
        };
        Ok(loss.map_err(InputError::from)?)
    }

    fn image_loss_db(
        &self,
        range_m: f64,
        depth_m: f64,
        low_hz: f64,
        high_hz: f64,
    ) -> Result<f64, SeaError> {
        let c = self
            .profile
            .harmonic_mean_sound_speed_m_s(self.source_depth_m, depth_m)?;
        let mut power = 0.0;
        for i in 0..IMAGE_FREQUENCIES {
            let share = (f64::from(i) + 0.5) / f64::from(IMAGE_FREQUENCIES);
            let f_hz = low_hz * libm::pow(high_hz / low_hz, share);
            let loss_db = lloyd_mirror_loss_db(f_hz, self.source_depth_m, depth_m, range_m, c)?;
            power += libm::pow(10.0, -loss_db / 10.0);
        }
        Ok(-10.0 * libm::log10(power / f64::from(IMAGE_FREQUENCIES)))
    }
}

/// Of the depths at which a module hangs over the design cases the least and the greatest, m, as far as they differ from the one that
/// counts by what is told.
pub(super) fn depth_ends_m(hangs: &Hangs<'_>, module: ModuleIx, own_m: f64) -> Vec<f64> {
    let Ok(found) = hangs.found() else {
        return Vec::new();
    };
    let mut lines = found.lines.iter().flatten();
    let Some(seen) = lines.find_map(|of| of.modules.iter().find(|seen| seen.module == module))
    else {
        return Vec::new();
    };
    [seen.shallowest_m.value, seen.deepest_m.value]
        .into_iter()
        .filter(|end_m| (end_m - own_m).abs() >= TOLD_FROM_M)
        .collect()
}
