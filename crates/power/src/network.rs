//! The direct-current network of a line: what it is made of, what may be wrong with it, what comes out.

use thiserror::Error;

/// A resistance between two nodes: the whole loop of a span, or the path through a module.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Branch {
    /// Node at one end; current from `a` to `b` counts positive.
    pub a: usize,
    /// Node at the other end.
    pub b: usize,
    /// Loop resistance, ohm; zero, or at least 1e-6. Zero joins the two nodes.
    pub resistance_ohm: f64,
}

/// A supply: a voltage behind a resistance.
///
/// It is linear both ways: a source whose node is held above its voltage by another one takes current in.
/// [`Solution::backfed`] names those.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Source {
    /// Node it feeds.
    pub node: usize,
    /// Voltage with nothing connected, V; above zero.
    pub voltage_v: f64,
    /// Internal resistance, ohm; zero, or at least 1e-6. Zero is an ideal source that holds its node at its voltage.
    pub resistance_ohm: f64,
    /// Highest current it gives, A; above zero. `None`: not limited.
    pub current_limit_a: Option<f64>,
}

/// How a load draws from its node.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LoadKind {
    /// The same power at every voltage: a module behind a converter.
    Power {
        /// Power drawn from the line, W; zero or more.
        power_w: f64,
    },
    /// The same current at every voltage.
    Current {
        /// Current drawn, A; zero or more.
        current_a: f64,
    },
    /// A resistor.
    Resistance {
        /// Resistance, ohm; above zero.
        resistance_ohm: f64,
    },
}

/// A load at a node. Several may hang at one node.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Load {
    /// Node it hangs at.
    pub node: usize,
    /// How it draws.
    pub kind: LoadKind,
}

/// A network: nodes numbered from 0, and what connects, feeds and loads them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Network {
    /// Number of nodes.
    pub nodes: usize,
    /// Resistances between nodes; any tree or mesh, parallel ones allowed.
    pub spans: Vec<Branch>,
    /// Supplies.
    pub sources: Vec<Source>,
    /// Loads.
    pub loads: Vec<Load>,
}

/// The operating point of a network: the one with the highest voltages, on which it settles when switched on lightly
/// loaded.
#[derive(Clone, Debug, PartialEq)]
pub struct Solution {
    /// Voltage of each node, V, in order of nodes.
    pub voltages_v: Vec<f64>,
    /// Current in each span from its `a` to its `b`, A, in order of spans.
    pub branch_currents_a: Vec<f64>,
    /// Current each source gives, A, in order of sources; negative where it is fed backwards.
    pub source_currents_a: Vec<f64>,
    /// Power lost in all spans together, W. Losses inside sources are not in it.
    pub span_loss_w: f64,
    /// Newton steps taken.
    pub iterations: u32,
    /// Largest current left over at any node, A: how well Kirchhoff's current law holds.
    pub residual_a: f64,
    /// Sources asked for more than their current limit, by index. The voltages are those without the limit: a real
    /// supply would drop its voltage or trip, so a solution with a source here is not an operating point.
    pub limited: Vec<usize>,
    /// Sources that take current in, by index. A supply behind a diode would give nothing instead.
    pub backfed: Vec<usize>,
}

/// What an error is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// A span, by index.
    Span(usize),
    /// A source, by index.
    Source(usize),
    /// A load, by index.
    Load(usize),
    /// A node, by number.
    Node(usize),
}

impl std::fmt::Display for Part {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Span(i) => write!(f, "span {i}"),
            Self::Source(i) => write!(f, "source {i}"),
            Self::Load(i) => write!(f, "load {i}"),
            Self::Node(i) => write!(f, "node {i}"),
        }
    }
}

