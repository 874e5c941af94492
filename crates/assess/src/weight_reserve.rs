//! How much weight in water each place on a line in the water may still take, and what stops more.
//!
//! The weight is hung at the place and the line's shape worked out anew in every design case, as it is for the verdicts; there is no second
//! calculation. What stops more is the first of: a buoy pulled under, a float that no longer holds its line up (as the
//! standing check `held-up` judges it), a housing or a float beyond its rating, a
//! requirement on depth, tilt, tension, anchor or watch circle, the working load of a rope, the hold of an anchor. Where a case has no shape before that,
//! the weight is at least what was held until then.

use plan::{Line, That};

use crate::hung_verdicts::{afloat, housing_depths};
use crate::input::{CasesError, DesignCase, Moored, MooredTop, Thing, design_cases, moored};
use crate::memo::Memo;
use crate::mooring_verdicts::{
    Hangs, anchor_load, line_tension, module_depth, module_tilt, watch_circle,
};
use crate::moorings::{HungLine, Moorings, NoShape, hung_line};
use crate::stands::{anchors_hold, float_depths, held_up_of};
use crate::verdict::{Verdict, Word};

/// More than this is not tried, N.
const MOST_N: f64 = 1e6;
/// The first weight that is tried, N.
const FIRST_N: f64 = 8.0;
/// The weight is found to this share of itself, or to [`FINE_N`].
const FINE: f64 = 1e-3;
/// The weight is found to this, N.
const FINE_N: f64 = 0.1;

/// What a place may still take.
#[derive(Clone, Debug, PartialEq)]
pub struct PlaceWeightReserve {
    /// Typed path of what hangs there.
    pub path: String,
    /// Typed path of the lowest section of its line.
    pub line: String,
    /// What may be added.
    pub reserve: WeightReserve,
}

/// Weight in water that may be added at a place.
#[derive(Clone, Debug, PartialEq)]
pub enum WeightReserve {
    /// So much.
    Weight {
        /// Weight in water, N.
        weight_n: f64,
        /// What stops more, in words.
        binds: String,
    },
    /// At least so much: with more some case has no shape that is found, so that no limit can be asked.
    AtLeast {
        /// Weight in water, N.
        weight_n: f64,
        /// Which case has no shape, and why.
        why: String,
    },
    /// Nothing of what the plan says stops a weight of so much.
    NoLimit {
        /// The most that was tried, N.
        tried_n: f64,
    },
    /// A limit is not kept before anything is added.
    None {
        /// Which, in words.
        why: String,
    },
    /// It is not known.
    Unknown {
        /// Why.
        why: String,
    },
}

/// What the lines of a plan may still bear.
#[derive(Clone, Debug, PartialEq)]
pub struct LineWeightReserve {
    /// Modules on the lines, from the anchor upwards, then what holds the top.
    pub places: Vec<PlaceWeightReserve>,
    /// Lines without a shape: the lowest section, and why.
    pub unknown: Vec<(String, String)>,
}

/// What each place on the lines of a plan may still take in weight.
///
/// # Errors
/// [`CasesError`] where the plan gives no cases.
pub fn line_weight_reserve(line: &Line) -> Result<LineWeightReserve, CasesError> {
    let mut found = LineWeightReserve {
        places: Vec::new(),
        unknown: Vec::new(),
    };
    if line.sections.is_empty() {
        return Ok(found);
    }
    let cases = design_cases(line)?.cases;
    for one in moored(line) {
        let of = match one {
            Ok(of) => of,
            Err(not) => {
                found.unknown.push((not.section, not.why.join("; ")));
                continue;
            }
        };
        let lowest = of.pieces.first().map_or_else(String::new, |p| {
            format!("section.{}", line.sections[p.section.0].id)
        });
        let search = Search::new(line, &of, &cases);
        let hung = of.hung.iter().enumerate();
        let modules = hung.filter(|(_, h)| matches!(h.what, Thing::Module(_)));
        let mut places: Vec<(String, Place)> = modules
            .map(|(ix, h)| (h.what.path(line), Place::Hung(ix)))
            .collect();
        places.push((of.top.path(line), Place::Top));
        found
            .places
            .extend(places.into_iter().map(|(path, at)| PlaceWeightReserve {
                path,
                line: lowest.clone(),
                reserve: search.reserve(at),
            }));
    }
    Ok(found)
}

