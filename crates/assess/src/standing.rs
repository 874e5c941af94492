//! What is checked in every plan, whatever it asks for; each check gives way to a mistake in what it reads.

use plan::{Line, Must};

use crate::judged::Judged;
use crate::memo::Memo;
use crate::mooring_verdicts::Hangs;
use crate::reach::{Parts, Reach};
use crate::verdict::{Verdict, unknown};
use crate::{
    boot_verdicts, chain_verdicts, dawn_verdicts, delivery_verdicts, failure_verdicts,
    hung_verdicts, link_verdicts, metal_verdicts, power_verdicts, processor_verdicts,
    recovery_verdicts, span_verdicts, stands, storage_verdicts, stream_verdicts, watches,
};

/// Id of the standing check of voltages.
pub(crate) const INPUT_VOLTAGE: &str = "input-voltage";
/// The standing check of whether batteries hold the load that comes back.
pub(crate) const COMES_BACK: &str = "comes-back";
/// The standing check of whether the line carries its modules while they boot.
pub(crate) const BOOTS_CARRIED: &str = "boots-carried";

/// The standing check of the start in time.
const STARTS: &str = "starts";

/// The standing check of metals in contact.
pub(crate) const UNLIKE_METALS: &str = "unlike-metals";

/// The standing checks that read nothing but the shapes and the weights of lines.
pub(crate) const ON_SHAPES: [&str; 9] = [
    "housing-depth",
    "float-depth",
    "held-up",
    "rope-load",
    "anchor-hold",
    "afloat",
    "clear-of-bed",
    "weak-link",
    "drift-alarm",
];

/// What a standing check is judged from.
struct Given<'a> {
    reach: &'a Reach<'a>,
    memo: &'a Memo,
    hangs: &'a Hangs<'a>,
    /// Whether what would help is told beside what does not hold.
    helps: bool,
}

