//! Verdicts of small plans, held to closed forms, published tables and themselves.

#![expect(
    clippy::unwrap_used,
    reason = "helpers of checks may fail like the checks themselves"
)]

mod assumed;
mod at_the_surface;
mod attested;
mod batteries;
mod call_spectra;
mod caps;
mod cautions;
mod certainty;
mod chain;
mod dawns;
mod delivery;
mod detectors;
mod drawn_evidence;
mod electric;
mod energy;
mod failures;
mod failures_talk;
mod faults;
mod highest_voltage;
mod hours;
mod hung_depths;
mod hung_noise;
mod laws;
mod legs;
mod leverage;
mod limits;
mod links;
mod memo;
mod metals;
mod mistakes;
mod moored;
mod moored_balance;
mod no_bound;
mod one_reel;
mod packed;
mod paid;
mod paid_by_chance;
mod pick_up;
mod places;
mod processor;
mod range_hours;
mod ranges;
mod recorded;
mod recovery;
mod rehearsed;
mod remedies;
mod remedies_knobs;
mod remedies_more;
mod remedies_pairs;
mod remedies_start;
mod reserve;
mod ship;
mod sky;
mod slip;
mod stands;
mod start;
mod station;
mod strum;
mod support;
mod sync;
mod talk;
mod threshold_moved;
mod told_where_written;
mod topics;
mod tuned;
mod two_ears;
mod uplink_sea;
mod votes;
mod warm;
mod watches;
mod weight_reserve;
