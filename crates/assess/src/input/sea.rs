//! The sea at the site.

use plan::Line;
use seawater::{Profile, ProfilePoint, SeaError, Spreading};

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
    line.sea.spreading.map(|law| match law {
        plan::Spreading::Spherical => Spreading::Spherical,
        plan::Spreading::Practical => Spreading::Practical,
        plan::Spreading::Cylindrical => Spreading::Cylindrical,
        plan::Spreading::Transition { at_m } => Spreading::Transition { at_m: at_m.si },
    })
}
