//! What the cap of an uplink leaves of the messages that could be billed.
//!
//! A month is 30 d from the start of the deployment. What is not urgent begins only while the month's billed messages stay within the cap, so that at most the cap is billed, and with
//! `urgent-only` what is urgent above it. Where the cap binds, what waits at its end goes in the next month, so that more may be billed in a time than is declared for it.

use plan::{AtCap, Uplink};
use quantity::SECONDS_PER_DAY;

use crate::input::MONTH_DAYS;

/// Messages that may be billed in a time, what waited as it began among them, before any cap.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Declared {
    /// All of them.
    pub(crate) messages: f64,
    /// The urgent ones among them, each counted for itself.
    pub(crate) urgent: f64,
    /// All of them with what may have waited at the cap before; nothing where neither an expiry nor a room limits that.
    pub(crate) in_all: Option<f64>,
}

/// Messages billed in a time at most, and what the cap does in words.
#[derive(Clone, Debug)]
pub(crate) struct Capped {
    pub(crate) messages: f64,
    pub(crate) note: String,
}

/// The cap as a number of billed messages, and what happens then.
pub(crate) fn cap(u: &Uplink) -> Option<(u64, AtCap)> {
    u.cap
        .and_then(|(most, then)| Some((u.affordable(most)?, then)))
}

/// What is billed in a time, by what could be in it and in a month.
///
/// A time of whole months counts as so many months of the plan; any other touches one more than it fills.
pub(crate) fn capped(u: &Uplink, span_s: f64, span: Declared, month: Declared) -> Capped {
    let free = Capped {
        messages: span.messages,
        note: String::new(),
    };
    let Some((most, then)) = cap(u).filter(|(most, _)| month.messages > *most as f64) else {
        return free;
    };
    let months = span_s / (MONTH_DAYS * SECONDS_PER_DAY);
    let touched = if months >= 1.0 && months.fract() == 0.0 {
        months
    } else {
        months.ceil() + 1.0
    };
    let (above, note) = match then {
        AtCap::Stop => (
            0.0,
            format!("; at {most} the cap of the plan stops the uplink until the next month"),
        ),
        AtCap::UrgentOnly => (
            span.urgent,
            format!(
                "; at {most} in a month the cap of the plan leaves only what is urgent, {:.0} at most above it",
                span.urgent
            ),
        ),
    };
    let by_cap = touched * most as f64 + above;
    match span.in_all.filter(|messages| *messages < by_cap) {
        Some(messages) => Capped {
            messages,
            note: format!("{note}; with what waited at it before, {messages:.0} at most in all"),
        },
        None => Capped {
            messages: by_cap,
            note: match touched > 1.0 {
                true => {
                    format!("{note}; {by_cap:.0} in all, as the time touches {touched:.0} months")
                }
                false => note,
            },
        },
    }
}
