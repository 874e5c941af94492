//! How late messages are ashore under load, as a distribution.
//!
//! Purpose: the time from the offer of a message to the end of the session that brings it ashore, where events come by chance as they are expected (as in [`super`]) and messages
//! wait for each other. Behaviours start no more often than their `at_most` lets them. Months are drawn through the queue of [`network::Uplink`] with its windows, failures, expiry,
//! room and cap, one after the other: each begins with what waits at the end of the one before.
//!
//! The times of one month hang together, so that no confidence limits are told.

use std::collections::BTreeMap;

use chance::Stream;
use network::{UplinkEvent, UplinkMessage, lone_delay_by_sea};
use plan::{Action, Line, TopicIx, UplinkIx};
use quantity::SECONDS_PER_DAY;
use timeline::Ns;

use super::drawn::{Months, mean_sent, through};
use super::{SEED, expected, sendings};
use crate::input::{MONTH_DAYS, succeeds, uplink_spec};
use crate::memo::{Job, Memo, canonical};

/// Messages, months and attempts drawn at most, and the fewest messages that are told of.
const MOST_MESSAGES: f64 = 50_000.0;
const MOST_MONTHS: f64 = 100.0;
const MOST_ATTEMPTS: u64 = 200_000;
const LEAST_MESSAGES: usize = 200;

/// Times of what was offered.
#[derive(Clone, Debug, Default)]
pub(super) struct Times {
    /// Of what came ashore, s, ascending.
    ashore_s: Vec<f64>,
    offered: usize,
}

impl Times {
    /// Share of all that was ashore within a time.
    pub(super) fn within(&self, seconds: f64) -> f64 {
        self.ashore_s.partition_point(|s| *s <= seconds) as f64 / self.offered as f64
    }

    /// The time within which this share of all was ashore.
    fn quantile_s(&self, share: f64) -> Option<f64> {
        let needed = (share * self.offered as f64).ceil() as usize;
        self.ashore_s.get(needed.max(1) - 1).copied()
    }
}

/// How late messages are ashore with the alarms that are expected: drawn once for each uplink and wind, and kept for all delays of one check.
#[derive(Debug)]
pub(crate) enum UnderLoad<'m> {
    Drawn(
        BTreeMap<(UplinkIx, Option<u64>), Result<Drawn, String>>,
        &'m Memo,
    ),
    /// Not told, where only what is ruled counts.
    LeftOut,
}

/// Times of each topic that an uplink sends up, and from how many months.
#[derive(Debug)]
pub(crate) struct Drawn {
    of: BTreeMap<TopicIx, Times>,
    months: u32,
}

