//! A rehearsal for people: what was expected, what each sound led to, and when.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use assess::depths_told;
use assess::input::arithmetic;
use plan::{CueSheet, Line, NoticeKind, OutputIx, SensorIx, SoundIx};
use rehearsal::{Above, KeptBack, Outcome, Record, RecordId, RoutineLog, What, above};

use super::came::what_came;
use super::depths::depths_text;
use super::headline::headlines;
use super::{asking, content, fail_safes, settings, streams, words};

/// Events of one detector from one sound that are told step by step.
const TOLD_ALIKE: usize = 3;
/// Steps of one chain that are told one by one.
const TOLD_STEPS: usize = 200;
/// Characters of a logged line that are told.
const LOGGED_CHARACTERS: usize = 100;

/// Expectations, the chain of each sound with every time in between, faults, voltages, messages.
///
/// `records` are those of the rehearsal in their order; the crossings of spans may be left out.
#[must_use]
pub fn rehearsal_text(
    line: &Line,
    cues: &CueSheet,
    outcome: &Outcome,
    records: &[Record],
) -> String {
    let mut out = String::new();
    let passed = outcome.expectations.iter().filter(|e| e.passed).count();
    let _ = writeln!(out, "{} on {}", cues.name, line.deployment.name);
    let _ = writeln!(
        out,
        "{:.0} s rehearsed, seed {}, wind {} m/s, {} contacts, {} arithmetic",
        outcome.duration_s,
        cues.seed,
        cues.wind_m_s.si,
        if cues.contacts_aged { "aged" } else { "new" },
        arithmetic(line),
    );
    depths_text(&mut out, depths_told(line).as_ref());
    let _ = writeln!(
        out,
        "\nExpected: {passed} of {} seen",
        outcome.expectations.len()
    );
    let widest = outcome
        .expectations
        .iter()
        .map(|e| e.id.len())
        .max()
        .unwrap_or(0);
    for e in &outcome.expectations {
        let verdict = if e.passed { "ok  " } else { "FAIL" };
        let _ = writeln!(out, "  {verdict}  {:widest$}  {}", e.id, e.said);
    }
    let _ = writeln!(out, "\nWhat happened");
    for above in never_heard(line, cues) {
        let _ = writeln!(out, "  {above}");
    }
    headlines(&mut out, line, cues, records);
    chains(&mut out, line, cues, records);
    what_came(&mut out, line, cues, outcome);
    totals(&mut out, line, outcome);
    out
}

/// Sounds of which a hydrophone with a detector hears nothing, since its rate is too low.
fn never_heard(line: &Line, cues: &CueSheet) -> Vec<Above> {
    let sensors: BTreeSet<SensorIx> = line.detectors.iter().map(|d| d.on).collect();
    let sounds = (0..cues.sounds.len()).map(SoundIx);
    sounds
        .flat_map(|sound| {
            let all = sensors
                .iter()
                .filter_map(move |s| above(line, cues, sound, *s));
            all.filter(Above::wholly).collect::<Vec<_>>()
        })
        .collect()
}

pub(super) fn clock(at_s: f64) -> String {
    let minutes = (at_s / 60.0).floor();
    format!("{minutes:3.0}:{:06.3}", at_s - 60.0 * minutes)
}

/// For each confirmed event, every step from the sound to the outputs and the shore.
fn chains(out: &mut String, line: &Line, cues: &CueSheet, records: &[Record]) {
    let mut children: BTreeMap<RecordId, Vec<&Record>> = BTreeMap::new();
    for record in records {
        if let Some(parent) = record.parent {
            children.entry(parent).or_default().push(record);
        }
    }
    let confirmed = records.iter().filter(|r| {
        matches!(
            r.what,
            What::Noticed {
                notice: NoticeKind::Confirmed,
                ..
            }
        )
    });
    let mut any = false;
    let mut alike: BTreeMap<(usize, Option<usize>), usize> = BTreeMap::new();
    for record in confirmed {
        let What::Noticed {
            detector, event, ..
        } = &record.what
        else {
            continue;
        };
        if !std::mem::replace(&mut any, true) {
            let _ = writeln!(
                out,
                "\nFrom the sound to what it led to (seconds since its beginning reached the hydrophone)"
            );
        }
        let seen = alike
            .entry((detector.0, record.root.map(|r| r.sound.0)))
            .or_insert(0);
        *seen += 1;
        if *seen > TOLD_ALIKE {
            continue;
        }
        let zero_s = record.root.map_or(record.at, |r| r.heard_at).as_s_f64();
        let sound = match record.root {
            Some(root) => format!("sound.{}", cues.sounds[root.sound.0].id),
            None => "something that no cue explains".to_owned(),
        };
        let _ = writeln!(
            out,
            "  {}  {sound} at {}",
            clock(zero_s),
            line.sensor_path(line.detectors[detector.0].on),
        );
        let _ = writeln!(
            out,
            "    {:>12.6}  detector.{} confirms event {event}",
            record.at.as_s_f64() - zero_s,
            line.detectors[detector.0].id,
        );
        let mut steps = descend(&children, record.id);
        steps.sort_by_key(|r| r.id);
        let mut told = steps
            .iter()
            .filter_map(|step| Some((step, step_words(line, step, records)?)));
        for (step, words) in told.by_ref().take(TOLD_STEPS) {
            let _ = writeln!(out, "    {:>12.6}  {words}", step.at.as_s_f64() - zero_s);
        }
        let more = told.count();
        if more > 0 {
            let _ = writeln!(
                out,
                "    ... and {more} further steps: `--trace FILE` has all of them"
            );
        }
    }
    for ((detector, sound), seen) in alike.into_iter().filter(|(_, seen)| *seen > TOLD_ALIKE) {
        let of = sound.map_or("sounds that no cue explains".to_owned(), |s| {
            format!("sound.{}", cues.sounds[s].id)
        });
        let _ = writeln!(
            out,
            "  ... and {} further events of detector.{} from {of}",
            seen - TOLD_ALIKE,
            line.detectors[detector].id
        );
    }
}

