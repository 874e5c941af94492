//! Two hydrophones of a line, one above the other: how far apart, in what water, what is uncertain about both, and the elevation that
//! a time between them gives.
//!
//! Every uncertainty is k = 2. Sound speed: [`FORMULA_M_S`] for the formula, and what the temperatures and salinities of the profile
//! are uncertain by, where the plan writes it: all temperatures higher (or lower) at once, then all salinities, the changes of the
//! harmonic mean between the two hydrophones added as independent. What the front of a near source is curved by, and what the water
//! between the two may bend ([`refracted_sines`]), are no spreads but bounds, and are added to the limits of all the rest, in this order.

use plan::{Line, ModuleIx, Position, Q, SensorIx, Water};
use quantity::Law;
use seawater::{EarDirection, Profile, ProfilePoint, SeaError, TwoEars, refracted_sines};

use crate::input::profile;

/// Uncertainty (k = 2) of the formulas of sound speed, m/s: above the worst difference from TEOS-10 that `docs/method/seawater.md` tells of
/// them (0.45 m/s, in deep water), and above twice the standard deviation of the measurements under the UNESCO equation, 0.19 m/s
/// (C.-T. Chen and F. J. Millero 1977, from memory).
pub const FORMULA_M_S: f64 = 0.5;
/// Where the water between two hydrophones may bend a sound by more, degrees, no elevation is told of a sound whose way is not known: the
/// same time may then come of different rays (ours).
pub const BENDS_MOST_DEG: f64 = 5.0;
/// More than the longest time is looked through, so that a peak at its end is told from one beyond (ours): a share and s.
const BEYOND_SHARE: f64 = 0.02;
const BEYOND_S: f64 = 0.0005;

/// Two hydrophones, one above the other.
#[derive(Clone, Debug)]
pub struct EarGeometry {
    /// The upper one.
    pub upper: SensorIx,
    /// The lower one.
    pub lower: SensorIx,
    /// Their distance with the line hanging straight, m.
    pub distance_m: f64,
    /// Its uncertainty, m; `None` where the plan does not say one.
    pub distance_uncertainty_m: Option<f64>,
    /// Mean sound speed between them, m/s.
    pub sound_speed_m_s: f64,
    /// Least and greatest sound speed between them, m/s.
    pub extreme_speeds_m_s: (f64, f64),
    /// Uncertainty of that by the profile as the plan writes it, m/s; `None` where it writes none.
    pub profile_m_s: Option<f64>,
    /// The longest time there can be between them, s.
    pub longest_s: f64,
    /// How far the clocks of their two modules may be apart, s: zero in one module, `None` where the plan does not say.
    pub clocks_s: Option<f64>,
    /// What the plan does not say of their distance.
    pub unsaid_distance: Option<String>,
    /// What it does not say of their clocks.
    pub unsaid_clocks: Option<String>,
    /// What is taken although nobody wrote it.
    pub assumed: Vec<String>,
}

/// Why two hydrophones are no such pair.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum EarGeometryError {
    /// The plan does not say how deep one of them is.
    #[error("the plan does not say how deep {0} hangs")]
    NoDepth(String),
    /// Both are at one depth.
    #[error(
        "{one} and {other} are at the same depth, {depth_m} m: the plan says nothing of their distance"
    )]
    SameDepth {
        /// One of them.
        one: String,
        /// The other.
        other: String,
        /// Their depth, m.
        depth_m: f64,
    },
    /// The water has no sound speed.
    #[error(transparent)]
    Sea(#[from] SeaError),
}

/// What the time between two hydrophones is uncertain by (k = 2), s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TimeParts {
    /// By their clocks.
    pub clocks_s: f64,
    /// By the estimate from the sound.
    pub estimate_s: f64,
}

impl TimeParts {
    /// Both together, as independent, s.
    #[must_use]
    pub fn whole_s(self) -> f64 {
        libm::hypot(self.clocks_s, self.estimate_s)
    }
}

