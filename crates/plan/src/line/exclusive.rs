//! What cannot happen together.

use super::{ModuleIx, OutputIx};
use crate::site::Site;

/// States and outputs of which only so many hold at the same time.
#[derive(Clone, Debug)]
pub struct Exclusive {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// The states and outputs, each once.
    pub of: Vec<ExclusiveMember>,
    /// How many of them hold at the same time; fewer than there are.
    pub at_most: u32,
}

/// A member of an exclusive group.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum ExclusiveMember {
    /// A module in a state.
    State {
        /// The module.
        module: ModuleIx,
        /// Index into its loads.
        state: usize,
    },
    /// An output that is on.
    Output(OutputIx),
}
