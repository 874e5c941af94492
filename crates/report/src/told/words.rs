//! Names and short words for what happens.

use assess::{DrawsBeside, Status, listed};
use network::DropReason;
use plan::{
    CueSheet, DetectorIx, FaultKind, Leaves, Lengths, Line, ModuleIx, NoticeKind, RestartBy,
    SpanIx, SupplyIx,
};
use quantity::{Dimension, show};
use rehearsal::{Collapse, Loss, Refusal};

/// The word for the exit status.
pub(super) fn status(status: Status) -> &'static str {
    match status {
        Status::Met => "met",
        Status::Broken => "broken",
        Status::Unusable => "unusable",
        Status::Unknown => "unknown",
    }
}

/// What draws that lie beside a plan are worth.
pub(super) fn draws_beside(beside: DrawsBeside) -> &'static str {
    match beside {
        DrawsBeside::Nothing => "nothing",
        DrawsBeside::Stale => "stale",
        DrawsBeside::Current => "current",
    }
}

/// An angle in degrees with its sign and one decimal; zero has no sign.
#[must_use]
pub fn degrees(deg: f64) -> String {
    let text = format!("{deg:+.1}\u{b0}");
    match text.strip_suffix("0.0\u{b0}") {
        Some("+" | "-") => "0.0\u{b0}".to_owned(),
        _ => text,
    }
}

pub(super) fn notice(kind: NoticeKind) -> &'static str {
    match kind {
        NoticeKind::Onset => "onset",
        NoticeKind::Confirmed => "confirmed",
        NoticeKind::Ended => "ended",
    }
}

pub(super) fn on_off(on: bool) -> &'static str {
    if on { "on" } else { "off" }
}

/// What the line cannot carry, and who loses its power by it.
pub(super) fn collapse(line: &Line, why: &Collapse, modules: &[ModuleIx]) -> String {
    let names: Vec<String> = modules.iter().map(|m| line.module_path(*m)).collect();
    let lose = match names.len() {
        1 => "loses its power",
        _ => "lose their power",
    };
    let names = listed(&names);
    match why {
        Collapse::Powers { share } => format!(
            "the line collapses at {names}: it can carry {:.1} % of what is asked of it",
            (1000.0 * share).floor() / 10.0
        ),
        Collapse::Currents => format!(
            "the line collapses at {names}: the current that is asked for there cannot flow"
        ),
        Collapse::Overloaded { supplies } => {
            let supplies: Vec<String> = supplies
                .iter()
                .map(|s| format!("supply.{}", line.supplies[s.0].id))
                .collect();
            let (is, its) = if supplies.len() == 1 {
                ("is", "its")
            } else {
                ("are", "their")
            };
            format!(
                "{} {is} asked for more than {its} current limit: {names} {lose}",
                listed(&supplies)
            )
        }
    }
}

pub(super) fn loss(why: Loss) -> &'static str {
    match why {
        Loss::NotWorking => "the module was not working",
        Loss::PublisherStopped => "its publisher stopped before it was sent",
        Loss::Network(reason) => network_loss(reason),
    }
}

pub(super) fn network_loss(reason: DropReason) -> &'static str {
    match reason {
        DropReason::LinkDown => "a span is cut",
        DropReason::NodeDown => "a module on the way is down",
        DropReason::BitErrors => "bit errors hit it",
        DropReason::BusOff => "a controller on the way has left its CAN bus after many errors",
        DropReason::NoPath => "there is no way to it",
        DropReason::KeptTooMany => "too many messages waited for a way to it",
        DropReason::KeptTooLong => "it waited too long for a way to it",
        DropReason::Forgotten => "its publisher stopped before it could send it again",
        DropReason::Unanswered => "it was never acknowledged",
        DropReason::TooOld => "it came too late for its receiver to tell it from one it has",
    }
}

pub(super) fn refusal(why: Refusal) -> &'static str {
    match why {
        Refusal::Behaviour => "the behaviour's at_most",
        Refusal::Topic => "the topic's at_most",
        Refusal::Request => "the request's at_most",
        Refusal::Answered => "the answer that has gone already",
        Refusal::Over => "the time for an answer, which is over",
        Refusal::NotAsked => "a question that nobody has asked",
        Refusal::NoneWaits => "the want of a question: none of the request waits for an answer",
        Refusal::NotWorking => "its module, which does not work",
        Refusal::NotReached => "a question that has not reached the module that is asked",
    }
}

