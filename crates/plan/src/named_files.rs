//! Files that values of a plan name: weather, recordings, learned models, cue sheets.

use std::io;
use std::path::Path;
use std::sync::Arc;

use routine::{Handler, Program};

use crate::fetch::{
    Fetch, LARGEST_MODEL, LARGEST_ROUTINE, LARGEST_TEMPLATE, LARGEST_WEATHER, load_up_to,
};
use crate::folder::stays_inside;
use crate::line::{Action, BehaviourIx, BoundTo, Line, Routine, That, WeatherText, When};
use crate::mistake::{Code, Mistake, Mistakes};
use crate::read::Fields;
use crate::site::{FileId, Site, Sources};

/// The weather file that a site names, if it can be read.
pub(crate) fn weather(
    fields: &Fields,
    folder: &Path,
    sources: &mut Sources,
    mistakes: &mut Mistakes,
    fetch: &Fetch<'_>,
) -> Option<WeatherText> {
    let (site, _) = fields.table("site")?;
    let (path, at) = site.text("weather")?;
    if !stays_inside(Path::new(path)) {
        mistakes.push(
            Mistake::error(
                Code::OutsideFolder,
                at,
                "weather files stay under the plan's folder",
            )
            .label("leads out of it")
            .part("site"),
        );
        return None;
    }
    let mut own = Mistakes::default();
    let path_of = folder.join(path);
    let (file, readable) = load_up_to(
        LARGEST_WEATHER,
        &path_of,
        sources,
        &mut own,
        fetch,
        Some(at),
    );
    for mistake in own.into_sorted() {
        mistakes.push(mistake.part("site"));
    }
    readable.then(|| WeatherText {
        path: path.clone(),
        text: sources.get(file).text.clone(),
        at,
    })
}

/// Fetches the recordings that stages of detectors and calls name, and the learned models.
pub(crate) fn templates(
    line: &mut Line,
    folder: &Path,
    mistakes: &mut Mistakes,
    fetch: &Fetch<'_>,
) {
    const OF_TEMPLATE: (usize, &str) = (
        LARGEST_TEMPLATE,
        "a template holds one call of some seconds; cut it out of the recording",
    );
    const OF_MODEL: (usize, &str) = (
        LARGEST_MODEL,
        "a detector rests on a small model; is this the right file?",
    );
    let of_detectors = line.detectors.iter_mut().flat_map(|detector| {
        let part = format!("detector.{}", detector.id);
        let stages = detector.stages.iter_mut();
        stages.filter_map(move |stage| {
            let largest = if stage.is_learned() {
                OF_MODEL
            } else {
                OF_TEMPLATE
            };
            Some((stage.template_mut()?, part.clone(), largest))
        })
    });
    let of_calls = line.calls.iter_mut().filter_map(|call| {
        let part = format!("call.{}", call.id);
        call.recording
            .as_mut()
            .map(|template| (template, part, OF_TEMPLATE))
    });
    for (template, part, (largest, too_large)) in of_detectors.chain(of_calls) {
        let path = folder.join(&template.path);
        let wrong = match fetch(&path) {
            Ok(bytes) if bytes.len() > largest => (
                Code::TooLarge,
                format!(
                    "{} is larger than {} MiB",
                    path.display(),
                    largest / 1024 / 1024
                ),
                too_large,
            ),
            Ok(bytes) => {
                template.bytes = Some(bytes.into());
                continue;
            }
            Err(error) => (
                Code::Unreadable,
                format!("cannot read {}: {error}", path.display()),
                "check the name and that it may be read",
            ),
        };
        let (code, message, help) = wrong;
        mistakes.push(
            Mistake::error(code, template.at, message)
                .label("this file")
                .help(help)
                .part(part),
        );
    }
}

