//! For how much of a tide a rope's strum lies in a band that a detector listens to.
//!
//! Vortices leave at `St U / d` (see `strum.rs`), with lift at that and drag at twice that, so a band from `f1` to `f2` is touched at speeds from `f1 d / St` to
//! `f2 d / St`, and from half to half of these. A tide that runs to and fro along one line is `U = U0 + A cos(theta)`: the share of a cycle with `U` below `u` is
//! `1 - acos((u - U0)/A) / pi`. Over a fortnight two constituents beat, `U = U0 + A1 cos(theta1) + A2 cos(theta2)`, of which springs are `A1 + A2` and neaps `A1 - A2`; as their periods
//! have no common measure, all pairs of phases are alike in the long run (Weyl), and the share is the mean over `theta2` of that of one cycle. (Elementary; derived here.)
//!
//! Speeds at which the Reynolds number lies outside [`CRITICAL_REYNOLDS`] say nothing: their share is told apart, and of it what the band may hold (below it the Strouhal number is no larger, above it no smaller; from memory). A current that turns through all directions
//! (a tidal ellipse) never slackens; hand in its larger axis, and the share is that of a straight one.
//!
//! Validity: a rope across the flow, without fairing; whether it takes the vortices up (a mode near enough) is not asked. Accuracy: 1e-5 of the time over a fortnight.

use core::f64::consts::PI;

use crate::error::{MooringError, finite, not_negative, positive};
use crate::strum::{CRITICAL_REYNOLDS, STROUHAL};

/// Period of the principal lunar tide, h (from memory, the Doodson number's speed of 28.984 104 degrees an hour).
pub const LUNAR_TIDE_H: f64 = 12.420_601;
/// Phases of the second constituent over which a mean is taken.
const PHASES: u32 = 4096;

/// A current that runs to and fro, and one that is steady along with it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TideSpeeds {
    /// Largest speed at springs, m/s; not negative.
    pub spring_m_s: f64,
    /// Largest speed at neaps, m/s; not negative, no more than at springs.
    pub neap_m_s: f64,
    /// Steady current along the same line, m/s.
    pub steady_m_s: f64,
}

/// A rope in water, and the band of a detector beside it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Strummed {
    /// Diameter, m; above zero.
    pub diameter_m: f64,
    /// Kinematic viscosity of the water, m2/s; above zero.
    pub viscosity_m2_s: f64,
    /// Lower end of the band, Hz; not negative.
    pub low_hz: f64,
    /// Its upper end, Hz.
    pub high_hz: f64,
}

impl Strummed {
    /// Speeds between which the Strouhal number is known, m/s.
    fn known_m_s(&self) -> (f64, f64) {
        let speed = |reynolds: f64| reynolds * self.viscosity_m2_s / self.diameter_m;
        (speed(CRITICAL_REYNOLDS.0), speed(CRITICAL_REYNOLDS.1))
    }

    /// Ranges of speed across the rope, m/s, in which the frequency of its vortices, and twice that, lie in the band, as far as the Strouhal number is known there. A range that ends
    /// below its beginning is empty.
    #[must_use]
    pub fn loud_m_s(&self) -> [(f64, f64); 2] {
        let (least, most) = self.known_m_s();
        [1.0, 2.0].map(|times| {
            let speed = |hz: f64| hz / times * self.diameter_m / STROUHAL;
            (speed(self.low_hz).max(least), speed(self.high_hz).min(most))
        })
    }
}

/// Shares of time, 0 to 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StrumShares {
    /// With the frequency of the vortices in the band.
    pub vortices: f64,
    /// With twice that in the band.
    pub doubled: f64,
    /// With either.
    pub either: f64,
    /// At Reynolds numbers of which the Strouhal number is not known: in none of the others.
    pub unsaid: f64,
    /// Of that, what may lie in the band: where it is slow the frequencies stay below those of the slowest known speed, where it is fast above those of the fastest.
    pub open: f64,
}

impl StrumShares {
    /// Hours of a lunar tide with either in the band.
    #[must_use]
    pub fn hours_a_tide(&self) -> f64 {
        self.either * LUNAR_TIDE_H
    }

    /// Hours of a lunar tide in which nothing known says whether either is in the band.
    #[must_use]
    pub fn open_hours_a_tide(&self) -> f64 {
        self.open * LUNAR_TIDE_H
    }
}

