//! The worst that modules with several ways of drawing can do to a network, and which combination does it.
//!
//! Each module draws in one of several ways; exclusive groups say how many of some ways may be taken at the same time; a
//! module with a lock-out draws only where it sees at least its off voltage, and may always be off. Over all
//! combinations that this allows: the lowest voltage of each node, the largest current of each source, and the least
//! collapse factor.
//!
//! Method: branch and bound, exact. More load, of whichever kind, lowers every voltage and the collapse factor and
//! raises every source's current (the inverse of the Jacobian has no negative entry at an operating point, see
//! [`crate::solver`]). So the loads that are at least as large as every way still open bound all that is below them, and
//! where one allowed combination is as large there is nothing to search: one solve where neither groups nor lock-outs
//! matter. The smallest loads still open show in the same way which lock-outs cannot hold. Land and Doig 1960 for branch and
//! bound; from memory.
//!
//! A search that needs more operating points than it is given, those of every bisection counted, ends with an error, never with what it has found so far.

mod search;

use thiserror::Error;

use crate::network::{Load, LoadKind, NetworkError};
use crate::reserve::{Limits, Reserve};
use crate::solver::{Scratch, Solver};

use search::Search;

/// Something that draws in one of several ways.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// Node it hangs at.
    pub node: usize,
    /// Its ways: the loads of each, all at its node.
    pub ways: Vec<Vec<LoadKind>>,
    /// Lowest voltage at which its lock-out lets it go on drawing, V; above zero. `None`: it has no lock-out and is never off.
    pub off_v: Option<f64>,
}

/// Ways of which only so many may be taken at the same time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AtMost {
    /// Each by the index of its choice and of its way; one that stands here twice counts twice.
    pub of: Vec<(usize, usize)>,
    /// How many.
    pub at_most: u32,
}

/// All that may be drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Choices {
    /// Loads that are always there.
    pub fixed: Vec<Load>,
    /// What draws in one of several ways.
    pub choices: Vec<Choice>,
    /// Which of these not at the same time.
    pub groups: Vec<AtMost>,
}

/// The way each choice takes, in order of choices; `None`: its lock-out has switched it off.
pub type Combination = Vec<Option<usize>>;

/// A value and what brings it about.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extreme {
    /// The value, V or A.
    pub value: f64,
    /// Index into [`Worst::combinations`].
    pub combination: usize,
}

/// The combination with the least collapse factor.
#[derive(Clone, Debug, PartialEq)]
pub struct Weakest {
    /// Its collapse factor; infinite if no combination has a constant-power load away from ideal sources.
    pub factor: f64,
    /// The node that falls fastest there.
    pub node: usize,
    /// The combination.
    pub combination: Combination,
    /// Collapse factors worked out.
    pub solves: u32,
}

/// The combination with the least reserve at a node.
#[derive(Clone, Debug, PartialEq)]
pub struct LeastReserve {
    /// The combination.
    pub combination: Combination,
    /// Its reserve, or the limit that it does not keep before anything is added.
    pub reserve: Result<Reserve, NetworkError>,
    /// Reserves worked out.
    pub solves: u32,
}

/// The worst over all combinations with an operating point.
#[derive(Clone, Debug, PartialEq)]
pub struct Worst {
    /// The combination with the least collapse factor, if that is below 1: without an operating point. Lock-outs do not count here:
    /// one that opens saves the line, but the combination does not last.
    pub collapse: Option<Weakest>,
    /// Combinations that are the worst for something.
    pub combinations: Vec<Combination>,
    /// Lowest voltage of each node, V; empty if no combination has an operating point.
    pub lowest_v: Vec<Extreme>,
    /// Largest current of each source, A; empty if no combination has an operating point.
    pub most_a: Vec<Extreme>,
    /// Operating points worked out.
    pub solves: u32,
}

