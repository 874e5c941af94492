//! `soundline range`: how far a detector finds a call.

mod noise;

use std::io::Write;
use std::path::{Path, PathBuf};

use assess::evidence::AnyRecord;
use assess::range::{
    Draws, InjectionRecord, Ranges, Subject, Wind, deployment_months, limit_winds_m_s,
};
use assess::{NamedError, detector_and_call};
use hearing::HearError;
use plan::{CallIx, DetectorIx, Line, Reading};
use quantity::{Dimension, parse_amount};
use report::{
    Inputs, OutputError, RangePicture, range_json, range_picture_png, range_picture_svg, range_text,
};
use serde_json::json;

use crate::cancel::Cancel;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::listen::Assignment;
use crate::numbers::whole;
use crate::out::{Format, Out};
use crate::outputs::{self, Outputs, Pictures, shown};
use crate::plan_file;
use beside::computed_by;
use beside::records;

/// Put a call of the plan into the noise of the site before a detector, count how often it is found, and work out how far that
/// is, month by month.
///
/// Leaves its counts beside the plan, in PLAN's folder under `<plan>.evidence`, where `check` finds them; counts that are still
/// true are not drawn again.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan.
    plan: PathBuf,
    /// The detector: ID, or detector.ID.
    #[arg(long, value_name = "ID")]
    detector: String,
    /// The call: ID, or call.ID; not needed where the plan has one.
    #[arg(long, value_name = "ID")]
    call: Option<String>,
    /// Recordings whose noise is taken instead of that of the site's wind and shipping: quiet ones, without calls. What follows each other
    /// without a gap is one stretch; gaps and samples at full scale are left out. No evidence is left then.
    #[arg(long, value_name = "RECORDING", num_args = 1.., conflicts_with_all = ["month", "wind", "alone"])]
    noise: Vec<PathBuf>,
    /// With --noise, which channel is the detector's sensor: `2=module.upper.sensor.ear` for the second; not needed for recordings
    /// with a single one.
    #[arg(long = "as", value_name = "[N=]SENSOR", requires = "noise")]
    assignment: Option<Assignment>,
    /// A month, 1 to 12, at its mean wind. May be repeated. With neither --month nor --wind all that `check` reads: the months of the
    /// deployment with its slips, and each wind up to which a requirement on the range of this detector for this call is to hold.
    #[arg(long, value_name = "M", value_parser = whole::<u8>(1, 12))]
    month: Vec<u8>,
    /// A wind, such as "12 m/s". May be repeated.
    #[arg(long, value_name = "SPEED", value_parser = speed)]
    wind: Vec<f64>,
    /// Calls at each signal-to-noise ratio.
    #[arg(long, value_name = "N", default_value_t = 200, value_parser = whole::<u64>(25, 100_000))]
    calls: u64,
    /// Minutes of noise without calls in which false alarms are counted, besides the noise about the calls.
    #[arg(long, value_name = "MIN", default_value_t = 0, value_parser = whole::<u32>(0, 100_000))]
    alone: u32,
    /// Seed of the draws.
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = whole::<u64>(0, u64::MAX))]
    seed: u64,
    /// Draw the share found against signal-to-noise ratio and range, and the ranges by month and depth: found.png, over-range.png,
    /// by-month.png and the same as .svg in this folder.
    #[arg(long, value_name = "DIR", value_parser = crate::picture_name::folder)]
    picture: Option<PathBuf>,
    /// Replace the pictures if they exist.
    #[arg(long)]
    force: bool,
    /// Leave no evidence beside the plan.
    #[arg(long)]
    no_evidence: bool,
}

