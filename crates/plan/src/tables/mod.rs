//! The field tables of every file that Soundline reads.

mod cues;
mod kinds;
mod plan;

pub(crate) use cues::{CUE_SHEET, EXPECT, FAULT, SOUND};
pub(crate) use kinds::{
    ACTIONS, EXPECTATIONS, FAULTS, Kind, OF_CALLS, OF_EXPECTATIONS, OF_FAULTS, OF_REQUIREMENTS,
    OF_SOUNDS, REQUIREMENTS, SOUNDS, STAGES, why_not_drawn,
};
pub(crate) use plan::{
    ACTION, CALL, CATALOGUE, DEPLOYMENT, MODULE, PART_KINDS, PLAN, REQUIREMENT, ROPE, SITE, STAGE,
    WEIGHTS,
};
pub use plan::{LINKS, METALS};
