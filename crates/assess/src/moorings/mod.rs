//! Where the line hangs in every design case: depths, tilts and tensions, the pull on its anchor, and what a buoy makes of it.

mod case_shape;
mod envelope;
mod solve;
mod sound;
mod usual;

use plan::Line;

use crate::input::{CasesError, DesignCase, Moored, NotMoored, design_cases, moored, without_size};
use crate::memo::{Job, Memo, canonical};

pub(crate) use case_shape::PULLED_UNDER;
pub use case_shape::{Bared, BuoyState, CaseShape, CaseThing, NoShape, SizeOf, Surface};
pub use envelope::{AnchorHold, Extreme, OfModule, OfSection, Widest};
pub use sound::{BandCaution, FlowNoise, InWaves, LOUD_BELOW_HZ, QUIET_M_S};
pub(crate) use sound::{VISCOSITY_M2_S, flow_past};
pub(crate) use usual::usual;

/// What the shapes of a plan's lines were found by; part of the evidence of each verdict that rests on them.
pub(crate) const METHOD: &str =
    "static shape of the line in a steady current, cross-flow drag (docs/method/mooring.md)";

/// Every line of a plan in every design case.
#[derive(Clone, Debug, PartialEq)]
pub struct Moorings {
    /// The cases.
    pub cases: Vec<DesignCase>,
    /// The lines, by their lowest section.
    pub lines: Vec<Result<HungLine, NotMoored>>,
    /// Values that count although nobody wrote them.
    pub assumed: Vec<String>,
    /// What of the weather nothing is written of, so that what a line bears may be more.
    pub unsaid: Option<String>,
}

impl Moorings {
    /// The first case in which a line has no shape, and why, in words.
    pub(crate) fn without_shape(&self, of: &HungLine) -> Option<String> {
        without_shape(of, &self.cases)
    }

    /// Why more than is known may happen to a line: a case in which it has no shape, or weather of which nothing is written.
    pub(crate) fn gap(&self, of: &HungLine) -> Option<String> {
        self.without_shape(of)
            .or_else(|| self.unsaid.clone())
            .or_else(|| current_from_below(of, &self.cases))
    }
}

/// What stands so much above the shallowest depth of a current, as a share of the water's depth, may stand in a faster one (a choice of ours).
const ABOVE_CURRENT: f64 = 0.1;

/// The first of some cases whose current is written only well below the top of a line, in words.
fn current_from_below(of: &HungLine, cases: &[DesignCase]) -> Option<String> {
    let mut shapes = of.shapes.iter().zip(cases);
    shapes.find_map(|(shape, case)| {
        let shallowest_m = case.current.iter().map(|p| p.0).reduce(f64::min)?;
        let top_m = shape.as_ref().ok()?.top_depth_m.max(0.0);
        (shallowest_m - top_m > ABOVE_CURRENT * case.water.depth_m).then(|| {
            format!(
                "in {} the water current is written from {shallowest_m} m down, and the line reaches up to {top_m:.1} m: write it there",
                case.named()
            )
        })
    })
}

/// The first of some cases in which a line has no shape, and why, in words.
pub(crate) fn without_shape(of: &HungLine, cases: &[DesignCase]) -> Option<String> {
    let shapes = of.shapes.iter().zip(cases);
    let mut gaps = shapes.filter_map(|(shape, case)| Some((case, shape.as_ref().err()?)));
    let (case, why) = gaps.next()?;
    Some(format!("in {} it has no shape: {why}", case.named()))
}

/// One line in every design case.
#[derive(Clone, Debug, PartialEq)]
pub struct HungLine {
    /// The line as the plan says it.
    pub line: Moored,
    /// Its shape in each case, in the order of [`Moorings::cases`], or why there is none.
    pub shapes: Vec<Result<CaseShape, NoShape>>,
    /// The depths that each module saw, from the top of the line down, the top first where it is a module.
    pub modules: Vec<OfModule>,
    /// The largest tension of each section, from the top down.
    pub sections: Vec<OfSection>,
    /// What its anchor must hold.
    pub anchor: AnchorHold,
    /// How far its top goes.
    pub watch_circle: Option<Widest>,
    /// Where hydrophones may hear the line itself.
    pub flow_noise: Vec<FlowNoise>,
}

/// Every line of a plan in every design case.
///
/// # Errors
/// [`CasesError`] where the plan gives no cases.
pub fn moorings(line: &Line) -> Result<Moorings, CasesError> {
    moorings_of(line, &Memo::with_room(0))
}

