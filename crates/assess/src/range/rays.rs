//! Loss along rays from a call to a hydrophone, followed once and kept.

use plan::Line;
use seawater::{Bed, Profile, RayLimits, RaySea, incoherent_loss_db};

use super::over::SIMPLE_LAW_REFUSED_M;
use crate::input::bed;
use crate::memo::{Job, Memo, canonical};

/// Wavelengths of depth from which rays hold (common practice, `docs/method/propagation.md`).
const RAY_WAVELENGTHS: f64 = 10.0;
/// Ranges at which rays are followed, of each octave; read on straight lines over the logarithm between.
const RAYS_PER_OCTAVE: f64 = 16.0;
/// Which rays are followed: far more bounces than a picture needs, as each still carries something of the sum.
const RAYS: RayLimits = RayLimits {
    most_bed_bounces: 40,
    most_surface_bounces: 40,
    faintest_db: 30.0,
    most_paths: 32,
};

/// Loss along all rays together, their powers added: range, m, and dB re 1 m with the absorption, infinite where none comes.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct RayLoss(Vec<(f64, f64)>);

/// All that rays to a hydrophone are followed by, kept from check to check.
struct Followed<'a> {
    profile: &'a Profile,
    bed: Bed,
    seabed_m: f64,
    source_depth_m: f64,
    depth_m: f64,
    /// The frequency that stands for the sound, Hz.
    frequency_hz: f64,
    ph: f64,
}

canonical!('a Followed<'a> { seabed_m, source_depth_m, depth_m, frequency_hz, ph } debug { profile, bed });

impl Job for Followed<'_> {
    const METHOD: &'static str = "loss along rays/1";
    type Out = Result<RayLoss, String>;

    fn run(&self, _: &Memo) -> Self::Out {
        RayLoss::followed(self)
    }

    fn bytes(out: &Self::Out) -> usize {
        out.as_ref()
            .map_or(0, |rays| size_of_val(rays.0.as_slice()))
    }
}

impl RayLoss {
    /// To a hydrophone of the plan, for a sound at a frequency that stands for it.
    ///
    /// # Errors
    /// Why no rays can be followed, in words.
    pub(super) fn of(
        line: &Line,
        profile: &Profile,
        (source_depth_m, depth_m): (f64, f64),
        (frequency_hz, ph): (f64, f64),
        memo: &Memo,
    ) -> Result<Self, String> {
        let followed = Followed {
            profile,
            bed: bed(line).ok_or("the site says no `bottom`")?,
            seabed_m: line.sea.water_depth_m.si,
            source_depth_m,
            depth_m,
            frequency_hz,
            ph,
        };
        memo.of(&followed).as_ref().clone()
    }

    fn followed(by: &Followed<'_>) -> Result<Self, String> {
        let Followed {
            profile,
            bed,
            seabed_m,
            source_depth_m,
            depth_m,
            frequency_hz,
            ph,
        } = *by;
        let words = |error: seawater::SeaError| error.to_string();
        let speed_m_s = profile
            .harmonic_mean_sound_speed_m_s(0.0, seabed_m)
            .map_err(words)?;
        let needed_m = RAY_WAVELENGTHS * speed_m_s / frequency_hz;
        if seabed_m < needed_m {
            return Err(format!(
                "at {frequency_hz:.0} Hz they need {needed_m:.0} m of water, ten wavelengths (common practice), and here are {seabed_m:.0} m"
            ));
        }
        let sea = RaySea::new(profile, seabed_m, bed, frequency_hz, ph).map_err(words)?;
        let pair = sea.between(source_depth_m, depth_m).map_err(words)?;
        let steps = (RAYS_PER_OCTAVE * libm::log2(SIMPLE_LAW_REFUSED_M)).ceil();
        let at = |i: u32| {
            let range_m = libm::pow(SIMPLE_LAW_REFUSED_M, f64::from(i) / steps);
            let found = pair.eigenrays(range_m, &RAYS).map_err(words)?;
            Ok((range_m, incoherent_loss_db(&found.paths)))
        };
        (0..=steps as u32)
            .map(at)
            .collect::<Result<_, _>>()
            .map(Self)
    }

    /// Loss over a horizontal range, dB re 1 m.
    pub(super) fn loss_db(&self, range_m: f64) -> f64 {
        let after = self.0.partition_point(|(m, _)| *m <= range_m);
        let before = self.0[after.saturating_sub(1)];
        let Some(next) = self.0.get(after) else {
            return before.1;
        };
        if before.1.is_infinite() || next.1.is_infinite() {
            return f64::INFINITY;
        }
        let part = libm::log(range_m / before.0) / libm::log(next.0 / before.0);
        before.1 + part.max(0.0) * (next.1 - before.1)
    }
}
