//! Files that values of a plan name: weather, recordings, learned models, cue sheets.

use std::io;
use std::path::Path;

use crate::fetch::{Fetch, LARGEST_MODEL, LARGEST_TEMPLATE, LARGEST_WEATHER, load_up_to};
use crate::folder::stays_inside;
use crate::line::{Line, That, WeatherText};
use crate::mistake::{Code, Mistake, Mistakes};
use crate::read::Fields;
use crate::site::Sources;

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
