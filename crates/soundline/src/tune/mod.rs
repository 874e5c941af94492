//! `soundline tune`: a detector of a plan against labelled recordings.

mod allowance;
mod args;
mod error;
mod labelled;
mod leave;
mod trouble;
mod work;

use std::io::Write;
use std::path::Path;

use assess::input::arithmetic;
use detect::{Spec, Stage};
use hearing::{LabelFile, Placed, Score, curve, thresholds_db};
use plan::{DetectorIx, Line, Reading, SensorKind};
use report::{Inputs, Tuned, tune_csv, tune_json, tune_text};
use serde_json::json;

use crate::cancel::Cancel;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::listen::{self, Asked, Assigned, Assignment};
use crate::out::{Format, Out};
use crate::outputs::{self, Outputs, Pictures};
use crate::plan_file;
use allowance::allowance;
pub(crate) use args::Args;
pub(crate) use error::TuneError;
use labelled::{known_kinds, labels, near_enough, none_used, put};
use leave::{Left, PICTURES, draw, leave};
use trouble::Trouble;

/// Most thresholds that are tried at once.
const MOST_THRESHOLDS: usize = 400;
/// Thresholds that are tried when nothing is said, dB below and above that of the plan.
const BELOW_DB: f64 = 10.0;
const ABOVE_DB: f64 = 20.0;

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let rule = args.rule()?;
    if args.false_alarms.is_some_and(|rate| rate.count <= 0.0) {
        return Err(TuneError::NoAllowance.into());
    }
    let as_json = args.out.as_deref().map(is_json).transpose()?;
    let reading = plan_file::read(&args.plan, out)?;
    let sensor: Vec<String> = args.assignment.iter().map(|a| a.sensor.clone()).collect();
    plan_file::show_about(&reading, &sensor, out)?;
    let line = plan_file::line(&reading, &args.plan)?;
    let mut inputs = plan_file::inputs(&reading.sources);
    inputs.extend(Inputs::of(&args.recordings));
    inputs.add(&args.labels);
    let outputs = Outputs::new(args.force, inputs);
    outputs.refuse(args.out.as_deref())?;
    let (assigned, detector) = detector(args, line)?;
    let names = PICTURES.map(|kind| format!("{}-{kind}", line.detectors[detector.0].id));
    let pictures = Pictures::named(names, args.picture.as_deref(), &outputs)?;
    let labels = labels(args)?;
    known_kinds(args, &labels)?;
    let asked = Asked {
        recordings: &args.recordings,
        start: args.start,
        own_rate: args.own_rate,
    };
    let mut trouble = Trouble::default();
    let (mut surveys, mut places) = (Vec::new(), Vec::new());
    for (place, looked) in listen::look(asked, line, &assigned)?
        .into_iter()
        .enumerate()
    {
        match looked {
            Ok(looked) => {
                surveys.push(looked.survey);
                places.push(place);
            }
            Err((_, fault)) => trouble.recordings.push((place, fault)),
        }
    }
    let placed = put(args, &labels, &surveys, &places);
    near_enough(rule, &placed)?;
    let Some(first) = surveys.first() else {
        trouble.tell(args, &labels, &placed, out)?;
        return Err(TuneError::Unheard.into());
    };
    if none_used(&labels, &placed) {
        trouble.tell(args, &labels, &placed, out)?;
        return Err(TuneError::NoneUsed {
            path: args.labels.clone(),
        }
        .into());
    }
    let ear = listen::ears(line, &assigned, &first.info)?.remove(0);
    let mut base = ear.detectors[0].clone();
    if args.fit {
        base.stages
            .retain(|stage| !matches!(stage, Stage::Likely { .. }));
    }
    if let Some(other) = surveys
        .iter()
        .find(|s| s.info.rate_hz != first.info.rate_hz)
    {
        return Err(TuneError::Rates {
            first: first.path.clone(),
            first_hz: first.info.rate_hz,
            other: other.path.clone(),
            other_hz: other.info.rate_hz,
        }
        .into());
    }
    let shown = Shown::of(line, detector, &ear);
    let own_db = base
        .threshold_db()
        .expect("a detector of a plan decides by a threshold");
    let thresholds_db = thresholds(args, own_db, shown.offset_db)?;
    let own = thresholds_db
        .iter()
        .position(|db| *db == own_db)
        .expect("the own threshold is among them");
    let specs: Vec<Spec> = thresholds_db
        .iter()
        .map(|&db| base.with_threshold_db(db))
        .collect::<Option<_>>()
        .expect("a detector with a threshold has others");
    let id = &line.detectors[detector.0].id;
    let bench = work::Bench {
        id,
        ear: &ear,
        specs: &specs,
        own,
    };
    let heard = work::Heard {
        surveys: &surveys,
        places: &places,
    };
    let mut stretches = listened(&heard, &bench, out)?;
    for stretch in &mut stretches {
        trouble
            .recordings
            .extend(work::faults(stretch, &args.recordings));
        trouble
            .oddities
            .extend(work::oddities(stretch, &args.recordings));
    }
    let scores: Vec<Score> = stretches
        .iter()
        .map(|stretch| work::scored(stretch, &placed, rule, own, args.settling))
        .collect();
    let curve = curve(&scores, &thresholds_db, args.confidence)
        .map_err(|error| TuneError::Limits(error.to_string()))?;
    if curve.judged_s <= 0.0 {
        trouble.tell(args, &labels, &placed, out)?;
        return Err(TuneError::NothingJudged {
            heard_s: curve.heard_s,
            settling_s: args.settling,
        }
        .into());
    }
    let allowance = allowance(args, line, detector, &curve)?;
    let judgement = args
        .fit
        .then(|| work::judged(&stretches, &scores, args.ridge, &curve))
        .transpose()?;
    let events = stretches.iter().zip(&scores);
    let tuned = Tuned {
        name: line.deployment.name.clone(),
        detector: id.clone(),
        sensor: assigned[0].path.clone(),
        unit: shown.unit,
        offset_db: shown.offset_db,
        curve,
        own,
        labels: args.labels.display().to_string(),
        what: args.what.clone(),
        rule,
        recordings: surveys.len(),
        settling_s: args.settling,
        set_aside: lines(&scores, |s| &s.set_aside),
        missed: lines(&scores, |s| &s.missed),
        events: events
            .flat_map(|(stretch, score)| work::events(stretch, score, &args.recordings))
            .collect(),
        allowance,
        judgement,
    };
    trouble.tell(args, &labels, &placed, out)?;
    let left = if args.no_evidence {
        Left::None("--no-evidence")
    } else if args.fit {
        Left::None("with --fit the detector is heard without its own judgement")
    } else if trouble.recordings.len() + labels.faults.len() + placed.faults.len() > 0 {
        Left::None("not every recording and label could be used")
    } else {
        let rate_hz = f64::from(first.info.rate_hz);
        match leave(
            args,
            line,
            detector,
            rate_hz,
            &reading.digest,
            &tuned,
            &outputs,
        ) {
            Ok(path) => Left::At(path),
            Err(error) => Left::Refused(error),
        }
    };
    pictures.draw(&outputs, |number, page| {
        draw(PICTURES[number], &tuned, page)
    })?;
    if let (Some(path), Some(as_json)) = (&args.out, as_json) {
        let text = if as_json {
            format!(
                "{:#}\n",
                document(args, &tuned, &reading, &trouble, &labels, &placed, out)
            )
        } else {
            tune_csv(&tuned)
        };
        outputs.write(path, text.as_bytes())?;
        writeln!(out.stderr, "wrote {}", path.display())?;
    }
    match out.format {
        Format::Text => {
            out.stdout.write_all(tune_text(&tuned).as_bytes())?;
            if line.detectors[detector.0].of_learned() {
                writeln!(out.stdout, "\n{} arithmetic", arithmetic(line))?;
            }
            pictures.tell(&mut out.stdout)?;
            match &left {
                Left::At(path) => writeln!(out.stdout, "\nevidence: {}", path.display())?,
                Left::None(why) => writeln!(out.stdout, "\nno evidence was left: {why}")?,
                Left::Refused(_) => {}
            }
        }
        Format::Json => {
            let mut whole = document(args, &tuned, &reading, &trouble, &labels, &placed, out);
            whole["pictures"] = json!(outputs::shown(pictures.paths()));
            whole["evidence"] = match &left {
                Left::At(path) => json!(path.display().to_string()),
                Left::None(_) | Left::Refused(_) => json!(null),
            };
            out.json(&whole)?;
        }
    }
    if let Left::Refused(error) = left {
        return Err(error);
    }
    Ok(exit(args, &tuned, &trouble, &labels, &placed))
}