/// Why the worst is not known.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum WorstError {
    /// The network or a load has no answer.
    #[error(transparent)]
    Network(#[from] NetworkError),
    /// A group names what is not there.
    #[error("group {group} names way {way} of choice {choice}, which does not exist")]
    NoSuchWay {
        /// The group.
        group: usize,
        /// The choice named.
        choice: usize,
        /// The way named.
        way: usize,
    },
    /// A lock-out's voltage is out of its range.
    #[error("choice {choice}: off_v is {off_v}, must be finite and above zero")]
    BadOff {
        /// The choice.
        choice: usize,
        /// The voltage given, V.
        off_v: f64,
    },
    /// The reserve of a node under groups, where a rated span may carry less as the loads grow: in a ring, or between two sources.
    #[error(
        "span {span} has a rating and may carry less as the loads grow, so the least reserve is not searched"
    )]
    NotFalling {
        /// The first such span.
        span: usize,
    },
    /// The groups leave nothing.
    #[error("no combination is allowed by the groups")]
    NoCombination,
    /// The search needs more than it is given.
    #[error(
        "more than {most} operating points would have to be worked out to know the worst combination"
    )]
    TooManySolves {
        /// How many it was given.
        most: u32,
    },
}

impl Choices {
    /// The loads of a combination, the fixed ones among them.
    pub fn loads(&self, combination: &[Option<usize>]) -> Vec<Load> {
        let mut loads = self.fixed.clone();
        for (choice, way) in self.choices.iter().zip(combination) {
            if let Some(way) = *way {
                let node = choice.node;
                loads.extend(choice.ways[way].iter().map(|&kind| Load { node, kind }));
            }
        }
        loads
    }

    fn check(&self) -> Result<(), WorstError> {
        for (i, group) in self.groups.iter().enumerate() {
            for &(choice, way) in &group.of {
                if self.choices.get(choice).is_none_or(|c| way >= c.ways.len()) {
                    return Err(WorstError::NoSuchWay {
                        group: i,
                        choice,
                        way,
                    });
                }
            }
        }
        for (choice, c) in self.choices.iter().enumerate() {
            match c.off_v {
                Some(off_v) if !(off_v.is_finite() && off_v > 0.0) => {
                    return Err(WorstError::BadOff { choice, off_v });
                }
                _ => {}
            }
        }
        Ok(())
    }
}

/// Fed from one end, each span of a tree carries what lies behind it, which only grows.
fn one_way(solver: &Solver) -> bool {
    let network = &solver.network;
    network.sources.len() == 1 && network.spans.len() + 1 == network.nodes
}

impl Solver {
    /// The lowest voltage of each node and the largest current of each source over all allowed combinations; given up
    /// once `most_solves` operating points are worked out.
    ///
    /// A voltage is as exact as an operating point; of combinations closer than 1e-12 of the highest source voltage
    /// (1e-11 of a current and an ampere) any may be named.
    ///
    /// # Errors
    /// [`WorstError`]; a load out of range.
    /// Source: see the head of this module.
    pub fn worst(
        &self,
        choices: &Choices,
        most_solves: u32,
        scratch: &mut Scratch,
    ) -> Result<Worst, WorstError> {
        choices.check()?;
        Search::new(self, choices, most_solves, scratch).worst()
    }

    /// The least collapse factor over all combinations that the groups allow, lock-outs aside; given up once `most_solves` operating
    /// points are worked out and more than one factor is wanted.
    ///
    /// # Errors
    /// [`WorstError`]; [`NetworkError::CurrentLoadsCollapse`] if a combination's constant currents alone pull a node to zero.
    /// Source: see the head of this module.
    pub fn weakest(
        &self,
        choices: &Choices,
        most_solves: u32,
        scratch: &mut Scratch,
    ) -> Result<Weakest, WorstError> {
        choices.check()?;
        Search::new(self, choices, most_solves, scratch).weakest()
    }

    /// The least reserve of a node over all combinations that the groups allow; given up once `most_solves` operating points are
    /// worked out and more than one reserve is wanted. Lock-outs count by the lowest voltages of the limits.
    ///
    /// # Errors
    /// [`WorstError`], [`WorstError::NotFalling`] among them; limits that cannot be.
    /// Source: see the head of this module.
    pub fn least_reserve(
        &self,
        choices: &Choices,
        node: usize,
        limits: &Limits,
        most_solves: u32,
        scratch: &mut Scratch,
    ) -> Result<LeastReserve, WorstError> {
        choices.check()?;
        if let (false, false, Some(span)) = (
            one_way(self),
            choices.groups.is_empty(),
            limits.rated_a.iter().position(Option::is_some),
        ) {
            return Err(WorstError::NotFalling { span });
        }
        Search::new(self, choices, most_solves, scratch).least_reserve(node, limits)
    }
}
