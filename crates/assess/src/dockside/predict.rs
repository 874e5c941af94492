//! What a meter would read of the line with a fault: the network of each setup, solved anew.

use plan::{ModuleIx, SpanIx, SupplyIx};
use power::fault::{Faulted, bolted_short, settled};
use power::{Branch, Load, LoadKind, Network, Source, solve};

use super::bench::{Bench, Leg, Read, Setup, Topology, Values, scale};
use super::quay::{MILLIVOLTS_OFFSET_V, Quay, Tolerance};

/// An end of a span.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// Its `from`.
    From,
    /// Its `to`.
    To,
}

/// Something that a meter reads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Probe {
    /// Resistance of a span's loop by itself, far end shorted, ohm.
    Loop(SpanIx),
    /// Voltage of a supply with nothing connected, V.
    Open(SupplyIx),
    /// Voltage at a module, V.
    Volts(Setup, ModuleIx),
    /// Current that a supply gives, A.
    Amps(Setup, SupplyIx),
    /// Voltage across the mated contacts at an end of a span, both poles together, V.
    Drop(Setup, SpanIx, End),
}

impl Probe {
    /// How far the meter may be off.
    pub(super) fn tolerance(self, quay: &Quay) -> Tolerance {
        match self {
            Probe::Loop(_) => quay.ohms,
            Probe::Open(_) | Probe::Volts(..) => quay.volts,
            Probe::Amps(..) => quay.amps,
            Probe::Drop(..) => Tolerance {
                offset: MILLIVOLTS_OFFSET_V,
                ..quay.volts
            },
        }
    }

    fn setup(self) -> Option<Setup> {
        match self {
            Probe::Loop(_) | Probe::Open(_) => None,
            Probe::Volts(setup, _) | Probe::Amps(setup, _) | Probe::Drop(setup, ..) => Some(setup),
        }
    }
}

/// A single fault; one with a free size is given it beside.
#[derive(Clone, Debug, PartialEq)]
pub enum Fault {
    /// None.
    Nothing,
    /// A contact at an end of a span has a resistance too much, ohm. Where it came at the joining, the reading of the leg alone did not see it.
    PoorContact {
        /// The span.
        span: SpanIx,
        /// At which end.
        end: End,
        /// Whether it came at the joining.
        at_joining: bool,
    },
    /// A span has another conductor than the plan's.
    Conductor {
        /// The span.
        span: SpanIx,
        /// The conductor as plans write its size.
        size: String,
        /// Its resistance over that of the plan's.
        times: f64,
    },
    /// A span is so many times as long as the plan's.
    Length(SpanIx),
    /// Two modules sit at each other's place.
    Swapped(ModuleIx, ModuleIx),
    /// A module draws nothing: missing, dead, or not joined to its branch.
    DrawsNothing(ModuleIx),
    /// A module draws so many times as much as it should in every state.
    OtherLoad(ModuleIx),
    /// Something joins the two conductors at a module, ohm.
    Leak(ModuleIx),
    /// The two conductors touch at a module.
    Short(ModuleIx),
    /// A supply gives so many times its voltage.
    SupplyVolts(SupplyIx),
    /// A resistance too much at a supply's terminals, ohm.
    SupplyContact(SupplyIx),
    /// A span does not conduct.
    Open(SpanIx),
    /// The conductors of a span are crossed: what lies behind it gets the wrong polarity and draws nothing.
    Reversed(SpanIx),
}

impl Fault {
    /// Range of its free size, 0 excluded, in the unit that [`Fault`] states; `None` for a fault without one.
    #[must_use]
    pub fn sizes(&self) -> Option<(f64, f64)> {
        match self {
            Fault::PoorContact { .. } | Fault::SupplyContact(_) => Some((1e-3, 1e3)),
            Fault::Length(_) => Some((0.02, 50.0)),
            Fault::OtherLoad(_) => Some((0.02, 20.0)),
            Fault::Leak(_) => Some((1.0, 1e6)),
            Fault::SupplyVolts(_) => Some((0.2, 5.0)),
            _ => None,
        }
    }

    /// Free sizes that are fitted.
    pub(super) fn free(&self) -> usize {
        usize::from(self.sizes().is_some())
    }
}

/// A reading beyond every range of a meter.
pub const BEYOND_RANGE: f64 = f64::INFINITY;