/// The document `tune/1`.
fn document(
    args: &Args,
    tuned: &Tuned,
    reading: &Reading,
    trouble: &Trouble,
    labels: &LabelFile,
    placed: &Placed,
    out: &Out,
) -> serde_json::Value {
    let mut whole = out.of_plan(tune_json(tuned));
    whole["plan"] = json!(args.plan.display().to_string());
    whole["arithmetic"] = json!(reading.line.as_ref().map(arithmetic));
    whole["errors"] = json!(trouble.errors(args, labels, placed));
    whole["warnings"] = json!(trouble.warnings(args, labels, placed));
    whole
}

fn exit(
    args: &Args,
    tuned: &Tuned,
    trouble: &Trouble,
    labels: &LabelFile,
    placed: &Placed,
) -> Exit {
    let failed = trouble.recordings.len() + labels.faults.len() + placed.faults.len();
    match tuned.allowance.as_ref().map(|a| a.choice) {
        _ if trouble.recordings.len() >= args.recordings.len() => Exit::Unusable,
        _ if failed > 0 => Exit::SomeFailed,
        Some(hearing::Choice::TooShort { .. } | hearing::Choice::NothingAllowed) => Exit::Unknown,
        Some(hearing::Choice::NoneKeepsIt) => Exit::Broken,
        _ if tuned.judgement.as_ref().is_some_and(|j| j.fitted.is_err()) => Exit::Unknown,
        Some(hearing::Choice::Threshold(_)) | None => Exit::Met,
    }
}

