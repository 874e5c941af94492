//! Where the depths of modules come from.

use super::ModuleIx;

/// Where the depths of modules ([`super::Module::depth_m`]) come from.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub enum Depths {
    /// From the plan alone: sections straight down, no water current, no stretch.
    #[default]
    Straight,
    /// From the shape of the line in one of its design cases.
    Hung {
        /// The case in words: `case.slack`, or `the case slack` of one that the plan does not declare.
        case: String,
        /// Modules whose depth the shape gives, ascending.
        modules: Vec<ModuleIx>,
        /// Lines without a shape, whose modules stay at the depths of sections that hang straight down: the lowest section, and why.
        straight: Vec<(String, String)>,
    },
    /// The plan gives no water in which a shape could be worked out.
    NoCase {
        /// Why.
        why: String,
    },
}

impl Depths {
    /// Whether the depth of a module is that of the shape.
    #[must_use]
    pub fn hung(&self, module: ModuleIx) -> bool {
        matches!(self, Self::Hung { modules, .. } if modules.contains(&module))
    }
}
