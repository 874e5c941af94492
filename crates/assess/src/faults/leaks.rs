//! Leaks to the water at the far end of each span, and what an insulation tester reads.

use plan::{Line, Pole, SpanIx};
use power::fault::{insulation_reading_ohm, leak, leak_borne};

use super::{branch_of, gives_way};
use crate::input::ElectricInput;
use crate::reserve::limits;

/// A leak at the far end of a span.
#[derive(Clone, Debug, PartialEq)]
pub struct LeakAt {
    /// The span: a typed path.
    pub span: String,
    /// What it does, or why that is unknown.
    pub outcome: Result<LeakKnown, String>,
}

/// What a leak does.
#[derive(Clone, Debug, PartialEq)]
pub struct LeakKnown {
    /// The leak at which something gives way, ohm, all its ends together; zero where nothing does.
    pub bears_ohm: f64,
    /// What gives way first.
    pub gives_way: String,
    /// Current of the leak that is asked, A; `None` where the line does not carry it.
    pub current_a: Option<f64>,
    /// What the supplies give more for it, W.
    pub cost_w: Option<f64>,
}

/// What a tester reads of each conductor against the water at 20 degC.
#[derive(Clone, Debug, PartialEq)]
pub struct Insulation {
    /// The whole line, ohm, or why that is unknown.
    pub line_ohm: Result<f64, String>,
    /// Each span with a conductor, ohm; `None` where the plan does not say.
    pub spans: Vec<(String, Option<f64>)>,
}

/// How the line is connected to the water.
pub(super) enum Poles {
    Floating,
    /// One pole of this source is in the water.
    Earthed(usize),
}

pub(super) fn poles(line: &Line, input: &ElectricInput) -> Result<Poles, String> {
    let mut earthed = Vec::new();
    for (source, &s) in input.sources.iter().enumerate() {
        let supply = &line.supplies[s];
        match supply.pole {
            Some(Pole::Floating) => {}
            Some(Pole::Earthed) => earthed.push(source),
            None => {
                return Err(format!(
                    "supply.{} does not say whether one of its poles is connected to the water (output.pole)",
                    supply.id
                ));
            }
        }
    }
    match earthed[..] {
        [] => Ok(Poles::Floating),
        [source] => Ok(Poles::Earthed(source)),
        _ => Err(
            "several supplies have a pole in the water, and current flows through it already"
                .to_owned(),
        ),
    }
}

/// A leak at the far end of a span: the worst of these sets of states.
pub(super) fn leak_at(
    line: &Line,
    heavy: &Result<Vec<ElectricInput>, String>,
    poles: &Result<Poles, String>,
    span: SpanIx,
    ohm: f64,
) -> Result<LeakKnown, String> {
    let poles = poles.as_ref().map_err(Clone::clone)?;
    let heavy = heavy.as_ref().map_err(Clone::clone)?;
    let mut worst: Option<LeakKnown> = None;
    for input in heavy {
        let Some(branch) = branch_of(input, span) else {
            continue;
        };
        // A span's far end is an inlet; where both ends are outlets, either will do.
        let ends = input.network.spans[branch];
        let inlet = |node: usize| input.inlets.contains(&Some(node));
        let from = if inlet(ends.b) { ends.b } else { ends.a };
        let into = match poles {
            Poles::Floating => from,
            Poles::Earthed(source) => input.network.sources[*source].node,
        };
        let limits = limits(line, input);
        let borne = leak_borne(&input.network, from, into, &limits).map_err(|e| e.to_string())?;
        if worst
            .as_ref()
            .is_some_and(|w| w.bears_ohm >= borne.resistance_ohm)
        {
            continue;
        }
        let asked = leak(&input.network, from, into, ohm).ok();
        worst = Some(LeakKnown {
            bears_ohm: borne.resistance_ohm,
            gives_way: gives_way(line, borne.binds.map(|b| (input, b))),
            current_a: asked.as_ref().map(|l| l.current_a),
            cost_w: asked.as_ref().map(|l| l.cost_w),
        });
    }
    worst.ok_or_else(|| "no power reaches it".to_owned())
}

pub(super) fn insulation(line: &Line) -> Insulation {
    let mut spans = Vec::new();
    let mut said = Vec::new();
    let mut silent = Vec::new();
    for span in line.spans.iter().filter(|s| s.conductor.is_some()) {
        let path = format!("span.{}", span.id);
        match span.insulation_1km_ohm {
            Some(q) => {
                said.push((span.length_m, q.si));
                spans.push((path, Some(q.si * 1000.0 / span.length_m)));
            }
            None => {
                silent.push(path.clone());
                spans.push((path, None));
            }
        }
    }
    let line_ohm = if !silent.is_empty() {
        Err(format!(
            "nothing is said of insulation_1km: {}",
            silent.join(", ")
        ))
    } else {
        match insulation_reading_ohm(&said) {
            Ok(Some(ohm)) => Ok(ohm),
            Ok(None) => Err("no span has a conductor".to_owned()),
            Err(error) => Err(error.to_string()),
        }
    };
    Insulation { line_ohm, spans }
}
