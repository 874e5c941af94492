//! What two hydrophones of a line make of the time between the first paths to each.

use plan::{Line, Position, Q};
use quantity::Law;
use seawater::{EarDirection, TwoEars};

use crate::sound_paths::EarPaths;

/// Two hydrophones.
#[derive(Clone, Debug)]
pub struct PairTold {
    /// The upper: its typed path.
    pub upper: String,
    /// The lower.
    pub lower: String,
    /// Their distance, m.
    pub distance_m: f64,
    /// Mean sound speed between them, m/s.
    pub sound_speed_m_s: f64,
    /// The longest time there can be between them, s.
    pub longest_s: f64,
    /// By how much the upper hears the first path later than the lower, s; `None` where one of them hears nothing.
    pub later_s: Option<f64>,
    /// Of which uncertain: by the clocks, k = 2, s; `None` where the plan does not say.
    pub clock_s: Option<f64>,
    /// Uncertainty of their distance, k = 2, m; `None` where the plan does not say.
    pub place_m: Option<f64>,
    /// The elevation that the time gives, degrees above the horizon, and its limits; `None` where it cannot be told.
    pub elevation: Option<Elevation>,
    /// The elevation of the first path at the upper hydrophone, degrees above the horizon.
    pub upper_path_deg: Option<f64>,
    /// The same at the lower: of a source far off both are alike, and what the pair gives lies between.
    pub lower_path_deg: Option<f64>,
    /// Why there is no elevation, or what bounds it.
    pub why: Vec<String>,
}

/// An elevation with its limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Elevation {
    /// Degrees above the horizon: negative below.
    pub elevation_deg: f64,
    /// Least within the uncertainty.
    pub least_deg: f64,
    /// Greatest within the uncertainty.
    pub most_deg: f64,
    /// Whether the limits reach straight up or down.
    pub endfire: bool,
}

/// Every two hydrophones at different depths.
pub(crate) fn pairs(line: &Line, ears: &[EarPaths], speeds: &[(f64, f64)]) -> Vec<PairTold> {
    let mut all = Vec::new();
    for (i, one) in ears.iter().enumerate() {
        for other in &ears[i + 1..] {
            let (upper, lower) = if one.depth_m <= other.depth_m {
                (one, other)
            } else {
                (other, one)
            };
            if lower.depth_m > upper.depth_m {
                all.push(pair(line, upper, lower, speeds));
            }
        }
    }
    all
}

fn pair(line: &Line, upper: &EarPaths, lower: &EarPaths, speeds: &[(f64, f64)]) -> PairTold {
    let module = |ear: &EarPaths| {
        line.modules
            .iter()
            .find(|m| ear.sensor.starts_with(&format!("module.{}.", m.id)))
            .expect("the sensor is one of the line's")
    };
    let (above, below) = (module(upper), module(lower));
    let mut why = Vec::new();
    let clock_s = if above.id == below.id {
        Some(0.0)
    } else {
        let silent = [above, below]
            .into_iter()
            .filter(|m| m.clock_error_s.is_none());
        let silent: Vec<String> = silent.map(|m| format!("module.{}", m.id)).collect();
        if !silent.is_empty() {
            why.push(format!(
                "no `clock_error` is written: {}",
                silent.join(", ")
            ));
        }
        both(
            above.clock_error_s.map(|q| q.si),
            below.clock_error_s.map(|q| q.si),
        )
    };
    let place_m = both(spread_m(&above.position), spread_m(&below.position));
    if place_m.is_none() {
        why.push("where they hang is written without a spread (± ...)".to_owned());
    }
    let distance_m = lower.depth_m - upper.depth_m;
    let sound_speed_m_s = mean_speed_m_s(speeds, upper.depth_m, lower.depth_m);
    let first = |ear: &EarPaths| {
        ear.rays
            .as_ref()
            .and_then(|told| told.found.paths.first().copied())
    };
    let (at_upper, at_lower) = (first(upper), first(lower));
    let later_s = match (at_upper, at_lower) {
        (Some(a), Some(b)) => Some(a.time_s - b.time_s),
        _ => {
            why.push("one of them hears nothing".to_owned());
            None
        }
    };
    let ears = TwoEars {
        distance_m,
        sound_speed_m_s,
        time_uncertainty_s: clock_s.unwrap_or(0.0),
        distance_uncertainty_m: place_m.unwrap_or(0.0),
        speed_uncertainty_m_s: 0.0,
    };
    let mut elevation = None;
    if let (Some(later_s), Some(_), Some(_)) = (later_s, clock_s, place_m) {
        match ears.direction(later_s) {
            Ok(direction) => {
                elevation = Some(above_horizon(&direction));
                if direction.endfire {
                    why.push("the limits reach the line through both hydrophones: there a pair tells least".to_owned());
                }
            }
            Err(error) => why.push(error.to_string()),
        }
    }
    PairTold {
        upper: upper.sensor.clone(),
        lower: lower.sensor.clone(),
        distance_m,
        sound_speed_m_s,
        longest_s: distance_m / sound_speed_m_s,
        later_s,
        clock_s,
        place_m,
        elevation,
        // Sound that moves down comes from above.
        upper_path_deg: at_upper.map(|p| p.arrival_deg),
        lower_path_deg: at_lower.map(|p| p.arrival_deg),
        why,
    }
}

/// The direction of a vertical pair: angle 0 lies straight down, from the upper to the lower.
fn above_horizon(direction: &EarDirection) -> Elevation {
    Elevation {
        elevation_deg: direction.angle_deg - 90.0,
        least_deg: direction.least_deg - 90.0,
        most_deg: direction.most_deg - 90.0,
        endfire: direction.endfire,
    }
}

fn both(one: Option<f64>, other: Option<f64>) -> Option<f64> {
    Some(libm::hypot(one?, other?))
}

/// Uncertainty (k = 2) of a place, where its length or depth is written with one.
fn spread_m(position: &Position) -> Option<f64> {
    let q: &Q = match position {
        Position::FromTop { length_m, .. } | Position::FromAnchor { length_m, .. } => length_m,
        Position::Depth(depth_m) => depth_m,
    };
    q.law.map(|law| match law {
        Law::Normal { half_width } => half_width,
        // The standard deviation of equally likely values is the half width over the root of three.
        Law::Uniform { half_width } => half_width * 2.0 / libm::sqrt(3.0),
    })
}

/// Distance over travel time straight down.
fn mean_speed_m_s(speeds: &[(f64, f64)], top_m: f64, bottom_m: f64) -> f64 {
    let mut time_s = 0.0;
    for pair in speeds.windows(2) {
        let ((z0, c0), (z1, c1)) = (pair[0], pair[1]);
        let (from_m, until_m) = (z0.max(top_m), z1.min(bottom_m));
        if until_m > from_m {
            let speed = |z: f64| c0 + (z - z0) / (z1 - z0) * (c1 - c0);
            // Speed is straight within a layer, so the middle is near the mean: a hundredth of a percent over any layer.
            time_s += (until_m - from_m) / speed(0.5 * (from_m + until_m));
        }
    }
    (bottom_m - top_m) / time_s
}