#[derive(Clone, Copy)]
enum Place {
    /// Index into [`Moored::hung`].
    Hung(usize),
    /// What holds the top.
    Top,
}

/// What stops a weight, in words.
enum Stop {
    Limit(String),
    NoShape(String),
}

struct Search<'a> {
    line: &'a Line,
    of: &'a Moored,
    cases: &'a [DesignCase],
    /// The limits as they are without a weight.
    now: Vec<Limit>,
}

/// A verdict with what asks it.
struct Limit {
    asked: String,
    verdict: Verdict,
}

impl Limit {
    /// What is left of the lift of the float at the top of a line.
    fn held_up(line: &Line, of: &Moored) -> Option<Limit> {
        held_up_of(line, of).map(|verdict| Limit {
            asked: "what a float lifts".to_owned(),
            verdict,
        })
    }

    fn word(&self) -> Word {
        self.verdict.word()
    }

    fn is(&self, other: &Limit) -> bool {
        self.asked == other.asked && self.verdict.subject() == other.verdict.subject()
    }

    fn told(&self) -> String {
        let why = match &self.verdict {
            Verdict::Known(k) => k.why.lines().next().unwrap_or("").to_owned(),
            Verdict::Provisional(_) => String::new(),
            Verdict::Unknown { why, .. } => why.clone(),
        };
        format!("{}, {}: {why}", self.asked, self.verdict.subject())
    }
}

