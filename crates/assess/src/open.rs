//! What the plan has and no verdict answers yet, so that nobody takes a plan that is met for a plan that is safe.

use plan::{Depths, Line, Position, Spread, SupplyKind, That};
use quantity::{Dimension, show};

use crate::chain_verdicts::{noise_open, overload_open};
use crate::input::all_waves;
use crate::memo::Memo;
use crate::mooring_verdicts::bed_as_written;
use crate::processor_verdicts::detectors_of;
use crate::unchecked::unchecked;

/// What stays open although every requirement may be met, the weightiest first; `spreads` are the values written with one.
pub(crate) fn open(line: &Line, spreads: &[Spread], memo: &Memo) -> Vec<String> {
    let mut all = Vec::new();
    for (s, supply) in line.supplies.iter().enumerate() {
        match supply.kind {
            SupplyKind::SolarBattery if judged(line, s) => {}
            SupplyKind::SolarBattery => all.push(format!(
                "supply.{}: whether panels and battery carry the load through the deployment and its darkest month: a requirement on `outage-hours` or `lowest-charge` asks it",
                supply.id
            )),
            SupplyKind::PrimaryCells if judged(line, s) => {}
            SupplyKind::PrimaryCells => all.push(format!(
                "supply.{}: how long its cells last: a requirement on `cell-life` asks it",
                supply.id
            )),
            SupplyKind::Bench | SupplyKind::Vessel | SupplyKind::Shore => {}
        }
    }
    all.extend(flat(line));
    all.extend(crate::ship::open(line));
    let starts = |r: &plan::Requirement| matches!(r.that, That::StartUp { .. });
    if !line.supplies.is_empty() && !line.requirements.iter().any(starts) {
        all.push("start-up in time: capacitors that charge through the line, lock-outs, and which module wakes first: a requirement on `start-up` asks it".to_owned());
    }
    let far = |r: &plan::Requirement| matches!(r.that, That::CollapseFactor { .. });
    if line.spans.iter().any(|s| s.conductor.is_some()) && !line.requirements.iter().any(far) {
        all.push("how far the line is from its collapse, near which every voltage may still be within its limits: a requirement on `collapse-factor` asks it, and `soundline reserve` shows it".to_owned());
    }
    let shorts = |r: &plan::Requirement| matches!(r.that, That::ShortCircuit { .. });
    if line.spans.iter().any(|s| s.fuse_a.is_some()) && !line.requirements.iter().any(shorts) {
        all.push("whether a short behind each fuse draws enough to melt it: a requirement on `short-circuit` asks it".to_owned());
    }
    let lives = |r: &plan::Requirement| matches!(r.that, That::ContactLife { .. });
    let mated = |s: &plan::Span| {
        s.conductor.is_some() && s.contacts.is_some_and(|c| c.mated_pins_in_loop > 0)
    };
    if line.spans.iter().any(mated) && !line.requirements.iter().any(lives) {
        all.push("how long the pins of its contacts last that a leak through the insulation eats: a requirement on `contact-life` asks it, and `soundline faults` shows what a reading on the quay must be".to_owned());
    }
    let unsaid = crate::pick_up_verdicts::unsaid(line);
    if !unsaid.is_empty() {
        all.push(format!(
            "what converters and writes to cards put into the chain of {}: `pick_up` of the sensor is not written (a recording with a dummy element, `soundline measure --dummy`, tells it as `shown`)",
            unsaid.join(", ")
        ));
    }
    let anodes = |r: &plan::Requirement| matches!(r.that, That::AnodeLife { .. });
    if !line.metals.is_empty() && !line.requirements.iter().any(anodes) {
        all.push("how long anodes protect what of metal is in the water: a requirement on `anode-life` asks it".to_owned());
    }
    let gives = |r: &plan::Requirement| matches!(r.that, That::AnodeCurrent { .. });
    if !line.anodes.is_empty() && !line.requirements.iter().any(gives) {
        all.push("whether anodes can give at once what metal takes, by their form: a requirement on `anode-current` asks it".to_owned());
    }
    let fails = |r: &plan::Requirement| {
        matches!(
            r.that,
            That::SingleFailure { .. } | That::TimeToNotice { .. } | That::FailSafe { .. }
        )
    };
    if !line.supplies.is_empty()
        && !line.detectors.is_empty()
        && !line.requirements.iter().any(fails)
    {
        all.push("what falls silent when one span, module or supply fails, and whether the shore takes that for a quiet sea: requirements on `single-failure`, `time-to-notice` and `fail-safe` ask it, and `soundline failures` shows it".to_owned());
    }
    let waits = |r: &plan::Requirement| matches!(r.that, That::UplinkWait { .. });
    if !line.uplinks.is_empty() && !line.requirements.iter().any(waits) {
        all.push("how late messages are ashore in the stormiest month: a requirement on `uplink-wait` asks it, and `soundline uplink` shows it by month".to_owned());
    }
    let clocks = |r: &plan::Requirement| matches!(r.that, That::ClockError { .. });
    if line.time_sync.is_some() && !line.requirements.iter().any(clocks) {
        all.push(
            "how far clocks are off although they are set: a requirement on `clock-error` asks it"
                .to_owned(),
        );
    }
    let losses = |r: &plan::Requirement| matches!(r.that, That::MessageLoss { .. });
    if crate::loss_verdicts::some_rate(line) && !line.requirements.iter().any(losses) {
        all.push(
            "how many messages bit errors lose: a requirement on `message-loss` asks it".to_owned(),
        );
    }
    let silent: Vec<String> = (0..line.modules.len())
        .map(plan::ModuleIx)
        .filter(|m| line.modules[m.0].processor.is_none() && !detectors_of(line, *m).is_empty())
        .map(|m| line.module_path(m))
        .collect();
    if !silent.is_empty() {
        all.push(format!(
            "whether the processors keep up with their detectors, and what these draw: a `processor` of the module says what it can do: {}",
            silent.join(", ")
        ));
    }
    let ranges = |r: &plan::Requirement| matches!(r.that, That::DetectionRange { .. });
    if !line.detectors.is_empty() && !line.requirements.iter().any(ranges) {
        all.push("how far each hydrophone hears, in which wind: a requirement on `detection-range` asks it, and `soundline range` shows it for a call of the plan".to_owned());
    }
    let hears = |r: &plan::Requirement| {
        matches!(
            r.that,
            That::ListeningShare { .. } | That::ListeningGap { .. }
        )
    };
    if !line.detectors.is_empty() && !line.requirements.iter().any(hears) {
        all.push("for how much of the time each hydrophone hears, and not only has power: starts, waves and heave that clip its chain, the strum of its rope: a requirement on `listening-share` or `listening-gap` asks it, and `soundline hours` shows it".to_owned());
    }
    let silent = noise_open(line, memo);
    if !silent.is_empty() && !line.requirements.iter().any(asks_noise) {
        all.push(format!(
            "whether the noise of the chain lies below what its detectors listen for, which needs `self_noise`, and `wind` and `shipping` of the site: {}; `soundline chain` shows what is known",
            silent.join(", ")
        ));
    }
    let peaks = |r: &plan::Requirement| matches!(r.that, That::Overload { .. });
    let unheld = overload_open(line, memo);
    if !unheld.is_empty() && !line.requirements.iter().any(peaks) {
        all.push(format!(
            "how far full scale lies above the sea and the thresholds: {}; `soundline chain` shows what is known",
            unheld.join("; ")
        ));
    }
    let clipped = crate::hours_verdicts::clipped_open(line);
    if !clipped.is_empty() {
        all.push(format!(
            "what waves and heave clip, as `overload` is of sound alone: {}; a requirement on `heave-overload` asks it",
            clipped.join(", ")
        ));
    }
    let untried = untried(line);
    if !untried.is_empty() {
        let which = if untried.len() == line.detectors.len() {
            "each detector".to_owned()
        } else {
            untried.join(", ")
        };
        all.push(format!("how often {which} is wrong in real noise: `soundline tune` holds it against labelled recordings"));
    }
    let hangs = |wanted: fn(&That) -> bool| line.requirements.iter().any(|r| wanted(&r.that));
    if !line.sections.is_empty() {
        let unasked: Vec<&str> = [
            (
                "`module-depth`",
                hangs(|t| matches!(t, That::ModuleDepth { .. })),
            ),
            (
                "`line-tension`",
                hangs(|t| matches!(t, That::LineTension { .. })),
            ),
            (
                "`anchor-load`",
                hangs(|t| matches!(t, That::AnchorLoad { .. })),
            ),
            (
                "`housing-margin`",
                hangs(|t| matches!(t, That::HousingMargin { .. })),
            ),
            (
                "`watch-circle`",
                hangs(|t| matches!(t, That::WatchCircle { .. })),
            ),
        ]
        .into_iter()
        .filter_map(|(kind, asked)| (!asked).then_some(kind))
        .collect();
        if !unasked.is_empty() {
            all.push(format!(
                "where the line hangs in the water current and what it pulls: requirements on {} ask it, and `soundline mooring` shows it",
                unasked.join(", ")
            ));
        }
        let unsaid = line.sections.iter().filter(|s| {
            let rope = s.rope.as_ref();
            rope.and_then(|r| r.working_load_n.or(r.breaking_load_n))
                .is_none()
        });
        let unsaid: Vec<String> = unsaid.map(|s| format!("section.{}", s.id)).collect();
        if !unsaid.is_empty() {
            all.push(format!(
                "whether ropes bear what pulls on them: neither `working_load` nor `breaking_load` of its rope is written: {}",
                unsaid.join(", ")
            ));
        }
        all.extend(anchors_unsaid(line));
        all.extend(bed_unasked(line));
        if !all_waves(line).is_empty() {
            all.push("how much harder the water that waves move past ropes, floats and housings pulls on them: tensions at crests and troughs are those of a line at rest under a raised or lowered surface".to_owned());
        }
        let straight =
            !matches!(&line.depths, Depths::Hung { straight, .. } if straight.is_empty());
        if straight {
            all.push("what the shape of the line does to sound, temperatures and delays: there modules on a line without a shape count at the depths of sections that hang straight down, without water current, wind, waves or stretch".to_owned());
        }
    } else if line
        .modules
        .iter()
        .any(|m| matches!(m.position, Position::Depth(q) if q.si > 0.0))
    {
        all.push("what holds the modules at their depth: the plan has no sections".to_owned());
    }
    all.extend(unchecked(line));
    all.extend(undrawn(spreads));
    all
}

