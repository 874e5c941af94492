//! What lies beside a plan: records of evidence, and the present digests of what they rest on.

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};

use assess::Shelf;
use assess::evidence::{AnyRecord, folder};
use assess::tuning::ShelvedTuning;
use plan::{Reading, That};

use crate::cue_digest::kept_cue_digest;
use crate::kept::Kept;
use crate::program::computed_by;
use crate::recordings;
use crate::shell::{rehearse_line, shell_word};

/// The records that lie beside the plan and count, each with its file, and what could not be read or does not count.
#[must_use]
pub fn records(path: &Path) -> (Vec<(PathBuf, AnyRecord)>, Vec<String>) {
    kept_records(path, &Kept::default())
}

fn kept_records(path: &Path, kept: &Kept) -> (Vec<(PathBuf, AnyRecord)>, Vec<String>) {
    kept.list(path);
    let mut warnings = Vec::new();
    let shelf = folder(path);
    let listed = std::fs::read_dir(&shelf).and_then(|entries| {
        entries
            .map(|entry| Ok(entry?.path()))
            .collect::<io::Result<Vec<PathBuf>>>()
    });
    let mut files = match listed {
        Ok(files) => files,
        // No folder, no evidence: the verdicts say so.
        Err(error) if error.kind() == io::ErrorKind::NotFound => Vec::new(),
        Err(error) => {
            warnings.push(format!(
                "{}: {error}; what lies there counts as no evidence",
                shelf.display()
            ));
            Vec::new()
        }
    };
    files.retain(|f| f.extension().is_some_and(|e| e == "json"));
    files.sort();
    let mut records = Vec::new();
    let this = computed_by();
    for file in files {
        let read = kept.record(&file, || {
            plan::from_disk(&file)
                .map_err(|e| e.to_string())
                .and_then(|bytes| String::from_utf8(bytes).map_err(|e| e.to_string()))
                .and_then(|text| AnyRecord::from_json(&text).map_err(|e| e.to_string()))
        });
        match read {
            // Sameness is promised for one version of the program and of what it computes with.
            Ok(record) if record.program() != this => warnings.push(format!(
                "{}: is of {}, and this is {this}; it counts as no evidence",
                file.display(),
                record.program()
            )),
            Ok(record) => records.push((file, record)),
            Err(why) => warnings.push(format!(
                "{}: {why}; it counts as no evidence",
                file.display()
            )),
        }
    }
    (records, warnings)
}

/// What lies beside the plan: records that can be read, and the digests of the cue sheets that requirements name. With
/// what could not be read. `watch` as of [`recordings::compared`](crate::recordings::compared); `None` where it stopped the reading.
#[must_use]
pub fn shelf(
    path: &Path,
    reading: &Reading,
    watch: &dyn Fn(u64, u64) -> bool,
) -> Option<(Shelf, Vec<String>)> {
    kept_shelf(path, reading, &Kept::default(), watch)
}

/// The same with what was read before.
#[must_use]
pub fn kept_shelf(
    path: &Path,
    reading: &Reading,
    kept: &Kept,
    watch: &dyn Fn(u64, u64) -> bool,
) -> Option<(Shelf, Vec<String>)> {
    shelf_of(path, reading, kept_records(path, kept), (kept, watch))
}

/// The same without any record, whatever lies beside the plan.
#[must_use]
pub fn shelf_without_records(path: &Path, reading: &Reading) -> (Shelf, Vec<String>) {
    let none = (Vec::new(), Vec::new());
    shelf_of(path, reading, none, (&Kept::default(), &|_, _| true))
        .expect("nothing is read that could be stopped")
}

/// The same with these records and what is said of others.
fn shelf_of(
    path: &Path,
    reading: &Reading,
    (all, mut warnings): (Vec<(PathBuf, AnyRecord)>, Vec<String>),
    (kept, watch): (&Kept, &dyn Fn(u64, u64) -> bool),
) -> Option<(Shelf, Vec<String>)> {
    let go_on = || watch(0, 0);
    let beside = path.parent().unwrap_or(Path::new(""));
    let mut records = Vec::new();
    let mut injections = Vec::new();
    let mut draws = Vec::new();
    let mut asked = Vec::new();
    for (file, record) in all {
        match record {
            AnyRecord::Rehearsal(record) => records.push(record),
            AnyRecord::Injection(record) => injections.push(record),
            AnyRecord::Draws(record) => draws.push(record),
            AnyRecord::Tuning(tuning) if asks_tuning(reading, &tuning.detector) => {
                asked.push((tuning, file));
            }
            // Nobody asks, so its recordings need not be read.
            AnyRecord::Tuning(_) => {}
        }
    }
    let of_each: Vec<_> = asked.iter().map(|(t, _)| &t.recordings[..]).collect();
    let recordings = asked.iter().flat_map(|(t, _)| &t.recordings);
    recordings.for_each(|r| kept.look_at(&beside.join(&r.file)));
    let (compared, fault) = recordings::compared(path, &of_each, watch)?;
    warnings.extend(fault);
    let tunings = asked
        .into_iter()
        .zip(compared)
        .map(|((tuning, file), compared)| ShelvedTuning {
            tuning,
            file: file.display().to_string(),
            changed: compared.changed,
            unread: compared.unread,
        })
        .collect();
    let mut cues = BTreeMap::new();
    let mut commands = BTreeMap::new();
    let mut labels = BTreeMap::new();
    let requirements = reading.line.iter().flat_map(|l| &l.requirements);
    for requirement in requirements {
        if let That::Recall { labels: name, .. } | That::FalseAlarms { labels: name, .. } =
            &requirement.that
        {
            let file = beside.join(name);
            kept.look_at(&file);
            let digest =
                plan::lies_beside(path, &file).and_then(|()| kept.content_digest(&file, &go_on));
            let digest = digest.transpose()?;
            let digest = digest
                .map(|digest| plan::hex(&digest))
                .map_err(|error| format!("the labels {name} cannot be read: {error}"));
            labels.insert(name.clone(), digest);
        }
        if let That::Rehearsed { cues: name, .. } = &requirement.that {
            let file = beside.join(name);
            let fetch = |wanted: &Path| {
                kept.look_at(wanted);
                plan::from_folder_of(path)(wanted)
            };
            let read = plan::read_cues(&file, reading, &fetch);
            let digest = match (&read.cues, read.mistakes.iter().find(|m| m.is_error())) {
                (Some(_), None) => kept_cue_digest(&read, kept, &go_on)?,
                (_, Some(m)) => Err(format!(
                    "the cue sheet has mistakes, the first: {}",
                    m.message
                )),
                (None, None) => Err("the cue sheet cannot be read against this plan".to_owned()),
            };
            cues.insert(name.clone(), digest);
            commands.insert(name.clone(), rehearse_line(path, &file));
        }
    }
    let shelf = Shelf {
        injections,
        range_command: Some(format!("soundline range {}", shell_word(path))),
        records,
        draws,
        certainty_command: Some(format!("soundline check {} --certainty", shell_word(path))),
        tunings,
        labels,
        cues,
        commands,
    };
    Some((shelf, warnings))
}

/// Whether a requirement asks what a detector finds, or how often it cries wolf.
fn asks_tuning(reading: &Reading, detector: &str) -> bool {
    reading.line.iter().any(|line| {
        let mut asked = line.requirements.iter().filter_map(|r| match r.that {
            That::Recall { of, .. } | That::FalseAlarms { of, .. } => Some(of),
            _ => None,
        });
        asked.any(|of| line.detectors[of.0].id == detector)
    })
}