/// All that a record led to, in no particular order.
fn descend<'r>(children: &BTreeMap<RecordId, Vec<&'r Record>>, from: RecordId) -> Vec<&'r Record> {
    let mut steps: Vec<&Record> = children.get(&from).into_iter().flatten().copied().collect();
    let mut next = 0;
    while let Some(step) = steps.get(next) {
        steps.extend(children.get(&step.id).into_iter().flatten());
        next += 1;
    }
    steps
}

/// Since when an output is as it is at a record that lets it stay so.
fn since(records: &[Record], record: &Record, output: OutputIx) -> Option<f64> {
    let switched = |r: &&Record| matches!(r.what, What::Switched { output: o, .. } if o == output);
    let mut before = records.iter().rev().skip_while(|r| r.id >= record.id);
    let last = before.find(switched)?;
    Some(last.at.as_s_f64())
}

fn step_words(line: &Line, record: &Record, records: &[Record]) -> Option<String> {
    Some(match &record.what {
        What::Event { detector, event } => format!(
            "the event is over: peak {:.1} {}, {:.1} dB above what it was held against",
            event.peak_level_db,
            words::level_unit(line, *detector),
            event.score_db
        ),
        What::Dropped { reason, .. } => format!("dropped: {}", words::dropped(*reason)),
        What::Started { behaviour } => {
            format!("behaviour.{} starts", line.behaviours[behaviour.0].id)
        }
        What::Refused {
            what: KeptBack::Behaviour(behaviour),
            why,
        } => {
            format!(
                "behaviour.{} is held back by {}",
                line.behaviours[behaviour.0].id,
                words::refusal(*why)
            )
        }
        What::Published {
            module,
            topic,
            content,
            ..
        } => {
            format!(
                "{} publishes {}{}",
                line.module_path(*module),
                line.topics[topic.0].name,
                content::words(&line.topics[topic.0], content.as_deref())
            )
        }
        What::Crossed {
            over, to, answer, ..
        } => {
            let what = if *answer { "acknowledgement " } else { "" };
            let to = line.module_path(*to);
            format!("{what}over {} to {to}", over.path(line))
        }
        What::Posted { module, what, .. } => words::posted_to(*what, &line.module_path(*module)),
        What::Asking {
            request,
            module,
            what,
            content,
            ..
        } => asking::ask_words(line, *request, *module, *what, content.as_deref()),
        What::Joining { module, what } => asking::join_words(line, *module, *what),
        What::ComesOn => "all supplies come on".to_owned(),
        What::Streaming { stream, what } => streams::step_words(line, *stream, *what),
        What::FailSafe { output, what } => fail_safes::step_words(line, *output, *what),
        What::Set {
            detector,
            threshold_db,
            hold_off_s,
            restored,
        } => settings::words(line, *detector, *threshold_db, *hold_off_s, *restored),
        What::Delivered { module, topic, .. } => {
            format!(
                "{} is told {}",
                line.module_path(*module),
                line.topics[topic.0].name
            )
        }
        What::Lost { module, why, .. } => format!(
            "lost on the way to {}: {}",
            line.module_path(*module),
            words::loss(*why)
        ),
        What::Switched { output, on } => {
            format!("{} goes {}", line.output_path(*output), words::on_off(*on))
        }
        What::Stays { output, on } => {
            let since = since(records, record, *output).map_or_else(String::new, |s| {
                format!(", as since {}", clock(s).trim_start())
            });
            format!(
                "{} stays {}{since}",
                line.output_path(*output),
                words::on_off(*on)
            )
        }
        What::Entered { module, state } => {
            format!(
                "{} enters `{}`",
                line.module_path(*module),
                line.modules[module.0].loads[*state].state
            )
        }
        What::Queued { uplink, bytes, .. } => {
            format!("uplink.{} queues {bytes} bytes", line.uplinks[uplink.0].id)
        }
        What::Attempt {
            uplink, attempt, ..
        } => format!(
            "uplink.{} tries (attempt {attempt})",
            line.uplinks[uplink.0].id
        ),
        What::Failed {
            uplink, attempt, ..
        } => format!(
            "uplink.{}: attempt {attempt} fails",
            line.uplinks[uplink.0].id
        ),
        What::Sent { uplink, billed, .. } => format!(
            "ashore by uplink.{}, {billed} billed",
            line.uplinks[uplink.0].id
        ),
        What::Expired { uplink, .. } => {
            format!("given up by uplink.{}: too old", line.uplinks[uplink.0].id)
        }
        What::NoRoom { uplink, .. } => format!(
            "dropped by uplink.{}: too many wait",
            line.uplinks[uplink.0].id
        ),
        What::CapReached { uplink, billed } => format!(
            "uplink.{} has billed {billed} messages: the cap of the month is reached",
            line.uplinks[uplink.0].id
        ),
        What::StoreDrops { storage, what, .. } => format!(
            "storage.{} is full: its {} go",
            line.storages[storage.0].id,
            match what {
                plan::Droppable::Logs => "logs",
                plan::Droppable::OldestRecordings => "oldest recordings",
            }
        ),
        What::StoreFull { storage } => format!(
            "storage.{} is full and takes nothing more",
            line.storages[storage.0].id
        ),
        What::Logged { module, text } => format!("{} logs \"{text}\"", line.module_path(*module)),
        _ => return None,
    })
}

