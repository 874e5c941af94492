//! Anchors, sections, floats, weights, and where things hang on them.

use super::{Flow, ModuleIx, Outside, Q, SectionIx};
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
    /// Horizontal holding for each newton of weight in water that nothing lifts.
    pub holding_factor: Option<Q>,
    /// How many times the load it must hold.
    pub safety_factor: Option<Q>,
}

/// Something that floats.
#[derive(Clone, Debug)]
pub struct Float {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// Where it is clamped to a section; `None` for one at an end of a section.
    pub position: Option<Position>,
    /// Buoyancy less weight, N.
    pub buoyancy_n: Option<Q>,
    /// Drag area, m2.
    pub cd_a_m2: Option<Q>,
    /// Rated depth, m.
    pub rated_depth_m: Option<Q>,
    /// Diameter as a sphere, m.
    pub diameter_m: Option<Q>,
    /// Buoyancy that it loses when it floods, N.
    pub flooding_adds_n: Option<Q>,
}

/// Something that sinks, clamped to a section.
#[derive(Clone, Debug)]
pub struct Weight {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// Where it is clamped.
    pub position: Position,
    /// Weight in water, N.
    pub weight_in_water_n: Option<Q>,
    /// Drag area, m2.
    pub cd_a_m2: Option<Q>,
    /// Outer size.
    pub outside: Option<Outside>,
}

/// Water and weather in which the shape of the line is worked out.
#[derive(Clone, Debug)]
pub struct Case {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// Water current by depth, shallowest first; empty for slack water.
    pub current: Vec<Flow>,
    /// How much higher the water stands than the site's depth says, m.
    pub water_level_m: Option<Q>,
    /// Wind.
    pub wind: Option<CaseWind>,
    /// Waves.
    pub wave: Option<CaseWave>,
    /// Whether ropes strum.
    pub strum: bool,
    /// When in the fortnight of the tide its current is the strongest of a tide; `None` when it is not said to be.
    pub strongest_at: Option<Tides>,
    /// Whether this is the usual case.
    pub nominal: bool,
}

/// Tides of a fortnight.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Tides {
    /// The strongest.
    Springs,
    /// The weakest.
    Neaps,
}

impl Tides {
    /// What a word of the plan says.
    pub(crate) fn of_word(word: &str) -> Tides {
        match word {
            "neaps" => Tides::Neaps,
            _ => Tides::Springs,
        }
    }
}

/// Wind on a buoy.
#[derive(Clone, Copy, Debug)]
pub struct CaseWind {
    /// Speed, m/s.
    pub speed_m_s: Q,
    /// Direction towards which the air moves, degrees from north.
    pub towards_deg: Option<Q>,
}

/// Waves of one height and period.
#[derive(Clone, Copy, Debug)]
pub struct CaseWave {
    /// From trough to crest, m.
    pub height_m: Q,
    /// From crest to crest, s.
    pub period_s: Q,
}

/// An end of a section.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum SectionEnd {
    /// A module.
    Module(ModuleIx),
    /// Index into [`Line::floats`].
    Float(usize),
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
    /// Whether it carries fairing; `None` when the plan does not say.
    pub fairing: Option<bool>,
    /// Share of the heave of its upper end that comes through, 0 to 1.
    pub heave_share: Option<Q>,
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
    /// Largest tension that it may bear in use, N.
    pub working_load_n: Option<Q>,
    /// Drag coefficient across, on the diameter.
    pub normal_drag: Option<Q>,
    /// Drag coefficient along, on the wetted area.
    pub tangential_drag: Option<Q>,
    /// Drag coefficient across while it strums, on the diameter.
    pub strumming_drag: Option<Q>,
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
