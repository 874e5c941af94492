//! The field tables of every file that Soundline reads.

mod cues;
mod plan;

pub(crate) use cues::CUE_SHEET;
pub(crate) use plan::{CATALOGUE, PART_KINDS, PLAN, ROPE, STAGE};