/// The last lines that a routine logged, and how many there were.
fn logged(out: &mut String, log: &RoutineLog) {
    let told = log.last.len();
    let _ = match log.lines {
        0 => return,
        lines if lines == told as u64 => {
            writeln!(out, "  it logged {}:", words::count(told, "line"))
        }
        lines => writeln!(
            out,
            "  it logged {lines} lines, the last {told} of them (`--trace FILE` has all):"
        ),
    };
    for (at, text) in &log.last {
        let plain = text.chars().map(|c| if c.is_control() { ' ' } else { c });
        let row: String = plain.clone().take(LOGGED_CHARACTERS).collect();
        let cut = match plain.count() > LOGGED_CHARACTERS {
            true => " ...",
            false => "",
        };
        let _ = writeln!(out, "  {}  {}{cut}", clock(at.as_s_f64()), row.trim_end());
    }
}

/// What bit errors cost on the buses whose stations send again what they hit, station by station.
fn buses(out: &mut String, line: &Line, outcome: &Outcome) {
    for bus in outcome.buses.iter().filter(|b| b.hit > 0) {
        let _ = writeln!(
            out,
            "{}: {} of {} sendings hit by bit errors and sent again",
            bus.over.path(line),
            bus.hit,
            bus.frames
        );
        for station in bus.stations.iter().filter(|s| s.hit > 0) {
            let left = match station.bus_offs {
                0 => String::new(),
                n => format!(", left the bus {}", words::times(n)),
            };
            let _ = writeln!(
                out,
                "  {}: {} hit, its error counter at {} at the most{left}",
                line.module_path(station.module),
                station.hit,
                station.most_errors
            );
        }
    }
}

