//! How many heartbeats in a row must stay out before somebody may take it for the silence of their module.
//!
//! Some stay out although the module is well: their topic's `at_most` holds them back, bit errors lose them, the uplink gives them up, its cap is reached, its battery is too low. Where each is lost with
//! a chance `p` on its own, `n` in a row are lost with `p^n`; the least `n` for which that is at most 1 % tells a silence (textbook probability; 1 % is common practice). Where they are lost
//! together, as in a storm or in a dark month, no number of them is worked out.

use std::collections::BTreeMap;

use plan::{Action, Line, ModuleIx, TopicIx, UplinkIx};
use quantity::{Dimension, show};

use crate::cap::cap;
use crate::cell_verdicts::MONTHS;
use crate::input::{at_most, billed_alone, payload_bytes, succeeds};
use crate::memo::Memo;
use crate::month::UnderLoad;
use crate::months::months_in_water;
use crate::uplink_wait::{LOOK_SHARE, uplink_months};

use super::notice::Told;

/// What rounding takes from a chance.
const ROUNDING: f64 = 1e-12;

/// Heartbeats in a row of which all stay out by themselves with a chance of at most 1 %, by the chance of each; `None` where none ever comes.
pub(crate) fn in_a_row(stays_out: f64) -> Option<u32> {
    let seldom = 1.0 - LOOK_SHARE + ROUNDING;
    if stays_out <= seldom {
        return Some(1);
    }
    if stays_out.is_nan() || stays_out >= 1.0 {
        return None;
    }
    let mut count = libm::ceil(libm::log(seldom) / libm::log(stays_out)).max(1.0);
    // So many that nobody waits for them: none comes.
    if count >= f64::from(u32::MAX) {
        return None;
    }
    while libm::pow(stays_out, count) > seldom {
        count += 1.0;
    }
    Some(count as u32)
}

/// From one message of a heartbeat to the next that the `at_most` of its topic lets through, s.
pub(crate) fn apart_s(line: &Line, from: usize) -> Option<Told> {
    let heartbeat = line.modules[from].heartbeat?;
    let every_s = heartbeat.every_s.si;
    let topic = &line.topics[heartbeat.topic.0];
    let Some(rate) = topic.at_most else {
        return Some(Ok(every_s));
    };
    let path = || format!("topic \"{}\"", topic.name);
    let limit = match at_most(path, rate) {
        Ok(limit) => limit,
        Err(error) => return Some(Err(error.to_string())),
    };
    let (count, per_s) = (f64::from(limit.messages()), limit.per().as_s_f64());
    let others = line.behaviours.iter().filter(|b| b.on == ModuleIx(from));
    let published = others
        .flat_map(|b| &b.actions)
        .filter(|a| matches!(a, Action::Publish { topic, .. } if *topic == heartbeat.topic));
    if published.count() > 1 {
        return Some(Err(format!(
            "{} publishes more than its heartbeat on {}, whose `at_most` may then hold heartbeats back: give the heartbeat a topic of its own",
            line.module_path(ModuleIx(from)),
            path()
        )));
    }
    // The first that may go again after so many is that at which the time is over.
    let first_again = libm::ceil(per_s / every_s * (1.0 - ROUNDING));
    let longest = (first_again - (count - 1.0)).max(1.0);
    Some(Ok(longest * every_s))
}

/// A heartbeat that goes up an uplink.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Row {
    /// Share that stays out by itself in the worst month.
    pub(crate) share: f64,
    /// How many in a row tell a silence.
    pub(crate) count: u32,
}

/// The heartbeats of a line that go ashore, each by its uplink and its topic.
#[derive(Clone, Debug, Default)]
pub(crate) struct Ashore {
    of: BTreeMap<(usize, usize), Result<Row, String>>,
}

impl Ashore {
    /// What is known of all heartbeats that go ashore.
    pub(crate) fn of(line: &Line, load: &mut UnderLoad<'_>, memo: &Memo) -> Ashore {
        let mut all = Ashore::default();
        for heartbeat in line.modules.iter().filter_map(|m| m.heartbeat) {
            let sent = line.behaviours.iter().flat_map(|b| &b.actions);
            let ups = sent.filter_map(|a| match a {
                Action::SendUp { uplink, topic, .. } if *topic == heartbeat.topic => Some(*uplink),
                _ => None,
            });
            for uplink in ups {
                let key = (uplink.0, heartbeat.topic.0);
                all.of.entry(key).or_insert_with(|| {
                    row(
                        line,
                        (uplink, heartbeat.topic),
                        heartbeat.every_s.si,
                        load,
                        memo,
                    )
                });
            }
        }
        all
    }

    /// How many heartbeats of this topic in a row tell a silence; one where nothing was asked.
    ///
    /// # Errors
    /// In words.
    pub(super) fn in_a_row(&self, uplink: UplinkIx, topic: TopicIx) -> Result<f64, String> {
        match self.of.get(&(uplink.0, topic.0)) {
            None => Ok(1.0),
            Some(Ok(row)) => Ok(f64::from(row.count)),
            Some(Err(why)) => Err(why.clone()),
        }
    }

