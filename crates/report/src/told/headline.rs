//! What happened, in one row each: all that begins a story of its own.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use plan::{CueSheet, Line, NoticeKind};
use rehearsal::{FailSafeStep, KeptBack, Record, What, above};

use super::text::clock;
use super::{asking, fail_safes, settings, streams, words};

/// How many rows alike are told one by one.
const TOLD_ALIKE: usize = 20;

/// A row for each story; of many alike the first few, and how many more there are.
pub(super) fn headlines(out: &mut String, line: &Line, cues: &CueSheet, records: &[Record]) {
    let mut alike: BTreeMap<(&'static str, usize, usize), (usize, String)> = BTreeMap::new();
    // The modules that have worked before, unless the line comes up.
    let mut has_worked = vec![true; line.modules.len()];
    for record in records {
        let words = match record.what {
            What::ComesOn => {
                for (has_worked, module) in has_worked.iter_mut().zip(&line.modules) {
                    *has_worked = module.input.is_none();
                }
                headline(line, cues, record)
            }
            What::Up { module } if !std::mem::replace(&mut has_worked[module.0], true) => {
                Some(format!("{} works", line.module_path(module)))
            }
            _ => headline(line, cues, record),
        };
        let Some(words) = words else {
            continue;
        };
        if let Some(key) = kind(&record.what) {
            let (seen, first) = alike.entry(key).or_insert((0, String::new()));
            *seen += 1;
            if *seen == 1 {
                first.clone_from(&words);
            }
            if *seen > TOLD_ALIKE {
                continue;
            }
        }
        let _ = writeln!(out, "  {}  {words}", clock(record.at.as_s_f64()));
    }
    for (seen, first) in alike.values().filter(|(seen, _)| *seen > TOLD_ALIKE) {
        let more = seen - TOLD_ALIKE;
        let _ = writeln!(out, "  ... and {more} more like \"{first}\"");
    }
}

/// What makes rows alike: what happens, and where.
fn kind(what: &What) -> Option<(&'static str, usize, usize)> {
    Some(match what {
        What::Down { module, .. } => ("down", module.0, 0),
        What::Boots { module } => ("boots", module.0, 0),
        What::Up { module } => ("up", module.0, 0),
        What::Hears { detector } => ("hears", detector.0, 0),
        What::Deaf { detector } => ("deaf", detector.0, 0),
        What::Contact {
            span,
            open,
            held_open_by: None,
        } => ("contact", span.0, usize::from(*open)),
        What::Contact { span, open, .. } => ("contact-held", span.0, usize::from(*open)),
        What::Refused {
            what: KeptBack::Input(_) | KeptBack::Answer(_),
            why,
        } => ("held-back", *why as usize, 0),
        What::Lost { module, topic, .. } => ("lost", topic.0, module.0),
        What::Joining { module, .. } => ("joining", module.0, 0),
        What::Streaming { stream, .. } => ("streaming", stream.0, 0),
        What::FailSafe { output, what } => {
            let step = match what {
                FailSafeStep::RunsOut { .. } => "fail-safe",
                FailSafeStep::Withholds => "fail-safe-withholds",
                FailSafeStep::Over => "fail-safe-over",
            };
            (step, output.module.0, output.output)
        }
        What::Asking {
            request, module, ..
        } => ("asking", request.0, module.0),
        What::Posted { module, topic, .. } => ("posted", topic.0, module.0),
        What::Collapsed { modules, .. } => {
            let first = modules.first().map_or(0, |m| m.0);
            ("collapsed", first, modules.len())
        }
        What::Set { detector, .. } => ("set", detector.0, 0),
        _ => return None,
    })
}

/// What begins a story of its own: arrivals, faults, modules going down and coming up, losses.
fn headline(line: &Line, cues: &CueSheet, record: &Record) -> Option<String> {
    Some(match &record.what {
        What::Arrives {
            sensor,
            sound,
            repeat,
            closest_range_m,
            level_db_re_1upa,
        } => {
            // Of a train of like sounds the first is enough.
            if *repeat > 0 {
                return None;
            }
            let heard = above(line, cues, *sound, *sensor).map_or_else(String::new, |above| {
                format!(
                    "; that is of all up to {:.0} Hz, and it hears up to {:.0} Hz",
                    above.high_hz, above.audible_hz
                )
            });
            format!(
                "sound.{} reaches {}: {} away at the closest, {level_db_re_1upa:.1} dB re 1 uPa as it begins{heard}",
                cues.sounds[sound.0].id,
                line.sensor_path(*sensor),
                quantity::show(*closest_range_m, quantity::Dimension::Length),
            )
        }
        What::FaultBegins { fault } => words::fault(line, cues, *fault),
        What::FaultEnds { fault } => format!("fault.{} is over", cues.faults[*fault].id),
        What::Contact {
            span,
            open,
            held_open_by,
        } => {
            let does = if *open { "opens" } else { "closes" };
            let id = &line.spans[span.0].id;
            match held_open_by {
                None => format!("span.{id} {does}"),
                Some(other) => format!(
                    "the loose contact of span.{id} {does}; the span is open by fault.{}",
                    cues.faults[*other].id
                ),
            }
        }
        What::Spent { supply } => format!(
            "supply.{} is spent and gives nothing",
            line.supplies[supply.0].id
        ),
        What::BeyondBound {
            module,
            topic,
            after,
            bound,
            ..
        } => format!(
            "beyond the bound: {} to {} took {}, and no message should take more than {}: please report this as a defect of soundline",
            line.topics[topic.0].name,
            line.module_path(*module),
            words::took(after.as_s_f64()),
            words::took(bound.as_s_f64()),
        ),
        What::Down { module, voltage_v } => {
            format!("{} goes down ({voltage_v:.2} V)", line.module_path(*module))
        }
        What::OverVoltage {
            module,
            voltage_v,
            highest_v,
        } => format!(
            "{} has {voltage_v:.2} V, more than the {} that it bears: what becomes of it is not known",
            line.module_path(*module),
            quantity::show(*highest_v, quantity::Dimension::Voltage),
        ),
        What::Together { exclusive, holding } => {
            let group = &line.exclusives[*exclusive];
            format!(
                "exclusive.{}: {holding} of its members hold together, and the plan says at most {}: no verdict that rests on it stands",
                group.id, group.at_most
            )
        }
        What::Refused {
            what: KeptBack::Input(input),
            why,
        } => format!(
            "{} is held back by {}",
            words::input(cues, *input),
            words::refusal(*why)
        ),
        What::Refused {
            what: KeptBack::Answer(answer),
            why,
        } => format!(
            "{} is held back by {}",
            words::answer(cues, *answer),
            words::refusal(*why)
        ),
        What::Voted { vote, detectors } => {
            let by: Vec<String> = detectors
                .iter()
                .map(|d| format!("detector.{}", line.detectors[d.0].id))
                .collect();
            format!(
                "vote.{} is carried by {}",
                line.votes[vote.0].id,
                by.join(" and ")
            )
        }
        What::Stopped {
            behaviour,
            line: at,
            column,
            why,
        } => words::stopped(line, *behaviour, *at, *column, why),
        What::Set {
            detector,
            threshold_db,
            hold_off_s,
            restored,
        } => settings::words(line, *detector, *threshold_db, *hold_off_s, *restored),
        What::Hears { detector } => {
            format!(
                "detector.{} can hear from now on",
                line.detectors[detector.0].id
            )
        }
        What::Deaf { detector } => {
            format!(
                "detector.{} can hear no more",
                line.detectors[detector.0].id
            )
        }
        What::Boots { module } => format!("{} boots", line.module_path(*module)),
        What::Up { module } => format!("{} works again", line.module_path(*module)),
        What::Collapsed { why, modules } => words::collapse(line, why, modules),
        What::Lost {
            module, topic, why, ..
        } => {
            format!(
                "lost: {} to {} ({})",
                line.topics[topic.0].name,
                line.module_path(*module),
                words::loss(*why)
            )
        }
        What::Joining { module, what } => asking::join_words(line, *module, *what),
        What::ComesOn => "all supplies come on".to_owned(),
        What::Streaming { stream, what } => streams::step_words(line, *stream, *what),
        What::FailSafe { output, what } => fail_safes::step_words(line, *output, *what),
        What::Asking {
            request,
            module,
            what,
            content,
            ..
        } if asking::ask_told(*what) => {
            asking::ask_words(line, *request, *module, *what, content.as_deref())
        }
        What::Posted {
            module,
            topic,
            what,
            ..
        } if !matches!(what, network::NoteKind::Acknowledged) => {
            let name = &line.topics[topic.0].name;
            let said = words::posted_to(*what, &line.module_path(*module));
            format!("{name}: {said}")
        }
        What::Noticed {
            detector,
            notice: NoticeKind::Confirmed,
            ..
        } if record.root.is_none() => {
            format!(
                "detector.{} confirms something that no cue explains",
                line.detectors[detector.0].id
            )
        }
        _ => return None,
    })
}
