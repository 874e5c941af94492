//! What may still be added at each place, and how far the line is from collapse.
//!
//! The reserve of a module is what may be drawn from the line at its input besides all that it draws already, with every module
//! at or above its lowest voltage, that at which its lock-out opens and those that binding requirements ask for, every supply within its
//! current limit and what such requirements allow it, every span within its rated current and the rating of its fuse, and before
//! collapse. It is the least over all combinations of states that the plan allows.

use std::borrow::Cow;

use plan::{Line, ModuleIx, Q, Span, SpanIx, SupplyIx, That};
use power::{Binding, Limits, Network, NetworkError};

use crate::combinations::{Combinations, off_v};
use crate::input::{Contacts, ElectricInput, InputError, electric};
use crate::power_cases::{age, cases};

/// What may still be added at a module.
#[derive(Clone, Debug, PartialEq)]
pub struct ModuleReserve {
    /// The module's typed path.
    pub path: String,
    /// State of the contacts.
    pub contacts: Contacts,
    /// The combination of states that leaves least, in words; empty where none could be searched.
    pub with: String,
    /// What may be added, or why not.
    pub room: Room,
    pub(crate) module: ModuleIx,
    /// What is reckoned with: the network of that combination and what it must keep.
    pub(crate) within: Option<(Network, Limits)>,
}

/// What may be added at a place, and what stops more.
#[derive(Clone, Debug, PartialEq)]
pub enum Room {
    /// So much.
    Power {
        /// The largest extra constant power at the module's input, W.
        power_w: f64,
        /// What stops more, in words.
        binds: String,
    },
    /// Nothing limits it.
    NoLimit,
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

/// The collapse factor in one set of states.
#[derive(Clone, Debug, PartialEq)]
pub struct SetFactor {
    /// The set, in words.
    pub name: String,
    /// What comes of it.
    pub factor: Factor,
}

/// A collapse factor.
#[derive(Clone, Debug, PartialEq)]
pub enum Factor {
    /// All constant-power loads may grow to this share together.
    Share(f64),
    /// Nothing draws constant power.
    NoLoad,
    /// It is not known.
    Unknown {
        /// Why.
        why: String,
    },
}

/// What a line has in hand.
#[derive(Clone, Debug, PartialEq)]
pub struct LineReserve {
    /// Each module with new and with aged contacts, in the plan's order.
    pub modules: Vec<ModuleReserve>,
    /// The least collapse factor over all combinations that the plan allows, with new and with aged contacts.
    pub weakest: Vec<SetFactor>,
    /// The collapse factor in each set of states that the check takes.
    pub sets: Vec<SetFactor>,
    /// What the plan does not say and these need: with anything here nothing else is told.
    pub unknowns: Vec<String>,
    pub(crate) weakest_networks: Vec<Option<Network>>,
}

/// Works out what a line has in hand.
///
/// # Errors
/// [`InputError`]: the plan says something that cannot be.
pub fn line_reserve(line: &Line) -> Result<LineReserve, InputError> {
    let all: Vec<ModuleIx> = (0..line.modules.len()).map(ModuleIx).collect();
    let mut found = in_hand(line, &all, true)?;
    if found.unknowns.is_empty() {
        let sets = cases(line)?.all.into_iter();
        let sets = sets.filter(|case| case.input.unknowns.is_empty());
        found.sets = sets
            .map(|case| SetFactor {
                factor: factor(power::collapse_factor(&case.input.network)),
                name: case.name,
            })
            .collect();
    }
    Ok(found)
}

/// The same without the sets: of these modules, and the collapse factor if it is wanted.
pub(crate) fn in_hand(
    line: &Line,
    modules: &[ModuleIx],
    collapse: bool,
) -> Result<LineReserve, InputError> {
    let line = &*within_requirements(line);
    let electric = electric(line)?;
    let mut found = LineReserve {
        modules: Vec::new(),
        weakest: Vec::new(),
        sets: Vec::new(),
        unknowns: Vec::new(),
        weakest_networks: Vec::new(),
    };
    let mut all = Vec::new();
    for contacts in [Contacts::New, Contacts::Aged] {
        let combinations = Combinations::of(line, &electric, contacts)?;
        if let Ok(c) = &combinations {
            found.unknowns.extend(c.input.unknowns.iter().cloned());
        }
        all.push((contacts, combinations));
    }
    found.unknowns.sort();
    found.unknowns.dedup();
    if !found.unknowns.is_empty() {
        return Ok(found);
    }
    let searches = 2 * (modules.len() + usize::from(collapse));
    for &m in modules {
        for (contacts, combinations) in &all {
            let mut row = ModuleReserve {
                path: line.module_path(m),
                contacts: *contacts,
                with: String::new(),
                room: Room::NoLimit,
                module: m,
                within: None,
            };
            row.room = match combinations {
                Ok(combinations) => room(line, combinations, searches, &mut row),
                Err(why) => Room::Unknown { why: why.clone() },
            };
            found.modules.push(row);
        }
    }
    for (contacts, combinations) in all.iter().filter(|_| collapse) {
        let weakest = combinations
            .as_ref()
            .map_err(Clone::clone)
            .and_then(|c| Ok((c, c.weakest(searches)?)));
        let (name, factor, network) = match weakest {
            Ok((c, weakest)) => (
                c.name(line, &weakest.combination),
                factor(Ok(weakest.factor)),
                Some(c.network(&weakest.combination)),
            ),
            Err(why) => (age(*contacts).to_owned(), Factor::Unknown { why }, None),
        };
        found.weakest.push(SetFactor { name, factor });
        found.weakest_networks.push(network);
    }
    Ok(found)
}

fn factor(found: Result<f64, NetworkError>) -> Factor {
    match found {
        Ok(share) if share.is_finite() => Factor::Share(share),
        Ok(_) => Factor::NoLoad,
        Err(error) => Factor::Unknown {
            why: error.to_string(),
        },
    }
}

/// The supplies that say no `current_limit`, in words; `None` where all do.
pub(crate) fn without_current_limit(line: &Line) -> Option<String> {
    let endless = line.supplies.iter();
    let endless = endless.filter(|s| s.current_limit_a.is_none());
    let endless: Vec<String> = endless.map(|s| format!("supply.{}", s.id)).collect();
    (!endless.is_empty()).then(|| endless.join(", "))
}

/// What a span bears, A, and whether it is its fuse that bears no more.
pub(crate) fn most_of_span(span: &Span) -> Option<(f64, bool)> {
    match (span.rated_current_a, span.fuse_a) {
        (None, None) => None,
        (Some(rated), None) => Some((rated.si, false)),
        (None, Some(fuse)) => Some((fuse.si, true)),
        (Some(rated), Some(fuse)) => Some((rated.si.min(fuse.si), fuse.si <= rated.si)),
    }
}

/// The current that a binding requirement allows a supply, A, with the requirement's id: the least where several do.
fn allowed_a(line: &Line, supply: SupplyIx) -> Option<(Q, &str)> {
    let asked = line.binding().filter_map(|r| match &r.that {
        That::SupplyCurrent { of, at_most_a } if of.is_none_or(|o| o == supply) => {
            Some(((*at_most_a)?, r.id.as_str()))
        }
        _ => None,
    });
    asked.min_by(|a, b| a.0.si.total_cmp(&b.0.si))
}

/// The line with no supply giving more than binding requirements allow it.
fn within_requirements(line: &Line) -> Cow<'_, Line> {
    let mut bound = Cow::Borrowed(line);
    for s in (0..line.supplies.len()).map(SupplyIx) {
        let Some((allowed_a, _)) = allowed_a(line, s) else {
            continue;
        };
        let own = line.supplies[s.0].current_limit_a;
        if own.is_none_or(|own| own.si > allowed_a.si) {
            bound.to_mut().supplies[s.0].current_limit_a = Some(allowed_a);
        }
    }
    bound
}