    /// What stays out so often that one of them tells nothing, in words.
    pub(crate) fn told(&self, line: &Line) -> Option<String> {
        let often = self.of.iter().filter_map(|((u, t), row)| match row {
            Ok(row) if row.count > 1 => Some(format!(
                "{:.1} % of \"{}\" stay out by themselves on uplink.{}, so that only {} in a row tell a silence",
                100.0 * row.share,
                line.topics[*t].name,
                line.uplinks[*u].id,
                row.count
            )),
            _ => None,
        });
        let mut said: Vec<String> = often.collect();
        if !self.of.is_empty() && unexpected(line) {
            said.push("heartbeats are taken to find the queue of the uplink empty, as not every detector says what is expected of it (`expects`)".to_owned());
        }
        (!said.is_empty()).then(|| said.join("; "))
    }
}

/// Of a topic on an uplink, whose heartbeats are `every_s` apart.
fn row(
    line: &Line,
    (of, topic): (UplinkIx, TopicIx),
    every_s: f64,
    load: &mut UnderLoad<'_>,
    memo: &Memo,
) -> Result<Row, String> {
    let u = &line.uplinks[of.0];
    let name = &line.topics[topic.0].name;
    let bytes = payload_bytes(&line.topics[topic.0]).map_err(|e| e.to_string())?;
    let pieces = billed_alone(u, bytes) as f64;
    if let Some(expiry) = u.expiry_s.filter(|e| pieces * u.attempt_s() > e.si) {
        return Err(format!(
            "each heartbeat \"{name}\" is billed as {pieces:.0} messages, which one after another take {} on uplink.{}, and it gives them up after {}: whether one ever comes ashore is not known",
            show(pieces * u.attempt_s(), Dimension::Time),
            u.id,
            show(expiry.si, Dimension::Time)
        ));
    }
    let (months, _) = uplink_months(line, of, memo)?;
    let alone = |m: &usize| months[*m].share_within(f64::INFINITY);
    let worst = months_in_water(line)
        .into_iter()
        .min_by(|a, b| alone(a).total_cmp(&alone(b)).then(a.cmp(b)))
        .unwrap_or(0);
    let on = 1.0 - months[worst].off_share;
    let comes = match load {
        UnderLoad::LeftOut => UnderLoad::new(memo).come_ashore(line, of, topic),
        drawn => drawn.come_ashore(line, of, topic),
    };
    let lone_out = 1.0 - alone(&worst);
    let comes = match comes {
        Ok(comes) => (on * comes).min(alone(&worst)),
        // Where already those that find the queue empty stay out too often the rest does not matter.
        Err(_) if in_a_row(lone_out) != Some(1) => alone(&worst),
        // What else is sent is expected by nobody.
        Err(_) if unexpected(line) => alone(&worst),
        Err(why) => {
            return Err(format!(
                "how many of the heartbeats \"{name}\" come ashore among the other messages is not known: {why}"
            ));
        }
    };
    let share = 1.0 - comes;
    let count = in_a_row(share);
    if count == Some(1) {
        return Ok(Row { share, count: 1 });
    }
    let together = if on < 1.0 {
        Some("its battery is too low for it (`off_below`) for days on end")
    } else if !succeeds(line, of, None)
        .and_then(|how| how.tries())
        .map_err(|e| e.to_string())?
        .is_steady()
    {
        Some("seas stay high for hours")
    } else if u.windows.is_some() {
        Some("windows come at set times, as heartbeats do")
    } else if cap(u).is_some() {
        Some("once its cap is reached none comes until the next month")
    } else if u.expiry_s.is_none_or(|e| e.si + u.attempt_s() > every_s) {
        Some("each waits behind the one before")
    } else {
        None
    };
    match (count, together) {
        (Some(count), None) => Ok(Row { share, count }),
        (_, Some(together)) => Err(format!(
            "in {} {:.1} % of the heartbeats \"{name}\" stay out by themselves on uplink.{}, and not one by one: {together}. So the shore cannot tell a silence from them",
            MONTHS[worst],
            100.0 * share,
            u.id
        )),
        (None, None) => Err(format!(
            "no heartbeat \"{name}\" comes ashore by uplink.{}",
            u.id
        )),
    }
}

/// Whether some detector does not say how many events it is expected to tell, so that no month of messages can be drawn.
fn unexpected(line: &Line) -> bool {
    line.detectors.iter().any(|d| d.expects.is_none())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 0.5^6 is 1.56 % and 0.5^7 0.78 %; 0.1^2 is 1 %; 0.9^43 is 1.08 % and 0.9^44 0.97 %.
    #[test]
    fn val_so_many_in_a_row_are_lost_with_a_chance_of_at_most_one_percent() {
        for (share, count) in [
            (0.0, Some(1)),
            (0.01, Some(1)),
            (0.1, Some(2)),
            (0.5, Some(7)),
            (0.9, Some(44)),
            (1.0 - f64::EPSILON, None),
            (1.0, None),
        ] {
            assert_eq!(in_a_row(share), count, "{share}");
        }
    }
}