impl<'m> UnderLoad<'m> {
    pub(crate) fn new(memo: &'m Memo) -> UnderLoad<'m> {
        UnderLoad::Drawn(BTreeMap::new(), memo)
    }

    /// The times of an uplink at all winds.
    fn of_uplink(&mut self, line: &Line, of: UplinkIx) -> Result<&Drawn, String> {
        let UnderLoad::Drawn(kept, memo) = self else {
            return Err("it is not drawn here".to_owned());
        };
        let drawn = kept
            .entry((of, None))
            .or_insert_with(|| drawn(line, of, None, memo));
        drawn.as_ref().map_err(|why| why.clone())
    }

    /// Share of the messages of the topic that is worst off of those that are drawn often enough, ashore within a time, and how many months were drawn.
    ///
    /// # Errors
    /// In words, why it is not known.
    pub(crate) fn share_within(
        &mut self,
        line: &Line,
        of: UplinkIx,
        within_s: f64,
    ) -> Result<(f64, u32), String> {
        let drawn = self.of_uplink(line, of)?;
        let often = drawn.of.values().filter(|t| t.offered >= LEAST_MESSAGES);
        let least = often.map(|t| t.within(within_s)).reduce(f64::min);
        let months = drawn.months;
        least.map(|share| (share, months)).ok_or_else(|| {
            format!("fewer than {LEAST_MESSAGES} messages of each topic in {months} drawn months are too few to tell")
        })
    }

    /// Share of the messages of a topic that ever comes ashore.
    ///
    /// # Errors
    /// In words, why it is not known.
    pub(crate) fn come_ashore(
        &mut self,
        line: &Line,
        of: UplinkIx,
        topic: TopicIx,
    ) -> Result<f64, String> {
        let drawn = self.of_uplink(line, of)?;
        let found = drawn.of.get(&topic);
        let found = found.filter(|t| t.offered >= LEAST_MESSAGES);
        found
            .map(|times| times.within(f64::INFINITY))
            .ok_or_else(|| {
                format!(
                    "fewer than {LEAST_MESSAGES} of them in {} drawn months are too few to tell",
                    drawn.months
                )
            })
    }

    /// What keeps results; `None` where nothing is drawn.
    pub(crate) fn memo(&self) -> Option<&Memo> {
        match self {
            UnderLoad::Drawn(_, memo) => Some(memo),
            UnderLoad::LeftOut => None,
        }
    }

    /// The time within which this share of the messages is ashore, s: of the topic that is worst off of those that are drawn often enough.
    ///
    /// # Errors
    /// In words, why it is not known.
    pub(crate) fn within_s(
        &mut self,
        line: &Line,
        of: UplinkIx,
        share: f64,
    ) -> Result<f64, String> {
        let drawn = self.of_uplink(line, of)?;
        let often = drawn.of.values().filter(|t| t.offered >= LEAST_MESSAGES);
        let times: Vec<Option<f64>> = often.map(|t| t.quantile_s(share)).collect();
        let (months, percent) = (drawn.months, 100.0 * share);
        let worst = times.iter().copied().collect::<Option<Vec<f64>>>();
        let worst = worst.ok_or_else(|| format!("fewer than {percent} % come ashore"))?;
        worst.into_iter().reduce(f64::max).ok_or_else(|| {
            format!("fewer than {LEAST_MESSAGES} messages of each topic in {months} drawn months are too few to tell")
        })
    }

    /// Of a topic, in words; `left_s` is what its limit leaves for the uplink. `None` where it is left out.
    pub(crate) fn words(
        &mut self,
        line: &Line,
        of: UplinkIx,
        topic: TopicIx,
        wind_at_most_m_s: Option<f64>,
        left_s: f64,
    ) -> Option<String> {
        let UnderLoad::Drawn(kept, memo) = self else {
            return None;
        };
        let drawn = kept
            .entry((of, wind_at_most_m_s.map(f64::to_bits)))
            .or_insert_with(|| drawn(line, of, wind_at_most_m_s, memo));
        let words = match drawn {
            Ok(drawn) => words(drawn, topic, left_s),
            Err(why) => Err(why.clone()),
        };
        Some(words.unwrap_or_else(|why| format!("its times are not known: {why}")))
    }
}

fn words(drawn: &Drawn, topic: TopicIx, left_s: f64) -> Result<String, String> {
    let months = drawn.months;
    let offered = drawn.of.get(&topic).map_or(0, |times| times.offered);
    let Some(found) = drawn.of.get(&topic).filter(|_| offered >= LEAST_MESSAGES) else {
        return Err(format!(
            "{offered} of its messages in {months} drawn months are too few to tell"
        ));
    };
    let within = |share: f64| {
        let time = found.quantile_s(share);
        time.map_or("never".to_owned(), |s| format!("within {s:.0} s"))
    };
    Ok(format!(
        "half of {} messages are ashore {}, 90 % {}, 99 % {}, and {:.1} % within the {left_s:.0} s that the limit leaves ({months} drawn months, seed {SEED})",
        found.offered,
        within(0.5),
        within(0.9),
        within(0.99),
        (1000.0 * found.within(left_s)).floor() / 10.0,
    ))
}

fn drawn(
    line: &Line,
    of: UplinkIx,
    wind_at_most_m_s: Option<f64>,
    memo: &Memo,
) -> Result<Drawn, String> {
    let sendings = sendings(line, of, 0.0)?;
    let mut rates = BTreeMap::new();
    for origin in sendings.iter().flat_map(|s| s.ways.keys()) {
        rates.insert(*origin, expected(line, *origin)?);
    }
    let mean = mean_sent(&sendings, &rates);
    let spec = uplink_spec(line, of).map_err(|e| e.to_string())?;
    let success = succeeds(line, of, wind_at_most_m_s).map_err(|e| e.to_string())?;
    let tries = success.tries().map_err(|e| e.to_string())?;
    // A high sea takes many attempts a message: half of what is drawn at most is left for months that have more of it.
    let by_attempts = match lone_delay_by_sea(&spec, &tries) {
        Some(lone) if !tries.is_steady() => {
            0.5 * MOST_ATTEMPTS as f64 / (mean * lone.attempts).max(1.0)
        }
        _ => MOST_MONTHS,
    };
    let months = (MOST_MESSAGES / mean.max(1.0)).min(by_attempts);
    let months = months.floor().min(MOST_MONTHS);
    if months < 1.0 {
        return Err(format!(
            "{mean:.0} messages are expected in a month, too many to draw with their attempts"
        ));
    }
    let months = months as u32;
    let all = memo.of(&Ashore {
        of: Months {
            spec,
            tries,
            sendings: &sendings,
            rates: &rates,
            months,
            lead_s: 0.0,
            uplink: &line.uplinks[of.0].id,
        },
    });
    let all = all.as_ref().as_ref().map_err(Clone::clone)?;
    // What is sent up, in the order in which `sendings` tells it.
    let actions = line.behaviours.iter().flat_map(|b| &b.actions);
    let topics = actions.filter_map(|action| match action {
        Action::SendUp { uplink, topic, .. } if *uplink == of => Some(*topic),
        _ => None,
    });
    let mut by_topic: BTreeMap<TopicIx, Times> = BTreeMap::new();
    for (times, topic) in all.iter().zip(topics) {
        let found = by_topic.entry(topic).or_default();
        found.ashore_s.extend(&times.ashore_s);
        found.offered += times.offered;
    }
    for times in by_topic.values_mut() {
        times.ashore_s.sort_by(f64::total_cmp);
    }
    Ok(Drawn {
        of: by_topic,
        months,
    })
}

/// The times of what months offer.
struct Ashore<'a> {
    of: Months<'a>,
}

