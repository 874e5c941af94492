//! The sea at the site.

use plan::Line;
use seawater::{Bed, Profile, ProfilePoint, RayLimits, SeaError, Spreading};

/// Bounces from the bed that are followed where the plan does not say.
pub(crate) const BED_BOUNCES: u32 = 4;
/// Bounces from the surface that are followed: enough for a duct.
const SURFACE_BOUNCES: u32 = 40;
/// How much fainter than the loudest a ray may be where the plan does not say, dB.
pub(crate) const FAINTEST_DB: f64 = 30.0;
/// How many rays are kept where the plan does not say.
pub(crate) const MOST_RAYS: u32 = 8;

/// Temperature and salinity by depth.
///
/// # Errors
/// [`SeaError`] for water outside what the formulas hold for.
pub fn profile(line: &Line) -> Result<Profile, SeaError> {
    let points: Vec<ProfilePoint> = line
        .sea
        .profile
        .iter()
        .map(|p| ProfilePoint {
            depth_m: p.depth_m.si,
            temperature_degc: p.temperature_degc.si,
            salinity: p.salinity.si,
        })
        .collect();
    Profile::new(&points)
}

/// How sound spreads, when the plan says.
#[must_use]
pub fn spreading(line: &Line) -> Option<Spreading> {
    Some(match line.sea.spreading? {
        plan::Spreading::Spherical => Spreading::Spherical,
        plan::Spreading::Practical => Spreading::Practical,
        plan::Spreading::Cylindrical => Spreading::Cylindrical,
        plan::Spreading::Transition { at_m } => Spreading::Transition { at_m: at_m.si },
        plan::Spreading::Measured => {
            let measured = line.sea.loss_measured.as_ref()?;
            let known = measured.known.map(|(at_m, loss)| (at_m.si, loss.db));
            let (at_m, loss_db) = known.unwrap_or((1.0, 0.0));
            Spreading::Through {
                slope_db_per_decade: measured.slope.db,
                at_m,
                loss_db,
            }
        }
    })
}

/// The bed as sound meets it, when the plan says.
#[must_use]
pub fn bed(line: &Line) -> Option<Bed> {
    line.sea.bottom.map(|bottom| match bottom {
        plan::Bottom::Fluid {
            sound_speed_m_s,
            density_kg_m3,
            attenuation_per_wavelength,
        } => Bed::Fluid {
            sound_speed_m_s: sound_speed_m_s.si,
            density_kg_m3: density_kg_m3.si,
            attenuation_db_per_wavelength: attenuation_per_wavelength.db,
        },
        plan::Bottom::Loss { per_bounce } => Bed::Loss {
            per_bounce_db: per_bounce.db,
        },
    })
}

/// Which rays are followed: as the plan says, and at most 4 bounces from the bed, 30 dB and 8 rays where it does not.
#[must_use]
pub fn ray_limits(line: &Line) -> RayLimits {
    let wanted = &line.sea.rays;
    RayLimits {
        most_bed_bounces: wanted.bottom_bounces.unwrap_or(BED_BOUNCES),
        most_surface_bounces: SURFACE_BOUNCES,
        faintest_db: wanted.faintest.map_or(FAINTEST_DB, |d| d.db),
        most_paths: wanted.most.unwrap_or(MOST_RAYS) as usize,
    }
}
