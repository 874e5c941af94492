//! Which supplies feed a module, and what leads from a hydrophone to the shore or to its store.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use plan::{Line, ModuleIx, PassWhen, SensorIx, SupplyKind};

use crate::locked_out::locked_out;

/// Supplies that feed a module: those from which conductors lead to it, through modules that pass power on at some time.
pub(crate) fn fed_by(line: &Line, module: ModuleIx) -> BTreeSet<usize> {
    let feeds = |supply: &plan::Supply| {
        reached(
            line,
            supply.module,
            |span| span.conductor.is_some(),
            |m| works_to_pass(line, m, line.modules[m.0].passes.map(|p| p.power)),
        )
        .contains_key(&module)
    };
    let supplies = line.supplies.iter().enumerate();
    supplies
        .filter(|(_, s)| feeds(s))
        .map(|(ix, _)| ix)
        .collect()
}

/// Whether a supply gives power at every hour, as far as the hourly year knows: only panels with a battery do not.
pub(crate) fn never_off(kind: SupplyKind) -> bool {
    kind != SupplyKind::SolarBattery
}

/// Where what a hydrophone hears is to come.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Goes {
    /// It is kept beside it.
    Kept(String),
    /// Over these modules, the last of which is where it goes.
    Over(Vec<ModuleIx>, String),
    /// Nowhere: the plan has neither an uplink nor a store of it.
    Nowhere,
}

/// Where what a hydrophone hears goes: to a store at its module, else over the fewest links to an uplink, else to a store elsewhere.
///
/// # Errors
/// In words, where no link leads there.
pub(super) fn goes(line: &Line, sensor: SensorIx) -> Result<Goes, String> {
    let keeps = |s: &&plan::Storage| s.records.iter().any(|r| r.sensor == sensor);
    let stores = || line.storages.iter().filter(keeps);
    if let Some(store) = stores().find(|s| s.module == sensor.module) {
        return Ok(Goes::Kept(format!("storage.{}", store.id)));
    }
    let uplinks = line
        .uplinks
        .iter()
        .map(|u| (u.module, format!("uplink.{}", u.id)));
    let elsewhere = stores().map(|s| (s.module, format!("storage.{}", s.id)));
    let ends: Vec<(ModuleIx, String)> = if line.uplinks.is_empty() {
        elsewhere.collect()
    } else {
        uplinks.collect()
    };
    if ends.is_empty() {
        return Ok(Goes::Nowhere);
    }
    let before = reached(
        line,
        sensor.module,
        |span| span.link.is_some(),
        |m| works_to_pass(line, m, line.modules[m.0].passes.map(|p| p.data)),
    );
    let ways = ends.iter().filter_map(|(end, name)| {
        let mut way = Vec::new();
        let mut at = *end;
        while at != sensor.module {
            way.push(at);
            at = *before.get(&at)?;
        }
        way.reverse();
        Some((way, name.clone()))
    });
    ways.min_by_key(|(way, _)| way.len())
        .map(|(way, name)| Goes::Over(way, name))
        .ok_or_else(|| {
            let names: Vec<&str> = ends.iter().map(|(_, name)| name.as_str()).collect();
            format!(
                "no link leads from {} to {}",
                line.module_path(sensor.module),
                names.join(", ")
            )
        })
}

/// When a module passes on, by what its plan says: never where it must work to do so and its lock-out keeps it off for good.
fn works_to_pass(line: &Line, m: ModuleIx, passes: Option<PassWhen>) -> Option<PassWhen> {
    let must_work = matches!(passes, Some(PassWhen::Powered | PassWhen::Running));
    match must_work && locked_out(line, m).is_some() {
        true => Some(PassWhen::Never),
        false => passes,
    }
}

/// Every module that is reached from one over spans of a kind, with the module before it on the shortest way; what never passes on is an end.
fn reached(
    line: &Line,
    from: ModuleIx,
    over: impl Fn(&plan::Span) -> bool,
    passes: impl Fn(ModuleIx) -> Option<PassWhen>,
) -> BTreeMap<ModuleIx, ModuleIx> {
    let mut before = BTreeMap::from([(from, from)]);
    let mut next = VecDeque::from([from]);
    while let Some(at) = next.pop_front() {
        if at != from && passes(at) == Some(PassWhen::Never) {
            continue;
        }
        for span in line.spans.iter().filter(|s| over(s)) {
            let other = match (span.from == at, span.to == at) {
                (true, _) => span.to,
                (_, true) => span.from,
                _ => continue,
            };
            before.entry(other).or_insert_with(|| {
                next.push_back(other);
                at
            });
        }
    }
    before
}