/// An elevation with its limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Elevation {
    /// Degrees above the horizon, negative below: the mean of the angle's sine over the depths between the two.
    pub elevation_deg: f64,
    /// Least within the uncertainty at any depth between the two.
    pub least_deg: f64,
    /// Greatest within the uncertainty at any depth between the two.
    pub most_deg: f64,
    /// Whether the limits reach straight up or down.
    pub endfire: bool,
    /// What the sine of the elevation is uncertain by.
    pub parts: SineParts,
}

/// What the sine of an elevation is uncertain by (k = 2), part by part; they add as independent, but for the curvature of the front and
/// refraction: these are added to the limits of the others.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SineParts {
    /// By the clocks.
    pub clocks: f64,
    /// By the estimate of the time.
    pub estimate: f64,
    /// By the distance.
    pub distance: f64,
    /// By the formula of sound speed.
    pub formula: f64,
    /// By the profile; zero where the plan writes no uncertainty.
    pub profile: f64,
    /// By the curvature of the front; `None` where the range of the source is not known.
    pub front: Option<f64>,
    /// By refraction between the two: the most by which it moves a limit.
    pub refraction: f64,
}

/// The pair that two hydrophones make, in either order.
///
/// # Errors
/// [`EarGeometryError`].
pub fn ear_geometry(
    line: &Line,
    one: SensorIx,
    other: SensorIx,
) -> Result<EarGeometry, EarGeometryError> {
    let depth_m = |ix: SensorIx| {
        let depth_m = line.modules[ix.module.0].depth_m;
        if depth_m.is_finite() {
            Ok(depth_m)
        } else {
            Err(EarGeometryError::NoDepth(line.module_path(ix.module)))
        }
    };
    let (one_m, other_m) = (depth_m(one)?, depth_m(other)?);
    if one_m == other_m {
        return Err(EarGeometryError::SameDepth {
            one: line.sensor_path(one),
            other: line.sensor_path(other),
            depth_m: one_m,
        });
    }
    let (upper, lower) = if one_m < other_m {
        (one, other)
    } else {
        (other, one)
    };
    let (top_m, bottom_m) = (one_m.min(other_m), one_m.max(other_m));
    let water = profile(line)?;
    let sound_speed_m_s = water.harmonic_mean_sound_speed_m_s(top_m, bottom_m)?;
    let extreme_speeds_m_s = water.extreme_sound_speeds_m_s(top_m, bottom_m)?;
    let profile_m_s = profile_uncertainty_m_s(line, top_m, bottom_m, sound_speed_m_s)?;
    let mut assumed = vec![format!(
        "sound speed is uncertain by {FORMULA_M_S} m/s (k = 2) by its formula"
    )];
    if profile_m_s.is_none() {
        assumed.push(
            "the profile is exact: no ± stands at its temperatures and salinities".to_owned(),
        );
    }
    assumed.push("the line hangs straight down".to_owned());
    let distance_m = bottom_m - top_m;
    let (clocks_s, unsaid_clocks) = clocks(line, upper.module, lower.module);
    let position = |ix: SensorIx| spread_m(&line.modules[ix.module.0].position);
    let distance_uncertainty_m = both(position(upper), position(lower));
    Ok(EarGeometry {
        upper,
        lower,
        distance_m,
        distance_uncertainty_m,
        sound_speed_m_s,
        extreme_speeds_m_s,
        profile_m_s,
        longest_s: distance_m / sound_speed_m_s,
        clocks_s,
        unsaid_distance: distance_uncertainty_m
            .is_none()
            .then(|| "where they hang is written without a spread (± ...)".to_owned()),
        unsaid_clocks,
        assumed,
    })
}

impl EarGeometry {
    /// How far from a sound in one of them the same sound is looked for in the other, s, with clocks that may be so far apart.
    #[must_use]
    pub fn look_s(&self, clocks_s: f64) -> f64 {
        let far_m = self.distance_m + self.distance_uncertainty_m.unwrap_or(0.0);
        let slow_m_s = self.sound_speed_m_s - self.speed_uncertainty_m_s();
        (1.0 + BEYOND_SHARE) * far_m / slow_m_s + clocks_s + BEYOND_S
    }