/// The voltage that a binding requirement asks for at a module, V, with the requirement's id: the highest where several do.
fn asked_v(line: &Line, module: ModuleIx) -> Option<(f64, &str)> {
    let asked = line.binding().filter_map(|r| match &r.that {
        That::Voltage { of, limits } if of.is_none_or(|o| o == module) => {
            Some((limits.as_ref()?.at_least.as_ref()?.si, r.id.as_str()))
        }
        _ => None,
    });
    asked.max_by(|a, b| a.0.total_cmp(&b.0))
}

/// The lowest voltage of each module at its inlet, that of its lock-out or of a requirement where it is higher, and what each span bears.
pub(crate) fn limits(line: &Line, input: &ElectricInput) -> Limits {
    let mut minimum_v = vec![0.0_f64; input.network.nodes];
    for (m, (module, inlet)) in line.modules.iter().zip(&input.inlets).enumerate() {
        if let (Some(inlet), Some(power_input)) = (*inlet, &module.input) {
            let off_v = off_v(module).unwrap_or(0.0);
            let asked_v = asked_v(line, ModuleIx(m)).map_or(0.0, |(v, _)| v);
            minimum_v[inlet] = power_input.minimum_v.si.max(off_v).max(asked_v);
        }
    }
    let rated =
        |span: &Option<SpanIx>| most_of_span(&line.spans[(*span)?.0]).map(|(limit_a, _)| limit_a);
    Limits {
        minimum_v,
        rated_a: input.branch_spans.iter().map(rated).collect(),
    }
}