/// The same, with the shapes that are kept.
pub(crate) fn moorings_of(line: &Line, memo: &Memo) -> Result<Moorings, CasesError> {
    let all = moored(line);
    let cases = design_cases(line)?;
    let mut assumed = cases.assumed;
    let lines = all
        .into_iter()
        .map(|one| Ok(hung_line(line, one?, &cases.cases, memo)))
        .collect();
    beside(line, &mut assumed);
    Ok(Moorings {
        cases: cases.cases,
        lines,
        assumed,
        unsaid: cases.unsaid,
    })
}

/// A line that hangs in the still water of a case.
struct Hanging<'a> {
    line: &'a Moored,
    case: &'a DesignCase,
}

canonical!('a Hanging<'a> {} debug { line, case });

impl Job for Hanging<'_> {
    const METHOD: &'static str = "shape of the line/5";
    type Out = Result<CaseShape, NoShape>;

    fn run(&self, _: &Memo) -> Self::Out {
        solve::hang(self.line, self.case)
    }

    fn bytes(out: &Self::Out) -> usize {
        out.as_ref().map_or(0, bytes_of)
    }
}

/// A line that hangs in the waves of a case.
struct InItsWaves<'a> {
    line: &'a Moored,
    case: &'a DesignCase,
}

canonical!('a InItsWaves<'a> {} debug { line, case });

impl Job for InItsWaves<'_> {
    const METHOD: &'static str = "shape of the line in waves/1";
    type Out = Result<CaseShape, NoShape>;

    fn run(&self, memo: &Memo) -> Self::Out {
        let still = still_shape_of(self.line, self.case, memo)?;
        match self.case.wave {
            Some(wave) => solve::in_waves(self.line, self.case, wave, still),
            None => Ok(still),
        }
    }

    fn bytes(out: &Self::Out) -> usize {
        let all = out.iter().flat_map(CaseShape::surfaces);
        all.map(|(_, found)| bytes_of(found)).sum()
    }
}

fn bytes_of(found: &CaseShape) -> usize {
    let shape = &found.shape;
    size_of_val(found.things.as_slice())
        + size_of_val(shape.points.as_slice())
        + size_of_val(shape.bodies.as_slice())
}

/// The shape of a line in the still water of a case, without its waves.
fn still_shape_of(line: &Moored, case: &DesignCase, memo: &Memo) -> Result<CaseShape, NoShape> {
    let still;
    let case = match case.wave {
        None => case,
        Some(_) => {
            still = DesignCase {
                wave: None,
                ..case.clone()
            };
            &still
        }
    };
    memo.of(&Hanging { line, case }).as_ref().clone()
}

/// The shape of a line in a case.
fn shape_of(line: &Moored, case: &DesignCase, memo: &Memo) -> Result<CaseShape, NoShape> {
    match case.wave {
        None => still_shape_of(line, case, memo),
        Some(_) => memo.of(&InItsWaves { line, case }).as_ref().clone(),
    }
}

/// One line in every case.
pub(crate) fn hung_line(line: &Line, of: Moored, cases: &[DesignCase], memo: &Memo) -> HungLine {
    let shape = |case: &DesignCase| {
        let missing = case.fouling.map(|by| without_size(line, &of, &by));
        match missing.filter(|missing| !missing.is_empty()) {
            Some(missing) => Err(NoShape::NoSize { missing }),
            None => shape_of(&of, case, memo),
        }
    };
    let shapes: Vec<Result<CaseShape, NoShape>> = cases.iter().map(shape).collect();
    HungLine {
        modules: envelope::modules(&of, &shapes),
        sections: envelope::sections(&of, &shapes),
        anchor: envelope::anchor(&of, &shapes),
        watch_circle: envelope::watch_circle(&shapes),
        flow_noise: sound::flow_noise(line, &of, cases, &shapes),
        line: of,
        shapes,
    }
}

/// What is beside the sections and is not counted.
fn beside(line: &Line, assumed: &mut Vec<String>) {
    if !line.spans.is_empty() && !line.sections.is_empty() {
        assumed.push(
            "spans beside a section add neither weight nor drag to it: what its rope says counts"
                .to_owned(),
        );
    }
    let beside: Vec<String> = line
        .modules
        .iter()
        .filter(|m| !matches!(m.position, plan::Position::Depth(_)))
        .filter(|m| {
            m.housing
                .as_ref()
                .is_some_and(|h| h.added_length_m.is_none())
        })
        .map(|m| format!("module.{}", m.id))
        .collect();
    if !beside.is_empty() {
        assumed.push(format!(
            "clamped beside its section, which it makes no longer, because no `added_length` is written: {}",
            beside.join(", ")
        ));
    }
}
