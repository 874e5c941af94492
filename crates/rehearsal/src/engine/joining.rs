//! How long joining notices may take, and who learnt of whom.

use std::collections::BTreeMap;

use assess::input::{Traffic, ns, streams};
use network::{AtMost, DelayBound, Flow, delay_bounds};
use plan::{Line, ModuleIx};
use timeline::Ns;

use crate::error::RehearsalError;

/// Whether a module learnt what another is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Acquaintance {
    /// Which module told what it is.
    pub of: ModuleIx,
    /// Which was to learn it.
    pub by: ModuleIx,
    /// The first time that it did, and how long the notice had been on its way; `None` where it never did.
    pub learnt: Option<(Ns, Ns)>,
    /// The longest that a notice of that module may be on its way, with all that `check` counts besides and all other notices; where there is such a bound.
    pub bound: Option<Ns>,
}

/// Bounds of the joining notices, by who tells and who hears: of each module no more than one in the time of its boot.
pub(super) fn joining_bounds(
    line: &Line,
    traffic: Option<&Traffic>,
) -> Result<BTreeMap<(ModuleIx, ModuleIx), Option<Ns>>, RehearsalError> {
    let mut all = BTreeMap::new();
    let (Some(traffic), Some(joining)) = (traffic, line.joining) else {
        return Ok(all);
    };
    let mut flows = streams(line, traffic)?.flows;
    let before = flows.len();
    let mut of = Vec::new();
    for (m, notice) in traffic.joining.iter().enumerate() {
        let hears = |node: usize| {
            let mut subscriptions = traffic.subscriptions.iter();
            node != m && subscriptions.any(|(n, f)| *n == node && f.matches(&notice.name))
        };
        let targets: Vec<usize> = (0..line.modules.len())
            .filter(|node| hears(*node) && traffic.topology.route(m, *node).is_some())
            .collect();
        let boot_s = line.modules[m].boot.map_or(0.0, |boot| boot.time_s.si);
        let boot = ns(|| line.module_path(ModuleIx(m)), boot_s)?;
        flows.push(Flow {
            node: m,
            targets: targets.clone(),
            bytes: notice.bytes,
            priority: joining.priority,
            at_most: AtMost::new(1, boot).ok(),
            late: Some(Ns::ZERO),
        });
        of.push(targets);
    }
    let bounds = delay_bounds(&traffic.topology, &flows).unwrap_or_default();
    for (m, targets) in of.into_iter().enumerate() {
        for (t, node) in targets.into_iter().enumerate() {
            let bound = match bounds.get(before + m).and_then(|b| b.get(t)) {
                Some(DelayBound::Known { total, .. }) => Some(*total),
                _ => None,
            };
            all.insert((ModuleIx(m), ModuleIx(node)), bound);
        }
    }
    Ok(all)
}