/// Why a network has no answer.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum NetworkError {
    /// There is no source at all.
    #[error("no source feeds the network")]
    NoSource,
    /// No path of spans leads from any source to a node.
    #[error("node {node} is not connected to any source")]
    Unfed {
        /// The first such node.
        node: usize,
    },
    /// Something refers to a node that does not exist.
    #[error("{part} refers to node {node}, but nodes are numbered from 0 and there are {nodes}")]
    NoSuchNode {
        /// What refers to it.
        part: Part,
        /// The node referred to.
        node: usize,
        /// How many nodes there are.
        nodes: usize,
    },
    /// A span that does not exist.
    #[error("there is no span {span}: they are numbered from 0 and there are {spans}")]
    NoSuchSpan {
        /// The span asked for.
        span: usize,
        /// How many there are.
        spans: usize,
    },
    /// There is no operating point with a leak.
    #[error("with a leak of {resistance_ohm} ohm the line has no operating point")]
    LeakNotCarried {
        /// The leak, ohm.
        resistance_ohm: f64,
    },
    /// A number is out of its range.
    #[error("{part}: {quantity} is {value}, must be {wanted}")]
    BadValue {
        /// What carries the number.
        part: Part,
        /// Name of the quantity with its unit.
        quantity: &'static str,
        /// The number given.
        value: f64,
        /// The range it must lie in.
        wanted: &'static str,
    },
    /// A list given beside the network has the wrong length.
    #[error("{quantity} has {given} entries, must have {wanted}")]
    WrongLength {
        /// Name of the list.
        quantity: &'static str,
        /// Entries given.
        given: usize,
        /// Entries needed.
        wanted: usize,
    },
    /// A span begins and ends at the same node.
    #[error("span {span} begins and ends at node {node}")]
    SelfLoop {
        /// The span.
        span: usize,
        /// Its node.
        node: usize,
    },
    /// Spans of zero resistance close a loop, in which the current cannot be known.
    #[error(
        "span {span} closes a loop of spans with zero resistance; the current in it is undefined"
    )]
    ShortedLoop {
        /// The span that closes the loop.
        span: usize,
    },
    /// Two ideal sources hold the same node, directly or through spans of zero resistance.
    #[error(
        "sources {first} and {second} both have zero resistance and hold the same node; give at least one a resistance"
    )]
    TiedSources {
        /// The first source.
        first: usize,
        /// The second source.
        second: usize,
    },
    /// A short circuit at the node of an ideal source without a current limit.
    #[error(
        "a short at the node of source {source_index}, which has zero resistance and no current limit"
    )]
    IdealShort {
        /// The source.
        source_index: usize,
    },
    /// A node that draws constant current is pulled to zero or below: no operating point of real loads. From
    /// `collapse_factor` it says that this comes before the collapse of the constant-power loads.
    #[error("the constant-current loads pull node {node} to {voltage_v} V")]
    CurrentLoadsCollapse {
        /// The node.
        node: usize,
        /// Its voltage if the loads could go on drawing, V.
        voltage_v: f64,
    },
    /// The line cannot carry its constant-power loads: there is no operating point.
    #[error("the line can carry {:.4} % of its constant-power load; node {node} collapses", scale * 100.0)]
    CannotCarry {
        /// Largest common factor on all constant-power loads for which there is an operating point; below 1.
        scale: f64,
        /// The node whose voltage falls fastest at that factor.
        node: usize,
    },
    /// With the loads as they are, a node is already below the voltage asked for.
    #[error("node {node} is at {voltage_v} V, below its {minimum_v} V, before anything is added")]
    BelowMinimum {
        /// The node.
        node: usize,
        /// Its voltage, V.
        voltage_v: f64,
        /// The voltage asked for, V.
        minimum_v: f64,
    },
    /// With the loads as they are, a current is already above its limit.
    #[error("{part} carries {current_a} A, above its {limit_a} A, before anything is added")]
    OverCurrent {
        /// The source or span.
        part: Part,
        /// Its current, A.
        current_a: f64,
        /// Its limit or rating, A.
        limit_a: f64,
    },
    /// What may be added is enclosed but could not be pinned down.
    #[error("what may be added lies between {low_w} W and {high_w} W, more was not found")]
    ReserveNotFound {
        /// A power that may be added, W.
        low_w: f64,
        /// A power that may not, W; infinite if none was found.
        high_w: f64,
    },
    /// The collapse factor is enclosed but could not be pinned down.
    #[error("the collapse factor lies between {low} and {high}, the point itself was not found")]
    CollapseNotFound {
        /// A factor with an operating point.
        low: f64,
        /// A factor without one; infinite if none was found.
        high: f64,
    },
    /// The iteration did not come to rest.
    #[error("no convergence after {iterations} steps, {residual_a} A left over")]
    NotConverged {
        /// Steps taken.
        iterations: u32,
        /// Largest current left over at any node, A.
        residual_a: f64,
    },
}

