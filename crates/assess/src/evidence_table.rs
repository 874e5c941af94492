//! Which evidence supports each requirement: a calculation, a rehearsal, recordings, a measurement, or nothing yet.

use std::collections::BTreeSet;

use plan::{Calibration, Line, Must, Requirement, SensorIx, That};

use crate::certainty::{DrawsBeside, InDraws};
use crate::check::Check;
use crate::judged::Judged;
use crate::standing::WATCH;
use crate::verdict::{Evidence, Verdict, Word};

/// A piece of evidence for one requirement.
#[derive(Clone, PartialEq, Debug)]
pub enum Support {
    /// A calculation on what the plan says.
    Calculation {
        /// The method, with its source.
        method: &'static str,
        /// Draws that were counted and their seed; `None` where nothing was drawn.
        draws: Option<(u64, u64)>,
    },
    /// Draws of the plan that lie beside it.
    Draws(InDraws),
    /// A rehearsal that lies beside the plan.
    Rehearsal {
        /// The cue sheet.
        cues: String,
        /// Its seed.
        seed: u64,
        /// Digest of everything that happened.
        result_digest: String,
    },
    /// Labelled recordings that went through a detector.
    Recordings {
        /// The detector.
        detector: String,
        /// The file of labels.
        labels: String,
        /// How many recordings.
        recordings: usize,
        /// Digest of the record.
        result_digest: String,
    },
    /// A measurement that the others rest on: a calibration, the hours of a weather file.
    Measurement {
        /// What was measured, when and by whom, as far as the plan says.
        what: String,
    },
    /// A document, and who stands for it.
    Attestation {
        /// The document, by whom, when, and until when.
        what: String,
    },
    /// Nothing yet.
    Nothing {
        /// Why, and what to do.
        why: String,
    },
}

/// A requirement, or one of what is checked in every plan, with what supports it.
#[derive(Clone, PartialEq, Debug)]
pub struct Supported {
    /// Its id.
    pub id: String,
    /// Shall or should.
    pub must: Must,
    /// Permit, clause or document.
    pub clause: Option<String>,
    /// Its word.
    pub word: Word,
    /// Each piece of evidence, with the subjects of the verdicts that rest on it.
    pub supports: Vec<(Support, Vec<String>)>,
}

/// What a whole plan's verdicts rest on.
#[derive(Clone, PartialEq, Debug)]
pub struct EvidenceTable {
    /// The plan's requirements, by id.
    pub requirements: Vec<Supported>,
    /// What is checked in every plan.
    pub standing: Vec<Supported>,
    /// What the draws that lie beside the plan are worth.
    pub draws: DrawsBeside,
}

/// The evidence of every verdict of a check, requirement by requirement; `line` is the one that was checked, if there was any.
#[must_use]
pub fn evidence_table(line: Option<&Line>, check: &Check) -> EvidenceTable {
    let measured = |judged: &Judged| -> Vec<String> {
        let Some(line) = line else {
            return Vec::new();
        };
        let asked = line.requirements.iter().find(|r| r.id == judged.id);
        asked.map_or_else(Vec::new, |r| measurements(line, r))
    };
    // The standing checks of chains read what requirements on chains read.
    let of_chains = |judged: &Judged| match (line, judged.id.as_str()) {
        (Some(line), "self-noise" | "overload") => calibrations(line, &heard(line)),
        (Some(line), id) => {
            let watch = id.strip_prefix(WATCH).and_then(|id| {
                let mut all = line.watches.iter();
                all.find(|w| w.id == id)
            });
            watch.map_or_else(Vec::new, |w| {
                calibrations(line, &[line.detectors[w.by.0].on])
            })
        }
        _ => Vec::new(),
    };
    let requirements = check.requirements.iter();
    let standing = check.standing.iter();
    EvidenceTable {
        requirements: requirements.map(|j| supported(j, measured(j))).collect(),
        standing: standing.map(|j| supported(j, of_chains(j))).collect(),
        draws: check.draws,
    }
}