impl<'a> Search<'a> {
    fn new(line: &'a Line, of: &'a Moored, cases: &'a [DesignCase]) -> Search<'a> {
        let memo = Memo::with_room(0);
        let now = limits(line, hung_line(line, of.clone(), cases, &memo), cases);
        Search {
            line,
            of,
            cases,
            now,
        }
    }

    fn reserve(&self, at: Place) -> WeightReserve {
        if let Some(broken) = self.now.iter().find(|l| l.word() == Word::Broken) {
            return WeightReserve::None { why: broken.told() };
        }
        if let Some(gap) = self.gap(0.0, at) {
            return WeightReserve::Unknown { why: gap };
        }
        let (mut holds_n, mut tried_n) = (0.0, FIRST_N);
        let mut binds = loop {
            match self.stops(tried_n, at) {
                Some(why) => break why,
                None if tried_n >= MOST_N => return WeightReserve::NoLimit { tried_n },
                None => (holds_n, tried_n) = (tried_n, 2.0 * tried_n),
            }
        };
        while tried_n - holds_n > FINE_N.max(FINE * tried_n) {
            let middle_n = f64::midpoint(holds_n, tried_n);
            match self.stops(middle_n, at) {
                Some(why) => (tried_n, binds) = (middle_n, why),
                None => holds_n = middle_n,
            }
        }
        match binds {
            Stop::Limit(binds) => WeightReserve::Weight {
                weight_n: holds_n,
                binds,
            },
            Stop::NoShape(why) => WeightReserve::AtLeast {
                weight_n: holds_n,
                why,
            },
        }
    }

    /// The first limit that a weight breaks, in words.
    fn stops(&self, weight_n: f64, at: Place) -> Option<Stop> {
        let with = with_weight(self.of, weight_n, at);
        // Before its shape: a line that is not held up may have none.
        let held_up = Limit::held_up(self.line, &with);
        if let Some(falls) = held_up.filter(|l| l.word() == Word::Broken) {
            return Some(Stop::Limit(falls.told()));
        }
        let hung = hung_line(self.line, with, self.cases, &Memo::with_room(0));
        let gap = gap(&hung, self.cases);
        let then = limits(self.line, hung, self.cases);
        let held = |l: &&Limit| matches!(l.word(), Word::Met | Word::Marginal);
        let mut falls = self.now.iter().filter(held).filter_map(|was| {
            let is = then.iter().find(|l| l.is(was))?;
            (is.word() == Word::Broken).then(|| is.told())
        });
        let broken = falls.next().map(Stop::Limit).or(gap.map(Stop::NoShape));
        // A limit that can no longer be told stops as one that is broken.
        let told = |was: &&Limit| then.iter().any(|l| l.is(was));
        let mut silent = self.now.iter().filter(held).filter(|was| !told(was));
        broken.or_else(|| {
            let was = silent.next()?;
            Some(Stop::NoShape(format!(
                "{} can no longer be told",
                was.asked
            )))
        })
    }

    fn gap(&self, weight_n: f64, at: Place) -> Option<String> {
        let with = with_weight(self.of, weight_n, at);
        gap(
            &hung_line(self.line, with, self.cases, &Memo::with_room(0)),
            self.cases,
        )
    }
}

/// The first case without a shape, in words.
fn gap(found: &HungLine, cases: &[DesignCase]) -> Option<String> {
    let shapes = found.shapes.iter().zip(cases);
    let mut gaps = shapes.filter_map(|(shape, case)| Some((case, shape.as_ref().err()?)));
    gaps.next().map(|(case, why): (&DesignCase, &NoShape)| {
        format!("in {} it has no shape: {why}", case.named())
    })
}

fn with_weight(of: &Moored, weight_n: f64, at: Place) -> Moored {
    let mut with = of.clone();
    match at {
        Place::Hung(ix) => with.hung[ix].body.weight_n += weight_n,
        Place::Top => match &mut with.top {
            MooredTop::Buoy { hull, .. } => hull.weight_n += weight_n,
            MooredTop::Float { buoyancy_n, .. } => *buoyancy_n -= weight_n,
        },
    }
    with
}

/// Every limit on the shape of a line that the plan says.
fn limits(line: &Line, hung: HungLine, cases: &[DesignCase]) -> Vec<Limit> {
    // A module elsewhere has a depth and a rating too, and nothing hung on this line changes them.
    let of = hung.line.clone();
    let found = Moorings {
        cases: cases.to_vec(),
        lines: vec![Ok(hung)],
        assumed: Vec::new(),
    };
    let memo = Memo::with_room(0);
    let hangs = Hangs::with(line, found, &memo);
    let mut all: Vec<(String, Vec<Verdict>)> = vec![
        ("the buoy".to_owned(), afloat(&hangs)),
        (
            "the rated depth".to_owned(),
            housing_depths(&hangs, |m| of.holds(m)),
        ),
        ("the rated depth".to_owned(), float_depths(&hangs)),
        (
            "the working load".to_owned(),
            line_tension(&hangs, None, None),
        ),
        ("the anchor".to_owned(), anchor_load(&hangs, None, None)),
        ("the anchor as written".to_owned(), anchors_hold(&hangs)),
    ];
    for r in &line.requirements {
        let verdicts = match &r.that {
            That::ModuleDepth { of, limits } => module_depth(&hangs, *of, *limits),
            That::ModuleTilt { of, at_most_deg } => module_tilt(&hangs, *of, *at_most_deg),
            That::LineTension { of, at_most_n } => line_tension(&hangs, *of, *at_most_n),
            That::AnchorLoad { of, at_least } => anchor_load(&hangs, *of, *at_least),
            That::WatchCircle { of, at_most_m } => watch_circle(&hangs, *of, *at_most_m),
            _ => continue,
        };
        all.push((format!("requirement.{}", r.id), verdicts));
    }
    // The shapes of the plan's other lines are not among those found, so what these bear is unknown here, as is what lacks a key: neither is asked.
    let known = |(asked, verdicts): (String, Vec<Verdict>)| {
        let known = verdicts.into_iter().filter(|v| v.word() != Word::Unknown);
        known.map(move |verdict| Limit {
            asked: asked.clone(),
            verdict,
        })
    };
    let held_up = Limit::held_up(line, &of);
    held_up
        .into_iter()
        .chain(all.into_iter().flat_map(known))
        .collect()
}