pub(crate) fn check_node(part: Part, node: usize, nodes: usize) -> Result<(), NetworkError> {
    if node < nodes {
        Ok(())
    } else {
        Err(NetworkError::NoSuchNode { part, node, nodes })
    }
}

pub(crate) fn check_zero_or_more(
    part: Part,
    quantity: &'static str,
    value: f64,
) -> Result<(), NetworkError> {
    if value.is_finite() && value >= 0.0 {
        return Ok(());
    }
    let wanted = "finite and zero or more";
    Err(NetworkError::BadValue {
        part,
        quantity,
        value,
        wanted,
    })
}

/// Spans and sources: zero, or large enough that voltages a last bit apart do not make a current that matters.
const LOWEST_RESISTANCE_OHM: f64 = 1e-6;

fn check_resistance(part: Part, value: f64) -> Result<(), NetworkError> {
    if value == 0.0 || (value.is_finite() && value >= LOWEST_RESISTANCE_OHM) {
        return Ok(());
    }
    Err(NetworkError::BadValue {
        part,
        quantity: "resistance_ohm",
        value,
        wanted: "zero, or finite and at least 1e-6",
    })
}

pub(crate) fn check_above_zero(
    part: Part,
    quantity: &'static str,
    value: f64,
) -> Result<(), NetworkError> {
    if value.is_finite() && value > 0.0 {
        return Ok(());
    }
    let wanted = "finite and above zero";
    Err(NetworkError::BadValue {
        part,
        quantity,
        value,
        wanted,
    })
}

impl Network {
    /// Checks numbers and node numbers of spans and sources (not of loads).
    pub(crate) fn check_topology(&self) -> Result<(), NetworkError> {
        for (i, span) in self.spans.iter().enumerate() {
            check_node(Part::Span(i), span.a, self.nodes)?;
            check_node(Part::Span(i), span.b, self.nodes)?;
            check_resistance(Part::Span(i), span.resistance_ohm)?;
            if span.a == span.b {
                return Err(NetworkError::SelfLoop {
                    span: i,
                    node: span.a,
                });
            }
        }
        for (i, source) in self.sources.iter().enumerate() {
            let part = Part::Source(i);
            check_node(part, source.node, self.nodes)?;
            check_above_zero(part, "voltage_v", source.voltage_v)?;
            check_resistance(part, source.resistance_ohm)?;
            if let Some(limit_a) = source.current_limit_a {
                check_above_zero(part, "current_limit_a", limit_a)?;
            }
        }
        if self.sources.is_empty() {
            return Err(NetworkError::NoSource);
        }
        Ok(())
    }
}

pub(crate) fn check_load(index: usize, load: &Load, nodes: usize) -> Result<(), NetworkError> {
    let part = Part::Load(index);
    check_node(part, load.node, nodes)?;
    match load.kind {
        LoadKind::Power { power_w } => check_zero_or_more(part, "power_w", power_w),
        LoadKind::Current { current_a } => check_zero_or_more(part, "current_a", current_a),
        LoadKind::Resistance { resistance_ohm } => {
            check_above_zero(part, "resistance_ohm", resistance_ohm)
        }
    }
}
