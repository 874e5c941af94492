//! What may still be added at a place, and what stops it.
//!
//! The reserve of a node is the largest extra constant power there for which it and every smaller one leave every node
//! at or above its lowest voltage, every source within its current limit, every span within its rated current, and the
//! network on the branch of high voltage.
//!
//! Method. With `x` the extra power at node `k`, `J dV/dx = -e_k / V_k` (differentiate Kirchhoff's law of
//! [`crate::solver`]). `J` has no negative entry in its inverse there, so every voltage falls as `x` grows, every
//! source gives more, and bisection with the Newton of the solver finds the first of collapse, lowest voltage and
//! source limit. The current in a span of a mesh, or between two sources, may fall first and grow later, so bisection
//! would not do: [`spans`] encloses it instead. Differentiating once more,
//! `J V'' = -[2 P_i V_i'^2 / V_i^3] + 2 V_k' e_k / V_k^2 <= 0`, so every voltage is a concave function of `x`. Derived
//! here; no publication was followed.
//!
//! Accuracy: 1e-12 of the result, or of what would be the reserve if no span were rated.

mod spans;

use crate::network::{
    Load, LoadKind, Network, NetworkError, Part, Solution, check_above_zero, check_zero_or_more,
};
use crate::solver::{Outcome, Scratch, Solver, check_given_node};

use spans::Flows;

const WIDTH: f64 = 1e-12;
const MOST_HALVINGS: u32 = 200;
const MOST_DOUBLINGS: u32 = 1000;

/// What the network must keep beside the current limits of its sources.
#[derive(Clone, Debug, PartialEq)]
pub struct Limits {
    /// Lowest voltage allowed at each node, V, in order of nodes; zero where only collapse counts.
    pub minimum_v: Vec<f64>,
    /// Rated current of each span, A, in order of spans; above zero. `None`: not limited.
    pub rated_a: Vec<Option<f64>>,
}

/// What stops a node from taking more.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Binding {
    /// A node comes to its lowest voltage.
    Voltage {
        /// The node.
        node: usize,
    },
    /// A source comes to its current limit.
    Source {
        /// The source, by index.
        source: usize,
    },
    /// A span comes to its rated current.
    Span {
        /// The span, by index.
        span: usize,
    },
    /// There is no operating point beyond.
    Collapse,
}

/// What may still be added at a node.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reserve {
    /// The largest extra constant power, W; infinite where nothing binds.
    pub power_w: f64,
    /// What binds; `None` exactly where the power is infinite.
    pub binds: Option<Binding>,
}

/// What may still be added at `node`. See [`Solver::reserve`].
///
/// # Errors
/// As [`Solver::reserve`], and those of [`Solver::new`].
pub fn reserve(network: &Network, node: usize, limits: &Limits) -> Result<Reserve, NetworkError> {
    let solver = Solver::new(network)?;
    solver.reserve(&network.loads, node, limits, &mut solver.scratch())
}

impl Solver {
    /// The largest constant power that may be added at `node` to these loads, and what stops more.
    ///
    /// Infinite only at a node held by an ideal source that has no current limit, where no rated span leads to it.
    ///
    /// # Errors
    /// As [`Solver::solve`]; [`NetworkError::BelowMinimum`], [`NetworkError::OverCurrent`] if a limit is not kept
    /// before anything is added; [`NetworkError::WrongLength`], [`NetworkError::BadValue`] for limits that cannot be;
    /// [`NetworkError::ReserveNotFound`].
    /// Source: definition, see the head of this module.
    pub fn reserve(
        &self,
        loads: &[Load],
        node: usize,
        limits: &Limits,
        scratch: &mut Scratch,
    ) -> Result<Reserve, NetworkError> {
        check_given_node(node, self.network.nodes)?;
        check_limits(&self.network, limits)?;
        let before = self.solve(loads, scratch)?;
        check_kept(&self.network, limits, &before)?;
        let search = Search {
            solver: self,
            loads,
            node,
            place: self.topology.joined[node],
            limits,
        };
        if self.held[search.place] {
            return Ok(search.at_held_node(&before));
        }
        let first = search.first(scratch)?;
        let (last, binds) = search.falling(&first, scratch)?;
        if limits.rated_a.iter().all(Option::is_none) {
            return Ok(Reserve {
                power_w: last.extra_w,
                binds: Some(binds),
            });
        }
        search.enclose(first, last, binds, scratch)
    }
}

