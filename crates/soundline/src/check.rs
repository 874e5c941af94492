//! `soundline check`: every requirement of a plan, met or not.

use std::collections::BTreeMap;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use assess::evidence::{AnyRecord, folder};
use assess::tuning::ShelvedTuning;
use assess::{
    Certainty, CertaintyAsk, Check, FEW_YEARS, Memo, Shelf, Tier, certainty, evidence_table,
};
use plan::{Reading, That};
use report::{
    certainty_json, certainty_text, check_json, check_text, evidence_table_json,
    evidence_table_text,
};
use serde_json::json;

use crate::cancel::Cancel;
use crate::cue_digest::cue_digest;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out, PROGRAM, computed_by};
use crate::plan_file;
use crate::recordings;
use crate::shell::{rehearse_line, shell_word};

/// Check a plan against its requirements: met, marginal, broken or unknown, with value, limit, margin and why.
///
/// Reads the evidence that rehearsals have left beside the plan. A mistake in the plan leaves what does not rest on it
/// standing, and the rest unknown.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan.
    plan: PathBuf,
    /// Count only the first of the weather years that a share of years asks for, and call provisional what rests on the others.
    #[arg(long, conflicts_with = "certainty")]
    quick: bool,
    /// Also tell for each requirement which evidence supports it: a calculation, a rehearsal, recordings, a measurement, or nothing yet.
    #[arg(long, conflicts_with = "certainty")]
    evidence: bool,
    /// Also draw every value that is written with a spread, many times, and tell how surely each requirement is met. JSON is then the
    /// document of the draws alone.
    #[arg(long)]
    certainty: bool,
    /// How many draws.
    #[arg(long, value_name = "N", default_value_t = 1000, requires = "certainty")]
    draws: usize,
    /// Seed of the draws and of their weather.
    #[arg(
        long,
        value_name = "NUMBER",
        default_value_t = 1,
        requires = "certainty"
    )]
    seed: u64,
    /// Weather years of each draw's own.
    #[arg(long, value_name = "N", default_value_t = FEW_YEARS, requires = "certainty")]
    years: u64,
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let reading = plan_file::read_and_show(&args.plan, out)?;
    let cancel = Cancel::on_ctrl_c()?;
    let bar = out.progress(0, "reading recordings that evidence names");
    let watch = |read, whole| {
        bar.set_length(whole);
        bar.set_position(read);
        !cancel.asked()
    };
    let looked = shelf(&args.plan, &reading, &watch);
    bar.finish_and_clear();
    let Some((shelf, warnings)) = looked else {
        return Ok(Exit::Cancelled);
    };
    let tier = match args.quick {
        true => Tier::Quick,
        false => Tier::Full,
    };
    let check = assess::check_with(&reading, &shelf, &Memo::new(), tier);
    match out.format {
        Format::Text => {
            for warning in &warnings {
                writeln!(out.stderr, "warning: {warning}")?;
            }
            let text = check_text(&check, out.colour);
            out.stdout.write_all(text.as_bytes())?;
            if args.evidence {
                let found = evidence_table(reading.line.as_ref(), &check);
                write!(out.stdout, "\n{}", evidence_table_text(&found, out.colour))?;
            }
            if args.certainty {
                // The verdicts need not wait for the draws.
                out.stdout.flush()?;
                let Some(found) = drawn(args, &reading, &shelf, &check, &cancel, out)? else {
                    return Ok(Exit::Cancelled);
                };
                let text = certainty_text(&found, &reading.sources, out.colour);
                write!(out.stdout, "\n{text}")?;
            }
        }
        Format::Json => {
            let mut whole = if args.certainty {
                let Some(found) = drawn(args, &reading, &shelf, &check, &cancel, out)? else {
                    return Ok(Exit::Cancelled);
                };
                out.of_plan(certainty_json(&found, &reading.sources))
            } else {
                check_json(&check, PROGRAM, &reading.mistakes, &reading.sources)
            };
            if args.evidence {
                let found = evidence_table(reading.line.as_ref(), &check);
                whole["rests_on"] = evidence_table_json(&found);
            }
            whole["warnings"] = json!(warnings);
            out.json(&whole)?;
        }
    }
    Ok(check.status().into())
}

/// The plan drawn; `None` where that was cancelled.
fn drawn(
    args: &Args,
    reading: &Reading,
    shelf: &Shelf,
    check: &Check,
    cancel: &Cancel,
    out: &Out,
) -> Result<Option<Certainty>, Failure> {
    let bar = out.progress(1000, "drawing the plan");
    let watch = |share| {
        bar.set_position((1000.0 * share) as u64);
        !cancel.asked()
    };
    let ask = CertaintyAsk {
        draws: args.draws,
        seed: args.seed,
        years: args.years,
        threads: std::thread::available_parallelism().map_or(1, usize::from),
    };
    let found = certainty(reading, shelf, check, &ask, &watch);
    bar.finish_and_clear();
    Ok(found?)
}

/// The records that lie beside the plan and count, each with its file, and what could not be read or does not count.
pub(crate) fn records(path: &Path) -> (Vec<(PathBuf, AnyRecord)>, Vec<String>) {
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
        let read = plan::from_disk(&file)
            .map_err(|e| e.to_string())
            .and_then(|bytes| String::from_utf8(bytes).map_err(|e| e.to_string()))
            .and_then(|text| AnyRecord::from_json(&text).map_err(|e| e.to_string()));
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
/// what could not be read. `watch` as of [`recordings::compared`]; `None` where it stopped the reading.
pub(crate) fn shelf(
    path: &Path,
    reading: &Reading,
    watch: &dyn Fn(u64, u64) -> bool,
) -> Option<(Shelf, Vec<String>)> {
    let beside = path.parent().unwrap_or(Path::new(""));
    let mut records = Vec::new();
    let mut injections = Vec::new();
    let mut asked = Vec::new();
    let (all, mut warnings) = self::records(path);
    for (file, record) in all {
        match record {
            AnyRecord::Rehearsal(record) => records.push(record),
            AnyRecord::Injection(record) => injections.push(record),
            AnyRecord::Tuning(tuning) if asks_tuning(reading, &tuning.detector) => {
                asked.push((tuning, file));
            }
            // Nobody asks, so its recordings need not be read.
            AnyRecord::Tuning(_) => {}
        }
    }
    let of_each: Vec<_> = asked.iter().map(|(t, _)| &t.recordings[..]).collect();
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
            let digest = recordings::digest(&beside.join(name))
                .map_err(|error| format!("the labels {name} cannot be read: {error}"));
            labels.insert(name.clone(), digest);
        }
        if let That::Rehearsed { cues: name, .. } = &requirement.that {
            let file = beside.join(name);
            let read = plan::read_cues(&file, reading, &plan::from_disk);
            let digest = match (&read.cues, read.mistakes.iter().find(|m| m.is_error())) {
                (Some(_), None) => cue_digest(&read),
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