pub(super) fn dropped(reason: detect::Reason) -> &'static str {
    match reason {
        detect::Reason::TooShort => "too short",
        detect::Reason::TooLong => "too long",
        detect::Reason::TooFewPulses => "too few pulses",
        detect::Reason::WrongSlope => "slope outside its limits",
        detect::Reason::Unlikely => "judged unlikely",
        detect::Reason::StretchEnded => "its samples stopped",
    }
}

/// A number of things: "1 error", "2 errors".
pub(crate) fn count(n: usize, thing: &str) -> String {
    match n {
        1 => format!("1 {thing}"),
        n => format!("{n} {thing}s"),
    }
}

/// "once", "5 times".
pub(super) fn times(n: u64) -> String {
    match n {
        1 => "once".to_owned(),
        n => format!("{n} times"),
    }
}

/// An input by its index in the cue sheet, or behind it.
pub(super) fn input(cues: &CueSheet, index: usize) -> String {
    format!("input.{}", rehearsal::input_id(cues, index))
}

/// The same of an answer.
pub(super) fn answer(cues: &CueSheet, index: usize) -> String {
    format!("answer.{}", rehearsal::answer_id(cues, index))
}

/// A time from nanoseconds up.
pub(super) fn took(time_s: f64) -> String {
    show(time_s, Dimension::Time)
}

/// A count of which one is meant, with three digits or so.
fn one_in(count: f64) -> String {
    if count < 100.0 {
        format!("{}", (count * 100.0).round() / 100.0)
    } else if count < 1e6 {
        format!("{count:.0}")
    } else {
        let text = format!("{count:.2e}");
        let (digits, power) = text.split_once('e').unwrap_or((&text, "0"));
        let digits = digits.trim_end_matches('0').trim_end_matches('.');
        format!("{digits}e{power}")
    }
}

/// A fault in words, by its index in the cue sheet.
pub(super) fn fault(line: &Line, cues: &CueSheet, index: usize) -> String {
    let fault = &cues.faults[index];
    let span = |s: SpanIx| format!("span.{}", line.spans[s.0].id);
    let supply = |s: SupplyIx| format!("supply.{}", line.supplies[s.0].id);
    let what = match fault.what {
        FaultKind::Cut(s) => format!("{} is cut", span(s)),
        FaultKind::Intermittent {
            span: s,
            down_s,
            up_s,
            lengths,
        } => {
            let each = match lengths {
                Lengths::Fixed => "each time",
                Lengths::Exponential => "on the mean",
            };
            format!(
                "{} comes and goes: open for {}, whole for {} {each}",
                span(s),
                show(down_s.si, Dimension::Time),
                show(up_s.si, Dimension::Time)
            )
        }
        FaultKind::BadContact {
            span: s,
            resistance_ohm,
        } => format!(
            "a contact of {} has {} more",
            span(s),
            show(resistance_ohm.si, Dimension::Resistance)
        ),
        FaultKind::Unplugged { module, leaves } => format!(
            "{} is unplugged, and {}",
            line.module_path(module),
            match leaves {
                Leaves::Gap => "its spans are open at it",
                Leaves::Joined => "the line goes on past its place",
            }
        ),
        FaultKind::BitErrors { span: s, rate } => match rate.si {
            0.0 => format!("no bit is wrong on {}", span(s)),
            rate => format!("one bit in {} is wrong on {}", one_in(1.0 / rate), span(s)),
        },
        FaultKind::ClockStep { module, step_s } => format!(
            "the clock of {} jumps by {}",
            line.module_path(module),
            show(step_s.si, Dimension::Time)
        ),
        FaultKind::Deaf(s) => format!("{} is deaf", line.sensor_path(s)),
        FaultKind::Hang(m) => format!("{} hangs", line.module_path(m)),
        FaultKind::Dead(m) => format!("{} is dead", line.module_path(m)),
        FaultKind::Restart { module, by } => format!(
            "{} is restarted by {}",
            line.module_path(module),
            match by {
                RestartBy::Power => "its power",
                RestartBy::Watchdog => "its watchdog",
            }
        ),
        FaultKind::RebootLoop { module, after_s } => format!(
            "{} restarts each time that it has worked for {}",
            line.module_path(module),
            show(after_s.si, Dimension::Time)
        ),
        FaultKind::NoUplink(u) => format!("uplink.{} cannot be reached", line.uplinks[u.0].id),
        FaultKind::StorageFull(s) => {
            format!("something else fills storage.{}", line.storages[s.0].id)
        }
        FaultKind::NoSupply(s) => format!("{} gives nothing", supply(s)),
        FaultKind::BrownOut {
            supply: s,
            voltage_v,
        } => format!(
            "{} falls to {}",
            supply(s),
            show(voltage_v.si, Dimension::Voltage)
        ),
        FaultKind::Swapped {
            supply: s,
            voltage_v,
            resistance_ohm,
            ..
        } => format!(
            "{} is swapped for one of {} behind {}",
            supply(s),
            show(voltage_v.si, Dimension::Voltage),
            show(resistance_ohm.si, Dimension::Resistance)
        ),
        FaultKind::Drained {
            supply: s,
            energy_j,
        } => format!(
            "{} has {} left to give",
            supply(s),
            show(energy_j.si, Dimension::Energy)
        ),
        FaultKind::Flood {
            module,
            topic,
            every_s,
            limited,
        } => format!(
            "{} publishes {} every {}, {}",
            line.module_path(module),
            line.topics[topic.0].name,
            show(every_s.si, Dimension::Time),
            match limited {
                true => "as far as its at_most lets it",
                false => "past its at_most",
            }
        ),
    };
    format!("fault.{}: {what}", fault.id)
}