fn lines(scores: &[Score], of: impl Fn(&Score) -> &Vec<usize>) -> Vec<usize> {
    let mut lines: Vec<usize> = scores.iter().flat_map(|s| of(s).iter().copied()).collect();
    lines.sort_unstable();
    lines
}

/// The one sensor and the one detector on it.
fn detector(args: &Args, line: &Line) -> Result<(Vec<Assigned>, DetectorIx), Failure> {
    let assignments: Vec<Assignment> = args.assignment.iter().cloned().collect();
    let wanted: Vec<String> = args.detector.iter().cloned().collect();
    let assigned = listen::assign(line, &assignments, &wanted)?;
    let found: Vec<DetectorIx> = assigned.iter().flat_map(|a| a.detectors.clone()).collect();
    match found.as_slice() {
        [only] => Ok((assigned, *only)),
        [] => Err(TuneError::None {
            all: line
                .detectors
                .iter()
                .map(|d| format!("detector.{} on {}", d.id, line.sensor_path(d.on)))
                .collect(),
        }
        .into()),
        several => Err(TuneError::Several {
            ids: several
                .iter()
                .map(|d| line.detectors[d.0].id.clone())
                .collect(),
        }
        .into()),
    }
}

fn thresholds(args: &Args, own_db: f64, offset_db: f64) -> Result<Vec<f64>, TuneError> {
    let low_db = args.lowest.map_or(own_db - BELOW_DB, |db| db + offset_db);
    let high_db = args.highest.map_or(own_db + ABOVE_DB, |db| db + offset_db);
    let number = ((high_db - low_db) / args.step).floor() + 1.0;
    if !(number >= 1.0 && number <= MOST_THRESHOLDS as f64) {
        return Err(TuneError::Thresholds {
            low_db: low_db - offset_db,
            high_db: high_db - offset_db,
            step_db: args.step,
            number: number.max(0.0),
            most: MOST_THRESHOLDS,
        });
    }
    Ok(thresholds_db(own_db, low_db, high_db, args.step))
}

fn listened(
    heard: &work::Heard<'_>,
    bench: &work::Bench<'_>,
    out: &Out,
) -> Result<Vec<work::Stretch>, Failure> {
    let frames = heard.surveys.iter().filter_map(|s| s.info.frames);
    let cancel = Cancel::on_ctrl_c()?;
    let progress = out.progress(frames.sum(), "listening");
    let read = |frames| {
        progress.inc(frames);
        !cancel.asked()
    };
    let stretches = work::hear(heard, bench, &read);
    progress.finish_and_clear();
    stretches
}

/// What thresholds are told in.
struct Shown {
    unit: &'static str,
    offset_db: f64,
}

impl Shown {
    fn of(line: &Line, detector: DetectorIx, ear: &hearing::Ear) -> Shown {
        let plan = &line.detectors[detector.0];
        let (unit, offset_db) = if plan.over_background() {
            ("dB over the background", 0.0)
        } else if plan.of_learned() {
            ("dB re even odds", 0.0)
        } else if plan.of_exposure() {
            ("dB re 1 uPa2 s", 0.0)
        } else if line.sensor(plan.on).kind == SensorKind::Microphone {
            ("dB re 20 uPa", ear.reference_db())
        } else {
            ("dB re 1 uPa", 0.0)
        };
        Shown { unit, offset_db }
    }
}

fn is_json(path: &Path) -> Result<bool, TuneError> {
    match path.extension().and_then(|e| e.to_str()) {
        Some("csv") => Ok(false),
        Some("json") => Ok(true),
        _ => Err(TuneError::OutName {
            path: path.to_path_buf(),
        }),
    }
}
