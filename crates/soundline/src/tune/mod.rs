//! `soundline tune`: a detector of a plan against labelled recordings.

mod error;
mod work;

use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};

use assess::tuning::{Tuning, chain_digest};
use clap::ValueEnum;
use detect::{Rule, Spec, Stage};
use hearing::{
    Curve, Given, LabelFile, Placed, Score, Survey, curve, place_labels, read_labels, thresholds_db,
};
use jiff::Timestamp;
use plan::{DetectorIx, Line, SensorKind};
use quantity::{Dimension, EventRate, SECONDS_PER_DAY, parse_amount, parse_event_rate};
use report::{
    Allowance, Inputs, OutputError, Overwrite, PictureSize, Tuned, matched_words,
    operating_picture_png, operating_picture_svg, refuse_output, threshold_picture_png,
    threshold_picture_svg, tune_csv, tune_json, tune_text, write_atomically,
};
use serde_json::json;

use crate::cancel::Cancel;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::listen::{self, Asked, Assigned, Assignment, RecordingFault};
use crate::out::{Format, Out, PROGRAM};
use crate::plan_file;
use crate::recordings;
pub(crate) use error::TuneError;

/// Most thresholds that are tried at once.
const MOST_THRESHOLDS: usize = 400;
/// Thresholds that are tried when nothing is said, dB below and above that of the plan.
const BELOW_DB: f64 = 10.0;
const ABOVE_DB: f64 = 20.0;

/// Hold a detector of the plan against labelled recordings: what it finds, what it misses, how often it cries wolf, at every threshold.
///
/// Labels are CSV with the columns recording, from_s, to_s and, where wanted, low_hz, high_hz, what. Limits are exact. With an
/// allowance of false alarms the lowest threshold is chosen whose upper limit keeps it.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan.
    plan: PathBuf,
    /// The recordings.
    #[arg(required = true, value_name = "RECORDING")]
    recordings: Vec<PathBuf>,
    /// The labels: FILE.csv.
    #[arg(long, value_name = "FILE")]
    labels: PathBuf,
    /// Which sensor made the sound: `module.upper.sensor.ear`, or `2=module.upper.sensor.ear` for the second channel.
    #[arg(long = "as", value_name = "[N=]SENSOR")]
    assignment: Option<Assignment>,
    /// The detector, where several are on the sensor.
    #[arg(long, value_name = "ID")]
    detector: Option<String>,
    /// Only labels of this kind (the column `what`); several may be named. Other labels only say what false alarms fall on.
    #[arg(long, value_name = "KIND")]
    what: Vec<String>,
    /// When an event counts as finding a label: they overlap, or their begins are near each other.
    #[arg(long = "match", value_enum, default_value_t = MatchBy::Overlap)]
    matched_by: MatchBy,
    /// With `--match begin`: how far the begins may be apart; half a second when not given.
    #[arg(long, value_name = "TIME", value_parser = time)]
    within: Option<f64>,
    /// How often false alarms may come, such as "1 per d".
    #[arg(long, value_name = "RATE", value_parser = rate)]
    false_alarms: Option<EventRate>,
    /// How often real events come, such as "2 per d": the allowance is then what the uplink and the battery of the plan leave.
    #[arg(long, value_name = "RATE", value_parser = rate, conflicts_with = "false_alarms")]
    real: Option<EventRate>,
    /// Fit a judgement of finished events (a stage `likely`) and print it with its figures on events that it had not seen.
    #[arg(long)]
    fit: bool,
    /// Ridge of the fit, on weights per standard deviation.
    #[arg(long, value_name = "NUMBER", default_value = "1", value_parser = ridge, requires = "fit")]
    ridge: f64,
    /// Lowest threshold that is tried, dB; 10 dB below that of the plan when not given.
    #[arg(long, value_name = "DB", allow_negative_numbers = true, value_parser = decibels)]
    lowest: Option<f64>,
    /// Highest threshold that is tried, dB; 20 dB above that of the plan when not given.
    #[arg(long, value_name = "DB", allow_negative_numbers = true, value_parser = decibels)]
    highest: Option<f64>,
    /// Step from threshold to threshold, dB.
    #[arg(long, value_name = "DB", default_value = "0.5", value_parser = step)]
    step: f64,
    /// Confidence of the limits, two-sided, such as "95 %".
    #[arg(long, value_name = "SHARE", default_value = "95 %", value_parser = confidence)]
    confidence: f64,
    /// Time after the begin of each stretch and after each gap that does not count, for sensors that were switched on with the recorder.
    #[arg(long, value_name = "TIME", default_value = "0 s", value_parser = time)]
    settling: f64,
    /// When the recording begins; otherwise the file name tells (..._20270315T041500Z...).
    #[arg(long, value_name = "TIME", value_parser = listen::instant)]
    start: Option<Timestamp>,
    /// Take the sample rate of the recording where it differs from that of the sensor in the plan.
    #[arg(long)]
    own_rate: bool,
    /// Draw the operating curve, and shares and rates against the threshold: ID-curve and ID-threshold, .png and .svg, in this folder.
    #[arg(long, value_name = "DIR")]
    picture: Option<PathBuf>,
    /// Write the operating curve to a file as well: FILE.csv or FILE.json.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Leave no evidence beside the plan.
    #[arg(long)]
    no_evidence: bool,
    /// Replace files and pictures that exist.
    #[arg(long)]
    force: bool,
}

