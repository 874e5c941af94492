//! How much weight in water each place on a line in the water may still take, and what stops more.
//!
//! The weight is added to what hangs at the place, in the line as it was read, and all that is judged of a line's weights is judged anew as `check` judges it: there is no
//! second calculation ([`limits`]). Where a case has no shape before any of that is broken, the weight is at least what was held until then.

mod limits;

use std::cell::OnceCell;

use plan::{Line, Q, Reading};

use crate::hang::hang_with;
use crate::input::{
    CasesError, DesignCase, DesignCases, Moored, MooredTop, Thing, design_cases, moored,
};
use crate::memo::Memo;
use crate::moorings::{hung_line, without_shape};
use crate::verdict::Word;
use limits::{Limit, first_broken, of_the_rest, of_the_shape};

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

/// What each place on the lines of a plan without mistakes may still take in weight.
///
/// # Errors
/// [`CasesError`] where the plan gives no cases.
pub fn line_weight_reserve(reading: &Reading) -> Result<LineWeightReserve, CasesError> {
    let mut found = LineWeightReserve {
        places: Vec::new(),
        unknown: Vec::new(),
    };
    let with_sections = reading.line.as_ref().filter(|l| !l.sections.is_empty());
    let Some(line) = with_sections else {
        return Ok(found);
    };
    let DesignCases { cases, unsaid, .. } = design_cases(line)?;
    let memo = Memo::new();
    for (which, one) in moored(line).into_iter().enumerate() {
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
        let cases = (cases.as_slice(), unsaid.as_deref());
        let search = Search::new((reading, line), (which, &of), cases, &memo);
        let hung = of.hung.iter();
        let modules = hung.filter_map(|h| match h.what {
            Thing::Module(_) => Some((h.what.path(line), Place::Hung(h.what))),
            Thing::Float(_) | Thing::Weight(_) => None,
        });
        let mut places: Vec<(String, Place)> = modules.collect();
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
    /// Something that hangs on the line.
    Hung(Thing),
    /// What holds the top.
    Top,
}

/// What stops a weight, in words.
enum Stop {
    Limit(String),
    NoShape(String),
}

struct Search<'a> {
    reading: &'a Reading,
    line: &'a Line,
    /// Which of the plan's lines.
    which: usize,
    of: &'a Moored,
    cases: &'a [DesignCase],
    /// Weather of which nothing is written.
    unsaid: Option<&'a str>,
    memo: &'a Memo,
    /// The limits on its shape as they are without a weight.
    now: Vec<Limit>,
    /// All else that may read a weight, as it is without one; asked for once a weight is found.
    rest_now: OnceCell<Vec<Limit>>,
}

/// How much is asked of a weight.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Asked {
    /// What is asked of the shape of its line.
    Shape,
    /// All.
    All,
}

impl<'a> Search<'a> {
    fn new(
        (reading, line): (&'a Reading, &'a Line),
        (which, of): (usize, &'a Moored),
        (cases, unsaid): (&'a [DesignCase], Option<&'a str>),
        memo: &'a Memo,
    ) -> Search<'a> {
        let now = of_the_shape(line, hung_line(line, of.clone(), cases, memo), cases, memo);
        Search {
            reading,
            line,
            which,
            of,
            cases,
            unsaid,
            memo,
            now,
            rest_now: OnceCell::new(),
        }
    }

    fn reserve(&self, at: Place) -> WeightReserve {
        let mut barred = self.now.iter().filter(|l| l.bars_when_broken);
        if let Some(broken) = barred.find(|l| l.word() == Word::Broken) {
            return WeightReserve::None { why: broken.told() };
        }
        let hung = hung_line(self.line, self.of.clone(), self.cases, self.memo);
        let unsaid = || self.unsaid.map(ToOwned::to_owned);
        if let Some(gap) = without_shape(&hung, self.cases).or_else(unsaid) {
            return WeightReserve::Unknown { why: gap };
        }
        let (mut holds_n, mut tried_n) = (0.0, FIRST_N);
        let binds = loop {
            match self.stops(tried_n, at, Asked::Shape) {
                Some(why) => break Some(why),
                None if tried_n >= MOST_N => break None,
                None => (holds_n, tried_n) = (tried_n, 2.0 * tried_n),
            }
        };
        let binds = binds.map(|why| self.narrow(&mut holds_n, tried_n, why, at, Asked::Shape));
        // The rest is slow, and seldom what stops a weight.
        let most_n = if binds.is_some() { holds_n } else { tried_n };
        let binds = match self.stops(most_n, at, Asked::All) {
            None => binds,
            Some(why) => {
                holds_n = 0.0;
                Some(self.narrow(&mut holds_n, most_n, why, at, Asked::All))
            }
        };
        match binds {
            None => WeightReserve::NoLimit { tried_n },
            Some(Stop::Limit(binds)) => WeightReserve::Weight {
                weight_n: holds_n,
                binds,
            },
            Some(Stop::NoShape(why)) => WeightReserve::AtLeast {
                weight_n: holds_n,
                why,
            },
        }
    }