/// Takes what was read of such files from a line of the same plan: recordings, learned models and routines.
pub(crate) fn take_files(line: &mut Line, read: &Line) {
    for (detector, of) in line.detectors.iter_mut().zip(&read.detectors) {
        for (stage, of) in detector.stages.iter_mut().zip(&of.stages) {
            if let (Some(template), Some(of)) = (stage.template_mut(), of.template()) {
                template.bytes.clone_from(&of.bytes);
            }
        }
    }
    for (call, of) in line.calls.iter_mut().zip(&read.calls) {
        if let (Some(template), Some(of)) = (&mut call.recording, &of.recording) {
            template.bytes.clone_from(&of.bytes);
        }
    }
    for (behaviour, of) in line.behaviours.iter_mut().zip(&read.behaviours) {
        behaviour.routine.clone_from(&of.routine);
    }
}

/// Reads the routines that behaviours name, and tells what is wrong with them before they run.
pub(crate) fn routines(
    line: &mut Line,
    folder: &Path,
    sources: &mut Sources,
    mistakes: &mut Mistakes,
    fetch: &Fetch<'_>,
) {
    let mut done: Vec<(String, Option<Arc<Routine>>)> = Vec::new();
    for b in 0..line.behaviours.len() {
        let id = line.behaviours[b].id.clone();
        let Some(routine) = line.behaviours[b].routine.clone() else {
            continue;
        };
        let part = format!("behaviour.{id}");
        let known = done.iter().find(|(of, _)| *of == id);
        let read = match known {
            Some((_, read)) => read.clone(),
            None => {
                let mut own = Mistakes::default();
                let path = folder.join(&routine.file);
                let asked = Some(routine.at);
                let largest = LARGEST_ROUTINE;
                let (file, readable) = load_up_to(largest, &path, sources, &mut own, fetch, asked);
                let text: Arc<str> = sources.get(file).text.as_str().into();
                let mut read = (*routine).clone();
                if readable {
                    for mistake in faults(line, BehaviourIx(b), &read, file, &text) {
                        own.push(mistake);
                    }
                    read.text = Some(text.clone());
                    if let Some(program) = handlers(line, BehaviourIx(b), Some(&read)) {
                        for mistake in warnings(line, &id, (&read, &program), file, &text) {
                            own.push(mistake);
                        }
                    }
                }
                for mistake in own.into_sorted() {
                    mistakes.push(mistake.part(part.clone()));
                }
                let read = readable.then(|| Arc::new(read));
                done.push((id.clone(), read.clone()));
                read
            }
        };
        if let (Some(read), Some(program)) =
            (&read, handlers(line, BehaviourIx(b), read.as_deref()))
        {
            let Some(wanted) = started(&line.behaviours[b].when) else {
                continue;
            };
            if !program.has(wanted) {
                mistakes.push(
                    Mistake::error(
                        Code::MissingKey,
                        read.at,
                        format!("the routine has no function `{}`", wanted.word()),
                    )
                    .label("this file")
                    .help(format!("write `fn {}` in it", wanted.example()))
                    .part(part.clone()),
                );
            }
        }
        if let Some(read) = read {
            line.behaviours[b].routine = Some(read);
        }
    }
}

/// The handler that something starts.
fn started(when: &When) -> Option<Handler> {
    Some(match when {
        When::Heard { .. } => Handler::Heard,
        When::Told { .. } => Handler::Told,
        When::Voted { .. } => Handler::Voted,
        When::Each { .. } => Handler::Each,
        When::Asked { .. } => Handler::Asked,
        When::Answered { .. } => Handler::Answered,
        // No routine is started by it.
        When::Unanswered { .. } => return None,
    })
}

