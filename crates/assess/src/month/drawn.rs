//! Months drawn through the queue of an uplink.

use std::collections::BTreeMap;

use chance::Stream;
use network::{
    Outcome, SeaDrawn, Tries, Uplink, UplinkEvent, UplinkMessage, UplinkSpec, UplinkStats,
};
use plan::{Line, UplinkIx};
use quantity::{SECONDS_PER_DAY, show_number};
use timeline::{Class, Ns};

use super::offers::{Span, offers};
use super::{Origin, SEED, Sending};
use crate::input::{MONTH_DAYS, succeeds, uplink_spec};
use crate::memo::{Job, Memo, canonical};

/// Messages drawn where more months than the fewest are, messages drawn at all, months drawn at most, and the fewest that show 99 %.
const MOST_DRAWN: f64 = 300_000.0;
const MOST_AT_ALL: f64 = 1_500_000.0;
const MOST_MONTHS: f64 = 1000.0;
const LEAST_MONTHS: f64 = 299.0;
/// Attempts at most in all drawn months together.
const MOST_ATTEMPTS: u64 = 1_000_000;

/// The queue that months are drawn through, without the cap, and how attempts succeed.
pub(super) fn queue(line: &Line, of: UplinkIx) -> Result<(UplinkSpec, Tries), String> {
    let mut spec = uplink_spec(line, of).map_err(|e| e.to_string())?;
    spec.cap = None;
    let success = succeeds(line, of, None).map_err(|e| e.to_string())?;
    Ok((spec, success.tries().map_err(|e| e.to_string())?))
}

/// Whether months differ by chance.
pub(super) fn by_chance(success: f64, rates: &BTreeMap<Origin, f64>) -> bool {
    let comes =
        |(origin, rate): (&Origin, &f64)| *rate > 0.0 && !matches!(origin, Origin::Interval(_));
    success < 1.0 || rates.iter().any(comes)
}

/// Draws months through the queue of the uplink, or where nothing comes by chance the first of the deployment, in which each interval starts as often as in any. Gives the shares of the numbers billed, and how many months were drawn.
pub(super) fn drawn(
    line: &Line,
    of: UplinkIx,
    sendings: &[Sending],
    rates: &BTreeMap<Origin, f64>,
    (lead_s, memo): (f64, &Memo),
) -> Result<(Vec<f64>, u32), String> {
    let (spec, tries) = queue(line, of)?;
    let mean = mean_sent(sendings, rates) * (1.0 + lead_s / (MONTH_DAYS * SECONDS_PER_DAY));
    let (most, least) = match by_chance(tries.mean_success(), rates) {
        true => (MOST_MONTHS, LEAST_MONTHS),
        false => (1.0, 1.0),
    };
    let months = (MOST_DRAWN / mean.max(1.0)).floor().min(most).max(least);
    if months * mean > MOST_AT_ALL {
        return Err(format!(
            "{} messages are expected in a month: too many to draw enough months of",
            show_number(mean)
        ));
    }
    let months = months as u32;
    let found = memo.of(&Billed {
        of: Months {
            spec,
            tries,
            sendings,
            rates,
            months,
            lead_s,
            uplink: &line.uplinks[of.0].id,
        },
    });
    let shares = found.as_ref().as_ref().map_err(Clone::clone)?;
    Ok((shares.clone(), months))
}

/// Months that are drawn through the queue of an uplink.
pub(super) struct Months<'a> {
    pub(super) spec: UplinkSpec,
    /// How attempts succeed.
    pub(super) tries: Tries,
    pub(super) sendings: &'a [Sending],
    pub(super) rates: &'a BTreeMap<Origin, f64>,
    pub(super) months: u32,
    /// How long before each what is offered may still wait as it begins, s.
    pub(super) lead_s: f64,
    /// Id of the uplink.
    pub(super) uplink: &'a str,
}

canonical!('a Months<'a> { months, lead_s, uplink } debug { spec, tries, sendings, rates });

impl Months<'_> {
    /// What is offered in one of them, in order, by chances of a stream.
    pub(super) fn offers(
        &self,
        number: u32,
        stream: &mut Stream,
    ) -> Result<Vec<(Ns, usize, UplinkMessage)>, String> {
        let span = Span {
            number,
            month_s: MONTH_DAYS * SECONDS_PER_DAY,
            lead_s: self.lead_s,
        };
        offers(self.sendings, self.rates, span, stream)
    }
}

