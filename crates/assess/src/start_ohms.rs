//! Which ohms of the line keep it from starting, and whether fewer of one kind alone would let it start.
//!
//! A line that starts with short leads and new contacts runs on the bench; if it does not start as it is laid, the ohms that are added are to blame. They are told for the module that does not run
//! and has most of them before it, the largest first, with the most power that arrives through them, `V^2 / 4 R` (the matched load of a source behind a resistance).

use plan::{Line, ModuleIx, Q, SpanIx};
use power::Network;
use power::startup::Phase;
use quantity::Conductor;

use crate::conductors;
use crate::input::{Contacts, ElectricInput, InputError, StartInput, electric};
use crate::memo::Memo;
use crate::start::{Followed, StartError, follow};
use crate::start_words::listed;

/// Length of a lead on the bench, m: a choice of ours.
const LEAD_M: f64 = 1.0;
/// How many sizes thicker a conductor is tried at most.
pub(crate) const MOST_SIZES: usize = 6;
/// How many parts of the way are named.
const NAMED: usize = 4;

/// What of the line keeps it from starting with these contacts. `None` where it is not the line: it starts, or does not start with short leads either.
pub(crate) fn ohms(
    line: &Line,
    contacts: Contacts,
    failed: &Followed,
    memo: &Memo,
) -> Result<Option<String>, StartError> {
    if failed.finding.starts || failed.finding.word == "unsettled" || !failed.input.unfed.is_empty()
    {
        return Ok(None);
    }
    let starts = |line: &Line, contacts: Contacts| {
        // What cannot be followed is not told to help.
        follow(line, contacts, None, memo).is_ok_and(|f| f.finding.starts)
    };
    if !starts(&on_the_bench(line), Contacts::New) {
        return Ok(None);
    }
    let silent = (0..failed.report.modules.len())
        .filter(|&i| failed.report.modules[i].phase != Phase::Running);
    let all = Ways::of(Wires::of_start(&failed.input));
    let ways: Vec<Way> = silent
        .filter_map(|i| all.way_to(failed.input.modules[i]))
        .collect();
    let Some(worst) = ways.iter().max_by(|a, b| a.ohm.total_cmp(&b.ohm)) else {
        return Ok(None);
    };
    let mut told = vec![format!(
        "{} {}",
        runs_on_the_bench(),
        before(line, Wires::of_start(&failed.input), worst)?
    )];
    let mut helps = Vec::new();
    let without = without_through(line);
    if starts(&without, contacts) {
        helps.push("without the through-resistance of its modules it would start".to_owned());
    }
    if contacts == Contacts::Aged && starts(line, Contacts::New) {
        helps.push("with new contacts it would start".to_owned());
    }
    let wires = Wires::of_start(&failed.input);
    let mut spans: Vec<usize> = ways.iter().flat_map(|w| w.spans(wires)).collect();
    spans.sort_unstable();
    spans.dedup();
    let thicker = (1..=MOST_SIZES).find_map(|sizes| {
        let (thicker, changed) = thicker(line, &spans, sizes);
        (!changed.is_empty() && starts(&thicker, contacts)).then_some(changed)
    });
    match thicker {
        Some(changed) => helps.push(format!("with {} it would start", listed(&changed))),
        None => helps.push(format!(
            "no conductor up to {MOST_SIZES} sizes thicker on the way lets it start"
        )),
    }
    told.extend(helps);
    Ok(Some(told.join("; ")))
}

/// The words before the ohms that the sea adds to the bench.
pub(crate) fn runs_on_the_bench() -> String {
    format!(
        "it runs on the bench, with leads of {LEAD_M:.0} m and new contacts, and will not start in the sea:"
    )
}

/// A network and where its parts come from.
#[derive(Clone, Copy)]
pub(crate) struct Wires<'a> {
    network: &'a Network,
    inlets: &'a [Option<usize>],
    branch_spans: &'a [Option<SpanIx>],
    sources: &'a [usize],
}

impl<'a> Wires<'a> {
    fn of_start(input: &'a StartInput) -> Self {
        Wires {
            network: &input.line.network,
            inlets: &input.inlets,
            branch_spans: &input.branch_spans,
            sources: &input.sources,
        }
    }

    pub(crate) fn at_rest(input: &'a ElectricInput) -> Self {
        Wires {
            network: &input.network,
            inlets: &input.inlets,
            branch_spans: &input.branch_spans,
            sources: &input.sources,
        }
    }
}

