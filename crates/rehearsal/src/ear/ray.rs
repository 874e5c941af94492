//! Rays from a source that moves to the ear.
//!
//! Paths are solved at knots along the track ([`seawater::Pair::eigenrays`]); between two knots a path of the same family has a
//! travel time by a cubic with the right slopes (`a dr/dt - sin t dz/dt / c` at the source) and a gain that is linear. Knots are put
//! closer until the middle of every gap agrees within a microsecond and an eighth of the gain, down to a metre of track or
//! [`MOST_HALVINGS`]. A path that ends between two knots (an edge of a shadow, a bounce or a level too many) fades over that gap.
//!
//! Phase: an odd number of half turns is a change of sign; what is left of the phase of bed and caustics, a quarter turn or less
//! at the first knot, is a delay at the frequency that stands for the sound: exact for a tone, near for a narrow band.

use std::collections::BTreeMap;
use std::f64::consts::PI;

use seawater::{Bed, Eigenray, Family, RayLimits, RaySea, SeaError};

use super::path::Refused;
use super::track::Track;
use super::way::{self, Medium};

/// Halvings of a gap that is short against the range.
const MOST_HALVINGS: u32 = 5;
const SHORTEST_M: f64 = 1.0;
/// A gap is short against the range when it is at most this share of it, and some metres.
const SHARE_OF_RANGE: f64 = 0.25;
const SHORT_M: f64 = 10.0;
const AGREES_S: f64 = 1e-6;
const AGREES_SHARE: f64 = 0.125;

/// One path at one place of the source, with what it does as the source moves.
#[derive(Clone, Copy, Debug)]
struct Here {
    travel_s: f64,
    /// Change of the travel time in a second.
    slope: f64,
    /// Half turns of the surface are in `gain`.
    phase_rad: f64,
    gain: f64,
}

/// All paths at one time.
#[derive(Clone, Debug)]
struct Knot {
    t_s: f64,
    paths: BTreeMap<Family, Here>,
}

/// One path between two knots.
#[derive(Clone, Copy, Debug)]
struct Piece {
    from_s: f64,
    until_s: f64,
    travel_s: [f64; 2],
    slope: [f64; 2],
    phase_rad: [f64; 2],
    gain: [f64; 2],
}

/// One path along a track.
#[derive(Clone, Debug)]
pub(crate) struct RayWay {
    pieces: Vec<Piece>,
    /// The source is at rest before the first piece, and the path is open.
    rests_before: bool,
    /// The same after the last.
    rests_after: bool,
    /// Half turns that are taken as a sign.
    half_turns: f64,
    /// Delay of a radian, s.
    radian_s: f64,
}

struct Solver<'a> {
    track: &'a Track,
    ear_depth_m: f64,
    sea: RaySea,
    limits: &'a RayLimits,
}

impl RayWay {
    /// Every path that is open somewhere along the track.
    pub(crate) fn all(
        track: &Track,
        ear_depth_m: f64,
        medium: &Medium<'_>,
        seabed_m: f64,
        bed: Bed,
        limits: &RayLimits,
    ) -> Result<Vec<Self>, Refused> {
        let hz = medium.representative_hz;
        let solver = Solver {
            track,
            ear_depth_m,
            sea: RaySea::new(medium.profile, seabed_m, bed, hz, medium.ph)?,
            limits,
        };
        let times_s = track.times_s();
        let mut gaps = Vec::new();
        for pair in times_s.windows(2) {
            let (from, until) = (
                solver.knot(pair[0], pair[0], pair[1])?,
                solver.knot(pair[1], pair[0], pair[1])?,
            );
            solver.refine(&from, &until, (pair[0], pair[1]), 0, &mut gaps)?;
        }
        if gaps.is_empty() {
            let only = solver.knot(times_s[0], times_s[0], times_s[0])?;
            gaps.push((only.clone(), only));
        }
        Ok(joined(&gaps, 0.5 / (PI * hz)))
    }

    pub(crate) fn travel_s(&self, emitted_s: f64) -> f64 {
        let piece = self.piece(emitted_s);
        let [first, last] = [self.pieces[0], self.pieces[self.pieces.len() - 1]];
        let turned = |phase_rad: f64| (phase_rad - self.half_turns * PI) * self.radian_s;
        if emitted_s <= first.from_s {
            let slope = if self.rests_before {
                0.0
            } else {
                first.slope[0]
            };
            return first.travel_s[0]
                + turned(first.phase_rad[0])
                + slope * (emitted_s - first.from_s);
        }
        if emitted_s >= last.until_s {
            let slope = if self.rests_after { 0.0 } else { last.slope[1] };
            return last.travel_s[1]
                + turned(last.phase_rad[1])
                + slope * (emitted_s - last.until_s);
        }
        let share = piece.share(emitted_s);
        let phase_rad = piece.phase_rad[0] + share * (piece.phase_rad[1] - piece.phase_rad[0]);
        piece.travel_s(share) + turned(phase_rad)
    }

