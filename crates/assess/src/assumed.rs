//! Values that count although the plan does not write them.

use plan::{Action, Bottom, LiesIn, Line, Paths, Requirement, SpanIx, That, Unwritten};

use crate::input::{BED_BOUNCES, FAINTEST_DB, MONTH_DAYS, MOST_RAYS, electric, sooner_share};

/// Values that count in the verdicts although the plan does not write them, those with most leverage first.
pub(crate) fn assumed(line: &Line) -> Vec<String> {
    let mut all = Vec::new();
    if !line.supplies.is_empty() {
        conductors(line, &mut all);
    }
    let unwritten = |what: Unwritten| line.unwritten.get(&what).map_or(&[][..], Vec::as_slice);
    for s in line.spans.iter().filter(|s| s.written_length_m.is_none()) {
        let path = format!("span.{}", s.id);
        let slack = if unwritten(Unwritten::Slack).contains(&path) {
            "without slack"
        } else {
            "and its slack"
        };
        all.push(format!(
            "{path} is {:.2} m long: the distance along the sections {slack}",
            s.length_m
        ));
    }
    for m in line.modules.iter().filter(|m| m.passes.is_none()) {
        all.push(format!(
            "module.{} always passes power on, as a plain joint does, and messages while it runs",
            m.id
        ));
    }
    for m in &line.modules {
        if let Some(input) = m
            .input
            .as_ref()
            .filter(|i| i.efficiency.is_none() && i.efficiency_at.is_empty())
        {
            let loss = match input.standing_w {
                None => ", and it has no loss of its own",
                Some(_) => "",
            };
            all.push(format!(
                "the loads of module.{} are what it draws at its input: no converter stands before them{loss}",
                m.id
            ));
        }
    }
    // Of a line with a shape the shape says where what is over lies.
    let hung = matches!(&line.depths, plan::Depths::Hung { straight, .. } if straight.is_empty());
    for section in line.sections.iter().filter(|_| !hung) {
        if let Some(excess_m) = line.excess_m(section).filter(|m| *m > 0.0) {
            all.push(format!(
                "section.{} is {excess_m:.2} m longer than the water between its ends: places on it count from its upper end, and what is over lies on the seabed",
                section.id
            ));
        }
    }
    let with_paths = || {
        let own = line.spans.iter();
        let own = own.filter_map(|s| Some((format!("span.{}", s.id), s.link.as_ref()?)));
        let shared = line.buses.iter();
        own.chain(shared.map(|b| (format!("bus.{}", b.id), &b.link)))
    };
    let links = || with_paths().map(|(_, link)| link);
    if links().any(|l| l.standard == "line-of-sight") {
        all.push("a radio in line of sight loses no message while both ends work, and each direction has its own time or channel".to_owned());
    }
    if links().any(|l| !matches!(l.standard.as_str(), "acoustic" | "line-of-sight")) {
        all.push("signals travel 5 ns a metre along a span (common practice)".to_owned());
    }
    if links().any(|l| l.standard == "acoustic") {
        all.push("sound travels at 1490 m/s along an acoustic link".to_owned());
    }
    let can = |l: &plan::Link| l.standard.starts_with("CAN");
    if let Some(sync) = &line.time_sync {
        all.push(format!(
            "a clock is set by each exchange as soon as its answer is there, and that of {} is right",
            line.module_path(sync.master)
        ));
    }
    if line.streams.iter().any(|s| s.in_state.is_none()) {
        all.push("streams of which no `in_state` says otherwise send at their rate as long as their module works".to_owned());
    }
    if !line.streams.is_empty() {
        all.push(
            "a stream for which `check` has no room does not run, in a rehearsal as well"
                .to_owned(),
        );
    }
    let silent = |l: &&plan::Link| l.bit_error_rate.is_none();
    if links().any(|l| l.bit_error_rate.is_some()) {
        all.push("bit errors hit each bit by itself, none of requests and answers that carry nothing, and delays are those of messages that none hits".to_owned());
        if links().any(|l| can(l) && l.bit_error_rate.is_some()) {
            let told = |l: &plan::Link| can(l) && l.errors_apart_s.is_none();
            let left_out = match links().any(told) {
                true => {
                    ", and bounds of delay leave out the time of that where no `errors_apart` says how often"
                }
                false => "",
            };
            all.push(format!("CAN loses no message to bit errors as long as no controller leaves its bus: controllers send again what was hit{left_out}"));
        }
        let without = links().filter(silent).count();
        if without > 0 {
            all.push(format!(
                "no bit errors on {without} more, because no `bit_error_rate` is written there"
            ));
        }
    }
    for (path, link) in with_paths() {
        if let Some(apart) = link.errors_apart_s {
            let sooner = sooner_share(link).filter(|share| *share > 0.0);
            let sooner = sooner.map_or_else(String::new, |share| {
                format!(
                    "; by its `bit_error_rate` {} % of them come sooner while it is in use",
                    quantity::show_number(100.0 * share)
                )
            });
            all.push(format!(
                "two bit errors on {path} are at least {} apart, as its `errors_apart` says: bounds of delay rest on that, and a rehearsal, which draws errors by `bit_error_rate` or a fault, does not{sooner}",
                quantity::show(apart.si, quantity::Dimension::Time)
            ));
        }
    }
    if links().any(|l| l.polled_by.is_some()) {
        all.push(
            "a module that asks others on a link asks them in turn without pause, and carries messages both ways in what it asks and is answered (common practice)"
                .to_owned(),
        );
    }
    if links().any(|l| l.standard == "10BASE-T1S") {
        all.push(
            "stations of 10BASE-T1S take turns: its collision avoidance is switched on".to_owned(),
        );
    }
    if let Some(measured) = &line.sea.loss_measured
        && measured.nearest_m.is_none()
    {
        all.push(match measured.known {
            Some(_) => "the law in `loss_measured` was measured from 1 m on: `nearest` is not written".to_owned(),
            None => "the law in `loss_measured` was measured from 1 m on, and begins there with 0 dB: neither `nearest` nor `at` and `loss` are written".to_owned(),
        });
    }
    for u in line.uplinks.iter().filter(|u| u.windows.is_none()) {
        all.push(format!("uplink.{} can be reached at any time", u.id));
    }
    let starts = |r: &Requirement| matches!(r.that, That::StartUp { .. });
    if line.requirements.iter().any(starts) {
        all.push("at the start all supplies come on at once at their full voltage, every capacitor is empty, and a module that is off draws nothing".to_owned());
        let bare = line
            .modules
            .iter()
            .filter(|m| m.input.as_ref().is_some_and(|i| i.lock_out.is_none()));
        let bare: Vec<String> = bare.map(|m| format!("module.{}", m.id)).collect();
        if !bare.is_empty() {
            all.push(format!(
                "without a `lock_out` a converter below its lowest voltage draws at the start like a resistor that takes the boot power there: {}",
                bare.join(", ")
            ));
        }
    }
    let again = |t: &&plan::Topic| t.retry.is_some() || t.keep.is_some() || t.retained;
    let again: Vec<String> = line
        .topics
        .iter()
        .filter(again)
        .map(|t| format!("\"{}\"", t.name))
        .collect();
    if !again.is_empty() {
        all.push(format!(
            "loads and delays are those of an unbroken line, with each message sent once and acknowledged once where it is delivered at least once: what is sent again, kept or held, and what goes at once after a break, is in no bound: {}",
            again.join(", ")
        ));
    }
    if let Some(joining) = line.joining {
        let whom = if joining.to_all {
            "all others"
        } else {
            "subscribers"
        };
        all.push(format!(
            "joining notices go to {whom} after a restart, and are in no bound"
        ));
    }
    if !line.requests.is_empty() {
        all.push("who is asked answers at once: no time to think is counted".to_owned());
    }
    let delays = |r: &Requirement| matches!(r.that, That::Delay { .. });
    if line.requirements.iter().any(delays) {
        all.push("delays are those of a sound that begins outside a hold-off, with the background known, and of messages that every `at_most` lets pass".to_owned());
    }
    let whole_time = |r: &Requirement| {
        matches!(
            r.that,
            That::StorageTime {
                at_least_s: None,
                ..
            }
        )
    };
    if line.deployment.recovery_slip_s.is_none() && line.requirements.iter().any(whole_time) {
        all.push("the recovery is on the day: the plan writes no recovery_slip".to_owned());
    }
    for s in line.storages.iter().filter(|s| s.keep_free.is_none()) {
        all.push(format!("storage.{} may be filled to the last byte", s.id));
    }
    for s in line.storages.iter().filter(|s| s.drop.is_none()) {
        all.push(format!(
            "storage.{} takes nothing more when it is full, because no `drop` is written",
            s.id
        ));
    }
    for u in line.uplinks.iter().filter(|u| !u.success_by.is_empty()) {
        all.push(format!(
            "uplink.{} succeeds as often as in the mean sea of its roughest month, because what is above the mean is not counted",
            u.id
        ));
    }
    for u in line.uplinks.iter().filter(|u| u.bills_failed.is_none()) {
        if let Some(words) = crate::input::failed_attempts_words(u) {
            all.push(format!("uplink.{}: {words}", u.id));
        }
    }
    for (ix, u) in line.uplinks.iter().enumerate() {
        // Requirements on the wait tell it themselves.
        let asked = |r: &Requirement| matches!(r.that, That::UplinkWait { of, .. } if of.0 == ix);
        if u.sea.is_some() && !line.requirements.iter().any(asked) {
            all.extend(crate::uplink_wait::assumed(line, plan::UplinkIx(ix)));
        }
    }
    for v in line.votes.iter().filter(|v| v.within_s.is_none()) {
        all.push(format!(
            "vote.{}: its detectors agree within the straight way between their modules, hanging straight, at the lowest sound speed of the profile, and one value of each; clocks agree exactly",
            v.id
        ));
    }
    for d in &line.detectors {
        let has = |wanted: fn(&plan::Stage) -> bool| d.stages.iter().any(wanted);
        let by_windows = has(|s| {
            matches!(
                s,
                plan::Stage::Level { hop_s: None, .. }
                    | plan::Stage::Learned { hop_s: None, .. }
                    | plan::Stage::Spectrogram { hop_s: None, .. }
            )
        });
        if by_windows {
            all.push(format!(
                "detector.{}: level cells follow each other by a quarter of the window",
                d.id
            ));
        }
        if has(|s| matches!(s, plan::Stage::Matched { hop_s: None, .. })) {
            all.push(format!(
                "detector.{}: levels of the matched filter follow each other by an eighth of its recording",
                d.id
            ));
        }
    }
    propagation(line, &mut all);
    let mut of = |paths: &[String], sentence: &str| {
        if !paths.is_empty() {
            all.push(format!("{sentence}: {}", paths.join(", ")));
        }
    };
    let plain = |s: &&plan::Span| {
        matches!(
            s.conductor,
            Some(quantity::Conductor::Stranded { tinned: false, .. })
        )
    };
    let plain: Vec<String> = line
        .spans
        .iter()
        .filter(plain)
        .map(|s| format!("span.{}", s.id))
        .collect();
    of(&plain, "plain strands, because `tinned` is not written");
    // Before a spectrogram a band does no filtering.
    let in_frames = |path: &&String| {
        line.detectors.iter().any(|d| {
            let frames = |s: &plan::Stage| matches!(s, plan::Stage::Spectrogram { .. });
            path.strip_prefix("detector.") == Some(&*d.id) && d.stages.iter().any(frames)
        })
    };
    let filters: Vec<String> = unwritten(Unwritten::BandOrder)
        .iter()
        .filter(|path| !in_frames(path))
        .cloned()
        .collect();
    of(
        &filters,
        "filters of the order 4, because no order of the band is written",
    );
    of(
        unwritten(Unwritten::Confirm),
        "confirmed as soon as the shortest length is reached, because no `confirm` is written",
    );
    of(
        unwritten(Unwritten::Priority),
        "priority 1, because none is written",
    );
    of(
        unwritten(Unwritten::Remembers),
        "a receiver tells 64 messages of a publisher apart, because no `remembers` is written",
    );
    of(
        unwritten(Unwritten::Numbering),
        "the size holds the number of a message and its publisher's count of starts, by which a receiver tells a repeat, because no `numbering` is written",
    );
    of(
        unwritten(Unwritten::Starts),
        "off at start, because no `starts` is written",
    );
    let costs = line
        .requirements
        .iter()
        .filter(|r| matches!(r.that, That::UplinkCost { .. }));
    let costs: Vec<String> = costs.map(|r| format!("requirement.{}", r.id)).collect();
    of(
        &costs,
        &format!("a cost counts over {MONTH_DAYS:.0} d, because a limit on it says no time"),
    );
    of(
        unwritten(Unwritten::Must),
        "binding as a `shall`, because no `must` is written",
    );
    let uplinks = |wanted: fn(&plan::Uplink) -> bool| -> Vec<String> {
        let wanted = line.uplinks.iter().filter(|u| wanted(u));
        wanted.map(|u| format!("uplink.{}", u.id)).collect()
    };
    of(
        &uplinks(|u| u.expiry_s.is_none()),
        "a message is never given up, because no `expiry` is written",
    );
    of(
        &uplinks(|u| u.sending_state.is_none()),
        "sending changes no load, because no `sending_state` is written",
    );
    let mut routines: Vec<String> = line
        .behaviours
        .iter()
        .filter(|b| b.routine.is_some())
        .map(|b| format!("behaviour.{}", b.id))
        .collect();
    routines.dedup();
    of(
        &routines,
        "every run of its routine does all that its `do` allows, because what a routine does is known only when it runs",
    );
    let for_good: Vec<String> = line
        .behaviours
        .iter()
        .filter(|b| {
            let mut actions = b.actions.iter();
            actions.any(|a| matches!(a, Action::Switch { for_s: None, .. }))
        })
        .map(|b| format!("behaviour.{}", b.id))
        .collect();
    of(
        &for_good,
        "an output is switched for good, because no `for` is written",
    );
    let chains = |wanted: fn(&plan::Chain) -> bool| -> Vec<String> {
        let sensors = line.modules.iter().flat_map(|m| {
            let sensors = m.sensors.iter();
            sensors.map(|s| (format!("module.{}.sensor.{}", m.id, s.id), s))
        });
        sensors
            .filter(|(_, s)| s.chain.as_ref().is_some_and(wanted))
            .map(|(path, _)| path)
            .collect()
    };
    of(
        &chains(|c| c.self_noise.is_empty() && c.amplifier_noise_v_rthz.is_none()),
        "no noise of its own, because no `self_noise` is written",
    );
    of(
        &chains(|c| c.self_noise.is_empty() && c.amplifier_noise_v_rthz.is_some()),
        "a sensor that adds no noise to that of its amplifier, because no `self_noise` is written",
    );
    of(
        &chains(|c| c.effective_bits.is_none()),
        "a converter that makes no noise but its steps, because no `effective_bits` is written",
    );
    of(
        &chains(|c| c.high_pass.is_none()),
        "no high-pass before the converter, because none is written",
    );
    all
}

