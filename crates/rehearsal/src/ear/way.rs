//! The ways from a sound to an ear: the straight one, its image in the surface, or rays.

use seawater::{Bed, Profile, RayLimits, SeaError, Spreading};

use super::path::{Path, Refused};
use super::ray::RayWay;
use super::track::Track;

/// Which ways sound takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Ways {
    /// The straight one.
    Simple {
        /// How sound spreads along it.
        spreading: Spreading,
    },
    /// The straight one and its image in the surface, turned in phase, each spreading spherically.
    SurfaceImage,
    /// Rays through the profile, off surface and bed.
    Rays {
        /// Depth of the bed, m.
        seabed_m: f64,
        /// What the bed does to sound.
        bed: Bed,
        /// Which rays are followed.
        limits: RayLimits,
    },
}

/// The sea as the ways from one sound need it.
pub(crate) struct Medium<'a> {
    pub(crate) profile: &'a Profile,
    pub(crate) ways: Ways,
    pub(crate) ph: f64,
    pub(crate) representative_hz: f64,
}

/// One way.
#[derive(Clone, Debug)]
pub(crate) enum Way {
    Straight(Path),
    Ray(RayWay),
}

impl Way {
    /// Every way along a track; the earliest of a source at rest does not need to come first.
    pub(crate) fn all(
        track: &Track,
        ear_depth_m: f64,
        medium: &Medium<'_>,
    ) -> Result<Vec<Self>, Refused> {
        let straight = |spreading, image| {
            Path::new(
                track,
                ear_depth_m,
                medium.profile,
                spreading,
                medium.ph,
                medium.representative_hz,
                image,
            )
            .map(Self::Straight)
        };
        match medium.ways {
            Ways::Simple { spreading } => Ok(vec![straight(spreading, false)?]),
            Ways::SurfaceImage => Ok(vec![
                straight(Spreading::Spherical, false)?,
                straight(Spreading::Spherical, true)?,
            ]),
            Ways::Rays {
                seabed_m,
                bed,
                limits,
            } => Ok(
                RayWay::all(track, ear_depth_m, medium, seabed_m, bed, &limits)?
                    .into_iter()
                    .map(Self::Ray)
                    .collect(),
            ),
        }
    }

    /// Travel time of what is emitted at `emitted_s`, s.
    pub(crate) fn travel_s(&self, emitted_s: f64) -> f64 {
        match self {
            Self::Straight(path) => path.travel_s(emitted_s),
            Self::Ray(ray) => ray.travel_s(emitted_s),
        }
    }

    /// When was emitted what is heard at `heard_s`, both since the sound's beginning.
    pub(crate) fn emitted_s(&self, heard_s: f64) -> f64 {
        match self {
            Self::Straight(path) => path.emitted_s(heard_s),
            Self::Ray(ray) => ray.emitted_s(heard_s),
        }
    }

    /// Factor on the pressure of what is emitted at `emitted_s`; negative where the way turns it round.
    pub(crate) fn gain(&self, emitted_s: f64) -> Result<f64, SeaError> {
        match self {
            Self::Straight(path) => path.gain(emitted_s),
            Self::Ray(ray) => Ok(ray.gain(emitted_s)),
        }
    }

    /// The part of a time of emission in which the way is open.
    pub(crate) fn open(&self, from_s: f64, until_s: f64) -> Option<(f64, f64)> {
        match self {
            Self::Straight(_) => Some((from_s, until_s)),
            Self::Ray(ray) => ray.open(from_s, until_s),
        }
    }
}

/// Transmission loss of all ways together at a time of emission, dB re 1 m: their powers add. Infinite where none is open.
pub(crate) fn loss_db(ways: &[Way], emitted_s: f64) -> Result<f64, SeaError> {
    if let [Way::Straight(path)] = ways {
        return path.loss_db(emitted_s);
    }
    let mut power = 0.0;
    for way in ways {
        let gain = way.gain(emitted_s)?;
        power += gain * gain;
    }
    Ok(-10.0 * libm::log10(power))
}

/// The time of emission of what is heard at `heard_s`, by fixed-point steps.
pub(crate) fn emitted_s(heard_s: f64, travel_s: impl Fn(f64) -> f64) -> f64 {
    /// A tenth of a nanosecond: 6e-5 rad at 100 kHz, and above the rounding of times up to some days.
    const SOLVED_S: f64 = 1e-10;
    const MOST_STEPS: u32 = 60;
    let mut emitted_s = heard_s - travel_s(heard_s);
    for _ in 0..MOST_STEPS {
        let next_s = heard_s - travel_s(emitted_s);
        let moved_s = (next_s - emitted_s).abs();
        emitted_s = next_s;
        if moved_s <= SOLVED_S {
            break;
        }
    }
    emitted_s
}