    pub(crate) fn emitted_s(&self, heard_s: f64) -> f64 {
        way::emitted_s(heard_s, |t| self.travel_s(t))
    }

    pub(crate) fn gain(&self, emitted_s: f64) -> f64 {
        let [first, last] = [self.pieces[0], self.pieces[self.pieces.len() - 1]];
        let sign = if self.half_turns % 2.0 == 0.0 {
            1.0
        } else {
            -1.0
        };
        let gain = if emitted_s < first.from_s {
            if self.rests_before {
                first.gain[0]
            } else {
                0.0
            }
        } else if emitted_s > last.until_s {
            if self.rests_after { last.gain[1] } else { 0.0 }
        } else {
            let piece = self.piece(emitted_s);
            piece.gain[0] + piece.share(emitted_s) * (piece.gain[1] - piece.gain[0])
        };
        sign * gain
    }

    pub(crate) fn open(&self, from_s: f64, until_s: f64) -> Option<(f64, f64)> {
        let [first, last] = [self.pieces[0], self.pieces[self.pieces.len() - 1]];
        let from_s = if self.rests_before {
            from_s
        } else {
            from_s.max(first.from_s)
        };
        let until_s = if self.rests_after {
            until_s
        } else {
            until_s.min(last.until_s)
        };
        (from_s < until_s).then_some((from_s, until_s))
    }

    fn piece(&self, emitted_s: f64) -> &Piece {
        let at = self.pieces.partition_point(|p| p.until_s < emitted_s);
        &self.pieces[at.min(self.pieces.len() - 1)]
    }
}

impl Piece {
    fn share(&self, t_s: f64) -> f64 {
        if self.until_s > self.from_s {
            (t_s - self.from_s) / (self.until_s - self.from_s)
        } else {
            0.0
        }
    }

    /// Cubic with the values and slopes of both ends.
    fn travel_s(&self, share: f64) -> f64 {
        let wide_s = self.until_s - self.from_s;
        let rest = 1.0 - share;
        self.travel_s[0] * (1.0 + 2.0 * share) * rest * rest
            + self.travel_s[1] * share * share * (3.0 - 2.0 * share)
            + wide_s * share * rest * (self.slope[0] * rest - self.slope[1] * share)
    }

    fn between(from_s: f64, until_s: f64, a: &Here, b: &Here) -> Self {
        Self {
            from_s,
            until_s,
            travel_s: [a.travel_s, b.travel_s],
            slope: [a.slope, b.slope],
            phase_rad: [a.phase_rad, b.phase_rad],
            gain: [a.gain, b.gain],
        }
    }
}

impl Here {
    /// The path carried on by its slope to where it has faded.
    fn faded(&self, after_s: f64) -> Self {
        Self {
            travel_s: self.travel_s + self.slope * after_s,
            gain: 0.0,
            ..*self
        }
    }
}