    /// The longest time there can be between them, s, with all that is uncertain (k = 2) added as independent; a distance without an
    /// uncertainty counts with the share by which more is looked through. What is found farther out is a time of nothing.
    #[must_use]
    pub fn most_s(&self, time: TimeParts) -> f64 {
        let of_distance = self
            .distance_uncertainty_m
            .map_or(BEYOND_SHARE, |m| m / self.distance_m);
        let share = libm::hypot(
            of_distance,
            self.speed_uncertainty_m_s() / self.sound_speed_m_s,
        );
        self.longest_s + libm::hypot(self.longest_s * share, time.whole_s())
    }

    /// Uncertainty of the sound speed, m/s.
    #[must_use]
    pub fn speed_uncertainty_m_s(&self) -> f64 {
        libm::hypot(FORMULA_M_S, self.profile_m_s.unwrap_or(0.0))
    }

    /// By how much the water between them may bend a sound that comes from the horizon, degrees.
    #[must_use]
    pub fn bends_deg(&self) -> f64 {
        let (slowest_m_s, fastest_m_s) = self.extreme_speeds_m_s;
        libm::acos(slowest_m_s / fastest_m_s).to_degrees()
    }

    /// What is taken of a source whose range is not known.
    #[must_use]
    pub fn far(&self) -> String {
        let off_deg = |times: f64| libm::asin(0.5 / times).to_degrees();
        format!(
            "the source is far off, and the same rays reach both: from {:.0} m a sound comes to either by up to {:.1}\u{b0} beyond the limits, from {:.0} m by {:.1}\u{b0}",
            10.0 * self.distance_m,
            off_deg(10.0),
            100.0 * self.distance_m,
            off_deg(100.0)
        )
    }

    /// The elevation of a sound that the upper one hears `later_s` after the lower one (negative: before), from a source at `range_m`
    /// (horizontal), by the same rays to both. Without a range the front is taken as straight. Its curvature (first order): over half their distance the
    /// angle changes by that distance across the ray over the range, the sine by no more than half the distance times one less its square over the range.
    ///
    /// # Errors
    /// [`SeaError`], also for a time longer than sound needs from one to the other; `None` in place of an elevation where the plan says
    /// no uncertainty of their distance.
    pub fn elevation(
        &self,
        later_s: f64,
        time: TimeParts,
        range_m: Option<f64>,
    ) -> Result<Option<Elevation>, SeaError> {
        let Some(distance_uncertainty_m) = self.distance_uncertainty_m else {
            return Ok(None);
        };
        let ears = TwoEars {
            distance_m: self.distance_m,
            sound_speed_m_s: self.sound_speed_m_s,
            time_uncertainty_s: time.whole_s(),
            distance_uncertainty_m,
            speed_uncertainty_m_s: self.speed_uncertainty_m_s(),
        };
        let direction = ears.direction(later_s)?;
        let sine = (later_s / self.longest_s).abs();
        let speed = |m_s: f64| sine * m_s / self.sound_speed_m_s;
        let (slowest_m_s, fastest_m_s) = self.extreme_speeds_m_s;
        let flat = (1.0 - sine * sine).max(0.0);
        let front = range_m.map(|range_m| 0.5 * self.distance_m * flat / range_m);
        let straight = sines(&direction);
        let curved = (
            (straight.0 - front.unwrap_or(0.0)).max(-1.0),
            (straight.1 + front.unwrap_or(0.0)).min(1.0),
        );
        let bent = refracted_sines(curved, slowest_m_s, fastest_m_s)?;
        Ok(Some(Elevation {
            elevation_deg: direction.angle_deg - 90.0,
            least_deg: libm::asin(bent.0).to_degrees(),
            most_deg: libm::asin(bent.1).to_degrees(),
            endfire: direction.endfire,
            parts: SineParts {
                clocks: time.clocks_s / self.longest_s,
                estimate: time.estimate_s / self.longest_s,
                distance: direction.from_distance,
                formula: speed(FORMULA_M_S),
                profile: speed(self.profile_m_s.unwrap_or(0.0)),
                front,
                refraction: (bent.1 - curved.1).max(curved.0 - bent.0),
            },
        }))
    }
}