/// When an event counts as finding a label.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum MatchBy {
    /// They have time in common.
    Overlap,
    /// Their begins are near each other.
    Begin,
}

/// Begins may be so far apart when nothing is said, s.
const WITHIN_S: f64 = 0.5;

fn amount(text: &str, dimension: Dimension) -> Result<f64, String> {
    match parse_amount(text, dimension) {
        Ok(amount) if amount.law.is_none() => Ok(amount.si),
        Ok(_) => Err("a spread has no place here".to_owned()),
        Err(fault) => Err(match fault.help() {
            Some(help) => format!("{fault}; {help}"),
            None => fault.to_string(),
        }),
    }
}

fn time(text: &str) -> Result<f64, String> {
    let seconds = amount(text, Dimension::Time)?;
    if (0.0..=1e6).contains(&seconds) {
        Ok(seconds)
    } else {
        Err("must be from 0 s to 1000000 s".to_owned())
    }
}

fn confidence(text: &str) -> Result<f64, String> {
    let share = amount(text, Dimension::Ratio)?;
    if share > 0.0 && share < 1.0 {
        Ok(share)
    } else {
        Err("must lie between 0 % and 100 %".to_owned())
    }
}

fn rate(text: &str) -> Result<EventRate, String> {
    parse_event_rate(text).map_err(|fault| match fault.help() {
        Some(help) => format!("{fault}; {help}"),
        None => fault.to_string(),
    })
}

fn ridge(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value > 0.0 && value.is_finite() => Ok(value),
        _ => Err("must be a number above 0".to_owned()),
    }
}

fn decibels(text: &str) -> Result<f64, String> {
    let number = text.strip_suffix("dB").unwrap_or(text).trim();
    match number.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err("not a number of decibels, such as 6 or 6 dB".to_owned()),
    }
}

fn step(text: &str) -> Result<f64, String> {
    match decibels(text)? {
        value if value >= 0.01 => Ok(value),
        _ => Err("must be 0.01 dB or more".to_owned()),
    }
}

impl Args {
    fn overwrite(&self) -> Overwrite {
        if self.force {
            Overwrite::Force
        } else {
            Overwrite::Refuse
        }
    }