fn room(
    line: &Line,
    combinations: &Combinations,
    searches: usize,
    row: &mut ModuleReserve,
) -> Room {
    let input = &combinations.input;
    let Some(inlet) = input.inlets[row.module.0] else {
        return Room::Unknown {
            why: "no supply feeds it".to_owned(),
        };
    };
    let limits = limits(line, input);
    let (combination, reserve) = match combinations.least_reserve(inlet, &limits, searches) {
        Ok(least) => least,
        Err(why) => return Room::Unknown { why },
    };
    row.with = combinations.name(line, &combination);
    row.within = Some((combinations.network(&combination), limits.clone()));
    match reserve {
        Ok(reserve) => match reserve.binds {
            Some(binds) => Room::Power {
                power_w: reserve.power_w,
                binds: {
                    let binds = binding(line, input, &limits, binds);
                    match without_current_limit(line) {
                        None => binds,
                        Some(endless) => format!("{binds} ({endless} with no `current_limit`)"),
                    }
                },
            },
            None => Room::NoLimit,
        },
        Err(error) => broken(line, input, error),
    }
}

/// A node in words: the module at whose inlet it is, or behind which it lies.
/// The module at a node.
pub(crate) fn place(line: &Line, input: &ElectricInput, node: usize) -> String {
    let at = input.inlets.iter().position(|n| *n == Some(node));
    at.map_or_else(
        || "a place behind a module's through-resistance".to_owned(),
        |m| line.module_path(ModuleIx(m)),
    )
}

fn binding(line: &Line, input: &ElectricInput, limits: &Limits, binds: Binding) -> String {
    match binds {
        Binding::Voltage { node } => {
            let least_v = limits.minimum_v[node];
            let module = input.inlets.iter().position(|n| *n == Some(node));
            let by_lock_out = module
                .and_then(|m| off_v(&line.modules[m]))
                .is_some_and(|off_v| off_v >= least_v);
            let own = module.and_then(|m| line.modules[m].input.as_ref());
            let asked = module
                .and_then(|m| asked_v(line, ModuleIx(m)))
                .filter(|_| own.is_some_and(|own| own.minimum_v.si < least_v));
            let which = match (by_lock_out, asked) {
                (true, _) => "the voltage at which its lock-out switches it off".to_owned(),
                (false, Some((_, id))) => format!("what requirement.{id} asks"),
                (false, None) => "its lowest voltage".to_owned(),
            };
            format!("{} comes to {which}, {least_v} V", place(line, input, node))
        }
        Binding::Source { source } => {
            let at = input.sources[source];
            let supply = &line.supplies[at];
            let limit_a = supply.current_limit_a.map(|q| q.si);
            let limit = limit_a.map_or_else(String::new, |a| format!(", {a} A"));
            // The line is one that requirements bind.
            match allowed_a(line, SupplyIx(at)).filter(|(a, _)| Some(a.si) == limit_a) {
                Some((_, id)) => format!(
                    "supply.{} comes to what requirement.{id} allows it{limit}",
                    supply.id
                ),
                None => format!("supply.{} comes to its current limit{limit}", supply.id),
            }
        }
        Binding::Span { span } => match input.branch_spans[span] {
            Some(s) => {
                let span = &line.spans[s.0];
                let (limit_a, fuse) = most_of_span(span).expect("a span binds by what it bears");
                let which = if fuse {
                    "the rating of its fuse"
                } else {
                    "its rated current"
                };
                format!("span.{} comes to {which}, {limit_a} A", span.id)
            }
            None => "the way through a module comes to its rated current".to_owned(),
        },
        Binding::Collapse => "the line collapses".to_owned(),
    }
}

/// Why nothing may be added, or why that is not known.
fn broken(line: &Line, input: &ElectricInput, error: NetworkError) -> Room {
    let why = match error {
        NetworkError::BelowMinimum {
            node,
            voltage_v,
            minimum_v,
        } => format!(
            "{} is at {voltage_v:.2} V already, below its {minimum_v} V",
            place(line, input, node)
        ),
        NetworkError::OverCurrent {
            part,
            current_a,
            limit_a,
        } => {
            let what = match part {
                power::Part::Source(s) => format!("supply.{}", line.supplies[input.sources[s]].id),
                power::Part::Span(s) => {
                    let span = input.branch_spans[s].map(|s| &line.spans[s.0]);
                    let fuse = span.and_then(most_of_span).is_some_and(|(_, fuse)| fuse);
                    match span {
                        Some(span) if fuse => format!("the fuse of span.{}", span.id),
                        Some(span) => format!("span.{}", span.id),
                        None => "the way through a module".to_owned(),
                    }
                }
                other => other.to_string(),
            };
            format!(
                "{what} carries {current_a:.3} A already, above its {} A",
                quantity::show_number(limit_a)
            )
        }
        NetworkError::CannotCarry { scale, node } => format!(
            "the line carries only {:.1} % of its load and collapses, first at {}",
            100.0 * scale,
            place(line, input, node)
        ),
        other => {
            return Room::Unknown {
                why: other.to_string(),
            };
        }
    };
    Room::None { why }
}