/// What a detector's levels refer to.
pub(super) fn level_unit(line: &Line, detector: DetectorIx) -> &'static str {
    if line.detectors[detector.0].of_exposure() {
        "dB re 1 uPa2 s"
    } else {
        "dB re 1 uPa"
    }
}

/// The end of a key that holds a level of a detector.
pub(super) fn level_key(line: &Line, detector: DetectorIx) -> &'static str {
    if line.detectors[detector.0].of_exposure() {
        "db_re_1upa2_s"
    } else {
        "db_re_1upa"
    }
}

/// What became of a copy on terms, as a record's kind.
pub(super) fn posted(what: network::NoteKind) -> &'static str {
    use network::NoteKind as N;
    match what {
        N::Kept => "kept",
        N::Released => "released",
        N::Missed { .. } => "missed",
        N::Again { .. } => "sent-again",
        N::Duplicate | N::Had => "duplicate",
        N::Repeated => "delivered-twice",
        N::Acknowledged => "acknowledged",
        N::AnswerLost { .. } => "acknowledgement-lost",
        N::Unconfirmed => "never-confirmed",
        N::Retained => "held-and-sent",
    }
}

/// The same in a sentence.
pub(super) fn posted_to(what: network::NoteKind, module: &str) -> String {
    use network::NoteKind as N;
    match what {
        N::Kept => format!("waits for a way to {module}"),
        N::Released => format!("goes to {module}, after it waited"),
        N::Missed { reason } => format!(
            "lost on the way to {module}, and will be sent again: {}",
            match reason {
                DropReason::NodeDown => "it or a module before it is down",
                reason => network_loss(reason),
            }
        ),
        N::Again { sending } => {
            format!("{module} has not acknowledged it: sent again (sending {sending})")
        }
        N::Duplicate | N::Had => format!("{module} has it already: removed"),
        N::Repeated => format!("{module} stopped in between, and is told a second time"),
        N::Acknowledged => format!("acknowledged by {module}"),
        N::AnswerLost { reason } => format!(
            "the acknowledgement of {module} is lost: {}",
            network_loss(reason)
        ),
        N::Unconfirmed => {
            format!("delivered to {module}, and given up before its acknowledgement came")
        }
        N::Retained => {
            format!("{module} can be reached again: its publisher sends the value it holds")
        }
    }
}

/// Why a routine stopped, with its place: `behaviour.watch stops at watch.rhai:12:5: ...`.
pub(super) fn stopped(
    line: &Line,
    behaviour: plan::BehaviourIx,
    at: Option<usize>,
    column: Option<usize>,
    why: &str,
) -> String {
    let b = &line.behaviours[behaviour.0];
    let file = b.routine.as_ref().map_or("", |r| r.file.as_str());
    let place = match (at, column) {
        (Some(at), Some(column)) => format!(" at {file}:{at}:{column}"),
        (Some(at), None) => format!(" at {file}:{at}"),
        _ => String::new(),
    };
    format!(
        "behaviour.{} stops{place} until its module starts anew: {why}",
        b.id
    )
}