/// The messages that months bill.
struct Billed<'a> {
    of: Months<'a>,
}

canonical!('a Billed<'a> { of });

impl Job for Billed<'_> {
    const METHOD: &'static str = "months billed/1";
    type Out = Result<Vec<f64>, String>;

    fn run(&self, _: &Memo) -> Self::Out {
        shares(&self.of)
    }

    fn bytes(out: &Self::Out) -> usize {
        out.as_ref().map_or(0, |s| size_of_val(s.as_slice()))
    }
}

/// Of drawn months the shares of the numbers billed.
fn shares(of: &Months<'_>) -> Result<Vec<f64>, String> {
    let (months, uplink) = (of.months, of.uplink);
    let name = format!("month/{uplink}");
    let mut counts: Vec<u64> = Vec::new();
    let mut attempts = 0;
    // Before the first nothing was offered, so that it is none of those that begin with what waits.
    let first = u32::from(of.lead_s > 0.0);
    for number in first..months + first {
        let mut stream = Stream::named(SEED, &name, u64::from(number));
        let offers = of.offers(number, &mut stream)?;
        let offers = offers.into_iter().map(|(at, _, m)| (at, m));
        let left = MOST_ATTEMPTS - attempts;
        let stats = through(of.spec, offers, &mut stream, &of.tries, (left, &mut |_| {}))?;
        let stats = stats.ok_or_else(|| {
            format!(
                "uplink.{uplink} succeeds in {} % of attempts: {months} months take more than {MOST_ATTEMPTS} attempts, too many to draw",
                show_number(100.0 * of.tries.mean_success())
            )
        })?;
        attempts += stats.attempts;
        let billed = usize::try_from(stats.billed)
            .map_err(|_| "more messages are billed than can be counted".to_owned())?;
        if counts.len() <= billed {
            counts.resize(billed + 1, 0);
        }
        counts[billed] += 1;
    }
    let shares = counts.iter().map(|n| *n as f64 / f64::from(months));
    Ok(shares.collect())
}

/// Messages of a month on average, but for what `at_most` holds back beyond a month's whole.
pub(super) fn mean_sent(sendings: &[Sending], rates: &BTreeMap<Origin, f64>) -> f64 {
    let of_one = |s: &Sending| {
        let starts = rates
            .iter()
            .map(|(origin, rate)| rate * s.ways.get(origin).copied().unwrap_or(0) as f64);
        starts.sum::<f64>().min(s.most as f64)
    };
    sendings.iter().map(of_one).sum()
}

/// Takes offers through the queue until none waits, and tells what becomes of them; `None` where that takes more attempts than so many.
pub(super) fn through(
    spec: UplinkSpec,
    offers: impl IntoIterator<Item = (Ns, UplinkMessage)>,
    stream: &mut Stream,
    tries: &Tries,
    (most_attempts, told): (u64, &mut dyn FnMut(&UplinkEvent)),
) -> Result<Option<UplinkStats>, String> {
    let mut uplink = Uplink::new(spec).map_err(|e| e.to_string())?;
    let mut events: Vec<UplinkEvent> = Vec::new();
    let mut sea = SeaDrawn::new(*tries);
    let mut step = |uplink: &mut Uplink| {
        events.clear();
        let at_s = uplink.next_time().map_or(0.0, Ns::as_s_f64);
        let mut succeeds = || sea.succeeds(at_s, || stream.uniform());
        uplink.step_asking(&mut events, |_| match succeeds() {
            true => Outcome::Arrived,
            false => Outcome::Failed,
        });
        events.iter().for_each(&mut *told);
        uplink.stats().attempts <= most_attempts
    };
    for (at, message) in offers {
        while uplink.next().is_some_and(|next| next < (at, Class::Act)) {
            if !step(&mut uplink) {
                return Ok(None);
            }
        }
        uplink.offer(at, message).map_err(|e| e.to_string())?;
    }
    while uplink.next().is_some() {
        if !step(&mut uplink) {
            return Ok(None);
        }
    }
    Ok(Some(uplink.stats()))
}