impl Bench<'_> {
    /// What each probe would read with these values and a fault of this size; `None` where some network has no operating point, or a supply
    /// would be beyond its current limit.
    pub(super) fn predict(
        &self,
        values: &Values,
        fault: &Fault,
        size: f64,
        probes: &[Probe],
    ) -> Option<Vec<f64>> {
        let values = with_fault(values, fault, size);
        let mut told = vec![f64::NAN; probes.len()];
        let mut todo = vec![true; probes.len()];
        for (i, probe) in probes.iter().enumerate() {
            match probe {
                Probe::Loop(s) => told[i] = loop_ohm(&values, fault, *s),
                Probe::Open(s) => told[i] = values.supply_v[s.0],
                _ => continue,
            }
            todo[i] = false;
        }
        for first in 0..probes.len() {
            if !todo[first] {
                continue;
            }
            let setup = probes[first].setup()?;
            let read = &self.reads[self.read_of(setup)?];
            let solved = self.solved(read, &values, fault)?;
            for i in first..probes.len() {
                if todo[i] && probes[i].setup() == Some(setup) {
                    told[i] = solved.told(&values, probes[i])?;
                    todo[i] = false;
                }
            }
        }
        Some(told)
    }

    fn solved(&self, read: &Read, values: &Values, fault: &Fault) -> Option<Solved> {
        let mut topology = read.topology.clone();
        let mut wrong_way = vec![false; topology.inlets.len()];
        match fault {
            Fault::Open(span) => topology = self.cut(read, span.0)?,
            Fault::Reversed(span) => {
                let cut = self.cut(read, span.0)?;
                for (m, wrong) in wrong_way.iter_mut().enumerate() {
                    *wrong = cut.inlets[m].is_none() && topology.inlets[m].is_some();
                }
            }
            _ => {}
        }
        let (network, lowest_v) = self.network(read, &topology, values, &wrong_way);
        if network.sources.is_empty() {
            return Some(Solved::dead(topology, wrong_way));
        }
        let short = match fault {
            Fault::Short(m) => topology.inlets[m.0],
            _ => None,
        };
        let rest = match short {
            Some(node) => bolted_short(&network, node, &lowest_v).ok()?.into(),
            None => at_rest(&network, &lowest_v)?,
        };
        Some(Solved {
            topology,
            wrong_way,
            rest,
        })
    }

    /// The network of a setup with values, and the lowest voltage of each of its loads, V.
    fn network(
        &self,
        read: &Read,
        topology: &Topology,
        values: &Values,
        silent: &[bool],
    ) -> (Network, Vec<f64>) {
        let ohm = |ohm: f64| if ohm < 1e-6 { 0.0 } else { ohm };
        let spans = topology.legs.iter().map(|(a, b, leg)| Branch {
            a: *a,
            b: *b,
            resistance_ohm: ohm(match leg {
                Leg::Span(s) => {
                    let ends = values.contact_ohm[*s].iter().chain(&values.joining_ohm[*s]);
                    values.wire_ohm[*s] + ends.sum::<f64>()
                }
                Leg::Through(m) => values.through_ohm[values.occupant[*m]],
            }),
        });
        let sources = topology.sources.iter().map(|(node, s)| Source {
            node: *node,
            voltage_v: values.supply_v[*s],
            resistance_ohm: ohm(values.supply_ohm[*s]),
            current_limit_a: self.line.supplies[*s].current_limit_a.map(|q| q.si),
        });
        let (mut loads, mut lowest_v) = (Vec::new(), Vec::new());
        for (place, inlet) in topology.inlets.iter().enumerate() {
            let Some(node) = *inlet else { continue };
            let own = values.occupant[place];
            let drawn: &[LoadKind] = match read.setup {
                Setup::Off => &[],
                Setup::Heaviest(m) if m.0 == own => &values.heavy[own],
                _ => &values.usual[own],
            };
            let input = self.line.modules[own].input.as_ref();
            let lowest = input.map_or(0.0, |i| i.lock_out.map_or(i.minimum_v.si, |l| l.off_v.si));
            for kind in drawn.iter().filter(|_| !silent[place]) {
                loads.push(Load { node, kind: *kind });
                lowest_v.push(lowest);
            }
            if let Some(leak_ohm) = values.leak_ohm[place] {
                loads.push(Load {
                    node,
                    kind: LoadKind::Resistance {
                        resistance_ohm: leak_ohm,
                    },
                });
                lowest_v.push(0.0);
            }
        }
        let network = Network {
            nodes: topology.nodes,
            spans: spans.collect(),
            sources: sources.collect(),
            loads,
        };
        (network, lowest_v)
    }
}

