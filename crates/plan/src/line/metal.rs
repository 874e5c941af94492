//! Metals in the water and their anodes.

use super::Q;
use crate::site::Site;

/// Something of metal in the water.
#[derive(Clone, Debug)]
pub struct Metal {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// What it belongs to: a typed path.
    pub of: Option<String>,
    /// What it is made of, one of [`crate::METALS`].
    pub metal: Option<String>,
    /// Its surface in the water, m2.
    pub area_m2: Option<Q>,
    /// Share of that which is bare, above 0 up to 1.
    pub bare_share: Option<Q>,
    /// Mean current that bare metal takes, A/m2.
    pub current_density_a_m2: Option<Q>,
    /// The same at the beginning, until it is protected, A/m2.
    pub first_current_density_a_m2: Option<Q>,
    /// The same at the end, to protect it anew, A/m2.
    pub last_current_density_a_m2: Option<Q>,
    /// What it says that it touches: indices into [`super::Line::metals`]. It goes both ways.
    pub touches: Vec<usize>,
}

/// What is eaten in place of metal.
#[derive(Clone, Debug)]
pub struct AnodeSaid {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// What it is fixed to: index into [`super::Line::metals`].
    pub on: usize,
    /// What it is made of.
    pub metal: AnodeMetal,
    /// Its mass, kg.
    pub mass_kg: Q,
    /// Share of it that can be used up, above 0 up to 1.
    pub usable_share: Option<Q>,
    /// Its capacity, C/kg.
    pub capacity_c_kg: Option<Q>,
    /// Its form and sizes.
    pub form: Option<AnodeFormSaid>,
    /// Resistivity of what is about it, ohm m.
    pub resistivity_ohm_m: Option<Q>,
    /// What is about it.
    pub about: Option<AnodeLies>,
}

/// What an anode lies in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AnodeLies {
    /// Sea water.
    Water,
    /// Mud of the seabed.
    Mud,
}

/// Form and sizes of an anode.
#[derive(Clone, Copy, Debug)]
pub enum AnodeFormSaid {
    /// A bar that stands off what it protects.
    Slender {
        /// Length, m.
        length_m: Q,
        /// Around its cross-section, m.
        girth_m: Q,
        /// Diameter of its core, m; none when absent.
        core_m: Option<Q>,
        /// Distance to what it protects, m.
        stands_off_m: Option<Q>,
    },
    /// A plate or bar that lies on what it protects.
    Flat {
        /// Length, m.
        length_m: Q,
        /// Width, m, no more than the length.
        width_m: Q,
        /// Thickness, m.
        thickness_m: Q,
    },
    /// A ring about what it protects.
    Bracelet {
        /// Area that the water wets when it is new, m2.
        outer_m2: Q,
        /// Area that faces what it protects, m2.
        inner_m2: Q,
    },
}

/// Metals of anodes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum AnodeMetal {
    /// An aluminium alloy.
    Aluminium,
    /// Zinc.
    Zinc,
}
