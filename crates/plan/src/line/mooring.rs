//! Anchors, sections and where modules hang on them.

use super::{ModuleIx, Q, SectionIx};
use crate::site::Site;

/// A weight on the seabed.
#[derive(Clone, Debug)]
pub struct Anchor {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// Weight in water, N.
    pub weight_in_water_n: Option<Q>,
    /// Horizontal holding, N.
    pub holding_n: Option<Q>,
}

/// An end of a section.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum SectionEnd {
    /// A module.
    Module(ModuleIx),
    /// Index into [`Line::anchors`].
    Anchor(usize),
}

/// A mechanical length: rope, chain or cable under tension.
#[derive(Clone, Debug)]
pub struct Section {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// Upper end.
    pub from: SectionEnd,
    /// Lower end.
    pub to: SectionEnd,
    /// Length, m.
    pub length_m: Q,
    /// What it is made of.
    pub rope: Option<Rope>,
}

/// The mechanical properties of a section.
#[derive(Clone, Debug)]
pub struct Rope {
    /// Diameter, m.
    pub diameter_m: Option<Q>,
    /// Weight in water per length, N/m.
    pub weight_in_water_n_m: Option<Q>,
    /// Axial stiffness EA, N.
    pub stiffness_n: Option<Q>,
    /// Breaking load, N.
    pub breaking_load_n: Option<Q>,
}

/// Where a module hangs.
#[derive(Clone, Copy, Debug)]
pub enum Position {
    /// On a section, at a length from its upper end, m.
    FromTop {
        /// The section.
        section: SectionIx,
        /// Length from the upper end, m.
        length_m: Q,
    },
    /// On a section, at a length from its lower end, m.
    FromAnchor {
        /// The section.
        section: SectionIx,
        /// Length from the lower end, m.
        length_m: Q,
    },
    /// At a fixed depth, m (0 at the surface; negative is not allowed).
    Depth(Q),
}