    fn rule(&self) -> Result<Rule, TuneError> {
        match (self.matched_by, self.within) {
            (MatchBy::Overlap, None) => Ok(Rule::Overlap { least_s: 0.0 }),
            (MatchBy::Overlap, Some(_)) => Err(TuneError::Within),
            (MatchBy::Begin, within) => Ok(Rule::Begin {
                within_s: within.unwrap_or(WITHIN_S),
            }),
        }
    }
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let rule = args.rule()?;
    if args.false_alarms.is_some_and(|rate| rate.count <= 0.0) {
        return Err(TuneError::NoAllowance.into());
    }
    let as_json = args.out.as_deref().map(is_json).transpose()?;
    let reading = plan_file::read(&args.plan, out)?;
    plan_file::show(reading.mistakes.iter(), &reading.sources, out)?;
    let line = plan_file::line(&reading, &args.plan)?;
    let mut inputs = plan_file::inputs(&reading.sources);
    inputs.extend(Inputs::of(&args.recordings));
    inputs.add(&args.labels);
    if let Some(path) = &args.out {
        refuse_output(path, args.overwrite(), &inputs)?;
    }
    let (assigned, detector) = detector(args, line)?;
    let pictures = args.picture.as_ref().map(|folder| {
        let id = &line.detectors[detector.0].id;
        PICTURES.map(|(kind, ending)| folder.join(format!("{id}-{kind}.{ending}")))
    });
    for path in pictures.iter().flatten() {
        refuse_output(path, args.overwrite(), &inputs)?;
    }
    let labels = labels(args)?;
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
    let Some(first) = surveys.first() else {
        trouble.tell(args, &labels, &placed, out)?;
        return Err(TuneError::Unheard.into());
    };
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
    }
    let scores: Vec<Score> = stretches
        .iter()
        .map(|stretch| work::scored(stretch, &placed, rule, own, args.settling))
        .collect();
    let curve = curve(&scores, &thresholds_db, args.confidence)
        .map_err(|error| TuneError::Limits(error.to_string()))?;
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
            &inputs,
        ) {
            Ok(path) => Left::At(path),
            Err(error) => Left::Refused(error),
        }
    };
    if let (Some(folder), Some(pictures)) = (&args.picture, &pictures) {
        draw(folder, pictures, &tuned, args.overwrite(), &inputs)?;
    }
    if let (Some(path), Some(as_json)) = (&args.out, as_json) {
        let text = if as_json {
            format!(
                "{:#}\n",
                document(
                    args,
                    &tuned,
                    &reading.digest,
                    &trouble,
                    &labels,
                    &placed,
                    out
                )
            )
        } else {
            tune_csv(&tuned)
        };
        write_atomically(path, text.as_bytes(), args.overwrite(), &inputs)?;
        writeln!(out.stderr, "wrote {}", path.display())?;
    }
    match out.format {
        Format::Text => {
            out.stdout.write_all(tune_text(&tuned).as_bytes())?;
            for (i, path) in pictures.iter().flatten().enumerate() {
                let gap = if i == 0 { "\n" } else { "" };
                writeln!(out.stdout, "{gap}picture: {}", path.display())?;
            }
            match &left {
                Left::At(path) => writeln!(out.stdout, "\nevidence: {}", path.display())?,
                Left::None(why) => writeln!(out.stdout, "\nno evidence was left: {why}")?,
                Left::Refused(_) => {}
            }
        }
        Format::Json => {
            let mut whole = document(
                args,
                &tuned,
                &reading.digest,
                &trouble,
                &labels,
                &placed,
                out,
            );
            let paths = pictures.iter().flatten().map(|p| p.display().to_string());
            whole["pictures"] = json!(paths.collect::<Vec<_>>());
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

/// What became of the evidence.
enum Left {
    At(PathBuf),
    None(&'static str),
    /// The result is told even where it cannot be left beside the plan.
    Refused(Failure),
}

/// Writes what was found beside the plan, for `check`.
fn leave(
    args: &Args,
    line: &Line,
    detector: DetectorIx,
    rate_hz: f64,
    plan_digest: &str,
    tuned: &Tuned,
    inputs: &Inputs,
) -> Result<PathBuf, Failure> {
    let unread = |why: std::io::Error| TuneError::Evidence(why.to_string());
    let point = &tuned.curve.points[tuned.own];
    let tuning = Tuning {
        program: PROGRAM.to_owned(),
        plan_digest: plan_digest.to_owned(),
        detector: tuned.detector.clone(),
        chain_digest: chain_digest(line, detector, Some(rate_hz))
            .map_err(listen::ListenError::from)?,
        labels: recordings::named(&args.plan, &args.labels)
            .display()
            .to_string(),
        labels_digest: recordings::digest(&args.labels).map_err(unread)?,
        what: tuned.what.clone(),
        matched: matched_words(tuned.rule),
        settling_s: tuned.settling_s,
        recordings: args
            .recordings
            .iter()
            .map(|file| recordings::recording(&args.plan, file))
            .collect::<Result<_, _>>()
            .map_err(unread)?,
        labelled: tuned.curve.labelled,
        hits: point.counts.hits,
        false_alarms: point.counts.false_alarms,
        judged_s: tuned.curve.judged_s,
        ..Tuning::begun()
    };
    let path = tuning.path(&args.plan);
    let folder = assess::evidence::folder(&args.plan);
    std::fs::create_dir_all(&folder)
        .map_err(|source| OutputError::Io {
            action: "create the folder",
            path: folder,
            source,
        })
        // The name says what is in it: what is replaced is the same.
        .and_then(|()| {
            write_atomically(&path, tuning.to_json().as_bytes(), Overwrite::Force, inputs)
        })
        .map_err(|error| TuneError::Evidence(error.to_string()))?;
    Ok(path)
}

/// The pictures of a detector: end of the name, and of the file.
const PICTURES: [(&str, &str); 4] = [
    ("curve", "png"),
    ("curve", "svg"),
    ("threshold", "png"),
    ("threshold", "svg"),
];

fn draw(
    folder: &Path,
    paths: &[PathBuf; 4],
    tuned: &Tuned,
    overwrite: Overwrite,
    inputs: &Inputs,
) -> Result<(), Failure> {
    let page = PictureSize::PAGE;
    let drawn = [
        operating_picture_png(tuned, page).map_err(TuneError::from)?,
        operating_picture_svg(tuned, page)
            .map_err(TuneError::from)?
            .into_bytes(),
        threshold_picture_png(tuned, page).map_err(TuneError::from)?,
        threshold_picture_svg(tuned, page)
            .map_err(TuneError::from)?
            .into_bytes(),
    ];
    std::fs::create_dir_all(folder).map_err(|source| OutputError::Io {
        action: "create the folder",
        path: folder.to_path_buf(),
        source,
    })?;
    for (path, bytes) in paths.iter().zip(&drawn) {
        write_atomically(path, bytes, overwrite, inputs)?;
    }
    Ok(())
}

/// The document `tune/1`.
fn document(
    args: &Args,
    tuned: &Tuned,
    plan_digest: &str,
    trouble: &Trouble,
    labels: &LabelFile,
    placed: &Placed,
    out: &Out,
) -> serde_json::Value {
    let mut whole = tune_json(tuned);
    whole["plan"] = json!(args.plan.display().to_string());
    whole["plan_digest"] = json!(plan_digest);
    whole["program"] = json!(PROGRAM);
    whole["errors"] = json!(trouble.errors(args, labels, placed));
    whole["warnings"] = json!(warnings(args, labels, placed));
    whole["mistakes"] = json!(out.mistakes);
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
        Some(hearing::Choice::TooShort { .. }) => Exit::Unknown,
        Some(hearing::Choice::NoneKeepsIt) => Exit::Broken,
        Some(hearing::Choice::Threshold(_)) | None => Exit::Met,
    }
}

fn lines(scores: &[Score], of: impl Fn(&Score) -> &Vec<usize>) -> Vec<usize> {
    let mut lines: Vec<usize> = scores.iter().flat_map(|s| of(s).iter().copied()).collect();
    lines.sort_unstable();
    lines
}

/// The allowance that was given, or what the plan leaves.
fn allowance(
    args: &Args,
    line: &Line,
    detector: DetectorIx,
    curve: &Curve,
) -> Result<Option<Allowance>, Failure> {
    let per_day = |rate: EventRate| rate.count / rate.per_s * SECONDS_PER_DAY;
    let (allowed, from) = match (args.false_alarms, args.real) {
        (Some(rate), _) => (per_day(rate), Vec::new()),
        (None, None) => return Ok(None),
        (None, Some(real)) => left_by_the_plan(line, detector, per_day(real))?,
    };
    let choice = curve
        .choose(allowed / SECONDS_PER_DAY)
        .map_err(|error| TuneError::Limits(error.to_string()))?;
    Ok(Some(Allowance {
        per_day: allowed,
        from,
        choice,
    }))
}

/// False alarms a day that the plan leaves beside so many real events a day, and how that comes about.
fn left_by_the_plan(
    line: &Line,
    detector: DetectorIx,
    real_per_day: f64,
) -> Result<(f64, Vec<String>), Failure> {
    let limits = assess::event_limits(line, detector).map_err(listen::ListenError::from)?;
    let mut from = Vec::new();
    let mut least: Option<(f64, &str)> = None;
    for limit in &limits {
        let Some(events) = limit.events_per_day else {
            from.push(format!("{} does not limit it: {}", limit.from, limit.why));
            continue;
        };
        from.push(format!(
            "{} leaves {events:.2} events a day: {}",
            limit.from, limit.why
        ));
        if least.is_none_or(|(fewest, _)| events < fewest) {
            least = Some((events, &limit.from));
        }
    }
    let Some((events, by)) = least else {
        return Err(TuneError::NoLimit { why: from }.into());
    };
    let left = events - real_per_day;
    if left <= 0.0 {
        return Err(TuneError::UsedUp {
            by: by.to_owned(),
            events_per_day: events,
            real_per_day,
        }
        .into());
    }
    from.push(format!(
        "{by} leaves fewest; less {real_per_day} real events a day (--real)"
    ));
    Ok((left, from))
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

fn labels(args: &Args) -> Result<LabelFile, TuneError> {
    let path = args.labels.clone();
    let bytes = match std::fs::read(&path) {
        Ok(bytes) => bytes,
        Err(why) => return Err(TuneError::NoLabels { path, why }),
    };
    read_labels(&bytes).map_err(|why| TuneError::Labels { path, why })
}

/// The labels of each recording that was named; those of recordings that cannot be heard stay with them.
fn put(args: &Args, labels: &LabelFile, surveys: &[Survey], places: &[usize]) -> Placed {
    let given: Vec<Given<'_>> = args
        .recordings
        .iter()
        .enumerate()
        .map(|(place, path)| {
            let survey = places.iter().position(|&p| p == place).map(|i| &surveys[i]);
            let length_s =
                survey.and_then(|s| Some(s.info.frames? as f64 / f64::from(s.info.rate_hz)));
            Given { path, length_s }
        })
        .collect();
    place_labels(labels, &given, &args.what)
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

/// What went wrong on the way; the rest of the work went on.
#[derive(Default)]
struct Trouble {
    /// By place among the recordings as they were named.
    recordings: Vec<(usize, RecordingFault)>,
}

impl Trouble {
    /// Every error as a sentence.
    fn errors(&self, args: &Args, labels: &LabelFile, placed: &Placed) -> Vec<String> {
        let mut all: Vec<String> = self
            .recordings
            .iter()
            .map(|(_, fault)| fault.to_string())
            .collect();
        // A recording that is not given is told once, with the lines of all its labels.
        let mut told: BTreeMap<String, Vec<usize>> = BTreeMap::new();
        for fault in labels.faults.iter().chain(&placed.faults) {
            let lines = told.entry(fault.why.to_string()).or_default();
            lines.push(fault.line);
        }
        let mut told: Vec<(String, Vec<usize>)> = told.into_iter().collect();
        told.sort_by_key(|(_, lines)| lines.first().copied());
        all.extend(told.into_iter().map(|(why, lines)| {
            let place = lines.iter().map(ToString::to_string).collect::<Vec<_>>();
            let (word, label) = match lines.len() {
                1 => ("line", "the label is"),
                _ => ("lines", "the labels are"),
            };
            format!(
                "{}, {word} {}: {why}; {label} left out",
                args.labels.display(),
                place.join(", ")
            )
        }));
        all
    }

    fn tell(
        &self,
        args: &Args,
        labels: &LabelFile,
        placed: &Placed,
        out: &mut Out,
    ) -> Result<(), Failure> {
        for error in self.errors(args, labels, placed) {
            writeln!(out.stderr, "error: {error}")?;
        }
        for help in self.recordings.iter().filter_map(|(_, fault)| fault.help()) {
            writeln!(out.stderr, "  help: {help}")?;
        }
        for warning in warnings(args, labels, placed) {
            writeln!(out.stderr, "warning: {warning}")?;
        }
        Ok(())
    }
}

fn warnings(args: &Args, labels: &LabelFile, placed: &Placed) -> Vec<String> {
    let file = args.labels.display();
    let odd = labels.oddities.iter().map(|odd| format!("{file}: {odd}"));
    let lines = placed
        .warnings
        .iter()
        .map(|(line, warning)| format!("{file}, line {line}: {warning}"));
    odd.chain(lines).collect()
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
