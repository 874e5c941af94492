//! Where a source is at a time after its sound's beginning.
//!
//! Coordinates: x east, y north, z down, in m, from the line's place at the surface; `x = range sin(bearing)`,
//! `y = range cos(bearing)`. Straight lines between the points, at rest before the first and after the last.

use plan::TrackPoint;

use super::error::EarError;

/// A track.
#[derive(Clone, Debug)]
pub(crate) struct Track {
    /// Seconds since the first beginning of the sound, and place.
    points: Vec<(f64, [f64; 3])>,
}

impl Track {
    pub(crate) fn new(sound: &str, points: &[TrackPoint]) -> Result<Self, EarError> {
        let missing = |point| EarError::Track {
            sound: sound.to_owned(),
            point,
        };
        if points.is_empty() {
            return Err(missing(0));
        }
        let mut placed: Vec<(f64, [f64; 3])> = Vec::with_capacity(points.len());
        for (i, p) in points.iter().enumerate() {
            let (after_s, range_m, depth_m) = (p.after_s.si, p.range_m.si, p.depth_m.si);
            for (what, value, unit) in [
                ("track time", after_s, "s"),
                ("range", range_m, "m"),
                ("bearing", p.bearing_deg.si, "deg"),
                ("depth", depth_m, "m"),
            ] {
                if !value.is_finite() {
                    return Err(EarError::Value {
                        sound: sound.to_owned(),
                        what,
                        value,
                        unit,
                        expected: "a finite number",
                    });
                }
            }
            let place = p.place_m();
            if let Some(&(before_s, before)) = placed.last() {
                if after_s <= before_s {
                    return Err(missing(i));
                }
                let speed_m_s = distance_m(place, before) / (after_s - before_s);
                if speed_m_s > TrackPoint::FASTEST_M_S {
                    return Err(EarError::TooFast {
                        sound: sound.to_owned(),
                        speed_m_s,
                        limit_m_s: TrackPoint::FASTEST_M_S,
                    });
                }
            }
            placed.push((after_s, place));
        }
        Ok(Self { points: placed })
    }

    /// Times of its points, s.
    pub(crate) fn times_s(&self) -> Vec<f64> {
        self.points.iter().map(|p| p.0).collect()
    }

    /// Place at a time.
    pub(crate) fn at(&self, t_s: f64) -> [f64; 3] {
        let after = self.points.partition_point(|p| p.0 <= t_s);
        if after == 0 {
            return self.points[0].1;
        }
        let (from_s, from) = self.points[after - 1];
        match self.points.get(after) {
            None => from,
            Some(&(to_s, to)) => {
                let share = (t_s - from_s) / (to_s - from_s);
                [0, 1, 2].map(|i| from[i] + share * (to[i] - from[i]))
            }
        }
    }

    /// Least distance to a place between two times.
    pub(crate) fn closest_m(&self, to: [f64; 3], from_s: f64, until_s: f64) -> f64 {
        let mut knots = vec![from_s];
        knots.extend(
            self.points
                .iter()
                .map(|p| p.0)
                .filter(|t| (from_s..until_s).contains(t)),
        );
        knots.push(until_s);
        knots
            .windows(2)
            .map(|w| closest_on_line_m(self.at(w[0]), self.at(w[1]), to))
            .fold(f64::INFINITY, f64::min)
    }

    /// Highest speed, highest speed up or down (m/s), and largest distance to a place (m).
    pub(crate) fn extremes(&self, to: [f64; 3]) -> (f64, f64, f64) {
        let farthest_m = self.points.iter().map(|p| distance_m(p.1, to));
        let farthest_m = farthest_m.fold(0.0, f64::max);
        self.points.windows(2).fold(
            (0.0_f64, 0.0_f64, farthest_m),
            |(speed, sinking, far), w| {
                let time_s = w[1].0 - w[0].0;
                (
                    speed.max(distance_m(w[0].1, w[1].1) / time_s),
                    sinking.max((w[1].1[2] - w[0].1[2]).abs() / time_s),
                    far,
                )
            },
        )
    }

    /// Shallowest and deepest depth, m.
    pub(crate) fn depths_m(&self) -> (f64, f64) {
        self.points
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), p| {
                (a.min(p.1[2]), b.max(p.1[2]))
            })
    }
}

pub(crate) fn distance_m(a: [f64; 3], b: [f64; 3]) -> f64 {
    let d = [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
    (d[0] * d[0] + d[1] * d[1] + d[2] * d[2]).sqrt()
}

fn closest_on_line_m(from: [f64; 3], to: [f64; 3], point: [f64; 3]) -> f64 {
    let along = [0, 1, 2].map(|i| to[i] - from[i]);
    let length2 = along.iter().map(|a| a * a).sum::<f64>();
    if length2 == 0.0 {
        return distance_m(from, point);
    }
    let share = (0..3).map(|i| (point[i] - from[i]) * along[i]).sum::<f64>() / length2;
    let share = share.clamp(0.0, 1.0);
    distance_m([0, 1, 2].map(|i| from[i] + share * along[i]), point)
}
