//! Who can tell that a module is silent, and how long after it has stopped at most.
//!
//! A module is known to be silent one interval of its heartbeat, and the longest time of that message on its way, after it has stopped: until then its last heartbeat may have
//! been sent just before. Where heartbeats stay out by themselves so many intervals count as tell a silence ([`super::stays_out`]). Of a hydrophone that is deaf while its module works no heartbeat stays out: a level of the sea in one tells it. The shore waits for a message of its own interval besides, and for as long as the uplink tries to send it.

use network::{DelayBound, delay_bounds};
use plan::{Action, Line, ModuleIx, SensorIx, TopicIx, UplinkIx, When};

use super::stays_out::{Ashore, apart_s, in_a_row};
use super::talk::{Now, Talk};
use crate::delay_verdicts::why_unknown;
use crate::loss_verdicts::copy_lost;

/// Bounds of the messages of the whole line.
pub(super) struct Notice<'a> {
    talk: &'a Talk<'a>,
    ashore: &'a Ashore,
    bounds: Result<Vec<Vec<DelayBound>>, String>,
}

/// A time, or why it is unknown.
pub(super) type Told = Result<f64, String>;

/// The sooner of two; one that is known before one that is not.
pub(super) fn sooner(a: Option<Told>, b: Option<Told>) -> Option<Told> {
    match (a, b) {
        (Some(Ok(a)), Some(Ok(b))) => Some(Ok(a.min(b))),
        (known @ Some(Ok(_)), _) | (_, known @ Some(Ok(_))) => known,
        (unknown @ Some(_), _) | (None, unknown) => unknown,
    }
}

impl<'a> Notice<'a> {
    pub(super) fn new(talk: &'a Talk<'a>, ashore: &'a Ashore) -> Notice<'a> {
        let bounds = match &talk.net {
            None => Ok(Vec::new()),
            Some((traffic, _)) if !traffic.unknowns.is_empty() => Err(traffic.unknowns.join("; ")),
            Some((traffic, streams)) => {
                delay_bounds(&traffic.topology, &streams.flows).map_err(|e| e.to_string())
            }
        };
        Notice {
            talk,
            ashore,
            bounds,
        }
    }

    fn line(&self) -> &'a Line {
        self.talk.line
    }

    /// Longest time of a module's heartbeat on its way to one that hears it, s; `None` where it does not hear it.
    pub(super) fn on_its_way_s(&self, from: usize, at: usize) -> Option<Told> {
        let heartbeat = self.line().modules[from].heartbeat?;
        let (traffic, streams) = self.talk.net.as_ref()?;
        let own = (ModuleIx(from), heartbeat.topic);
        let flow = streams.of.iter().position(|of| *of == own)?;
        let target = streams.flows[flow].targets.iter().position(|t| *t == at)?;
        Some(
            self.bounds
                .as_ref()
                .map_err(Clone::clone)
                .and_then(|bounds| match &bounds[flow][target] {
                    DelayBound::Known { total, .. } => Ok(total.as_s_f64()),
                    DelayBound::Unknown(why) => {
                        Err(why_unknown(self.line(), Some(traffic), streams, why))
                    }
                }),
        )
    }

    /// Chance that bit errors lose a heartbeat of a module on its way to one that hears it; `None` where it does not hear it.
    pub(super) fn lost_on_its_way(&self, from: usize, at: usize) -> Option<Told> {
        let heartbeat = self.line().modules[from].heartbeat?;
        let (traffic, streams) = self.talk.net.as_ref()?;
        let own = (ModuleIx(from), heartbeat.topic);
        let flow = streams.of.iter().position(|of| *of == own)?;
        let is_heard = streams.flows[flow].targets.contains(&at);
        is_heard.then(|| copy_lost(traffic, &streams.flows[flow], heartbeat.topic, at))
    }

    /// From the stop of a module, or of all ways from it, until another knows, s; `None` where it does not hear its heartbeat.
    pub(super) fn knows_s(&self, from: usize, at: usize) -> Option<Told> {
        let apart_s = apart_s(self.line(), from)?;
        let lost = self.lost_on_its_way(from, at)?;
        let way_s = self.on_its_way_s(from, at)?;
        let known_s = || {
            let count = in_a_row(lost?).ok_or_else(|| {
                format!(
                    "bit errors lose every heartbeat of {}",
                    self.line().module_path(ModuleIx(from))
                )
            })?;
            Ok(f64::from(count) * apart_s? + way_s?)
        };
        Some(known_s())
    }

    /// So many of the heartbeats of a module in a row as tell its silence on an uplink, and what the last of them waits there, s.
    fn ashore_after_s(&self, uplink: UplinkIx, topic: TopicIx, every_s: f64) -> Told {
        let count = self.ashore.in_a_row(uplink, topic)?;
        Ok(count * every_s + self.sent_within_s(uplink)?)
    }