/// What may be meant otherwise: comparisons that always come out the same, handlers that nothing starts, settings that are never used.
fn warnings(
    line: &Line,
    behaviour: &str,
    (routine, program): (&Routine, &Program),
    file: FileId,
    text: &str,
) -> Vec<Mistake> {
    let mut told: Vec<Mistake> = program
        .warnings()
        .iter()
        .map(|fault| {
            let site = fault.line.map_or(routine.at, |line| {
                word_at(file, text, line, fault.column.unwrap_or(1))
            });
            let mut warning = Mistake::warning(Code::Routine, site, &fault.message).label("here");
            warning.help.clone_from(&fault.help);
            warning
        })
        .collect();
    // A text may serve several behaviours, each with some of its handlers.
    let of_text = || {
        let named = |b: &&crate::line::Behaviour| {
            let of = b.routine.as_ref();
            of.is_some_and(|r| r.file == routine.file)
        };
        line.behaviours.iter().filter(named)
    };
    for handler in Handler::ALL {
        let starts = of_text().any(|b| started(&b.when) == Some(handler));
        if !program.has(handler) || starts || program.calls(handler) {
            continue;
        }
        let word = handler.word();
        told.push(
            Mistake::warning(
                Code::Routine,
                routine.at,
                format!("nothing starts `{word}` of the routine"),
            )
            .label("this file")
            .help(format!(
                "write `{word} = ...` in behaviour.{behaviour}, or remove the function"
            )),
        );
    }
    for name in program.unused_settings() {
        told.push(
            Mistake::warning(
                Code::Routine,
                routine.at,
                format!("the routine never uses `{name}` of its `settings`"),
            )
            .label("this file")
            .help("use it in the routine, or remove it"),
        );
    }
    told
}

fn handlers(line: &Line, behaviour: BehaviourIx, read: Option<&Routine>) -> Option<Program> {
    let read = read?;
    Program::new(read.text.as_deref()?, &read.binding(line, behaviour)).ok()
}

/// What is wrong with a routine's text, each at its place in its file, and what it can do that its `do` does not allow.
fn faults(
    line: &Line,
    behaviour: BehaviourIx,
    routine: &Routine,
    file: FileId,
    text: &str,
) -> Vec<Mistake> {
    let program = match Program::new(text, &routine.binding(line, behaviour)) {
        Ok(program) => program,
        Err(faults) => {
            let told = faults.into_iter().map(|fault| {
                let site = match (fault.line, fault.column) {
                    (Some(line), column) => word_at(file, text, line, column.unwrap_or(1)),
                    (None, _) => routine.at,
                };
                let mut mistake = Mistake::error(Code::Routine, site, fault.message).label("here");
                mistake.help = fault.help;
                mistake
            });
            return told.collect();
        }
    };
    let allowed = &line.behaviours[behaviour.0].actions;
    let mut missing = Vec::new();
    let bound = |number: usize| routine.names[number].1;
    for number in program.publishes() {
        let BoundTo::Topic(topic) = bound(number) else {
            continue;
        };
        let fits = |a: &Action| matches!(a, Action::Publish { topic: t, .. } if *t == topic);
        if !allowed.iter().any(fits) {
            let name = &line.topics[topic.0].name;
            missing.push((
                format!("publishes {name}"),
                format!("{{ publish = \"{name}\" }}"),
            ));
        }
    }
    for number in program.asks() {
        let BoundTo::Request(request) = bound(number) else {
            continue;
        };
        let fits = |a: &Action| matches!(a, Action::Ask { request: q, .. } if *q == request);
        if !allowed.iter().any(fits) {
            let path = format!("request.{}", line.requests[request.0].id);
            missing.push((format!("asks {path}"), format!("{{ ask = \"{path}\" }}")));
        }
    }
    let answers = |a: &Action| matches!(a, Action::Answer { .. });
    if program.answers() && !allowed.iter().any(answers) {
        missing.push((
            "answers a request".to_owned(),
            "{ answer = \"request.ID\" }".to_owned(),
        ));
    }
    for (uplink, topic) in program.sends_up() {
        let (BoundTo::Uplink(uplink), BoundTo::Topic(topic)) = (bound(uplink), bound(topic)) else {
            continue;
        };
        let fits = |a: &Action| matches!(a, Action::SendUp { uplink: u, topic: t, .. } if *u == uplink && *t == topic);
        if !allowed.iter().any(fits) {
            let name = &line.topics[topic.0].name;
            let path = format!("uplink.{}", line.uplinks[uplink.0].id);
            missing.push((
                format!("sends {name} up {path}"),
                format!("{{ send_up = \"{path}\", about = \"{name}\" }}"),
            ));
        }
    }
    for (output, on) in program.switches() {
        let BoundTo::Output(output) = bound(output) else {
            continue;
        };
        let fits = |a: &Action| matches!(a, Action::Switch { output: o, on: to, .. } if *o == output && *to == on);
        if !allowed.iter().any(fits) {
            let path = line.output_path(output);
            let to = if on { "on" } else { "off" };
            missing.push((
                format!("switches {path} {to}"),
                format!("{{ switch = \"{path}\", to = \"{to}\" }}"),
            ));
        }
    }
    for number in program.sets() {
        let BoundTo::Detector(detector) = bound(number) else {
            continue;
        };
        let fits = |a: &Action| matches!(a, Action::Set { detector: d, .. } if *d == detector);
        if !allowed.iter().any(fits) {
            let path = format!("detector.{}", line.detectors[detector.0].id);
            missing.push((format!("sets {path}"), format!("{{ set = \"{path}\" }}")));
        }
    }
    for state in program.enters() {
        let BoundTo::State(state) = bound(state) else {
            continue;
        };
        let fits = |a: &Action| matches!(a, Action::Enter { state: s, .. } if *s == state);
        if !allowed.iter().any(fits) {
            missing.push((
                "enters a state".to_owned(),
                "{ enter = \"STATE\", for = \"10 s\" }".to_owned(),
            ));
        }
    }
    let missing = missing.into_iter().map(|(does, add)| {
        Mistake::error(
            Code::Routine,
            routine.at,
            format!("the routine {does}, and `do` does not allow it"),
        )
        .label("this file")
        .help(format!(
            "add {add} to `do`, which says the most that one run does"
        ))
    });
    missing.collect()
}