/// Why no range was worked out.
#[derive(Debug, thiserror::Error)]
pub(crate) enum RangeCommandError {
    /// The detector or the call is not known.
    #[error(transparent)]
    Named(#[from] NamedError),
    /// The work could not be done.
    #[error("the range cannot be worked out: {0}")]
    Range(#[from] assess::range::RangeError),
    /// A picture cannot be drawn.
    #[error("the picture cannot be drawn: {0}")]
    Draw(#[from] report::PictureError),
    /// Not one recording could be heard.
    #[error("none of the recordings could be heard")]
    Unheard,
    /// The recordings cannot be heard.
    #[error("the recordings: {0}")]
    Hear(#[from] HearError),
    /// A recording that was heard cannot be read again.
    #[error("{}: the recording cannot be read again: {source}", path.display())]
    Digest {
        /// The recording.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// More than is kept at once.
    #[error("the recordings hold more than the {} million samples that calls are put into at once", MOST_SAMPLES / 1_000_000)]
    TooMuch,
    /// The counts cannot be left beside the plan.
    #[error("the evidence was not left: {0}")]
    Evidence(#[source] OutputError),
}

impl RangeCommandError {
    /// How the user may mend it.
    pub(crate) fn help(&self) -> Option<String> {
        match self {
            Self::Named(NamedError::NoCall) => Some(
                "declare one: [call.ID] with kind, source_level, depth and what the kind needs"
                    .to_owned(),
            ),
            Self::Named(NamedError::WhichCall(_)) => Some("add --call ID".to_owned()),
            Self::Evidence(_) => Some(
                "add --no-evidence to leave none, or copy the plan's folder to where you may write"
                    .to_owned(),
            ),
            Self::TooMuch => Some("name fewer recordings; calls need minutes rather than days".to_owned()),
            Self::Range(assess::range::RangeError::TooShort { .. }) => Some(
                "take longer recordings without gaps, or a detector whose background runs over less"
                    .to_owned(),
            ),
            Self::Named(_)
            | Self::Range(_)
            | Self::Draw(_)
            | Self::Unheard
            | Self::Hear(_)
            | Self::Digest { .. } => None,
        }
    }

    /// Whether the user asked to stop.
    pub(crate) fn is_cancelled(&self) -> bool {
        matches!(
            self,
            Self::Range(assess::range::RangeError::Cancelled) | Self::Hear(HearError::Cancelled)
        )
    }
}

/// Most samples of recordings that are kept at once: a gibibyte, and for the moment up to as much again where they are one long stretch that
/// grows.
const MOST_SAMPLES: usize = 1 << 28;
/// Why recorded noise leaves no evidence.
const NO_EVIDENCE: &str = "requirements on the range are judged in the noise of each month's wind, and recordings are of no month";

/// Names of the pictures and what each shows.
const PICTURES: [(&str, RangePicture); 3] = [
    ("found", RangePicture::Found),
    ("over-range", RangePicture::OverRange),
    ("by-month", RangePicture::ByMonth),
];

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let reading = plan_file::read(&args.plan, out)?;
    plan_file::show_about(&reading, &sensor_of(&reading, &args.detector), out)?;
    let line = plan_file::line(&reading, &args.plan)?;
    let mut inputs = plan_file::inputs(&reading.sources);
    inputs.extend(Inputs::of(&args.noise));
    let outputs = Outputs::new(args.force, inputs);
    // Recorded noise and a wind alone are of no month.
    let of_months = args.noise.is_empty() && (args.wind.is_empty() || !args.month.is_empty());
    let wanted: Vec<(&str, RangePicture)> = PICTURES
        .into_iter()
        .filter(|(_, what)| of_months || *what != RangePicture::ByMonth)
        .collect();
    let names = wanted.iter().map(|(name, _)| (*name).to_owned());
    let pictures = Pictures::named(names, args.picture.as_deref(), &outputs)?;
    let (detector, call) = detector_and_call(line, &args.detector, args.call.as_deref())
        .map_err(RangeCommandError::from)?;
    let subject = Subject::new(line, detector, call).map_err(RangeCommandError::from)?;
    let (winds, not_drawn) = winds(args, line, (detector, call), &subject, out)?;
    let draws = Draws {
        calls: args.calls,
        alone_s: 60.0 * f64::from(args.alone),
        seed: args.seed,
    };
    let cancel = Cancel::on_ctrl_c()?;
    let heard = if args.noise.is_empty() {
        None
    } else {
        Some(noise::hear(args, line, detector, &cancel, out)?)
    };
    let bar = out.progress(1000, "putting calls into noise");
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let watch = |share| {
        bar.set_position((1000.0 * share) as u64);
        !cancel.asked()
    };
    let ranges = match &heard {
        None => {
            let (records, _) = records(&args.plan);
            let kept: Vec<InjectionRecord> = records
                .into_iter()
                .filter_map(|(_, record)| match record {
                    AnyRecord::Injection(record) => Some(record),
                    _ => None,
                })
                .collect();
            assess::range::ranges(subject, &winds, draws, &kept, threads, &watch)
        }
        Some(heard) => assess::range::recorded_ranges(
            subject,
            &heard.stretches,
            args.calls,
            args.seed,
            threads,
            &watch,
        ),
    };
    bar.finish_and_clear();
    let ranges = ranges.map_err(RangeCommandError::from)?;
    let name = &line.deployment.name;
    let title = format!(
        "{name}: {} and {}",
        ranges.subject.detector, ranges.subject.call
    );
    pictures.draw(&outputs, |number, page| {
        let (_, what) = wanted[number];
        let png = range_picture_png(&title, &ranges, what, page)?;
        Ok::<_, RangeCommandError>((png, range_picture_svg(&title, &ranges, what, page)?))
    })?;
    let left = match args.no_evidence {
        true => Ok(Vec::new()),
        false => leave(&args.plan, &ranges, &outputs),
    };
    let (evidence, refused) = match left {
        Ok(paths) => (paths, None),
        Err(error) => (Vec::new(), Some(error)),
    };
    let evidence_paths = || evidence.iter().map(PathBuf::as_path);
    match out.format {
        Format::Text => {
            out.stdout.write_all(range_text(name, &ranges).as_bytes())?;
            let files = pictures.paths().map(|path| ("picture", path));
            let files = files.chain(evidence_paths().map(|path| ("evidence", path)));
            outputs::tell(&mut out.stdout, files)?;
            if let Some(heard) = &heard {
                writeln!(out.stdout)?;
                for (count, what) in [
                    (heard.full_scale_samples, "at full scale"),
                    (heard.repeated_samples, "of one value for a second or more"),
                ] {
                    if count > 0 {
                        let s = if count == 1 { "" } else { "s" };
                        writeln!(out.stdout, "left out: {count} sample{s} {what}")?;
                    }
                }
                writeln!(out.stdout, "no evidence was left: {NO_EVIDENCE}")?;
            }
        }
        Format::Json => {
            let mut whole = out.of_plan(range_json(name, &ranges));
            whole["pictures"] = json!(shown(pictures.paths()));
            whole["evidence"] = json!(shown(evidence_paths()));
            let left_out = not_drawn.iter();
            whole["not_drawn"] = left_out
                .map(|n| json!({ "wind_m_s": n.wind_m_s, "why": n.why }))
                .collect();
            if let Some(heard) = &heard {
                whole["recorded"]["recordings"] = json!(heard.recordings);
                whole["recorded"]["full_scale_samples"] = json!(heard.full_scale_samples);
                whole["recorded"]["repeated_samples"] = json!(heard.repeated_samples);
                whole["recorded"]["errors"] = json!(heard.errors);
                whole["no_evidence"] = json!(NO_EVIDENCE);
            }
            out.json(&whole)?;
        }
    }
    match refused {
        Some(error) => Err(error.into()),
        None if heard.is_some_and(|heard| !heard.errors.is_empty()) => Ok(Exit::SomeFailed),
        // What a requirement reads could not be drawn.
        None if !not_drawn.is_empty() => Ok(Exit::Unknown),
        None => Ok(Exit::Met),
    }
}

fn speed(text: &str) -> Result<f64, String> {
    match parse_amount(text, Dimension::Speed) {
        Ok(amount) if amount.law.is_none() && amount.si >= 0.0 => Ok(amount.si),
        Ok(amount) if amount.law.is_none() => Err("must be 0 m/s or more".to_owned()),
        Ok(_) => Err("a spread has no place here".to_owned()),
        Err(fault) => Err(match fault.help() {
            Some(help) => format!("{fault}; {help}"),
            None => fault.to_string(),
        }),
    }
}

/// A wind of a requirement in which nothing can be drawn.
struct NotDrawn {
    wind_m_s: f64,
    why: String,
}

/// The winds in whose noise calls are put: those that were named, or all that requirements read.
fn winds(
    args: &Args,
    line: &Line,
    (detector, call): (DetectorIx, CallIx),
    subject: &Subject,
    out: &mut Out,
) -> Result<(Vec<Wind>, Vec<NotDrawn>), Failure> {
    let named = !args.month.is_empty() || !args.wind.is_empty();
    let mut months = args.month.clone();
    let mut limits_m_s = args.wind.clone();
    let mut not_drawn = Vec::new();
    // Recorded noise is of no wind.
    if !named && args.noise.is_empty() {
        months = deployment_months(line);
        for wind_m_s in limit_winds_m_s(line, detector, call) {
            // The rest of the work goes on: `check` says the same of that requirement.
            match subject.noise_level_db(wind_m_s) {
                Ok(_) => limits_m_s.push(wind_m_s),
                Err(error) => {
                    writeln!(
                        out.stderr,
                        "warning: nothing is drawn at {wind_m_s} m/s of wind, at which a requirement is to hold: {error}"
                    )?;
                    not_drawn.push(NotDrawn {
                        wind_m_s,
                        why: error.to_string(),
                    });
                }
            }
        }
    }
    months.sort_unstable();
    months.dedup();
    limits_m_s.sort_by(f64::total_cmp);
    limits_m_s.dedup();
    let of_months = months.into_iter().map(Wind::OfMonth);
    let winds = of_months.chain(limits_m_s.into_iter().map(Wind::AtMost));
    Ok((winds.collect(), not_drawn))
}

/// The sensor of a detector that is named; none where there is no such detector.
fn sensor_of(reading: &Reading, named: &str) -> Vec<String> {
    let id = named.strip_prefix("detector.").unwrap_or(named);
    let line = reading.line.iter();
    let on = line.flat_map(|line| {
        let own = line.detectors.iter().filter(|d| d.id == id);
        own.map(|d| line.sensor_path(d.on))
    });
    on.collect()
}

/// Writes what was counted beside the plan, for `check`; what was there already is left.
fn leave(
    plan: &Path,
    ranges: &Ranges,
    outputs: &Outputs,
) -> Result<Vec<PathBuf>, RangeCommandError> {
    let mut paths: Vec<PathBuf> = Vec::new();
    for record in ranges.to_keep(&computed_by()) {
        let path = record.path(plan);
        outputs
            .leave(plan, &path, &record.to_json())
            .map_err(RangeCommandError::Evidence)?;
        paths.push(path);
    }
    Ok(paths)
}
