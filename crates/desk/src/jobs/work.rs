//! The kinds of jobs, and what each does: what the command of that name does, of the text that a page sends.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use assess::evidence::AnyRecord;
use assess::range::{Draws, InjectionRecord, Subject, Wind, deployment_months, limit_winds_m_s};
use assess::{
    CertaintyAsk, DrawsRecord, FEW_YEARS, LeverageOf, Memo, RemedyAsk, RemedyError, Tier,
    assumed_by_leverage, certainty, check_with, detector_and_call, remedies_with,
};
use beside::{Kept, PROGRAM, computed_by, leave};
use plan::Reading;
use report::{
    Inputs, certainty_json, check_json, difference, leverage_json, range_json, remedy_json,
};
use serde::Deserialize;
use serde_json::{Value, json};
use tempfile::TempDir;

use super::rehearse::rehearse;
use super::{Job, Left};
use crate::document::{self, Given};
use crate::error::ApiError;
use crate::offsets::Offsets;
use crate::text;

/// The kinds of jobs.
pub(crate) const KINDS: [&str; 7] = [
    "rehearse",
    "remedy",
    "certainty",
    "leverage",
    "slip",
    "range",
    "hours",
];

/// All that may be asked; each job reads its own.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct Ask {
    /// `rehearse`: a sheet in the plan's folder.
    pub(super) cues: Option<String>,
    /// `rehearse`: its text, where it is not as it stands there.
    pub(super) cue_text: Option<String>,
    /// `rehearse`, `certainty`, `range`: leave no evidence beside the plan.
    pub(super) no_evidence: bool,
    /// `remedy`: only this requirement.
    requirement: Option<String>,
    /// `certainty`.
    draws: Option<usize>,
    /// `certainty`, `range`.
    seed: Option<u64>,
    /// `certainty`.
    years: Option<u64>,
    /// `range`: id or typed path.
    detector: Option<String>,
    /// `range`.
    call: Option<String>,
    /// `range`: calls at each signal-to-noise ratio.
    calls: Option<u64>,
    /// `range`: minutes of noise alone.
    alone_min: Option<u32>,
}

/// What a job works on.
pub(crate) struct Work {
    pub(crate) path: PathBuf,
    pub(crate) text: String,
    pub(crate) memo: Arc<Memo>,
    pub(crate) kept: Arc<Kept>,
    pub(crate) scratch: Arc<TempDir>,
}

fn threads() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

impl Work {
    pub(super) fn plan(&self) -> &Path {
        &self.path
    }

    pub(super) fn read(&self) -> Reading {
        text::read(&self.path, &self.text, &self.memo)
    }

    fn shelf(
        &self,
        reading: &Reading,
        job: &Job,
    ) -> Result<(assess::Shelf, Vec<String>), ApiError> {
        let shelf = text::shelf(&self.path, reading, &self.kept, &|| job.goes_on());
        shelf.ok_or_else(ApiError::cancelled)
    }

    fn told(&self, reading: &Reading, document: Value) -> Value {
        let mistakes = report::mistakes_json(&reading.mistakes, &reading.sources);
        beside::of_plan(document, Some(&reading.digest), &mistakes)
    }
}

/// The name of a kind as jobs keep it.
pub(crate) fn kind(named: &str) -> Result<&'static str, ApiError> {
    KINDS.into_iter().find(|k| *k == named).ok_or_else(|| {
        ApiError::unusable("no-such-job", format!("there is no job of kind `{named}`"))
            .help(format!("there are {}", KINDS.join(", ")))
    })
}

pub(crate) fn work(kind: &'static str, on: &Work, ask: &Ask, job: &Job) -> Result<Left, ApiError> {
    match kind {
        "rehearse" => rehearse(on, ask, job),
        "remedy" => remedy(on, ask, job).map(Left::from),
        "certainty" => sure(on, ask, job).map(Left::from),
        "leverage" => leverage(on, job).map(Left::from),
        "range" => range(on, ask, job).map(Left::from),
        other => documented(on, other, job).map(Left::from),
    }
}