fn with_fault(values: &Values, fault: &Fault, size: f64) -> Values {
    let mut values = values.clone();
    match fault {
        Fault::PoorContact {
            span,
            end,
            at_joining,
        } => {
            let held = match at_joining {
                true => &mut values.joining_ohm,
                false => &mut values.contact_ohm,
            };
            held[span.0][*end as usize] += size;
        }
        Fault::Conductor { span, times, .. } => values.wire_ohm[span.0] *= times,
        Fault::Length(span) => values.wire_ohm[span.0] *= size,
        Fault::Swapped(a, b) => values.occupant.swap(a.0, b.0),
        Fault::DrawsNothing(m) => {
            values.usual[m.0].clear();
            values.heavy[m.0].clear();
        }
        Fault::OtherLoad(m) => {
            scale(&mut values.usual[m.0], size);
            scale(&mut values.heavy[m.0], size);
        }
        Fault::Leak(m) => values.leak_ohm[m.0] = Some(size),
        Fault::SupplyVolts(s) => values.supply_v[s.0] *= size,
        Fault::SupplyContact(s) => values.supply_ohm[s.0] += size,
        Fault::Nothing | Fault::Short(_) | Fault::Open(_) | Fault::Reversed(_) => {}
    }
    values
}

fn loop_ohm(values: &Values, fault: &Fault, span: SpanIx) -> f64 {
    if *fault == Fault::Open(span) {
        return BEYOND_RANGE;
    }
    values.wire_ohm[span.0] + values.contact_ohm[span.0].iter().sum::<f64>()
}

/// Voltages and currents of a network at rest.
struct Rest {
    voltages_v: Vec<f64>,
    branch_a: Vec<f64>,
    source_a: Vec<f64>,
}

impl From<Faulted> for Rest {
    fn from(faulted: Faulted) -> Rest {
        Rest {
            voltages_v: faulted.voltages_v,
            branch_a: faulted.branch_currents_a,
            source_a: faulted.source_currents_a,
        }
    }
}

/// The operating point, after all loads have dropped out that cannot live; `None` where there is none within the current limits.
fn at_rest(network: &Network, lowest_v: &[f64]) -> Option<Rest> {
    if let Ok(solution) = solve(network) {
        let loads = network.loads.iter().zip(lowest_v);
        let mut voltages = loads.map(|(load, lowest)| (solution.voltages_v[load.node], lowest));
        if voltages.all(|(v, lowest)| v >= *lowest) {
            return solution.limited.is_empty().then_some(Rest {
                voltages_v: solution.voltages_v,
                branch_a: solution.branch_currents_a,
                source_a: solution.source_currents_a,
            });
        }
    }
    let faulted = settled(network, lowest_v).ok()?;
    faulted.over_limit.is_empty().then(|| faulted.into())
}

/// A setup with its voltages and currents.
struct Solved {
    topology: Topology,
    /// Whose place has the wrong polarity.
    wrong_way: Vec<bool>,
    rest: Rest,
}

impl Solved {
    fn dead(topology: Topology, wrong_way: Vec<bool>) -> Solved {
        Solved {
            rest: Rest {
                voltages_v: vec![0.0; topology.nodes],
                branch_a: vec![0.0; topology.legs.len()],
                source_a: Vec::new(),
            },
            topology,
            wrong_way,
        }
    }

    fn told(&self, values: &Values, probe: Probe) -> Option<f64> {
        match probe {
            Probe::Volts(_, m) => {
                let volts = self.topology.inlets[m.0].map_or(0.0, |n| self.rest.voltages_v[n]);
                Some(if self.wrong_way[m.0] { -volts } else { volts })
            }
            Probe::Amps(_, supply) => {
                let mut sources = self.topology.sources.iter();
                let at = sources.position(|(_, s)| *s == supply.0);
                Some(at.map_or(0.0, |i| self.rest.source_a.get(i).copied().unwrap_or(0.0)))
            }
            Probe::Drop(_, span, end) => {
                let mut legs = self.topology.legs.iter();
                let at = legs.position(|(_, _, leg)| *leg == Leg::Span(span.0));
                let amps = at.map_or(0.0, |i| self.rest.branch_a[i].abs());
                let end = end as usize;
                Some(amps * (values.contact_ohm[span.0][end] + values.joining_ohm[span.0][end]))
            }
            Probe::Loop(_) | Probe::Open(_) => None,
        }
    }
}