fn totals(out: &mut String, line: &Line, outcome: &Outcome) {
    let _ = writeln!(out, "\nVoltage and energy");
    let widest = line.modules.iter().map(|m| m.id.len()).max().unwrap_or(0);
    for (i, module) in line.modules.iter().enumerate() {
        let (low, high) = outcome.voltages_v[i];
        let restarts = match outcome.restarts[i] {
            0 => String::new(),
            n => format!(", restarted {}", words::times(u64::from(n))),
        };
        let _ = writeln!(
            out,
            "  module.{:widest$}  {low:7.3} V to {high:7.3} V, {:9.3} Wh{restarts}",
            module.id,
            outcome.module_energy_j[i] / 3600.0,
        );
    }
    for (supply, j) in line.supplies.iter().zip(&outcome.supply_energy_j) {
        let _ = writeln!(out, "  supply.{} gave {:.3} Wh", supply.id, j / 3600.0);
    }
    for (sensor, clipped) in outcome.clipped.iter().filter(|(_, n)| *n > 0) {
        let _ = writeln!(
            out,
            "  {} clipped {clipped} samples",
            line.sensor_path(*sensor)
        );
    }
    for sensor in &outcome.self_noise_unknown {
        let chain = line.sensor(*sensor).chain.as_ref();
        let heard_with = match chain.and_then(|c| c.amplifier_noise_v_rthz) {
            Some(_) => "that of its amplifier and converter alone",
            None => "that of its converter alone",
        };
        let _ = writeln!(
            out,
            "  the self-noise of {} is unknown: it was heard with {heard_with}",
            line.sensor_path(*sensor)
        );
    }
    let c = outcome.copies;
    let _ = writeln!(
        out,
        "\nMessages on the line: {} copies due, {} delivered, {} lost, {} under way at the end",
        c.due, c.delivered, c.lost, c.under_way
    );
    buses(out, line, outcome);
    asking::on_terms(out, &outcome.on_terms);
    asking::totals(out, line, outcome);
    asking::acquaintances(out, line, outcome);
    let held_back = line.behaviours.iter().zip(&outcome.held_back);
    for (behaviour, n) in held_back.filter(|(_, n)| **n > 0) {
        let starts = words::count(*n as usize, "start");
        let _ = writeln!(
            out,
            "behaviour.{}: {starts} held back by its at_most",
            behaviour.id
        );
    }
    for (r, log) in outcome.routines.iter().zip(&outcome.logs) {
        let stops = match r.stops {
            0 => String::new(),
            n => format!(", stopped {}", words::times(n)),
        };
        let _ = writeln!(
            out,
            "behaviour.{}: {} runs of its routine, {:.1} % of the allowed steps at most{stops}",
            line.behaviours[r.behaviour.0].id,
            r.runs,
            100.0 * r.most_operations as f64 / routine::LIMITS.operations as f64,
        );
        logged(out, log);
    }
    settings::totals(out, line, outcome);
    for (module, off_s) in line.modules.iter().zip(&outcome.clocks_s) {
        if let Some(off_s) = off_s {
            let _ = writeln!(
                out,
                "  the clock of module.{} was off by {:.6} s at the most",
                module.id, off_s
            );
        }
    }
    for (module, why) in &outcome.clocks_never_set {
        let _ = writeln!(
            out,
            "  {} never set its clock, so that it drifted: how far off an exchange would leave it is not known: {why}",
            line.module_path(*module)
        );
    }
    for (topic, clamped) in line.topics.iter().zip(&outcome.clamped) {
        if *clamped > 0 {
            let _ = writeln!(
                out,
                "  {}: {clamped} values lay outside their field and were sent as the end of its range",
                topic.name
            );
        }
    }
    for (uplink, c) in line.uplinks.iter().zip(&outcome.uplinks) {
        let price = uplink.cost(c.billed);
        let dropped = match c.dropped {
            0 => String::new(),
            n => format!(", {n} dropped for want of room"),
        };
        let capped = match c.months_capped {
            0 => "",
            _ => "; the cap of the month was reached",
        };
        let _ = writeln!(
            out,
            "uplink.{}: {} queued, {} sent, {} given up{dropped}, {} still waiting; {} billed ({}){capped}",
            uplink.id,
            c.queued,
            c.sent,
            c.expired,
            c.waiting,
            c.billed,
            price.map_or("more than can be counted".to_owned(), |p| p.to_string()),
        );
    }
    for (storage, c) in line.storages.iter().zip(&outcome.stores) {
        let went = |bytes: f64, how: &str| match bytes {
            0.0 => String::new(),
            _ => format!(", {:.1} MB {how}", bytes / 1e6),
        };
        let _ = writeln!(
            out,
            "storage.{}: {:.1} MB in it, files: {} begun, {} closed{}{}",
            storage.id,
            c.held_bytes / 1e6,
            c.files_begun,
            c.files_closed,
            went(c.dropped_bytes, "went to make room"),
            went(c.lost_bytes, "found no room")
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A chain as long as two behaviours that answer each other make it in an hour needs no deeper stack.
    #[test]
    fn verif_a_long_chain_is_followed_to_its_end() {
        let records: Vec<Record> = (0..300_000)
            .map(|i| Record {
                id: RecordId(i),
                parent: i.checked_sub(1).map(RecordId),
                at: timeline::Ns(i),
                root: None,
                what: What::Logged {
                    module: plan::ModuleIx(0),
                    text: String::new(),
                },
            })
            .collect();
        let mut children: BTreeMap<RecordId, Vec<&Record>> = BTreeMap::new();
        for record in &records[1..] {
            let parent = record.parent.expect("all but the first have one");
            children.entry(parent).or_default().push(record);
        }
        assert_eq!(descend(&children, RecordId(0)).len(), 299_999);
        assert_eq!(descend(&children, RecordId(299_998)).len(), 1);
    }
}
