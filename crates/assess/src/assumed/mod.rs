//! Values that count although the plan does not write them.

mod electric;
mod hung;
mod sound;

use plan::{Action, Line, Requirement, That, Unwritten};

use crate::input::{MONTH_DAYS, sooner_share, unsaid_waves};

pub(crate) use sound::beyond_profile;

/// Values that count in the verdicts although the plan does not write them, those with most leverage first.
pub(crate) fn assumed(line: &Line) -> Vec<String> {
    let mut all = Vec::new();
    if !line.supplies.is_empty() {
        electric::conductors(line, &mut all);
        electric::power(line, &mut all);
    }
    hung::hung(line, &mut all);
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
    }
    let without = links().filter(silent).count();
    if without > 0 {
        let of = match (without, links().any(|l| l.bit_error_rate.is_some())) {
            (n, true) => format!("{n} more"),
            (1, false) => "the one link".to_owned(),
            (n, false) => format!("{n} links"),
        };
        all.push(format!(
            "no bit errors on {of}, because no `bit_error_rate` is written there"
        ));
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
    slips(line, &mut all);
    for s in line.storages.iter().filter(|s| s.keep_free.is_none()) {
        all.push(format!("storage.{} may be filled to the last byte", s.id));
    }
    for s in line.storages.iter().filter(|s| s.drop.is_none()) {
        all.push(format!(
            "storage.{} takes nothing more when it is full, because no `drop` is written",
            s.id
        ));
    }
    for s in &line.storages {
        let logged = s.logs.as_ref();
        let left_out = [
            ("event", logged.and_then(|l| l.event_bytes)),
            ("message", logged.and_then(|l| l.message_bytes)),
            ("line", logged.and_then(|l| l.line_bytes)),
        ];
        let left_out = left_out.iter().filter(|(_, bytes)| bytes.is_none());
        let left_out: Vec<String> = left_out.map(|(key, _)| format!("`{key}`")).collect();
        if !left_out.is_empty() {
            all.push(format!(
                "storage.{} logs nothing of what its `logs` does not write: {}",
                s.id,
                left_out.join(", ")
            ));
        }
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
    sound::propagation(line, &mut all);
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
    of(
        &plain,
        "plain strands, because `conductor` does not end with the word tinned",
    );
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
    for (what, paths) in &line.unwritten {
        let paths = match what {
            Unwritten::BandOrder => &filters,
            // Wind counts on buoys alone.
            Unwritten::NoWind if line.modules.iter().all(|m| m.hull.is_none()) => continue,
            // Those of the site are told with the design cases.
            Unwritten::NoWave if unsaid_waves(line).is_some() => continue,
            _ => paths,
        };
        if let Some(sentence) = counts(*what) {
            of(paths, sentence);
        }
    }
    let costs = line
        .requirements
        .iter()
        .filter(|r| matches!(r.that, That::UplinkCost { .. }));
    let costs: Vec<String> = costs.map(|r| format!("requirement.{}", r.id)).collect();
    of(
        &costs,
        &format!("a cost counts over {MONTH_DAYS:.0} d, because a limit on it says no time"),
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

/// What counts in place of what is not written, in words; `None` for what is told with its figure.
fn counts(what: Unwritten) -> Option<&'static str> {
    Some(match what {
        Unwritten::Slack => return None,
        Unwritten::BandOrder => "filters of the order 4, because no order of the band is written",
        Unwritten::Confirm => {
            "confirmed as soon as the shortest length is reached, because no `confirm` is written"
        }
        Unwritten::Priority => "priority 1, because none is written",
        Unwritten::Remembers => {
            "a receiver tells 64 messages of a publisher apart, because no `remembers` is written"
        }
        Unwritten::Numbering => {
            "the size holds the number of a message and its publisher's count of starts, by which a receiver tells a repeat, because no `numbering` is written"
        }
        Unwritten::Starts => "off at start, because no `starts` is written",
        Unwritten::Must => "binding as a `shall`, because no `must` is written",
        Unwritten::SlackWater => "slack water, because the case writes no `current`",
        Unwritten::WaterLevel => {
            "the water is as deep as the site says, because the case writes no `water_level`"
        }
        Unwritten::NoWind => "no wind, because the case writes no `wind`",
        Unwritten::NoWave => "no waves, because the case writes no `wave`",
        Unwritten::NoStrum => "no rope strums, because the case writes no `strum`",
        Unwritten::Burst => "packets of a stream come singly, because no `burst` is written",
        Unwritten::Adds => "a message goes up as it is, because no `adds` is written",
        Unwritten::TemperatureStep => {
            "a clock keeps its drift as the water warms and cools, because no `temperature_step` is written"
        }
    })
}

/// Ships that are never late, because the plan does not say by how much they may be.
fn slips(line: &Line, all: &mut Vec<String>) {
    let of = &line.deployment;
    if of.start.is_some() && of.start_slip_s.is_none() {
        all.push("the start is on the day: the plan writes no start_slip".to_owned());
    }
    if of.recovery_slip_s.is_none() {
        all.push("the recovery is on the day: the plan writes no recovery_slip".to_owned());
    }
}
