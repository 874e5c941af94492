//! Which ways sound takes because the plan does not say otherwise.

use plan::{Bottom, Line, Paths};

use crate::input::{BED_BOUNCES, FAINTEST_DB, MOST_RAYS};

/// Which ways sound takes, where the plan leaves it open.
pub(super) fn propagation(line: &Line, all: &mut Vec<String>) {
    if line.detectors.is_empty() {
        return;
    }
    let sea = &line.sea;
    match sea.paths {
        None => all.push(
            "sound comes by the straight way alone with the loss of `spreading`: no echo, no shadow, because no `paths` is written".to_owned(),
        ),
        Some(Paths::Rays) => {
            let wanted = &sea.rays;
            let mut limits = Vec::new();
            if wanted.bottom_bounces.is_none() {
                limits.push(format!("at most {BED_BOUNCES} bounces from the bed"));
            }
            if wanted.faintest.is_none() {
                limits.push(format!("down to {FAINTEST_DB:.0} dB below the loudest"));
            }
            if wanted.most.is_none() {
                limits.push(format!("at most {MOST_RAYS} from a sound to a hydrophone"));
            }
            if !limits.is_empty() {
                all.push(format!("rays are followed {}", limits.join(", ")));
            }
            all.extend(beyond_profile(line));
            if matches!(sea.bottom, Some(Bottom::Loss { .. })) {
                all.push("a bounce from the bed does not change the phase, because `bottom` is a loss alone".to_owned());
            }
        }
        Some(Paths::Simple | Paths::SurfaceImage) => {}
    }
}

/// How the water profile is carried on to surface and bed, where its points end before.
pub(crate) fn beyond_profile(line: &Line) -> Option<String> {
    let depths_m = || line.sea.profile.iter().map(|p| p.depth_m.si);
    let first_m = depths_m().reduce(f64::min)?;
    let last_m = depths_m().reduce(f64::max)?;
    let bed_m = line.sea.water_depth_m.si;
    let above = (first_m > 0.0).then(|| format!("begins at {first_m} m"));
    let below = (last_m < bed_m).then(|| format!("ends at {last_m} m of {bed_m} m"));
    let parts: Vec<String> = above.into_iter().chain(below).collect();
    (!parts.is_empty()).then(|| {
        format!(
            "the profile {}: beyond, temperature and salinity are held as at its end and pressure alone changes the sound speed, so rays that go there are doubtful",
            parts.join(" and ")
        )
    })
}
