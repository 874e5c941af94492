//! Verdicts and rehearsals told in text and in JSON.

mod asking;
mod came;
mod certainty;
mod chain;
mod check;
mod compare;
mod content;
mod depths;
mod dockside;
mod evidence_table;
mod fail_safes;
mod failure_cues;
mod failures;
mod faults;
mod figures;
mod headline;
mod hours;
mod in_draws;
mod json;
mod leverage;
mod mooring;
mod paths;
mod payload;
mod places;
mod range;
mod recovery;
mod remedy;
mod reserve;
mod settings;
mod ship;
mod slip;
mod start;
mod streams;
mod text;
mod tune;
mod uplink;
mod words;
mod year;

pub(crate) use certainty::names as batch_names;
pub use certainty::{certainty_json, certainty_text};
pub use chain::{chain_json, chain_text};
pub(crate) use check::{TOLD_EACH, nearest, totals, wrap};
pub use check::{check_brief, check_json, check_text, check_text_by_leverage, mistakes_json};
pub use compare::{Compared, compare_json, compare_markdown, compare_text};
pub use depths::depths_json;
pub use dockside::{
    Written, dockside_csv, dockside_json, dockside_text, dockside_value, readings_csv,
};
pub(crate) use evidence_table::support_words;
pub use evidence_table::{evidence_table_json, evidence_table_text};
pub use failure_cues::{FailureCues, failure_cues};
pub use failures::{failures_json, failures_text};
pub use faults::{faults_json, faults_text};
pub(crate) use figures::{in_words, shortened as unit_words, shown as figure_words};
pub use hours::{hours_json, hours_text};
pub(crate) use in_draws::draws_in_words;
pub use json::{record_json, rehearsal_json, trace_json};
pub use leverage::leverage_json;
pub use mooring::{mooring_json, mooring_text};
pub use paths::{elevation_json, paths_json, paths_text, shadow_json};
pub use payload::{
    PackedTopic, ReadMessage, SentMessage, read_json, read_text, sent_json, sent_text, topics_json,
    topics_text,
};
pub(crate) use places::{bound_words, place_name};
pub use places::{places_json, places_text};
pub use range::{range_json, range_text};
pub use recovery::{recovery_json, recovery_text};
pub use remedy::{difference, remedies_of_one, remedy_end, remedy_json, remedy_text};
pub use reserve::{WeightReserveFound, reserve_json, reserve_text};
pub(crate) use slip::{days_late, extent, left_in, unit_left, worst_in, worst_told};
pub use slip::{slip_json, slip_text};
pub(crate) use start::contacts;
pub use start::{start_json, start_text};
pub use text::rehearsal_text;
pub(crate) use tune::short;
pub use tune::{
    Allowance, Judged, Tuned, TunedEvent, matched_words, tune_csv, tune_json, tune_text,
};
pub use uplink::{UplinkFound, uplink_json, uplink_text};
pub(crate) use words::count as count_words;
pub use words::degrees;
pub use year::{year_json, year_text};