/// A document that may take longer than a request.
fn documented(on: &Work, kind: &str, job: &Job) -> Result<Value, ApiError> {
    let given = Given {
        path: &on.path,
        memo: &on.memo,
        kept: &on.kept,
        go_on: &|| job.goes_on(),
        at: &|share| job.at(share, "working it out"),
    };
    document::document(&given, kind, &on.text, &document::Ask::default())
}

/// The remedies, each with the text of the plan and what it changes, so that it can be looked at before it is taken.
fn remedy(on: &Work, ask: &Ask, job: &Job) -> Result<Value, ApiError> {
    let reading = on.read();
    text::line(&reading)?;
    let (shelf, warnings) = on.shelf(&reading, job)?;
    let asked = RemedyAsk {
        requirement: ask.requirement.clone(),
        threads: threads(),
    };
    let watch = |done: u64, all: u64| job.at(share(done, all), "trying changes");
    let fetch = text::fetch(&on.path, &on.text);
    let found = remedies_with(&on.path, &reading, &shelf, &fetch, &asked, &on.memo, &watch)
        .map_err(|error| {
            let told = ApiError::unusable("no-remedy", error.to_string());
            match error {
                RemedyError::NoRequirement { all, .. } => {
                    told.help(format!("the plan and its checks have {}", all.join(", ")))
                }
                RemedyError::Unknown { .. } => {
                    told.help("make it known first: its verdict says what it lacks")
                }
                _ => told,
            }
        })?;
    let name = on
        .path
        .file_name()
        .map(|n| n.to_string_lossy().into_owned());
    let name = name.unwrap_or_default();
    let offsets = Offsets::of(&on.text);
    let all = found.mended.iter().flat_map(|m| &m.remedies);
    let texts = all.map(|r| {
        let edits = r.edits.iter().map(|e| {
            let (from, to) = (offsets.utf16(e.range.start), offsets.utf16(e.range.end));
            json!({ "from": from, "to": to, "text": e.text })
        });
        json!({
            "number": r.number,
            "edits": edits.collect::<Vec<_>>(),
            "text": r.text,
            "difference": difference(&name, &on.text, &r.edits),
        })
    });
    let mut told = remedy_json(&found);
    told["applied"] = Value::Null;
    told["texts"] = texts.collect();
    told["warnings"] = json!(warnings);
    Ok(on.told(&reading, told))
}

fn share(done: u64, all: u64) -> f64 {
    match all {
        0 => 0.0,
        all => done as f64 / all as f64,
    }
}

fn sure(on: &Work, ask: &Ask, job: &Job) -> Result<Value, ApiError> {
    let asked = CertaintyAsk {
        draws: ask.draws.unwrap_or(DRAWS),
        seed: ask.seed.unwrap_or(1),
        years: ask.years.unwrap_or(FEW_YEARS),
        threads: threads(),
    };
    let cannot = |e: assess::CertaintyError| {
        ApiError::unusable(
            "cannot-be",
            format!("how surely the plan holds cannot be told: {e}"),
        )
    };
    asked.possible().map_err(cannot)?;
    let reading = on.read();
    text::line(&reading)?;
    let (mut shelf, warnings) = on.shelf(&reading, job)?;
    shelf.draws.clear();
    let check = check_with(&reading, &shelf, &on.memo, Tier::Full);
    let watch = |share: f64| job.at(share, "drawing the plan");
    let found = certainty(&reading, &shelf, &check, &asked, &watch).map_err(cannot)?;
    let found = found.ok_or_else(ApiError::cancelled)?;
    let record = DrawsRecord::new(&reading.drawn_digests, &asked, &found, computed_by());
    let mut evidence = None;
    if !ask.no_evidence {
        let path = record.path(&on.path);
        leave(&on.path, &path, &record.to_json(), &Inputs::none()).map_err(not_left)?;
        evidence = Some(path.display().to_string());
    }
    let mut told = certainty_json(&found, &reading.sources);
    told["evidence"] = json!(evidence);
    told["warnings"] = json!(warnings);
    Ok(on.told(&reading, told))
}

fn not_left(error: report::OutputError) -> ApiError {
    ApiError::unusable("no-evidence", format!("the evidence was not left: {error}"))
        .help("ask with no_evidence to leave none")
}