/// Which ways sound takes, where the plan leaves it open.
fn propagation(line: &Line, all: &mut Vec<String>) {
    if line.detectors.is_empty() {
        return;
    }
    let sea = &line.sea;
    match sea.paths {
        None => all.push(
            "sound comes by the straight way alone with the loss of `spreading`: no echo, no shadow, because no `paths` is written".to_owned(),
        ),
        Some(Paths::Rays) => {
            let wanted = &sea.rays;
            let mut limits = Vec::new();
            if wanted.bottom_bounces.is_none() {
                limits.push(format!("at most {BED_BOUNCES} bounces from the bed"));
            }
            if wanted.faintest.is_none() {
                limits.push(format!("down to {FAINTEST_DB:.0} dB below the loudest"));
            }
            if wanted.most.is_none() {
                limits.push(format!("at most {MOST_RAYS} from a sound to a hydrophone"));
            }
            if !limits.is_empty() {
                all.push(format!("rays are followed {}", limits.join(", ")));
            }
            all.extend(beyond_profile(line));
            if matches!(sea.bottom, Some(Bottom::Loss { .. })) {
                all.push("a bounce from the bed does not change the phase, because `bottom` is a loss alone".to_owned());
            }
        }
        Some(Paths::Simple | Paths::SurfaceImage) => {}
    }
}