canonical!('a Ashore<'a> { of });

impl Job for Ashore<'_> {
    const METHOD: &'static str = "months ashore/2";
    type Out = Result<Vec<Times>, String>;

    fn run(&self, _: &Memo) -> Self::Out {
        times(&self.of)
    }

    fn bytes(out: &Self::Out) -> usize {
        let all = out.as_ref().map_or(&[][..], Vec::as_slice);
        all.iter().map(|t| size_of_val(t.ashore_s.as_slice())).sum()
    }
}

/// Draws months that follow each other, and gives the times of each thing that is sent up.
pub(super) fn times(of: &Months<'_>) -> Result<Vec<Times>, String> {
    let name = format!("ashore/{}", of.uplink);
    let month = Ns::from_s_f64(MONTH_DAYS * SECONDS_PER_DAY).map_err(|e| e.to_string())?;
    let mut all = vec![Times::default(); of.sendings.len()];
    let (mut senders, mut offers) = (Vec::new(), Vec::new());
    for number in 0..of.months {
        let mut stream = Stream::named(SEED, &name, u64::from(number));
        let begins = month.0.saturating_mul(u64::from(number));
        for (at, sender, message) in of.offers(number, &mut stream)? {
            let id = senders.len() as u64;
            senders.push(sender);
            all[sender].offered += 1;
            offers.push((
                Ns(begins.saturating_add(at.0)),
                UplinkMessage { id, ..message },
            ));
        }
    }
    let mut told = |event: &UplinkEvent| {
        if let UplinkEvent::Sent {
            id, offered, at, ..
        } = event
        {
            let took = Ns(at.0 - offered.0).as_s_f64();
            all[senders[*id as usize]].ashore_s.push(took);
        }
    };
    let mut stream = Stream::named(SEED, &name, u64::from(of.months));
    let most = (MOST_ATTEMPTS, &mut told as &mut dyn FnMut(&UplinkEvent));
    through(of.spec, offers, &mut stream, &of.tries, most)?
        .ok_or("so many attempts fail that they are too many to draw")?;
    for times in &mut all {
        times.ashore_s.sort_by(f64::total_cmp);
    }
    Ok(all)
}