/// Shares of a tide whose largest speed is `largest_m_s`, beside a steady current along the same line, m/s.
///
/// # Errors
/// A figure out of its range, a band that holds nothing.
pub fn strum_in_a_tide(
    rope: &Strummed,
    largest_m_s: f64,
    steady_m_s: f64,
) -> Result<StrumShares, MooringError> {
    not_negative("the largest speed of a tide, m/s", largest_m_s)?;
    finite("a steady current, m/s", steady_m_s)?;
    let spans = Spans::of(rope)?;
    Ok(spans.shares(|low, high| cycle_share(low, high, largest_m_s, steady_m_s)))
}

/// Shares of a fortnight from springs over neaps to springs.
///
/// # Errors
/// A figure out of its range, a band that holds nothing.
pub fn strum_in_a_fortnight(
    rope: &Strummed,
    tide: &TideSpeeds,
) -> Result<StrumShares, MooringError> {
    not_negative("the largest speed at springs, m/s", tide.spring_m_s)?;
    not_negative("the largest speed at neaps, m/s", tide.neap_m_s)?;
    finite("a steady current, m/s", tide.steady_m_s)?;
    if tide.neap_m_s > tide.spring_m_s {
        return Err(MooringError::Negative {
            what: "the speed at springs above that at neaps, m/s",
            value: tide.spring_m_s - tide.neap_m_s,
        });
    }
    let spans = Spans::of(rope)?;
    let first_m_s = 0.5 * (tide.spring_m_s + tide.neap_m_s);
    let second_m_s = 0.5 * (tide.spring_m_s - tide.neap_m_s);
    Ok(spans.shares(|low, high| {
        let at = |phase: u32| {
            let theta = PI * (f64::from(phase) + 0.5) / f64::from(PHASES);
            let beside_m_s = tide.steady_m_s + second_m_s * libm::cos(theta);
            cycle_share(low, high, first_m_s, beside_m_s)
        };
        (0..PHASES).map(at).sum::<f64>() / f64::from(PHASES)
    }))
}

/// Share of a cycle in which the speed, whichever way it runs, lies from `low` to `high`.
fn cycle_share(low: f64, high: f64, amplitude: f64, steady: f64) -> f64 {
    if high <= low {
        return 0.0;
    }
    if amplitude == 0.0 {
        let speed = steady.abs();
        return if speed >= low && speed < high {
            1.0
        } else {
            0.0
        };
    }
    let below = |speed: f64| 1.0 - libm::acos(((speed - steady) / amplitude).clamp(-1.0, 1.0)) / PI;
    (below(high) - below(low)) + (below(-low) - below(-high))
}

/// Ranges of speed, m/s.
struct Spans {
    vortices: (f64, f64),
    doubled: (f64, f64),
    known: (f64, f64),
    /// Whether slower and faster water may put something into the band.
    open: (bool, bool),
}

impl Spans {
    fn of(rope: &Strummed) -> Result<Spans, MooringError> {
        positive("the diameter of a rope, m", rope.diameter_m)?;
        positive("the viscosity of the water, m2/s", rope.viscosity_m2_s)?;
        let (low_hz, high_hz) = (rope.low_hz, rope.high_hz);
        if !(low_hz >= 0.0 && high_hz > low_hz && high_hz.is_finite()) {
            return Err(MooringError::Band { low_hz, high_hz });
        }
        let known = rope.known_m_s();
        let [vortices, doubled] = rope.loud_m_s();
        Ok(Spans {
            vortices,
            doubled,
            known,
            open: (
                low_hz < 2.0 * STROUHAL * known.0 / rope.diameter_m,
                high_hz > STROUHAL * known.1 / rope.diameter_m,
            ),
        })
    }

    fn shares(&self, share: impl Fn(f64, f64) -> f64) -> StrumShares {
        let of = |span: (f64, f64)| share(span.0, span.1);
        let both = (
            self.vortices.0.max(self.doubled.0),
            self.vortices.1.min(self.doubled.1),
        );
        let (vortices, doubled) = (of(self.vortices), of(self.doubled));
        let unsaid = 1.0 - of(self.known);
        let slow = of((0.0, self.known.0));
        let open = match self.open {
            (true, true) => unsaid,
            (true, false) => slow,
            (false, true) => (unsaid - slow).max(0.0),
            (false, false) => 0.0,
        };
        StrumShares {
            vortices,
            doubled,
            either: vortices + doubled - of(both),
            unsaid,
            open,
        }
    }
}