fn leverage(on: &Work, job: &Job) -> Result<Value, ApiError> {
    let reading = on.read();
    text::line(&reading)?;
    let (shelf, warnings) = on.shelf(&reading, job)?;
    let check = check_with(&reading, &shelf, &on.memo, Tier::Full);
    let fetch = text::fetch(&on.path, &on.text);
    let of = LeverageOf {
        path: &on.path,
        reading: &reading,
        shelf: &shelf,
        fetch: &fetch,
        memo: &on.memo,
    };
    let watch = |share: f64| job.at(share, "trying other values");
    let found = assumed_by_leverage(&of, &check, threads(), &watch);
    if !job.goes_on() {
        return Err(ApiError::cancelled());
    }
    let mut told = check_json(&check, PROGRAM, &reading.mistakes, &reading.sources);
    told["assumed_by_leverage"] = json!(found.as_deref().map(leverage_json));
    told["warnings"] = json!(warnings);
    Ok(told)
}

fn range(on: &Work, ask: &Ask, job: &Job) -> Result<Value, ApiError> {
    let reading = on.read();
    let line = text::line(&reading)?;
    let detector = ask.detector.as_deref();
    let detector =
        detector.ok_or_else(|| ApiError::unusable("bad-ask", "`detector` is missing"))?;
    let named = |e: assess::NamedError| ApiError::unusable("not-named", e.to_string());
    let (detector, call) = detector_and_call(line, detector, ask.call.as_deref()).map_err(named)?;
    let cannot = |e: assess::range::RangeError| {
        ApiError::unusable("cannot-be", format!("the range cannot be worked out: {e}"))
    };
    let subject = Subject::new(line, detector, call).map_err(cannot)?;
    let mut months = deployment_months(line);
    months.sort_unstable();
    months.dedup();
    let mut winds: Vec<Wind> = months.into_iter().map(Wind::OfMonth).collect();
    let mut not_drawn = Vec::new();
    let mut limits_m_s = limit_winds_m_s(line, detector, call);
    limits_m_s.sort_by(f64::total_cmp);
    limits_m_s.dedup();
    for wind_m_s in limits_m_s {
        match subject.noise_level_db(wind_m_s) {
            Ok(_) => winds.push(Wind::AtMost(wind_m_s)),
            // The rest of the work goes on: the verdict says the same of that requirement.
            Err(e) => not_drawn.push(json!({ "wind_m_s": wind_m_s, "why": e.to_string() })),
        }
    }
    let draws = Draws {
        calls: match ask.calls.unwrap_or(CALLS) {
            calls @ 25..=100_000 => calls,
            _ => {
                return Err(ApiError::unusable(
                    "bad-ask",
                    "`calls`: must be 25 to 100000",
                ));
            }
        },
        alone_s: 60.0 * f64::from(ask.alone_min.unwrap_or(0)),
        seed: ask.seed.unwrap_or(1),
    };
    let (records, _) = beside::records(&on.path);
    let kept = records.into_iter().filter_map(|(_, record)| match record {
        AnyRecord::Injection(record) => Some(record),
        _ => None,
    });
    let kept: Vec<InjectionRecord> = kept.collect();
    let watch = |share: f64| job.at(share, "putting calls into noise");
    let ranges = assess::range::ranges(subject, &winds, draws, &kept, threads(), &watch);
    let ranges = ranges.map_err(cannot)?;
    let mut evidence: Vec<String> = Vec::new();
    if !ask.no_evidence {
        for record in ranges.to_keep(&computed_by()) {
            let path = record.path(&on.path);
            leave(&on.path, &path, &record.to_json(), &Inputs::none()).map_err(not_left)?;
            evidence.push(path.display().to_string());
        }
    }
    let mut told = range_json(&line.deployment.name, &ranges);
    told["pictures"] = json!([]);
    told["evidence"] = json!(evidence);
    told["not_drawn"] = json!(not_drawn);
    Ok(on.told(&reading, told))
}

/// Draws where nothing is asked: as the command.
const DRAWS: usize = 1000;
/// Calls at each signal-to-noise ratio where nothing is asked.
const CALLS: u64 = 200;