/// The way from a supply to a module over which there are fewest ohms.
pub(crate) struct Way {
    module: ModuleIx,
    source: usize,
    branches: Vec<usize>,
    /// The supply's own left out.
    pub(crate) ohm: f64,
}

impl Way {
    /// The spans on it.
    pub(crate) fn spans(&self, wires: Wires<'_>) -> Vec<usize> {
        let branches = self.branches.iter();
        branches
            .filter_map(|b| wires.branch_spans[*b])
            .map(|s| s.0)
            .collect()
    }
}

/// The ways from the supplies to all nodes over which there are fewest ohms.
pub(crate) struct Ways<'a> {
    wires: Wires<'a>,
    /// Of each node the ohms before it, the source and the branch over which it is reached.
    best: Vec<Option<(f64, usize, Option<usize>)>>,
}

impl<'a> Ways<'a> {
    pub(crate) fn of(wires: Wires<'a>) -> Self {
        let network = wires.network;
        let mut best: Vec<Option<(f64, usize, Option<usize>)>> = vec![None; network.nodes];
        for (s, source) in network.sources.iter().enumerate() {
            best[source.node].get_or_insert((0.0, s, None));
        }
        // Bellman and Ford: no more rounds than nodes.
        for _ in 0..network.nodes {
            let mut changed = false;
            for (b, branch) in network.spans.iter().enumerate() {
                for (here, there) in [(branch.a, branch.b), (branch.b, branch.a)] {
                    let Some((ohm, source, _)) = best[here] else {
                        continue;
                    };
                    let ohm = ohm + branch.resistance_ohm;
                    if best[there].is_none_or(|(known, ..)| ohm < known) {
                        best[there] = Some((ohm, source, Some(b)));
                        changed = true;
                    }
                }
            }
            if !changed {
                break;
            }
        }
        Ways { wires, best }
    }

    /// The ohms before a module; `None` where no power comes.
    pub(crate) fn ohm_to(&self, module: ModuleIx) -> Option<f64> {
        let node = self.wires.inlets[module.0]?;
        self.best[node].map(|(ohm, ..)| ohm)
    }

    pub(crate) fn way_to(&self, module: ModuleIx) -> Option<Way> {
        let node = self.wires.inlets[module.0]?;
        let (ohm, source, _) = self.best[node]?;
        let mut branches = Vec::new();
        let mut at = node;
        while let Some((_, _, Some(b))) = self.best[at] {
            branches.push(b);
            let branch = &self.wires.network.spans[b];
            at = if branch.a == at { branch.b } else { branch.a };
        }
        branches.reverse();
        Some(Way {
            module,
            source,
            branches,
            ohm,
        })
    }
}

/// One part of the ohms before a module.
struct Part {
    ohm: f64,
    /// Of which kind it is, in the plural.
    kind: &'static str,
    what: String,
}

fn parts(line: &Line, wires: Wires<'_>, way: &Way) -> Result<Vec<Part>, InputError> {
    let network = wires.network;
    let source = &network.sources[way.source];
    let supply = &line.supplies[wires.sources[way.source]];
    let electric = electric(line)?;
    let part = |ohm, kind, what| Part { ohm, kind, what };
    let mut parts = vec![part(
        source.resistance_ohm,
        "the supply",
        format!("supply.{}", supply.id),
    )];
    for &b in &way.branches {
        let branch = &network.spans[b];
        match wires.branch_spans[b] {
            Some(SpanIx(s)) => {
                let wire_ohm = electric
                    .wire_ohm(SpanIx(s))
                    .unwrap_or(branch.resistance_ohm);
                let id = &line.spans[s].id;
                let wire = format!("the conductors of span.{id}");
                parts.push(part(wire_ohm, "conductors", wire));
                let contacts = format!("the contacts of span.{id}");
                parts.push(part(branch.resistance_ohm - wire_ohm, "contacts", contacts));
            }
            None => {
                let through =
                    |m: &usize| wires.inlets[*m].is_some_and(|n| n == branch.a || n == branch.b);
                let module = (0..line.modules.len()).find(through);
                let whose = module.map_or_else(String::new, |m| line.module_path(ModuleIx(m)));
                let way = format!("the way through {whose}");
                parts.push(part(branch.resistance_ohm, "ways through modules", way));
            }
        }
    }
    parts.retain(|p| p.ohm > 0.0);
    Ok(parts)
}