/// How the water profile is carried on to surface and bed, where its points end before.
pub(crate) fn beyond_profile(line: &Line) -> Option<String> {
    let depths_m = || line.sea.profile.iter().map(|p| p.depth_m.si);
    let first_m = depths_m().reduce(f64::min)?;
    let last_m = depths_m().reduce(f64::max)?;
    let bed_m = line.sea.water_depth_m.si;
    let above = (first_m > 0.0).then(|| format!("begins at {first_m} m"));
    let below = (last_m < bed_m).then(|| format!("ends at {last_m} m of {bed_m} m"));
    let parts: Vec<String> = above.into_iter().chain(below).collect();
    (!parts.is_empty()).then(|| {
        format!(
            "the profile {}: beyond, temperature and salinity are held as at its end and pressure alone changes the sound speed, so rays that go there are doubtful",
            parts.join(" and ")
        )
    })
}

/// How warm the conductors of each span are taken to be, and in what.
fn conductors(line: &Line, all: &mut Vec<String>) {
    let highest =
        "conductors have the highest resistance that IEC 60228 permits (AWG: solid copper)";
    let wired = line.spans.iter().enumerate();
    let (warmed, cold): (Vec<_>, Vec<_>) = wired
        .filter(|(_, s)| s.conductor.is_some())
        .partition(|(_, s)| s.heat.is_some());
    if warmed.is_empty() {
        all.push(format!(
            "{highest}, at the water temperature of their mean depth"
        ));
        return;
    }
    all.push(highest.to_owned());
    if !cold.is_empty() {
        let cold = cold.iter().map(|(_, s)| format!("span.{}", s.id));
        all.push(format!(
            "conductors of spans without `heat` are at the water temperature of their mean depth: {}",
            cold.collect::<Vec<_>>().join(", ")
        ));
    }
    // What the plan says that cannot be is told where it is judged.
    let electric = electric(line).ok();
    let told = warmed.iter().map(|(i, span)| {
        let lies_in = match span.heat.as_ref().map(|heat| heat.lies_in) {
            Some(LiesIn::Water) => "in the water",
            Some(LiesIn::Sediment { .. }) => "in sediment",
            Some(LiesIn::Air) => "in the air of the warmest month",
            None => "",
        };
        match electric.as_ref().and_then(|e| e.warm(SpanIx(*i))) {
            Some(warm) => format!(
                "span.{} at {:.1} degC {lies_in}",
                span.id, warm.conductor_degc
            ),
            None => format!("span.{} {lies_in}, how warm is unknown", span.id),
        }
    });
    all.push(format!(
        "conductors are as warm in every state as the largest loads make them at most, in steady state and still water: {}",
        told.collect::<Vec<_>>().join(", ")
    ));
}
