//! What faults cost at the uplinks that they disturb.

use std::collections::{BTreeMap, BTreeSet};

use plan::{CueSheet, FaultKind, Line, ModuleIx, UplinkIx};
use timeline::Ns;

use crate::record::{Record, What};

/// What a fault cost at an uplink that it disturbed.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Ashore {
    /// Attempts that had begun before it was over and failed.
    pub failed: u64,
    /// Messages that waited while it held and went ashore in the end.
    pub sent: u64,
    /// The longest time of these from the queue to the shore.
    pub longest: Option<Ns>,
    /// Messages that waited while it held and were given up, for their age or for want of room.
    pub given_up: u64,
    /// Messages that waited while it held and still waited at the end of the rehearsal.
    pub waiting: u64,
}

struct Shore {
    module: ModuleIx,
    /// When each message that waits was queued.
    queued: BTreeMap<u64, Ns>,
    /// When the latest attempt began, and when the latest one that is counted failed.
    began: Option<Ns>,
    failed: Option<Ns>,
}

/// What one fault disturbs.
#[derive(Default)]
struct Disturbs {
    uplink: Option<UplinkIx>,
    /// It is over once this module works again.
    restarts: Option<ModuleIx>,
    /// It is over as it begins, or takes only what is heard.
    at_once: bool,
    holds: bool,
    over: Option<Ns>,
    counts: BTreeMap<usize, (Ashore, BTreeSet<u64>)>,
}

/// Follows what waits at each uplink.
pub(crate) struct Shores {
    shores: Vec<Shore>,
    faults: Vec<Disturbs>,
}

impl Shores {
    pub(crate) fn new(line: &Line, cues: &CueSheet) -> Shores {
        let shores = line.uplinks.iter().map(|u| Shore {
            module: u.module,
            queued: BTreeMap::new(),
            began: None,
            failed: None,
        });
        let faults = cues.faults.iter().map(|f| Disturbs {
            uplink: match f.what {
                FaultKind::NoUplink(uplink) => Some(uplink),
                _ => None,
            },
            restarts: match f.what {
                FaultKind::Restart { module, .. } => Some(module),
                _ => None,
            },
            at_once: matches!(f.what, FaultKind::ClockStep { .. } | FaultKind::Deaf(_)),
            ..Disturbs::default()
        });
        Shores {
            shores: shores.collect(),
            faults: faults.collect(),
        }
    }

    pub(crate) fn see(&mut self, record: &Record) {
        let at = record.at;
        match record.what {
            What::FaultBegins { fault } => {
                let f = &mut self.faults[fault];
                (f.holds, f.over) = (!f.at_once, None);
                if let Some(uplink) = f.uplink {
                    f.disturb(uplink.0, &self.shores[uplink.0]);
                }
            }
            What::FaultEnds { fault } => {
                let f = &mut self.faults[fault];
                (f.holds, f.over) = (false, Some(at));
            }
            What::Down { module, .. } => {
                let there = self.shores.iter().enumerate();
                for (uplink, shore) in there.filter(|(_, s)| s.module == module) {
                    let stops = |f: &&mut Disturbs| f.restarts.is_none_or(|m| m == module);
                    for fault in self.faults.iter_mut().filter(|f| f.holds).filter(stops) {
                        fault.disturb(uplink, shore);
                    }
                }
            }
            What::Up { module } => {
                for fault in &mut self.faults {
                    if fault.holds && fault.restarts == Some(module) {
                        (fault.holds, fault.over) = (false, Some(at));
                    }
                }
            }
            What::Queued {
                uplink, message, ..
            } => {
                self.shores[uplink.0].queued.insert(message, at);
                for fault in self.faults.iter_mut().filter(|f| f.holds) {
                    if let Some((_, waits)) = fault.counts.get_mut(&uplink.0) {
                        waits.insert(message);
                    }
                }
            }
            What::Attempt { uplink, .. } => self.shores[uplink.0].began = Some(at),
            What::Failed { uplink, .. } => {
                let shore = &mut self.shores[uplink.0];
                // One attempt may carry several messages, each of which is told.
                if shore.failed.replace(at) == Some(at) {
                    return;
                }
                let began = shore.began;
                for fault in &mut self.faults {
                    let in_time = fault.over.is_some_and(|over| began < Some(over));
                    if (fault.holds || in_time)
                        && let Some((count, _)) = fault.counts.get_mut(&uplink.0)
                    {
                        count.failed += 1;
                    }
                }
            }
            What::Sent {
                uplink, message, ..
            } => {
                let since = self.shores[uplink.0].queued.remove(&message);
                let took = since.and_then(|since| at.checked_sub(since));
                self.ended(uplink, message, |count| {
                    count.sent += 1;
                    count.longest = count.longest.max(took);
                });
            }
            What::Expired { uplink, message } | What::NoRoom { uplink, message } => {
                self.shores[uplink.0].queued.remove(&message);
                self.ended(uplink, message, |count| count.given_up += 1);
            }
            _ => {}
        }
    }

    /// A message waits no more.
    fn ended(&mut self, uplink: UplinkIx, message: u64, how: impl Fn(&mut Ashore)) {
        for fault in &mut self.faults {
            if let Some((count, waits)) = fault.counts.get_mut(&uplink.0)
                && waits.remove(&message)
            {
                how(count);
            }
        }
    }

    /// By fault, the uplinks where it cost anything.
    pub(crate) fn finish(self) -> Vec<Vec<(UplinkIx, Ashore)>> {
        let of = |fault: Disturbs| {
            let counts = fault.counts.into_iter().map(|(uplink, (count, waits))| {
                let waiting = waits.len() as u64;
                (UplinkIx(uplink), Ashore { waiting, ..count })
            });
            counts
                .filter(|(_, count)| *count != Ashore::default())
                .collect()
        };
        self.faults.into_iter().map(of).collect()
    }
}

impl Disturbs {
    /// From now on it counts what waits there.
    fn disturb(&mut self, uplink: usize, shore: &Shore) {
        let (_, waits) = self.counts.entry(uplink).or_default();
        waits.extend(shore.queued.keys());
    }
}