fn supported(judged: &Judged, measured: Vec<String>) -> Supported {
    let mut supports: Vec<(Support, Vec<String>)> = Vec::new();
    let mut add = |support: Support, subject: &str| {
        let known = supports.iter_mut().find(|(s, _)| *s == support);
        match known {
            Some((_, subjects)) => subjects.push(subject.to_owned()),
            None => supports.push((support, vec![subject.to_owned()])),
        }
    };
    for verdict in &judged.verdicts {
        // Of a share of draws that is known the draws themselves are told.
        let drawn = verdict.is_of_draws() && judged.in_draws.is_some();
        if !drawn || matches!(verdict, Verdict::Unknown { .. }) {
            add(of_verdict(verdict), verdict.subject());
        }
    }
    if let Some(draws) = &judged.in_draws {
        add(Support::Draws(draws.clone()), &judged.id);
    }
    // A measurement supports nothing by itself: it stands beside what is computed from it.
    if !matches!(judged.word(), Word::Unknown | Word::Provisional) {
        for what in measured {
            add(Support::Measurement { what }, &judged.id);
        }
    }
    Supported {
        id: judged.id.clone(),
        must: judged.must,
        clause: judged.clause.clone(),
        word: judged.word(),
        supports,
    }
}

fn of_verdict(verdict: &Verdict) -> Support {
    let known = match verdict {
        Verdict::Known(known) => known,
        Verdict::Unknown { why, .. } => return Support::Nothing { why: why.clone() },
        Verdict::Provisional(so_far) => {
            return Support::Nothing {
                why: so_far.why.clone(),
            };
        }
    };
    match &known.evidence {
        Evidence::Computed { method, .. } => Support::Calculation {
            method,
            draws: None,
        },
        Evidence::Sampled {
            method,
            draws,
            seed,
            ..
        } => Support::Calculation {
            method,
            draws: Some((*draws, *seed)),
        },
        Evidence::Rehearsed {
            cues,
            seed,
            result_digest,
            ..
        } => Support::Rehearsal {
            cues: cues.clone(),
            seed: *seed,
            result_digest: result_digest.clone(),
        },
        Evidence::Attested {
            document,
            by,
            date,
            expires,
        } => Support::Attestation {
            what: format!(
                "{document} by {by} on {date}{}",
                match expires {
                    Some(expires) => format!(", until {expires}"),
                    None => ", without an end".to_owned(),
                }
            ),
        },
        Evidence::Measured { document, by, date } => Support::Measurement {
            what: format!("{document} by {by} on {date}"),
        },
        Evidence::Recorded {
            detector,
            labels,
            recordings,
            result_digest,
            ..
        } => Support::Recordings {
            detector: detector.clone(),
            labels: labels.clone(),
            recordings: *recordings,
            result_digest: result_digest.clone(),
        },
    }
}

/// What was measured and a requirement's figure is computed from.
fn measurements(line: &Line, r: &Requirement) -> Vec<String> {
    match &r.that {
        That::SelfNoise { of, .. }
        | That::PickUp { of, .. }
        | That::Overload { of, .. }
        | That::HeaveOverload { of, .. } => match of {
            Some(sensor) => calibrations(line, &[*sensor]),
            None => calibrations(line, &heard(line)),
        },
        That::DetectionRange { of, .. } => {
            let mut all = calibrations(line, &[line.detectors[of.0].on]);
            all.extend(crate::range::measured_loss(line));
            all
        }
        That::Recall { of, .. } | That::FalseAlarms { of, .. } => {
            calibrations(line, &[line.detectors[of.0].on])
        }
        That::OutageHours { .. }
        | That::LowestCharge { .. }
        | That::ListeningShare { .. }
        | That::ListeningGap { .. } => {
            let weather = line.sea.weather.iter();
            weather
                .map(|w| format!("the hours of weather of {}", w.path))
                .collect()
        }
        That::CalibrationAge { of, .. } => match of {
            Some(sensor) => calibrations(line, &[*sensor]),
            None => calibrations(line, &line.hydrophones().collect::<Vec<_>>()),
        },
        _ => Vec::new(),
    }
}

/// The sensors that detectors listen on, ascending.
fn heard(line: &Line) -> Vec<SensorIx> {
    let sensors: BTreeSet<(usize, usize)> = line
        .detectors
        .iter()
        .map(|d| (d.on.module.0, d.on.sensor))
        .collect();
    let sensor = |(module, sensor)| SensorIx {
        module: plan::ModuleIx(module),
        sensor,
    };
    sensors.into_iter().map(sensor).collect()
}

fn calibrations(line: &Line, sensors: &[SensorIx]) -> Vec<String> {
    let told = |ix: &SensorIx| {
        let calibrated: &Calibration = line.sensor(*ix).calibrated.as_ref()?;
        let sure = calibrated.uncertainty_db.map_or_else(String::new, |u| {
            format!(", to {} dB", quantity::show_number(u.db))
        });
        Some(format!(
            "the calibration of {} on {} by {}{sure}",
            line.sensor_path(*ix),
            calibrated.date.strftime("%Y-%m-%d"),
            calibrated.by
        ))
    };
    sensors.iter().filter_map(told).collect()
}