    /// Halves what lies between a weight that is held and one that is not, and gives what stops more.
    fn narrow(
        &self,
        holds_n: &mut f64,
        mut tried_n: f64,
        mut binds: Stop,
        at: Place,
        asked: Asked,
    ) -> Stop {
        while tried_n - *holds_n > FINE_N.max(FINE * tried_n) {
            let middle_n = f64::midpoint(*holds_n, tried_n);
            match self.stops(middle_n, at, asked) {
                Some(why) => (tried_n, binds) = (middle_n, why),
                None => *holds_n = middle_n,
            }
        }
        binds
    }

    /// The first limit that a weight breaks, in words.
    fn stops(&self, weight_n: f64, at: Place, asked: Asked) -> Option<Stop> {
        let line = self.with_weight(weight_n, at);
        let Some(Ok(of)) = moored(&line).into_iter().nth(self.which) else {
            return Some(Stop::NoShape("its shape can no longer be told".to_owned()));
        };
        // Before its shape: a line that is not held up may have none.
        let held_up = Limit::held_up(&line, &of);
        if let Some(falls) = held_up.filter(|l| l.word() == Word::Broken) {
            return Some(Stop::Limit(falls.told()));
        }
        let hung = hung_line(&line, of, self.cases, self.memo);
        let gap = without_shape(&hung, self.cases);
        let then = of_the_shape(&line, hung, self.cases, self.memo);
        let broken = first_broken(&self.now, &then).map(Stop::Limit);
        broken
            .or(gap.map(Stop::NoShape))
            .or_else(|| silent(&self.now, &then))
            .or_else(|| match asked {
                Asked::Shape => None,
                Asked::All => self.rest_stops(&line),
            })
    }

    fn rest_stops(&self, line: &Line) -> Option<Stop> {
        let now = || of_the_rest(self.reading, self.line, self.memo);
        let now = self.rest_now.get_or_init(now);
        let then = of_the_rest(self.reading, line, self.memo);
        first_broken(now, &then)
            .map(Stop::Limit)
            .or_else(|| silent(now, &then))
    }

    /// The line with a weight at a place.
    fn with_weight(&self, weight_n: f64, at: Place) -> Line {
        let mut line = self.line.clone();
        let more = |q: &mut Option<Q>, by_n: f64| {
            if let Some(q) = q {
                q.si += by_n;
            }
        };
        match at {
            Place::Hung(Thing::Module(m)) => {
                if let Some(housing) = &mut line.modules[m.0].housing {
                    more(&mut housing.weight_in_water_n, weight_n);
                }
            }
            Place::Hung(Thing::Float(f)) => more(&mut line.floats[f].buoyancy_n, -weight_n),
            Place::Hung(Thing::Weight(w)) => {
                more(&mut line.weights[w].weight_in_water_n, weight_n);
            }
            Place::Top => match self.of.top {
                MooredTop::Buoy { module, .. } => {
                    if let Some(hull) = &mut line.modules[module.0].hull {
                        more(&mut hull.weight_n, weight_n);
                    }
                }
                MooredTop::Float { float, .. } => {
                    more(&mut line.floats[float].buoyancy_n, -weight_n)
                }
            },
        }
        hang_with(&mut line, self.memo);
        line
    }
}

/// A limit that held and can no longer be told stops as one that is broken.
fn silent(now: &[Limit], then: &[Limit]) -> Option<Stop> {
    let held = now.iter().filter(|l| l.held());
    let mut silent = held.filter(|was| !then.iter().any(|l| l.is(was)));
    silent
        .next()
        .map(|was| Stop::NoShape(format!("{} can no longer be told", was.asked)))
}