/// The word, or the character, at a line and column.
fn word_at(file: FileId, text: &str, line: usize, column: usize) -> Site {
    let mut begins = 0;
    for _ in 1..line {
        match text[begins..].find('\n') {
            Some(end) => begins += end + 1,
            None => return Site::new(file, text.len()..text.len()),
        }
    }
    let line_text = text[begins..].lines().next().unwrap_or("");
    let before: usize = line_text.chars().take(column - 1).map(char::len_utf8).sum();
    let rest = &line_text[before..];
    let is_word = |c: char| c.is_alphanumeric() || c == '_';
    let word: usize = rest
        .chars()
        .take_while(|c| is_word(*c))
        .map(char::len_utf8)
        .sum();
    let length = word.max(rest.chars().next().map_or(0, char::len_utf8));
    Site::new(file, begins + before..begins + before + length)
}

/// Warns of cue sheets that requirements name and that are not there: they may still be written.
pub(crate) fn cue_sheets(
    line: Option<&Line>,
    folder: &Path,
    mistakes: &mut Mistakes,
    fetch: &Fetch<'_>,
) {
    for requirement in line.iter().flat_map(|l| &l.requirements) {
        let That::Rehearsed { cues, at } = &requirement.that else {
            continue;
        };
        let Err(error) = fetch(&folder.join(cues)) else {
            continue;
        };
        let message = match error.kind() {
            io::ErrorKind::NotFound => format!("there is no cue sheet `{cues}` yet"),
            _ => format!("the cue sheet `{cues}` cannot be read: {error}"),
        };
        mistakes.push(
            Mistake::warning(Code::Unreadable, *at, message)
                .label("this file")
                .help(
                    "write it, or mend its name; until it is rehearsed this requirement is unknown",
                )
                .part(format!("requirement.{}", requirement.id)),
        );
    }
}
