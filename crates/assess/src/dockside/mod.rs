//! The dockside sheet: what is read on the quay while the line is put together, what each reading must show, and which single fault explains readings that do not.
//!
//! Equations, sources and limits: `docs/method/dockside.md`.

mod bench;
mod covariance;
mod electric_steps;
mod other_steps;
mod predict;
mod quay;
mod rank;
mod words;

#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use plan::Line;

use crate::input::InputError;
use bench::Bench;
pub use bench::Setup;
pub use predict::{BEYOND_RANGE, End, Fault, Probe};
pub use quay::{Calibrator, Quay, QuayAsk, QuayError, Tolerance};
pub use rank::{ALIKE, Candidate, Further, Ranking, UNLIKELY};
pub use words::{fault_words, probe_dimension, probe_words, setup_words};

/// What a reading must show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// The value; `None` where only a limit is known.
    pub value: Option<f64>,
    /// Least; `None` where there is none.
    pub low: Option<f64>,
    /// Most; `None` where there is none.
    pub high: Option<f64>,
}

impl Expected {
    fn about(value: f64, half_width: f64) -> Expected {
        Expected {
            value: Some(value),
            low: Some(value - half_width),
            high: Some(value + half_width),
        }
    }

    fn at_least(low: f64) -> Expected {
        Expected {
            value: None,
            low: Some(low),
            high: None,
        }
    }

    fn at_most(high: f64) -> Expected {
        Expected {
            value: None,
            low: None,
            high: Some(high),
        }
    }

    /// Whether a reading is within the band.
    #[must_use]
    pub fn holds(&self, reading: f64) -> bool {
        self.low.is_none_or(|low| reading >= low) && self.high.is_none_or(|high| reading <= high)
    }
}

/// A reading that the sheet asks for.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// Its id: what is read, and where, with points between.
    pub id: String,
    /// Where in the order of assembly: index into [`Dockside::stages`].
    pub stage: usize,
    /// At what: a typed path.
    pub subject: String,
    /// What is read, and how.
    pub what: String,
    /// Unit of reading and band.
    pub unit: &'static str,
    /// What it must show, or why that is not known.
    pub expected: Result<Expected, String>,
    /// On what that rests.
    pub why: String,
    /// The same for the network, where a meter reads it.
    pub probe: Option<Probe>,
}

/// The sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Dockside {
    /// The quay.
    pub quay: Quay,
    /// The stages of assembly, in order.
    pub stages: Vec<String>,
    /// The steps, in order.
    pub steps: Vec<Step>,
    /// What the figures rest on, in sentences.
    pub rests_on: Vec<String>,
    /// Cautions.
    pub cautions: Vec<&'static str>,
}

/// What came of a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Found {
    /// Within its band.
    Within,
    /// Outside it.
    Off,
    /// Not read.
    NotTaken,
    /// Read, and nothing is known to hold it against.
    NothingExpected,
}

impl Found {
    /// In a word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Found::Within => "within",
            Found::Off => "off",
            Found::NotTaken => "not-taken",
            Found::NothingExpected => "nothing-expected",
        }
    }
}

/// Readings held against a sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct QuayJudged {
    /// What came of each step, in the order of the sheet, with its reading.
    pub found: Vec<(Found, Option<f64>)>,
    /// Single faults by how well they explain the electric readings; `None` where none was taken that can be held against the line.
    pub ranking: Option<Ranking>,
}

/// Why there is no sheet.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum DocksideError {
    /// The input cannot be built.
    #[error(transparent)]
    Input(#[from] InputError),
    /// The quay cannot be.
    #[error(transparent)]
    Quay(#[from] QuayError),
    /// The plan has no supply.
    #[error("no supply feeds the line")]
    NoSupply,
}

const TESTER: &str = "An insulation tester destroys converters, and what it charges bites: read the insulation of a leg before anything is joined to it, and discharge it afterwards.";

/// The sheet of a line on a quay.
///
/// # Errors
/// [`DocksideError`]. What the plan does not say is an unknown expectation of its step.
pub fn dockside(line: &Line, ask: &QuayAsk) -> Result<Dockside, DocksideError> {
    let quay = Quay::of(ask)?;
    if line.supplies.is_empty() {
        return Err(DocksideError::NoSupply);
    }
    let bench = Bench::of(line, &quay)?;
    let mut sheet = Dockside {
        stages: Vec::new(),
        steps: Vec::new(),
        rests_on: rests_on(&bench),
        cautions: crate::cautions::cautions(line),
        quay,
    };
    sheet.cautions.insert(0, TESTER);
    electric_steps::put(&mut sheet, &bench);
    other_steps::put(&mut sheet, line);
    sheet.ids_apart();
    Ok(sheet)
}

/// Readings, by the ids of their steps and in their units ([`BEYOND_RANGE`] for one beyond the meter), held against the sheet of the same line.
///
/// # Errors
/// [`DocksideError`] as [`dockside`].
pub fn judge_readings(
    line: &Line,
    sheet: &Dockside,
    readings: &BTreeMap<String, f64>,
) -> Result<QuayJudged, DocksideError> {
    let found = sheet.steps.iter().map(|step| {
        let Some(reading) = readings.get(&step.id).copied() else {
            return (Found::NotTaken, None);
        };
        let found = match &step.expected {
            Err(_) => Found::NothingExpected,
            Ok(expected) if expected.holds(reading) => Found::Within,
            Ok(_) => Found::Off,
        };
        (found, Some(reading))
    });
    let found: Vec<_> = found.collect();
    let electric = sheet.steps.iter().zip(&found);
    let electric: Vec<(Probe, f64)> = electric
        .filter(|(step, _)| step.expected.is_ok())
        .filter_map(|(step, (_, reading))| Some((step.probe?, (*reading)?)))
        .collect();
    let bench = Bench::of(line, &sheet.quay)?;
    Ok(QuayJudged {
        ranking: rank::rank(&bench, &sheet.quay, &sheet.probes(), &electric),
        found,
    })
}

impl Dockside {
    fn stage(&mut self, told: String) -> usize {
        self.stages.push(told);
        self.stages.len() - 1
    }

    /// What it asks to read with a meter, in its order.
    fn probes(&self) -> Vec<Probe> {
        self.steps.iter().filter_map(|step| step.probe).collect()
    }

    /// Ids that are alike get a number.
    fn ids_apart(&mut self) {
        let mut seen: BTreeMap<String, usize> = BTreeMap::new();
        for step in &mut self.steps {
            let times = seen.entry(step.id.clone()).or_default();
            *times += 1;
            if *times > 1 {
                step.id = format!("{}-{times}", step.id);
            }
        }
    }
}

fn rests_on(bench: &Bench<'_>) -> Vec<String> {
    let mut all = vec![
        "contacts as new; leaks to the water and the warmth that a load gives its cable are left out; a band holds 95 % of sound lines: spreads of the plan, those told as assumed, and the meter".to_owned(),
        "voltages are read at a module's inlet, between its two conductors, with its own load on; a leg is read by itself, with its far end shorted for the loop and open for the rest".to_owned(),
    ];
    for (m, heaviest) in bench.heaviest.iter().enumerate() {
        if let Err(why) = heaviest {
            all.push(format!(
                "module.{} is not read at its heaviest: {why}",
                bench.line.modules[m].id
            ));
        }
    }
    all
}