/// A standing check: its id, whether it binds, its sentence, and its verdicts.
struct Standing {
    id: &'static str,
    must: Must,
    sentence: &'static str,
    verdicts: fn(&Given<'_>) -> Vec<Verdict>,
}

const fn shall(
    id: &'static str,
    sentence: &'static str,
    verdicts: fn(&Given<'_>) -> Vec<Verdict>,
) -> Standing {
    Standing {
        id,
        must: Must::Shall,
        sentence,
        verdicts,
    }
}

/// Figures of our own judgement bind nobody.
const fn should(
    id: &'static str,
    sentence: &'static str,
    verdicts: fn(&Given<'_>) -> Vec<Verdict>,
) -> Standing {
    Standing {
        must: Must::Should,
        ..shall(id, sentence, verdicts)
    }
}

const STANDING: [Standing; 26] = [
    shall(
        "link-reach",
        "every link is within the longest length of its standard",
        |of| {
            let (reach, line) = (of.reach, of.reach.line);
            let mut all = reach.each(link_verdicts::link_reach(line), "span", |p| reach.length(p));
            all.extend(reach.each(link_verdicts::bus_reach(line), "bus", |p| reach.bus(p)));
            all
        },
    ),
    shall(
        "link-capacity",
        "no link is asked for more than it carries",
        |of| carried(of.reach, link_verdicts::link_capacity(of.reach.line)),
    ),
    shall(
        "retry",
        "nothing that has arrived is sent again while the line is whole, and repeats can be told apart",
        |of| carried(of.reach, delivery_verdicts::retries(of.reach.line)),
    ),
    shall(
        "request",
        "every request is answered within its time",
        |of| carried(of.reach, delivery_verdicts::requests(of.reach.line)),
    ),
    shall(
        "stream-room",
        "every stream has room on the links that it crosses",
        |of| carried(of.reach, stream_verdicts::rooms(of.reach.line)),
    ),
    shall(
        "storage-room",
        "no store is full before the latest recovery",
        |of| {
            let verdicts = storage_verdicts::fills(of.reach.line);
            unless_spoilt(verdicts, of.reach.spoilt(&of.reach.stores()))
        },
    ),
    shall(
        "span-current",
        "no span carries more than its conductors and its fuse bear",
        |of| span_currents(of.reach.line, of.reach),
    ),
    shall(
        "fails-safe",
        "no output fails safe while the line is whole",
        |of| false_trips(of.reach.line, of.reach),
    ),
    shall(
        INPUT_VOLTAGE,
        "every module is at a voltage that its input bears",
        |of| input_voltages(of.reach.line, of.reach),
    ),
    shall(
        COMES_BACK,
        "a battery that has taken its load off holds it when it comes back",
        |of| comes_back(of.reach, of.helps.then_some(of.memo)),
    ),
    shall(
        BOOTS_CARRIED,
        "the line carries its modules while they boot",
        |of| boots_carried(of.reach, of.helps.then_some(of.memo)),
    ),
    shall(STARTS, "the line starts when power comes on", |of| match of
        .reach
        .spoilt(&of.reach.electric())
    {
        // It is followed in time, where what would help is told too.
        None if of.helps => crate::start_verdicts::standing_start(of.reach.line, of.memo),
        _ => Vec::new(),
    }),
    shall("detector", "every detector can be built", |of| {
        unbuilt(of.reach.line, of.reach)
    }),
    shall(
        "processor",
        "every processor keeps up with its detectors",
        |of| processors(of.reach.line, of.reach),
    ),
    shall(
        "housing-depth",
        "every housing is within its rated depth",
        |of| {
            let verdicts = hung_verdicts::housing_depths(of.hangs, |_| true);
            of.reach.each(verdicts, "module", |p| of.reach.depth(p))
        },
    ),
    shall(
        "float-depth",
        "every float is within its rated depth",
        |of| shaped(of.reach, stands::float_depths(of.hangs)),
    ),
    shall(
        "held-up",
        "every float at the top of a line lifts what hangs below it",
        |of| shaped(of.reach, stands::held_up(of.hangs)),
    ),
    shall(
        "rope-load",
        "no rope bears more than its working load, or breaks",
        |of| shaped(of.reach, stands::rope_loads(of.hangs)),
    ),
    shall("anchor-hold", "no anchor is pulled off its place", |of| {
        shaped(of.reach, stands::anchors_hold(of.hangs))
    }),
    shall(
        "afloat",
        "every buoy stays at the surface in every design case",
        |of| shaped(of.reach, hung_verdicts::afloat(of.hangs)),
    ),
    shall(
        "clear-of-bed",
        "what is not meant to lie on the bed touches it in no design case, and no buoy runs aground",
        |of| shaped(of.reach, hung_verdicts::clear_of_bed(of.hangs)),
    ),
    shall(
        "weak-link",
        "every weak link holds in every design case, and parts before any rope",
        |of| weak_links(of.reach, of.hangs),
    ),
    shall(
        "drift-alarm",
        "every drift alarm is wider than what its buoy does while moored",
        |of| {
            let verdicts = recovery_verdicts::drift_alarms(of.hangs);
            unless_spoilt(verdicts, of.reach.spoilt(&of.reach.drift_alarms()))
        },
    ),
    should(
        UNLIKE_METALS,
        "no metals that are joined in the water lie more than 0.2 V apart",
        |of| unlike_metals(of.reach),
    ),
    should(
        "self-noise",
        "every hydrophone's own noise lies 6 dB below what its detectors listen for",
        |of| {
            let noise = || chain_verdicts::standing_self_noise(of.reach.line, of.memo);
            chains(of.reach, &of.reach.chains_and_pick_ups(), noise)
        },
    ),
    should(
        "overload",
        "full scale of every hydrophone lies 12 dB above the sound of the sea and the thresholds of its detectors",
        |of| {
            let full_scale = || chain_verdicts::standing_overload(of.reach.line, of.memo);
            chains(of.reach, &of.reach.chains(), full_scale)
        },
    ),
];

/// What the ids of limits on the world begin with.
pub const WATCH: &str = "watch.";

/// What is told of one that the line has not, where no mistake is known to reach it.
const LOST_WATCH: &str = "it cannot be read what this limits";

/// What is checked in every plan.
pub(crate) fn standing(reach: &Reach<'_>, memo: &Memo, hangs: &Hangs<'_>) -> Vec<Judged> {
    standing_of(reach, memo, hangs, |_| true)
}

/// Those of the standing checks that are wanted, by their ids; one that says nothing of a plan is none of it.
pub(crate) fn standing_of(
    reach: &Reach<'_>,
    memo: &Memo,
    hangs: &Hangs<'_>,
    wanted: impl Fn(&str) -> bool,
) -> Vec<Judged> {
    let given = Given {
        reach,
        memo,
        hangs,
        helps: true,
    };
    given.judged(wanted)
}

/// One of them by its id, without what would help: a search for that asks many changed plans.
pub(crate) fn figures_of(reach: &Reach<'_>, memo: &Memo, id: &str) -> Option<Judged> {
    let given = Given {
        reach,
        memo,
        hangs: &Hangs::new(reach.line, memo),
        helps: false,
    };
    given.judged(|other| other == id).pop()
}

impl Given<'_> {
    fn judged(&self, wanted: impl Fn(&str) -> bool) -> Vec<Judged> {
        let asked = STANDING.iter().filter(|one| wanted(one.id));
        let judged = asked.filter_map(|one| {
            let verdicts = (one.verdicts)(self);
            let (id, sentence) = (one.id.to_owned(), one.sentence.to_owned());
            (!verdicts.is_empty()).then(|| Judged::new(id, one.must, None, sentence, verdicts))
        });
        let mut all: Vec<Judged> = judged.collect();
        all.extend(watched(self.reach, self.memo, wanted));
        all
    }
}

/// The limits on the world that the line polices, by id behind [`WATCH`]; those that a mistake hides as unknown.
fn watched(reach: &Reach<'_>, memo: &Memo, wanted: impl Fn(&str) -> bool) -> Vec<Judged> {
    let there = reach.line.watches.iter();
    let mut all: Vec<Judged> = there
        .map(|watch| (watch, format!("{WATCH}{}", watch.id)))
        .filter(|(_, id)| wanted(id))
        .map(|(watch, id)| {
            let verdicts = match reach.spoilt(&reach.watch(watch)) {
                Some(spoilt) => vec![spoilt],
                None => watches::watched(reach.line, watch, memo),
            };
            let sentence = watches::sentence(watch);
            Judged::new(id, watch.must, watch.source.clone(), sentence, verdicts)
        })
        .collect();
    let lost = reach.reading.spoilt.declared().filter(|path| {
        path.starts_with(WATCH) && wanted(path) && all.iter().all(|j| j.id != **path)
    });
    let lost: Vec<String> = lost.map(str::to_owned).collect();
    for path in lost {
        let spoilt = reach.spoilt(&[path.clone()].into());
        let verdict = spoilt.unwrap_or_else(|| unknown(&path, LOST_WATCH));
        let sentence = "the line can police a limit on the world".to_owned();
        let (must, source) = reach.reading.spoilt.watch(&path);
        let (must, source) = (must.unwrap_or(Must::Shall), source.map(str::to_owned));
        all.push(Judged::new(path, must, source, sentence, vec![verdict]));
    }
    all.sort_by(|a, b| a.id.cmp(&b.id));
    all
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

/// Metals that are joined, where no mistake reaches them; one that a mistake hides is told as unknown.
fn unlike_metals(reach: &Reach<'_>) -> Vec<Verdict> {
    let mut declared = reach.reading.spoilt.declared();
    let any = declared.any(|path| path.starts_with("metal."));
    match reach.spoilt(&reach.metals()) {
        Some(spoilt) if any => vec![spoilt],
        _ => metal_verdicts::unlike(reach.line),
    }
}

/// Verdicts on what the links carry, where no mistake reaches what they read.
fn carried(reach: &Reach<'_>, verdicts: Vec<Verdict>) -> Vec<Verdict> {
    unless_spoilt(verdicts, reach.spoilt(&reach.load()))
}

/// Noise or full scale of hydrophones, as far as it is known; unknown where a mistake reaches what it reads.
fn chains(
    reach: &Reach<'_>,
    parts: &Parts,
    verdicts: impl FnOnce() -> Vec<Verdict>,
) -> Vec<Verdict> {
    // What a mistake hides may be what would be known, so that it is told as unknown wherever there is a detector.
    let mut declared = reach.reading.spoilt.declared();
    let detects = declared.any(|path| path.starts_with("detector."));
    match reach.spoilt(parts).filter(|_| detects) {
        Some(spoilt) => vec![spoilt],
        None => verdicts(),
    }
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
fn comes_back(reach: &Reach<'_>, helps: Option<&Memo>) -> Vec<Verdict> {
    let verdicts = dawn_verdicts::comes_back(reach.line, helps);
    let reached = &reach.reading.spoilt;
    let mut batteries = reached.batteries();
    let wrong = |path: &str| reached.of(path).is_some();
    match reach.spoilt(&reach.energy()) {
        // A supply that a mistake hides may have a battery that would not hold it.
        Some(spoilt) if verdicts.is_empty() && batteries.any(wrong) => vec![spoilt],
        spoilt => unless_spoilt(verdicts, spoilt),
    }
}

/// Whether the line carries its modules while they boot; unknown where a mistake reaches any of the network.
fn boots_carried(reach: &Reach<'_>, helps: Option<&Memo>) -> Vec<Verdict> {
    let Some(spoilt) = reach.spoilt(&reach.electric()) else {
        return match helps {
            Some(memo) => boot_verdicts::boots_carried_with_help(reach.line, memo),
            None => boot_verdicts::boots_carried(reach.line),
        };
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
    let reached = &reach.reading.spoilt;
    let asked = || !power_verdicts::left_to_the_check(line).is_empty();
    let mut supplies = reached.declared().filter(|p| p.starts_with("supply."));
    let wrong = |path: &str| reached.of(path).is_some();
    match reach.spoilt(&reach.electric()) {
        Some(spoilt) if verdicts.is_empty() && asked() && supplies.any(wrong) => vec![spoilt],
        spoilt => unless_spoilt(verdicts, spoilt),
    }
}
