//! How sound comes from its source to a hydrophone.

use super::{Decibels, Q};

/// The ways that are counted.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Paths {
    /// The straight one, with the loss of a spreading law.
    Simple,
    /// The straight one and its image in the surface, each spreading spherically.
    SurfaceImage,
    /// Rays through the profile, off surface and bed.
    Rays,
}

/// The sea bed as sound meets it.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Bottom {
    /// A fluid half-space.
    Fluid {
        /// Its sound speed, m/s.
        sound_speed_m_s: Q,
        /// Its density, kg/m3.
        density_kg_m3: Q,
        /// What it takes from sound over one wavelength, dB.
        attenuation_per_wavelength: Decibels,
    },
    /// The same loss at every bounce.
    Loss {
        /// Loss of one bounce, dB.
        per_bounce: Decibels,
    },
}

/// Which rays are followed, as far as the plan says.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct RaysWanted {
    /// Bounces from the bed at the most.
    pub bottom_bounces: Option<u32>,
    /// How much fainter than the loudest a path may be, dB.
    pub faintest: Option<Decibels>,
    /// How many paths at the most.
    pub most: Option<u32>,
}
