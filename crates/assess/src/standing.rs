//! What is checked in every plan, whatever it asks for; each check gives way to a mistake in what it reads.

use plan::{Line, Must};

use crate::memo::Memo;
use crate::mooring_verdicts::Hangs;
use crate::reach::Reach;
use crate::verdict::{Judged, Verdict};
use crate::{
    boot_verdicts, chain_verdicts, dawn_verdicts, delivery_verdicts, failure_verdicts,
    hung_verdicts, link_verdicts, power_verdicts, processor_verdicts, recovery_verdicts,
    span_verdicts, stands, stream_verdicts,
};

/// Id of the standing check of voltages.
pub(crate) const INPUT_VOLTAGE: &str = "input-voltage";
/// The standing check of whether batteries hold the load that comes back.
pub(crate) const COMES_BACK: &str = "comes-back";
/// The standing check of whether the line carries its modules while they boot.
pub(crate) const BOOTS_CARRIED: &str = "boots-carried";

/// What is checked in every plan.
pub(crate) fn standing(reach: &Reach<'_>, memo: &Memo, hangs: &Hangs<'_>) -> Vec<Judged> {
    let line = reach.line;
    let mut all = Vec::new();
    let standing: [(&str, &str, Vec<Verdict>); 20] = [
        (
            "link-reach",
            "every link is within the longest length of its standard",
            {
                let spans = link_verdicts::link_reach(line);
                let mut all = reach.each(spans, "span", |p| reach.length(p));
                all.extend(reach.each(link_verdicts::bus_reach(line), "bus", |p| reach.bus(p)));
                all
            },
        ),
        (
            "link-capacity",
            "no link is asked for more than it carries",
            capacities(line, reach),
        ),
        (
            "retry",
            "nothing that has arrived is sent again while the line is whole, and repeats can be told apart",
            carried(reach, delivery_verdicts::retries(line)),
        ),
        (
            "request",
            "every request is answered within its time",
            carried(reach, delivery_verdicts::requests(line)),
        ),
        (
            "stream-room",
            "every stream has room on the links that it crosses",
            carried(reach, stream_verdicts::rooms(line)),
        ),
        (
            "span-current",
            "no span carries more than its conductors and its fuse bear",
            span_currents(line, reach),
        ),
        (
            "fails-safe",
            "no output fails safe while the line is whole",
            false_trips(line, reach),
        ),
        (
            INPUT_VOLTAGE,
            "every module is at a voltage that its input bears",
            input_voltages(line, reach),
        ),
        (
            COMES_BACK,
            "a battery that has taken its load off holds it when it comes back",
            comes_back(line, reach),
        ),
        (
            BOOTS_CARRIED,
            "the line carries its modules while they boot",
            boots_carried(line, reach),
        ),
        (
            "detector",
            "every detector can be built",
            unbuilt(line, reach),
        ),
        (
            "processor",
            "every processor keeps up with its detectors",
            processors(line, reach),
        ),
        (
            "housing-depth",
            "every housing is within its rated depth",
            reach.each(
                hung_verdicts::housing_depths(hangs, |_| true),
                "module",
                |p| reach.depth(p),
            ),
        ),
        (
            "float-depth",
            "every float is within its rated depth",
            shaped(reach, stands::float_depths(hangs)),
        ),
        (
            "held-up",
            "every float at the top of a line lifts what hangs below it",
            shaped(reach, stands::held_up(line)),
        ),
        (
            "rope-load",
            "no rope bears more than its working load",
            shaped(reach, stands::rope_loads(hangs)),
        ),
        (
            "anchor-hold",
            "no anchor is pulled off its place",
            shaped(reach, stands::anchors_hold(hangs)),
        ),
        (
            "afloat",
            "every buoy stays at the surface in every design case",
            shaped(reach, hung_verdicts::afloat(hangs)),
        ),
        (
            "weak-link",
            "every weak link holds in every design case, and parts before any rope",
            weak_links(reach, hangs),
        ),
        (
            "drift-alarm",
            "every drift alarm is wider than what its buoy does while moored",
            unless_spoilt(
                recovery_verdicts::drift_alarms(hangs),
                reach.spoilt(&reach.drift_alarms()),
            ),
        ),
    ];
    for (id, sentence, verdicts) in standing {
        if !verdicts.is_empty() {
            all.push(Judged::new(
                id.to_owned(),
                Must::Shall,
                None,
                sentence.to_owned(),
                verdicts,
            ));
        }
    }
    for (id, sentence, verdicts) in chains(line, reach, memo) {
        if !verdicts.is_empty() {
            let (id, sentence) = (id.to_owned(), sentence.to_owned());
            let judged = Judged::new(id, Must::Should, None, sentence, verdicts);
            all.push(judged);
        }
    }
    all
}

/// Links that are asked for more than they carry, where no mistake reaches what they read.
fn capacities(line: &Line, reach: &Reach<'_>) -> Vec<Verdict> {
    carried(reach, link_verdicts::link_capacity(line))
}