/// Whether these loads with so much extra power at a node have an operating point that keeps the limits, none of
/// which is out of its range.
pub(crate) fn bears(
    solver: &Solver,
    loads: &[Load],
    node: usize,
    limits: &Limits,
    extra_w: f64,
    scratch: &mut Scratch,
) -> bool {
    let kind = LoadKind::Power { power_w: extra_w };
    let mut all = loads.to_vec();
    all.push(Load { node, kind });
    let found = solver.operating_point(&all, scratch);
    matches!(found, Ok(Some(at)) if check_kept(&solver.network, limits, &at).is_ok())
}

fn not_found(low_w: f64, high_w: f64) -> NetworkError {
    NetworkError::ReserveNotFound { low_w, high_w }
}

fn check_limits(network: &Network, limits: &Limits) -> Result<(), NetworkError> {
    let lengths = [
        ("minimum_v", limits.minimum_v.len(), network.nodes),
        ("rated_a", limits.rated_a.len(), network.spans.len()),
    ];
    for (quantity, given, wanted) in lengths {
        if given != wanted {
            return Err(NetworkError::WrongLength {
                quantity,
                given,
                wanted,
            });
        }
    }
    for (i, &v) in limits.minimum_v.iter().enumerate() {
        check_zero_or_more(Part::Node(i), "minimum_v", v)?;
    }
    for (i, rated_a) in limits.rated_a.iter().enumerate() {
        if let Some(rated_a) = *rated_a {
            check_above_zero(Part::Span(i), "rated_a", rated_a)?;
        }
    }
    Ok(())
}

/// Whether the limits are kept before anything is added.
fn check_kept(network: &Network, limits: &Limits, solution: &Solution) -> Result<(), NetworkError> {
    let over = |part, current_a: f64, limit_a| {
        Err(NetworkError::OverCurrent {
            part,
            current_a,
            limit_a,
        })
    };
    let low = |i: &usize| solution.voltages_v[*i] < limits.minimum_v[*i];
    if let Some(node) = (0..network.nodes).find(low) {
        return Err(NetworkError::BelowMinimum {
            node,
            voltage_v: solution.voltages_v[node],
            minimum_v: limits.minimum_v[node],
        });
    }
    for (i, source) in network.sources.iter().enumerate() {
        match source.current_limit_a {
            Some(limit_a) if solution.source_currents_a[i] > limit_a => {
                return over(Part::Source(i), solution.source_currents_a[i], limit_a);
            }
            _ => {}
        }
    }
    for (i, rated_a) in limits.rated_a.iter().enumerate() {
        let current_a = solution.branch_currents_a[i].abs();
        match *rated_a {
            Some(limit_a) if current_a > limit_a => {
                return over(Part::Span(i), current_a, limit_a);
            }
            _ => {}
        }
    }
    Ok(())
}

/// An operating point with some extra power.
#[derive(Clone, Debug)]
struct At {
    extra_w: f64,
    /// Voltage of each joined node, V.
    voltages_v: Vec<f64>,
}

struct Search<'a> {
    solver: &'a Solver,
    loads: &'a [Load],
    node: usize,
    place: usize,
    limits: &'a Limits,
}