/// What is written with a spread and counts at its nominal.
pub(crate) fn undrawn(spreads: &[Spread]) -> Option<String> {
    let drawn = spreads.iter().filter(|s| s.drawn_by.is_some());
    let drawn: Vec<&str> = drawn.map(|s| s.path.as_str()).collect();
    (!drawn.is_empty()).then(|| {
        format!(
            "how surely the requirements are met: here every value counts at its nominal, and `soundline check --certainty` draws what is written with a spread: {}",
            drawn.join(", ")
        )
    })
}

/// Detectors of which the requirements do not ask both how much they find and how often they cry wolf.
fn untried(line: &Line) -> Vec<String> {
    let asked = |ix: usize| {
        let all = || line.requirements.iter().map(|r| &r.that);
        all().any(|that| matches!(that, That::Recall { of, .. } if of.0 == ix))
            && all().any(|that| matches!(that, That::FalseAlarms { of, .. } if of.0 == ix))
    };
    let detectors = line.detectors.iter().enumerate();
    detectors
        .filter(|(ix, _)| !asked(*ix))
        .map(|(_, detector)| format!("detector.{}", detector.id))
        .collect()
}

fn asks_noise(r: &plan::Requirement) -> bool {
    matches!(r.that, That::SelfNoise { .. })
}

