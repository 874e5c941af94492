//! What two hydrophones of a line make of the time between the first paths to each.

use plan::{Line, SensorIx, Stage};
use seawater::Eigenray;
use signal::time_difference_bound_s;

use crate::ear_geometry::{EarGeometry, EarGeometryError, Elevation, TimeParts, ear_geometry};
use crate::sound_paths::EarPaths;

/// Signal-to-noise ratio of the sound of which the time is taken to be estimated (ours): 10 dB.
const SNR: f64 = 10.0;

/// Two hydrophones.
#[derive(Clone, Debug)]
pub struct PairTold {
    /// The upper: its typed path.
    pub upper: String,
    /// The lower.
    pub lower: String,
    /// How they hang, and what is uncertain about that.
    pub geometry: EarGeometry,
    /// By how much the upper hears the first path later than the lower, s; `None` where one of them hears nothing.
    pub later_s: Option<f64>,
    /// What the time would be uncertain by (k = 2) when it is estimated from a sound, s; `None` where no detector says of which.
    pub estimate_s: Option<f64>,
    /// The elevation that the time gives, degrees above the horizon, and its limits; `None` where it cannot be told.
    pub elevation: Option<Elevation>,
    /// The elevation of the first path at the upper hydrophone, degrees above the horizon.
    pub upper_path_deg: Option<f64>,
    /// The same at the lower: where the ways to both are the same, the limits of the elevation hold both.
    pub lower_path_deg: Option<f64>,
    /// Why there is no elevation, or what bounds it.
    pub why: Vec<String>,
    /// What is taken although nobody wrote it.
    pub assumed: Vec<String>,
}

/// Every two hydrophones at different depths.
pub(crate) fn pairs(line: &Line, ears: &[EarPaths]) -> Result<Vec<PairTold>, EarGeometryError> {
    let mut all = Vec::new();
    for (i, one) in ears.iter().enumerate() {
        for other in &ears[i + 1..] {
            match ear_geometry(line, one.ix, other.ix) {
                Ok(geometry) => {
                    let (upper, lower) = if geometry.upper == one.ix {
                        (one, other)
                    } else {
                        (other, one)
                    };
                    all.push(pair(line, geometry, upper, lower));
                }
                Err(EarGeometryError::SameDepth { .. }) => {}
                Err(error) => return Err(error),
            }
        }
    }
    Ok(all)
}

fn pair(line: &Line, geometry: EarGeometry, upper: &EarPaths, lower: &EarPaths) -> PairTold {
    let mut why: Vec<String> = [&geometry.unsaid_clocks, &geometry.unsaid_distance]
        .into_iter()
        .flatten()
        .cloned()
        .collect();
    let mut assumed = geometry.assumed.clone();
    let estimate_s = match estimate(line, geometry.upper).or_else(|| estimate(line, geometry.lower))
    {
        Some((estimate_s, sound)) => {
            assumed.push(sound);
            Some(estimate_s)
        }
        None => {
            why.push(
                "no detector on them says a band and a shortest sound, from which the time would be estimated"
                    .to_owned(),
            );
            None
        }
    };
    let first = |ear: &EarPaths| {
        let told = ear.rays.as_ref()?;
        let path = told.found.paths.first().copied()?;
        Some((path, told.range_m))
    };
    let (at_upper, at_lower) = (first(upper), first(lower));
    let mut same = false;
    let later_s = match (&at_upper, &at_lower) {
        (Some((a, _)), Some((b, _))) => {
            let way = |p: &Eigenray| {
                let family = p.family;
                (family.surface_bounces, family.bed_bounces, p.turnings)
            };
            same = way(a) == way(b);
            if !same {
                why.push(
                    "the first paths to both are different ways (bounces, turns): the time between them is not that of one front"
                        .to_owned(),
                );
            }
            Some(a.time_s - b.time_s)
        }
        _ => {
            why.push("one of them hears nothing".to_owned());
            None
        }
    };
    let range_m = at_upper.map(|(_, range_m)| range_m);
    let mut elevation = None;
    if let (true, Some(later_s), Some(clocks_s), Some(estimate_s)) =
        (same, later_s, geometry.clocks_s, estimate_s)
    {
        let time = TimeParts {
            clocks_s,
            estimate_s,
        };
        match geometry.elevation(later_s, time, range_m) {
            Ok(found) => {
                elevation = found;
                if found.is_some_and(|found| found.endfire) {
                    why.push("the limits reach the line through both hydrophones: there a pair tells least".to_owned());
                }
            }
            Err(error) => why.push(error.to_string()),
        }
    }
    PairTold {
        upper: upper.sensor.clone(),
        lower: lower.sensor.clone(),
        geometry,
        later_s,
        estimate_s,
        elevation,
        // Sound that moves down comes from above.
        upper_path_deg: at_upper.map(|(p, _)| p.arrival_deg),
        lower_path_deg: at_lower.map(|(p, _)| p.arrival_deg),
        why,
        assumed,
    }
}

/// Least uncertainty (k = 2) of a time that is estimated from the shortest sound of the first detector on a sensor that says a band and a
/// shortest, and which sound that is.
fn estimate(line: &Line, sensor: SensorIx) -> Option<(f64, String)> {
    let own = line.detectors.iter().filter(|d| d.on == sensor);
    own.into_iter().find_map(|detector| {
        let mut stages = detector.stages.iter();
        let (low_hz, high_hz) = stages.clone().find_map(|stage| match stage {
            Stage::Band {
                low_hz, high_hz, ..
            } => Some((low_hz.si, high_hz.si)),
            _ => None,
        })?;
        let shortest_s = stages.find_map(|stage| match stage {
            Stage::Trigger { shortest_s, .. } | Stage::Ridge { shortest_s, .. } => {
                Some(shortest_s.si).filter(|s| *s > 0.0)
            }
            _ => None,
        })?;
        let bound_s = time_difference_bound_s(SNR, (low_hz, high_hz), shortest_s).ok()?;
        Some((
            2.0 * bound_s,
            format!(
                "the time is estimated from a sound of {shortest_s} s in {low_hz} to {high_hz} Hz, {:.0} dB over the noise (the shortest of detector.{}), as well as it can be",
                10.0 * libm::log10(SNR),
                detector.id
            ),
        ))
    })
}