/// Sines of the limits above the horizon: the angle of a vertical pair is 0 straight down, from the upper to the lower.
fn sines(direction: &EarDirection) -> (f64, f64) {
    let sine = |angle_deg: f64| -libm::cos(angle_deg.to_radians());
    (sine(direction.least_deg), sine(direction.most_deg))
}

fn clocks(line: &Line, upper: ModuleIx, lower: ModuleIx) -> (Option<f64>, Option<String>) {
    if upper == lower {
        return (Some(0.0), None);
    }
    let clock_s = |ix: ModuleIx| line.modules[ix.0].clock_error_s.map(|q| q.si);
    let silent: Vec<String> = [upper, lower]
        .into_iter()
        .filter(|ix| clock_s(*ix).is_none())
        .map(|ix| line.module_path(ix))
        .collect();
    let unsaid =
        (!silent.is_empty()).then(|| format!("no `clock_error` is written: {}", silent.join(", ")));
    (both(clock_s(upper), clock_s(lower)), unsaid)
}

fn both(one: Option<f64>, other: Option<f64>) -> Option<f64> {
    Some(libm::hypot(one?, other?))
}

/// Uncertainty (k = 2) of a place, where its length or depth is written with one.
fn spread_m(position: &Position) -> Option<f64> {
    uncertainty(match position {
        Position::FromTop { length_m, .. } | Position::FromAnchor { length_m, .. } => length_m,
        Position::Depth(depth_m) => depth_m,
    })
}

/// Uncertainty (k = 2) of a quantity that is written with one.
fn uncertainty(q: &Q) -> Option<f64> {
    q.law.map(|law| match law {
        Law::Normal { half_width } => half_width,
        // The standard deviation of equally likely values is the half width over the root of three.
        Law::Uniform { half_width } => half_width * 2.0 / libm::sqrt(3.0),
    })
}

/// Uncertainty of a temperature, degC, and of a salinity, where it counts.
type Spread = fn(&Water) -> (Option<f64>, Option<f64>);

/// What the mean speed between two depths is uncertain by, by the profile as it is written.
fn profile_uncertainty_m_s(
    line: &Line,
    top_m: f64,
    bottom_m: f64,
    mean_m_s: f64,
) -> Result<Option<f64>, SeaError> {
    let each: [Spread; 2] = [
        |water| (uncertainty(&water.temperature_degc), None),
        |water| (None, uncertainty(&water.salinity)),
    ];
    let mut told = None;
    for of in each {
        if line
            .sea
            .profile
            .iter()
            .all(|water| of(water) == (None, None))
        {
            continue;
        }
        let changed = |sign: f64| -> Result<f64, SeaError> {
            let points: Vec<ProfilePoint> = line
                .sea
                .profile
                .iter()
                .map(|water| {
                    let (temperature, salinity) = of(water);
                    ProfilePoint {
                        depth_m: water.depth_m.si,
                        temperature_degc: water.temperature_degc.si
                            + sign * temperature.unwrap_or(0.0),
                        salinity: water.salinity.si + sign * salinity.unwrap_or(0.0),
                    }
                })
                .collect();
            Profile::new(&points)?.harmonic_mean_sound_speed_m_s(top_m, bottom_m)
        };
        // At the edge of what the formulas hold for, the other way.
        let change_m_s = changed(1.0).or_else(|_| changed(-1.0))? - mean_m_s;
        told = Some(libm::hypot(told.unwrap_or(0.0), change_m_s));
    }
    Ok(told)
}