/// Verdicts on the shapes of the line; one that is unknown where a mistake reaches what they read.
fn shaped(reach: &Reach<'_>, verdicts: Vec<Verdict>) -> Vec<Verdict> {
    unless_spoilt(verdicts, reach.spoilt(&reach.shapes()))
}

/// Weak links, where no mistake reaches what they read; one that a mistake hides is told as unknown.
fn weak_links(reach: &Reach<'_>, hangs: &Hangs<'_>) -> Vec<Verdict> {
    let mut declared = reach.reading.spoilt.declared();
    let any = declared.any(|path| path.starts_with("weak_link."));
    match reach.spoilt(&reach.weak_links()) {
        Some(spoilt) if any => vec![spoilt],
        _ => recovery_verdicts::weak_links(hangs),
    }
}

/// Verdicts on what the links carry, where no mistake reaches what they read.
fn carried(reach: &Reach<'_>, verdicts: Vec<Verdict>) -> Vec<Verdict> {
    unless_spoilt(verdicts, reach.spoilt(&reach.load()))
}

/// Noise and full scale of hydrophones, as far as they are known: figures of our own judgement, so none is binding. One that is unknown
/// where a mistake reaches what they read.
fn chains(
    line: &Line,
    reach: &Reach<'_>,
    memo: &Memo,
) -> [(&'static str, &'static str, Vec<Verdict>); 2] {
    // What a mistake hides may be what would be known, so that it is told as unknown wherever there is a detector.
    let mut declared = reach.reading.spoilt.declared();
    let detects = declared.any(|path| path.starts_with("detector."));
    let spoilt = reach.spoilt(&reach.chains()).filter(|_| detects);
    let told = |verdicts: Vec<Verdict>| match &spoilt {
        Some(spoilt) => vec![spoilt.clone()],
        None => verdicts,
    };
    [
        (
            "self-noise",
            "every hydrophone's own noise lies 6 dB below what its detectors listen for",
            told(chain_verdicts::standing_self_noise(line, memo)),
        ),
        (
            "overload",
            "full scale of every hydrophone lies 12 dB above the sea and the thresholds of its detectors",
            told(chain_verdicts::standing_overload(line, memo)),
        ),
    ]
}

/// Detectors that cannot be built though no mistake is told of them.
fn unbuilt(line: &Line, reach: &Reach<'_>) -> Vec<Verdict> {
    let mut verdicts = processor_verdicts::unbuilt(line);
    verdicts.retain(|v| reach.spoilt(&reach.detector(v.subject())).is_none());
    verdicts
}

/// What was judged, or the one verdict that it is unknown where a mistake reaches what it reads.
fn unless_spoilt(verdicts: Vec<Verdict>, spoilt: Option<Verdict>) -> Vec<Verdict> {
    match spoilt {
        Some(spoilt) if !verdicts.is_empty() => vec![spoilt],
        _ => verdicts,
    }
}

/// Processors with detectors; one that is unknown where a mistake reaches a detector or a module.
fn processors(line: &Line, reach: &Reach<'_>) -> Vec<Verdict> {
    let verdicts = processor_verdicts::processors(line);
    unless_spoilt(verdicts, reach.spoilt(&reach.processors()))
}

/// Currents of the spans that have a rating or a fuse; one that is unknown where a mistake reaches any of the network.
fn span_currents(line: &Line, reach: &Reach<'_>) -> Vec<Verdict> {
    let verdicts = span_verdicts::span_currents(line);
    unless_spoilt(verdicts, reach.spoilt(&reach.electric()))
}

/// Outputs that would fail safe while the line is whole; one that is unknown where a mistake reaches what failures read.
fn false_trips(line: &Line, reach: &Reach<'_>) -> Vec<Verdict> {
    let verdicts = failure_verdicts::false_trips(line);
    unless_spoilt(verdicts, reach.spoilt(&reach.failures()))
}

/// Whether batteries hold the load that comes back, as far as it is known; unknown where a mistake reaches any of what they carry.
fn comes_back(line: &Line, reach: &Reach<'_>) -> Vec<Verdict> {
    let verdicts = dawn_verdicts::comes_back(line);
    unless_spoilt(verdicts, reach.spoilt(&reach.energy()))
}

/// Whether the line carries its modules while they boot; unknown where a mistake reaches any of the network.
fn boots_carried(line: &Line, reach: &Reach<'_>) -> Vec<Verdict> {
    let Some(spoilt) = reach.spoilt(&reach.electric()) else {
        return boot_verdicts::boots_carried(line);
    };
    // What a mistake hides may be what would be known: it is told as unknown wherever something is fed.
    let mut declared = reach.reading.spoilt.declared();
    match declared.any(|path| path.starts_with("supply.")) {
        true => vec![spoilt],
        false => Vec::new(),
    }
}

/// Voltages of the modules of which no requirement asks that they are within the module's own limits, as far as they are known; one that is unknown
/// where a mistake reaches any of the network.
fn input_voltages(line: &Line, reach: &Reach<'_>) -> Vec<Verdict> {
    let verdicts = power_verdicts::input_voltages(line);
    unless_spoilt(verdicts, reach.spoilt(&reach.electric()))
}