/// Solar batteries of which the requirements do not ask both whether they wake from flat and how often they fall again at dawn.
fn flat(line: &Line) -> Option<String> {
    let asked = |s: usize| {
        let of = |of: &Option<plan::SupplyIx>| of.is_none_or(|o| o.0 == s);
        let all = || line.requirements.iter().map(|r| &r.that);
        all().any(|t| matches!(t, That::WakesFromFlat { of: o } if of(o)))
            && all().any(|t| matches!(t, That::DawnRestarts { of: o, .. } if of(o)))
    };
    let supplies = line.supplies.iter().enumerate();
    let left: Vec<String> = supplies
        .filter(|(s, supply)| supply.kind == SupplyKind::SolarBattery && !asked(*s))
        .map(|(_, supply)| format!("supply.{}", supply.id))
        .collect();
    (!left.is_empty()).then(|| {
        format!(
            "whether {} comes back by itself once it has run empty, and stays: requirements on `wakes-from-flat` and `dawn-restarts` ask it",
            left.join(", ")
        )
    })
}

/// Whether some requirement asks for the year of a supply, or for the life of its cells.
fn judged(line: &Line, supply: usize) -> bool {
    line.requirements.iter().any(|r| {
        let (of, kind) = match &r.that {
            That::OutageHours { of, .. } | That::LowestCharge { of, .. } => {
                (of, SupplyKind::SolarBattery)
            }
            That::CellLife { of, .. } => (of, SupplyKind::PrimaryCells),
            _ => return false,
        };
        line.supplies[supply].kind == kind && of.is_none_or(|s| s.0 == supply)
    })
}