    /// What is to be added to the time of a module on the line whose own heartbeats go up an uplink one by one, s.
    fn more_ashore_s(&self, from: usize, uplink: UplinkIx) -> Told {
        let Some(own) = self.line().modules[from].heartbeat else {
            return self.sent_within_s(uplink);
        };
        let count = self.ashore.in_a_row(uplink, own.topic)?;
        Ok((count - 1.0) * own.every_s.si + self.sent_within_s(uplink)?)
    }

    /// Modules whose heartbeat another hears while the line is whole, and does not hear now.
    pub(super) fn silent<'n>(
        &'n self,
        now: &'n Now,
        at: usize,
    ) -> impl Iterator<Item = usize> + 'n {
        (0..self.line().modules.len())
            .filter(move |&m| m != at && self.on_its_way_s(m, at).is_some() && !now.reach(m, at))
    }

    /// Until the shore can tell that something is wrong, s; `None` where nothing tells it.
    pub(super) fn ashore_s(&self, now: &Now) -> Option<Told> {
        let mut soonest = None;
        for (u, uplink) in self.line().uplinks.iter().enumerate() {
            let at = uplink.module.0;
            let gone = !now.works[at] || !now.up[u];
            let own = self.line().modules[at]
                .heartbeat
                .filter(|h| h.by == Some(UplinkIx(u)));
            if let Some(own) = own {
                let own_s = self.ashore_after_s(UplinkIx(u), own.topic, own.every_s.si);
                if gone {
                    soonest = sooner(soonest, Some(own_s));
                } else {
                    for m in self.silent(now, at) {
                        let known_s = self.knows_s(m, at);
                        let both_s = known_s.map(|known| Ok(known? + own_s.clone()?));
                        soonest = sooner(soonest, both_s);
                    }
                }
            }
            for m in (0..self.line().modules.len()).filter(|&m| self.forwards(m, UplinkIx(u))) {
                if gone || !now.reach(m, at) {
                    let known_s = self.knows_s(m, at);
                    let both_s =
                        known_s.map(|known| Ok(known? + self.more_ashore_s(m, UplinkIx(u))?));
                    soonest = sooner(soonest, both_s);
                }
            }
        }
        soonest
    }

    /// Until the shore can tell a hydrophone that is deaf from a quiet sea, s, by its level in a heartbeat that goes ashore; or why nothing says that it can.
    pub(super) fn level_ashore_s(&self, sensor: SensorIx) -> Told {
        let line = self.line();
        let tells = |m: usize| line.modules[m].heartbeat_levels.contains(&sensor);
        let from = sensor.module.0;
        let mut soonest = None;
        for (u, uplink) in line.uplinks.iter().enumerate() {
            let at = uplink.module.0;
            let heard_s = match from == at {
                true => Some(Ok(0.0)),
                false => self.knows_s(from, at).filter(|_| tells(from)),
            };
            let own = line.modules[at].heartbeat;
            if let Some(own) = own.filter(|h| h.by == Some(UplinkIx(u)) && tells(at)) {
                let told_s = heard_s.clone().map(|heard| {
                    let own_s = self.ashore_after_s(UplinkIx(u), own.topic, own.every_s.si);
                    Ok(heard? + own_s?)
                });
                soonest = sooner(soonest, told_s);
            }
            if self.forwards(from, UplinkIx(u)) {
                let told_s =
                    heard_s.map(|heard| Ok(heard? + self.more_ashore_s(from, UplinkIx(u))?));
                soonest = sooner(soonest, told_s);
            }
        }
        soonest.unwrap_or_else(|| {
            Err(format!(
                "the heartbeat of {} stays healthy and no event comes, as in a quiet sea: write in `heartbeat.levels` whose level of the sea goes ashore",
                line.module_path(sensor.module)
            ))
        })
    }

    /// Whether each heartbeat of a module goes up an uplink when it is told at its module.
    fn forwards(&self, from: usize, uplink: UplinkIx) -> bool {
        let Some(heartbeat) = self.line().modules[from].heartbeat else {
            return false;
        };
        let at = self.line().uplinks[uplink.0].module;
        let hears = self
            .talk
            .hearers(ModuleIx(from), heartbeat.topic)
            .contains(&at.0);
        let sends = |b: &plan::Behaviour| {
            b.on == at
                && b.at_most.is_none()
                && b.routine.is_none()
                && matches!(&b.when, When::Told { filter } if self.talk.filter_matches(filter, heartbeat.topic))
                && b.actions.iter().any(
                    |a| matches!(a, Action::SendUp { uplink: u, topic, .. } if *u == uplink && *topic == heartbeat.topic),
                )
        };
        hears && self.line().behaviours.iter().any(sends)
    }

    /// How long after it is queued a message has gone ashore, or never will, s.
    fn sent_within_s(&self, uplink: UplinkIx) -> Told {
        let u = &self.line().uplinks[uplink.0];
        match u.expiry_s {
            Some(expiry) => Ok(expiry.si + u.attempt_s()),
            None => Err(format!(
                "uplink.{} never gives a message up, so a late one cannot be told from none: write its `expiry`",
                u.id
            )),
        }
    }
}