impl Solver<'_> {
    /// The paths at a time, with the motion of the stretch of the track from `from_s` to `until_s`.
    fn knot(&self, t_s: f64, from_s: f64, until_s: f64) -> Result<Knot, SeaError> {
        let [x_m, y_m, depth_m] = self.track.at(t_s);
        let range_m = libm::hypot(x_m, y_m);
        let wide_s = until_s - from_s;
        let (away_m_s, sinking_m_s) = if wide_s > 0.0 {
            let (a, b) = (self.track.at(from_s), self.track.at(until_s));
            let v = [0, 1, 2].map(|i| (b[i] - a[i]) / wide_s);
            let away_m_s = if range_m > 0.0 {
                (x_m * v[0] + y_m * v[1]) / range_m
            } else {
                0.0
            };
            (away_m_s, v[2])
        } else {
            (0.0, 0.0)
        };
        let speed_m_s = self.sea.layers().speed_m_s(depth_m);
        let found = self
            .sea
            .between(depth_m, self.ear_depth_m)?
            .eigenrays(range_m, self.limits)?;
        let here = |p: &Eigenray| {
            let sine = libm::sin(p.launch_deg / 180.0 * PI);
            let half_turns = f64::from(p.family.surface_bounces);
            Here {
                travel_s: p.time_s,
                slope: p.slowness_s_m * away_m_s - sine / speed_m_s * sinking_m_s,
                phase_rad: p.phase_rad - half_turns * PI,
                gain: if p.family.surface_bounces.is_multiple_of(2) {
                    1.0
                } else {
                    -1.0
                } * libm::pow(10.0, -p.loss_db() / 20.0),
            }
        };
        Ok(Knot {
            t_s,
            paths: found.paths.iter().map(|p| (p.family, here(p))).collect(),
        })
    }

    /// Appends the gaps between two knots of one stretch, halved where the middle does not agree.
    fn refine(
        &self,
        from: &Knot,
        until: &Knot,
        stretch: (f64, f64),
        halvings: u32,
        gaps: &mut Vec<(Knot, Knot)>,
    ) -> Result<(), SeaError> {
        let middle_s = 0.5 * (from.t_s + until.t_s);
        let middle = self.knot(middle_s, stretch.0, stretch.1)?;
        let (a, b) = (self.track.at(from.t_s), self.track.at(until.t_s));
        let length_m = super::track::distance_m(a, b);
        let ear = [0.0, 0.0, self.ear_depth_m];
        let near_m = self.track.closest_m(ear, from.t_s, until.t_s);
        let long = length_m > SHARE_OF_RANGE * near_m + SHORT_M;
        let done = length_m <= SHORTEST_M
            || (!long && (halvings >= MOST_HALVINGS || agree(from, &middle, until)));
        if done {
            gaps.push((from.clone(), middle.clone()));
            gaps.push((middle, until.clone()));
            return Ok(());
        }
        let halvings = if long { halvings } else { halvings + 1 };
        self.refine(from, &middle, stretch, halvings, gaps)?;
        self.refine(&middle, until, stretch, halvings, gaps)
    }
}

/// Whether the middle of a gap holds the paths of both ends, at the times and gains that lie between them.
fn agree(from: &Knot, middle: &Knot, until: &Knot) -> bool {
    let same = |a: &Knot, b: &Knot| a.paths.keys().eq(b.paths.keys());
    if !(same(from, until) && same(from, middle)) {
        return false;
    }
    from.paths.iter().all(|(family, a)| {
        let (b, m) = (&until.paths[family], &middle.paths[family]);
        let piece = Piece::between(from.t_s, until.t_s, a, b);
        let gain = 0.5 * (a.gain + b.gain);
        (piece.travel_s(0.5) - m.travel_s).abs() <= AGREES_S
            && (gain - m.gain).abs() <= AGREES_SHARE * m.gain.abs()
    })
}

/// Strings the pieces of each family together.
fn joined(gaps: &[(Knot, Knot)], radian_s: f64) -> Vec<RayWay> {
    let mut open: BTreeMap<Family, RayWay> = BTreeMap::new();
    let mut closed = Vec::new();
    for (i, (from, until)) in gaps.iter().enumerate() {
        let mut pieces: BTreeMap<Family, (Piece, bool)> = BTreeMap::new();
        let wide_s = until.t_s - from.t_s;
        for (family, a) in &from.paths {
            let (b, goes_on) = match until.paths.get(family) {
                Some(b) => (*b, true),
                None => (a.faded(wide_s), false),
            };
            let piece = Piece::between(from.t_s, until.t_s, a, &b);
            pieces.insert(*family, (piece, goes_on));
        }
        for (family, b) in &until.paths {
            if !from.paths.contains_key(family) {
                let a = b.faded(-wide_s);
                let piece = Piece::between(from.t_s, until.t_s, &a, b);
                pieces.insert(*family, (piece, true));
            }
        }
        for (family, (mut piece, goes_on)) in pieces {
            let mut way = open.remove(&family).unwrap_or_else(|| RayWay {
                pieces: Vec::new(),
                rests_before: i == 0,
                rests_after: false,
                half_turns: (piece.phase_rad[0] / PI).round(),
                radian_s,
            });
            let before_rad = way
                .pieces
                .last()
                .map_or(piece.phase_rad[0], |p| p.phase_rad[1]);
            // A phase that passes half a turn goes on from where it was.
            let mut last_rad = before_rad;
            for phase_rad in &mut piece.phase_rad {
                let turns = ((*phase_rad - last_rad) / (2.0 * PI)).round();
                *phase_rad -= turns * 2.0 * PI;
                last_rad = *phase_rad;
            }
            way.pieces.push(piece);
            if goes_on {
                open.insert(family, way);
            } else {
                closed.push(way);
            }
        }
    }
    let rest = open.into_values().map(|way| RayWay {
        rests_after: true,
        ..way
    });
    closed.extend(rest);
    closed
}