/// Anchors of lines of which the plan says neither weight nor holding: no check asks whether they hold.
fn anchors_unsaid(line: &Line) -> Option<String> {
    let ends = |a: usize| {
        let ends = |s: &plan::Section| [s.from, s.to].contains(&plan::SectionEnd::Anchor(a));
        line.sections.iter().any(ends)
    };
    let all = line.anchors.iter().enumerate();
    let unsaid = all.filter(|(a, anchor)| {
        anchor.weight_in_water_n.is_none() && anchor.holding_n.is_none() && ends(*a)
    });
    let unsaid: Vec<String> = unsaid.map(|(_, a)| format!("anchor.{}", a.id)).collect();
    (!unsaid.is_empty()).then(|| {
        format!(
            "whether anchors hold what pulls on them: neither `weight_in_water` nor `holding` is written: {}",
            unsaid.join(", ")
        )
    })
}

/// Housings on lines that do not bear the bed, where no requirement asks for it.
fn bed_unasked(line: &Line) -> Option<String> {
    let asks = |r: &plan::Requirement| matches!(r.that, That::HousingMargin { .. });
    if line.requirements.iter().any(asks) {
        return None;
    }
    let (bed_m, ..) = bed_as_written(line).ok()?;
    let hangs = |m: &&plan::Module| !matches!(m.position, Position::Depth(_));
    let shallow = line.modules.iter().filter(hangs).filter_map(|m| {
        let rated_m = m.housing.as_ref()?.rated_depth_m?.si;
        (rated_m < bed_m).then(|| format!("module.{} ({})", m.id, show(rated_m, Dimension::Length)))
    });
    let shallow: Vec<String> = shallow.collect();
    (!shallow.is_empty()).then(|| {
        format!(
            "whether housings bear the bed, {} deep, on which they fall when they come off: these are rated for less: {}; a requirement on `housing-margin` asks it",
            show(bed_m, Dimension::Length),
            shallow.join(", ")
        )
    })
}
