//! The plan and cue-sheet files: field tables, reading with places, catalogue, schema, and the resolved line.
//!
//! A text becomes a tree with places, the tree is read against one table of fields (from which the JSON Schema is made
//! too), and the fields are resolved to a [`Line`]: ids become indices, catalogue parts are filled in, the graph is
//! checked. Everything that is wrong is told at once. Nothing is ever guessed.

mod canonical;
mod catalogue;
mod cue_sheet;
mod faults;
mod field;
mod folder;
mod line;
mod mistake;
mod node;
mod read;
mod reading;
mod reference;
mod resolve;
mod schema;
mod site;
mod tables;
mod topic_name;

pub use canonical::hex;
pub use cue_sheet::*;
pub use faults::{Fault, Faults, WrittenBehaviour, WrittenRequirement, WrittenStart};
pub use line::*;
pub use mistake::{Code, Drawing, Mistake, Severity, render};
pub use reading::{
    CueReading, Fetch, LARGEST_FILE, Reading, from_disk, from_folder_of, read, read_cues,
};
pub use reference::{cues_reference, plan_reference};
pub use schema::{cues_schema, plan_schema};
pub use site::{FileId, Site, Source, Sources};