impl Search<'_> {
    /// At a held node no voltage changes, and every current grows with the power: the first that comes to its limit.
    fn at_held_node(&self, before: &Solution) -> Reserve {
        let voltage_v = before.voltages_v[self.node];
        let mut best = Reserve {
            power_w: f64::INFINITY,
            binds: None,
        };
        let mut take = |left_a: f64, share: f64, binds| {
            let power_w = left_a * voltage_v / share.abs();
            if power_w < best.power_w {
                best = Reserve {
                    power_w,
                    binds: Some(binds),
                };
            }
        };
        let network = &self.solver.network;
        let (span_shares, root) = self.solver.topology.way_to_root(self.node);
        for (source, s) in network.sources.iter().enumerate() {
            if let (true, Some(limit_a)) =
                (s.resistance_ohm == 0.0 && s.node == root, s.current_limit_a)
            {
                let left_a = limit_a - before.source_currents_a[source];
                take(left_a, 1.0, Binding::Source { source });
            }
        }
        for (span, parent) in span_shares {
            if let Some(rated_a) = self.limits.rated_a[span] {
                let share = if network.spans[span].a == parent {
                    1.0
                } else {
                    -1.0
                };
                let left_a = rated_a - share * before.branch_currents_a[span];
                take(left_a, share, Binding::Span { span });
            }
        }
        best
    }

    /// The operating point as it is.
    fn first(&self, scratch: &mut Scratch) -> Result<At, NetworkError> {
        self.solver.gather(self.loads, scratch)?;
        self.solver.start_without_power(scratch)?;
        self.operating(0.0, scratch)
            .ok_or_else(|| not_found(0.0, f64::INFINITY))
    }

    /// The operating point with some extra power, from voltages in the scratch above it.
    fn operating(&self, extra_w: f64, scratch: &mut Scratch) -> Option<At> {
        self.solver.gather(self.loads, scratch).ok()?;
        scratch.power_w[self.place] += extra_w;
        if !matches!(self.solver.descend(1.0, scratch), Outcome::Operating { .. }) {
            return None;
        }
        Some(At {
            extra_w,
            voltages_v: scratch.voltage_v.clone(),
        })
    }

    /// How the voltages change with the extra power, V/W; `None` where the Jacobian is singular to rounding.
    fn slopes_v_w(&self, at: &At, scratch: &mut Scratch) -> Option<Vec<f64>> {
        self.solver.gather(self.loads, scratch).ok()?;
        scratch.power_w[self.place] += at.extra_w;
        let v = &at.voltages_v;
        for i in 0..v.len() {
            scratch.s[i] = scratch.to_ground_s[i] - scratch.power_w[i] / (v[i] * v[i]);
        }
        scratch.r.fill(0.0);
        scratch.r[self.place] = -1.0 / v[self.place];
        let held = &self.solver.held;
        let elimination = &self.solver.topology.elimination;
        elimination
            .factor(&mut scratch.s, held, &mut scratch.factor)
            .ok()?;
        let mut slopes = vec![0.0; v.len()];
        elimination.solve(&scratch.factor, held, &mut scratch.r, &mut slopes);
        Some(slopes)
    }

    /// The largest extra power that keeps all that only worsens as it grows, and what the next one breaks.
    fn falling(&self, first: &At, scratch: &mut Scratch) -> Result<(At, Binding), NetworkError> {
        let mut low = first.clone();
        let (mut high_w, mut binds) = (1.0, None);
        for _ in 0..MOST_DOUBLINGS {
            match self.try_power(high_w, &low, scratch) {
                Ok(at) => low = at,
                Err(broken) => {
                    binds = Some(broken);
                    break;
                }
            }
            high_w *= 2.0;
        }
        let mut binds = binds.ok_or_else(|| not_found(low.extra_w, f64::INFINITY))?;
        for _ in 0..MOST_HALVINGS {
            if high_w - low.extra_w <= WIDTH * high_w {
                break;
            }
            let middle_w = 0.5 * (low.extra_w + high_w);
            match self.try_power(middle_w, &low, scratch) {
                Ok(at) => low = at,
                Err(broken) => (high_w, binds) = (middle_w, broken),
            }
        }
        Ok((low, binds))
    }

    /// The operating point if it keeps all but the spans, or what it breaks most.
    fn try_power(&self, extra_w: f64, from: &At, scratch: &mut Scratch) -> Result<At, Binding> {
        scratch.voltage_v.copy_from_slice(&from.voltages_v);
        let at = self.operating(extra_w, scratch).ok_or(Binding::Collapse)?;
        let joined = &self.solver.topology.joined;
        let short_v = |i: usize| self.limits.minimum_v[i] - at.voltages_v[joined[i]];
        // At zero volts nothing is left, so a node without a lowest voltage breaks there.
        let lowest = (0..joined.len())
            .filter(|&i| short_v(i) > 0.0 || at.voltages_v[joined[i]] <= 0.0)
            .max_by(|&a, &b| short_v(a).total_cmp(&short_v(b)).then(b.cmp(&a)));
        if let Some(node) = lowest {
            return Err(Binding::Voltage { node });
        }
        let flows = Flows::of(self, &at);
        let over = |i: usize| {
            let limit_a = self.solver.network.sources[i].current_limit_a?;
            let share = flows.source_a[i] / limit_a;
            (share > 1.0).then_some((i, share))
        };
        let sources = (0..flows.source_a.len()).filter_map(over);
        match sources.max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0))) {
            Some((source, _)) => Err(Binding::Source { source }),
            None => Ok(at),
        }
    }

    fn load_with(&self, extra_w: f64) -> impl Iterator<Item = Load> {
        let extra = Load {
            node: self.node,
            kind: LoadKind::Power { power_w: extra_w },
        };
        self.loads.iter().copied().chain([extra])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::{Branch, Source};

    /// A mesh with two sources, a contact without resistance, and loads of every kind.
    fn mesh() -> Network {
        let span = |a, b, resistance_ohm| Branch {
            a,
            b,
            resistance_ohm,
        };
        let source = |node, voltage_v| Source {
            node,
            voltage_v,
            resistance_ohm: 0.4,
            current_limit_a: None,
        };
        let load = |node, kind| Load { node, kind };
        let mut loads: Vec<Load> = [10.0, 17.0, 24.0, 31.0, 12.0]
            .into_iter()
            .enumerate()
            .map(|(node, power_w)| load(node, LoadKind::Power { power_w }))
            .collect();
        loads.push(load(4, LoadKind::Current { current_a: 0.1 }));
        let resistance_ohm = 700.0;
        loads.push(load(4, LoadKind::Resistance { resistance_ohm }));
        Network {
            nodes: 5,
            spans: vec![
                span(0, 1, 3.0),
                span(1, 2, 5.0),
                span(2, 3, 2.0),
                span(3, 0, 4.0),
                span(1, 4, 0.0),
            ],
            sources: vec![source(0, 60.0), source(2, 57.0)],
            loads,
        }
    }

    /// Operating points of the mesh with so much extra power at each node in turn, and the slopes of their voltages.
    pub(super) fn on_the_mesh(
        extra_w: &[f64],
        mut look: impl FnMut(&Search<'_>, &[At], &[Vec<f64>]),
    ) {
        let network = mesh();
        let solver = Solver::new(&network).unwrap();
        let mut scratch = solver.scratch();
        let limits = Limits {
            minimum_v: vec![0.0; network.nodes],
            rated_a: vec![None; network.spans.len()],
        };
        for node in 0..network.nodes {
            let search = Search {
                solver: &solver,
                loads: &network.loads,
                node,
                place: solver.topology.joined[node],
                limits: &limits,
            };
            let points: Vec<At> = extra_w
                .iter()
                .map(|&extra_w| {
                    search.first(&mut scratch).unwrap();
                    search.operating(extra_w, &mut scratch).unwrap()
                })
                .collect();
            let slopes_v_w: Vec<Vec<f64>> = points
                .iter()
                .map(|at| search.slopes_v_w(at, &mut scratch).unwrap())
                .collect();
            look(&search, &points, &slopes_v_w);
        }
    }

    /// The slopes at an operating point are those of the operating points beside it.
    #[test]
    fn verif_slopes_are_differences() {
        on_the_mesh(&[29.99, 30.0, 30.01], |search, points, slopes_v_w| {
            let [below, _, above] = points else {
                panic!("three")
            };
            for (i, slope_v_w) in slopes_v_w[1].iter().enumerate() {
                let difference_v_w = (above.voltages_v[i] - below.voltages_v[i]) / 0.02;
                assert!(*slope_v_w < 0.0);
                assert!(
                    (slope_v_w / difference_v_w - 1.0).abs() < 1e-6,
                    "{} {i}: {slope_v_w} {difference_v_w}",
                    search.node
                );
            }
        });
    }
}