/// The ohms before a module, in the order of what is told, and what arrives through them at most.
fn arriving(line: &Line, wires: Wires<'_>, way: &Way, told: &[String]) -> String {
    let source = &wires.network.sources[way.source];
    let ohm = way.ohm + source.resistance_ohm;
    format!(
        "{ohm:.2} ohm lie before {}, through which no more than {:.2} W arrive: {}",
        line.module_path(way.module),
        source.voltage_v * source.voltage_v / (4.0 * ohm),
        told.join(", ")
    )
}

/// The ohms before a module, the largest first, and what arrives through them at most.
fn before(line: &Line, wires: Wires<'_>, way: &Way) -> Result<String, InputError> {
    let mut parts = parts(line, wires, way)?;
    parts.sort_by(|a, b| b.ohm.total_cmp(&a.ohm).then_with(|| a.what.cmp(&b.what)));
    let largest = parts.iter().take(NAMED);
    let named: Vec<String> = largest
        .map(|p| format!("{:.2} ohm of {}", p.ohm, p.what))
        .collect();
    let rest: f64 = parts.iter().skip(NAMED).map(|p| p.ohm).sum();
    let rest = match parts.len() > NAMED {
        true => format!(", and {rest:.2} ohm of {} more", parts.len() - NAMED),
        false => String::new(),
    };
    Ok(format!("{}{rest}", arriving(line, wires, way, &named)))
}

/// The ohms before a module by their kind, and what arrives through them at most.
pub(crate) fn before_by_kind(
    line: &Line,
    wires: Wires<'_>,
    way: &Way,
) -> Result<String, InputError> {
    let mut kinds: Vec<(f64, &str)> = Vec::new();
    for part in parts(line, wires, way)? {
        match kinds.iter_mut().find(|(_, kind)| *kind == part.kind) {
            Some((ohm, _)) => *ohm += part.ohm,
            None => kinds.push((part.ohm, part.kind)),
        }
    }
    kinds.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.cmp(b.1)));
    let told: Vec<String> = kinds
        .iter()
        .map(|(ohm, kind)| format!("{ohm:.2} ohm of {kind}"))
        .collect();
    Ok(arriving(line, wires, way, &told))
}

/// The line with short leads for its spans.
pub(crate) fn on_the_bench(line: &Line) -> Line {
    let mut line = line.clone();
    for span in &mut line.spans {
        span.length_m = span.length_m.min(LEAD_M);
        span.heat = None;
    }
    line
}

pub(crate) fn without_through(line: &Line) -> Line {
    let mut line = line.clone();
    for through in line
        .modules
        .iter_mut()
        .filter_map(|m| m.through_ohm.as_mut())
    {
        *through = Q {
            si: 0.0,
            law: None,
            ..*through
        };
    }
    line
}

/// The line with the conductors of these spans some sizes thicker, and what is written for that.
pub(crate) fn thicker(line: &Line, spans: &[usize], sizes: usize) -> (Line, Vec<String>) {
    let mut line = line.clone();
    let mut changed = Vec::new();
    for &s in spans {
        let span = &mut line.spans[s];
        let Some((conductor, text)) = span.conductor.and_then(|c| up(c, sizes)) else {
            continue;
        };
        span.conductor = Some(conductor);
        changed.push(format!("{text} in span.{}", span.id));
    }
    (line, changed)
}

/// A conductor some sizes thicker, or the thickest; `None` of that itself.
fn up(conductor: Conductor, sizes: usize) -> Option<(Conductor, String)> {
    conductors::thicker(conductor)
        .into_iter()
        .take(sizes)
        .next_back()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verif_thicker_conductors_are_sizes_of_their_lists() {
        let told = |text: &str, sizes| {
            let conductor = quantity::parse_conductor(text).unwrap();
            up(conductor, sizes).map(|(c, text)| {
                assert!(power::conductor::loop_resistance_ohm(c, 1.0, 20.0).is_ok());
                text
            })
        };
        assert_eq!(told("0.75 mm2 class 5", 1).as_deref(), Some("1 mm2"));
        assert_eq!(told("0.75 mm2 class 5", 3).as_deref(), Some("2.5 mm2"));
        assert_eq!(told("50 mm2 class 5", 1), None);
        assert_eq!(told("18 AWG", 2).as_deref(), Some("16 AWG"));
        assert_eq!(told("1 AWG", 1).as_deref(), Some("1/0 AWG"));
        assert_eq!(told("2/0 AWG", 6).as_deref(), Some("4/0 AWG"));
        assert_eq!(told("4/0 AWG", 1), None);
    }
}
