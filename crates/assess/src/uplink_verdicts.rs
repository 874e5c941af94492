//! Uplinks: how many messages are billed, and their price.

use plan::{AtCap, Line, UplinkIx};
use quantity::{Dimension, EventRate, Money, SECONDS_PER_DAY, show, show_number, show_share};

use crate::cap::cap;
use crate::check::Shelf;
use crate::input::{MONTH_DAYS, failed_attempts_words};
use crate::memo::Memo;
use crate::month::{Month, SEED, month, month_since, urgent_month};
use crate::uplink_carried::{Carried, carried_by_chance};
use crate::uplink_load::{Paid, dearest, paid, restarts};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// Messages closer to their limit than this are marginal.
const NARROW_MESSAGES: f64 = 1.0;
/// A share of the months that does not matter.
const NEGLIGIBLE: f64 = 1e-9;
const UPLINK_METHOD: &str = "declared rates times billed messages, loads that large ones end counted (docs/method/uplink.md)";
const MONTH_METHOD: &str =
    "Poisson events, compounded with billed messages (docs/method/uplink.md)";
const DRAWN_METHOD: &str = "Poisson events in drawn months of the uplink's queue, order-statistic limits (docs/method/uplink.md)";

pub(crate) fn uplink_messages(line: &Line, of: UplinkIx, limit: EventRate) -> Verdict {
    by_either_tariff(line, of, |line| messages(line, of, limit))
}

/// A verdict of a plan that does not say whether attempts that fail are billed: where both readings come to the same word, that; else it is unknown. What breaks the limit free of
/// charge breaks it when it is billed.
fn by_either_tariff(line: &Line, of: UplinkIx, judge: impl Fn(&Line) -> Verdict) -> Verdict {
    let u = &line.uplinks[of.0];
    let free = judge(line);
    let is_open = u.bills_failed.is_none() && failed_attempts_words(u).is_some();
    let Verdict::Known(of_free) = &free else {
        return free;
    };
    if !is_open || free.is_broken() {
        return free;
    }
    let mut line = line.clone();
    line.uplinks[of.0].bills_failed = Some(true);
    let billed = judge(&line);
    if billed.word() == free.word() {
        return billed.because("; so it is billed like others, and free it costs no more");
    }
    let told = match &billed {
        Verdict::Known(k) => format!("{} {}", whole(k.value.value), k.value.unit),
        other => format!("what is not known ({})", other.why()),
    };
    unknown(
        free.subject(),
        format!(
            "the plan does not say whether attempts that fail are billed: free it is {} {}, billed {told}, and the limit is {}; write `failed_attempts` by the tariff",
            whole(of_free.value.value),
            of_free.value.unit,
            whole(of_free.limit.value)
        ),
    )
}

/// A verdict of what is billed while the module of an uplink works on. Where a battery may take it off any number of times it is broken by that and not kept, unless what the cap lets go at most
/// keeps it too.
fn through_restarts(
    line: &Line,
    of: UplinkIx,
    verdict: Verdict,
    at_cap: Option<Verdict>,
) -> Verdict {
    let Verdict::Known(known) = &verdict else {
        return verdict;
    };
    let Some(restarts) = restarts(line, of).filter(|_| !verdict.is_broken()) else {
        return verdict;
    };
    match at_cap {
        Some(at_cap) if matches!(at_cap, Verdict::Known(_)) && !at_cap.is_broken() => {
            at_cap.because(&format!("; {restarts}, up to the cap"))
        }
        _ => unknown(
            verdict.subject(),
            format!(
                "{restarts}: while it works on it is {} {} with a limit of {}; a `cap` that stops the uplink within the limit bounds it, and a tariff with free failed attempts needs no bound ({})",
                whole(known.value.value),
                known.value.unit,
                whole(known.limit.value),
                known.why
            ),
        ),
    }
}

/// Messages or money in full, as a bill has them.
fn whole(figure: f64) -> f64 {
    (100.0 * figure).round() / 100.0
}

fn messages(line: &Line, of: UplinkIx, limit: EventRate) -> Verdict {
    let subject = format!("uplink.{}", line.uplinks[of.0].id);
    match paid(line, of, limit.per_s) {
        Err(why) => unknown(subject, why),
        Ok(Paid {
            messages,
            with_restarts,
            why,
            from,
        }) => {
            let against = Against {
                side: Side::AtMost,
                limit: limit.count,
                narrow: NARROW_MESSAGES,
                unit: "messages".to_owned(),
            };
            let why = format!("in {}: {why}", show(limit.per_s, Dimension::Time));
            let of_so_many = |messages| {
                let evidence = Evidence::computed(UPLINK_METHOD, &(limit, &from, messages));
                against.judge(subject.clone(), messages, evidence, why.clone())
            };
            let verdict = of_so_many(messages);
            through_restarts(line, of, verdict, with_restarts.map(of_so_many))
        }
    }
}

/// What the messages of a month cost: at most, or in a share of the months by the events that are expected.
pub(crate) fn uplink_cost(
    line: &Line,
    of: UplinkIx,
    limit: Money,
    share: Option<f64>,
    shelf: &Shelf,
    memo: &Memo,
) -> Verdict {
    by_either_tariff(line, of, |line| cost(line, of, limit, share, (shelf, memo)))
}

fn cost(
    line: &Line,
    of: UplinkIx,
    limit: Money,
    share: Option<f64>,
    (shelf, memo): (&Shelf, &Memo),
) -> Verdict {
    let subject = format!("uplink.{}", line.uplinks[of.0].id);
    let found = match share {
        None => paid(line, of, MONTH_DAYS * SECONDS_PER_DAY).map(|b| {
            let failed = failed_attempts_words(&line.uplinks[of.0]);
            let failed = failed.map_or_else(String::new, |words| format!("; {words}"));
            let why = format!("in {MONTH_DAYS:.0} d: {}{failed}", b.why);
            let evidence = Evidence::computed(UPLINK_METHOD, &(limit, tariff(line, of), b.from));
            (b.messages as u64, evidence, why)
        }),
        Some(share) => by_chance(line, of, limit, share, (shelf, memo)),
    };
    match found {
        Err(why) => unknown(subject, why),
        Ok((paid, evidence, why)) => {
            let of_so_many =
                |paid| judge_cost(line, of, limit, paid, (evidence.clone(), why.clone()));
            let stops_at = match cap(&line.uplinks[of.0]) {
                Some((most, AtCap::Stop)) => Some(most),
                _ => None,
            };
            through_restarts(line, of, of_so_many(paid), stops_at.map(of_so_many))
        }
    }
}

/// The messages that this share of the months does not pass, by the events that are expected.
fn by_chance(
    line: &Line,
    of: UplinkIx,
    limit: Money,
    share: f64,
    (shelf, memo): (&Shelf, &Memo),
) -> Result<(u64, Evidence, String), String> {
    let u = &line.uplinks[of.0];
    let m = month(line, of, shelf, memo)?;
    let carried = carried_by_chance(line, of)?;
    let (lead_s, number) = match carried {
        Carried::Aged(age_s) => (age_s, 0),
        Carried::Number(number) => (0.0, number as u64 * dearest(line, of)?),
    };
    // Of what is offered in a month and may wait as it begins.
    let longer = match lead_s > 0.0 {
        true => Some(month_since(line, of, lead_s, shelf, memo)?),
        false => None,
    };
    let all = longer.as_ref().unwrap_or(&m);
    let at_cap = AtTheCap::of(line, of, lead_s, shelf)?;
    let billed = m.quantile(share)?;
    let waits = at_cap.waits(&m);
    let paid = match share + waits {
        in_all if waits == 0.0 || in_all < 1.0 => {
            at_cap.most(all.quantile(in_all)?.saturating_add(number), share)?
        }
        _ => at_cap.ceiling(share)?,
    };
    // No month bills more than what is declared at most, where that is known.
    let paid = match self::paid(line, of, MONTH_DAYS * SECONDS_PER_DAY) {
        Ok(bound) if bound.messages >= 0.0 => paid.min(bound.messages as u64),
        _ => paid,
    };
    let mut why = expected(line, of, limit, share, &m, &at_cap)?;
    let waited = match carried {
        Carried::Aged(0.0) => None,
        Carried::Aged(age_s) => Some(format!(
            "what came up to {} before a month may have waited as it began",
            show(age_s, Dimension::Time)
        )),
        Carried::Number(number) => Some(format!("{number:.0} may have waited as a month began")),
    };
    if let Some(waited) = &waited {
        why.push_str(&format!("; {waited}: with it {paid} messages at most"));
    }
    // What drawn months leave open, or how many of the urgent ones come after the cap, is not known: broken only where it costs too much by the lower limit too.
    let fewest = at_cap.fewest(m.lower(share)?.unwrap_or(billed));
    if let Some(most) = u.affordable(limit)
        && paid > most
        && fewest <= most
    {
        let by_itself = at_cap.most(billed, share)?;
        let open = if let Some(waited) = waited.filter(|_| by_itself <= most) {
            format!("and {limit} pays {most}: {waited}, and how much of it did is not counted")
        } else if waits > NEGLIGIBLE {
            format!(
                "and {limit} pays {most}: what the cap holds back in a month goes in later months, and how much of it is not counted"
            )
        } else if m.drawn.is_some() {
            format!(
                "each at 95 % confidence, one-sided, and {limit} pays {most}: the months that can be drawn do not decide"
            )
        } else {
            format!(
                "and {limit} pays {most}: how many of the urgent ones come after the cap is reached is not counted"
            )
        };
        return Err(format!(
            "between {fewest} and {paid} billed messages, {open}; {why}"
        ));
    }
    let from_longer = longer.as_ref().map(|l| &l.from);
    let input = (
        limit,
        share,
        tariff(line, of),
        (&m.from, from_longer, number),
    );
    let evidence = match m.drawn {
        None => Evidence::computed(MONTH_METHOD, &input),
        Some(draws) => Evidence::sampled(DRAWN_METHOD, &input, u64::from(draws), SEED),
    };
    let stops = if paid < billed || waits > NEGLIGIBLE {
        at_cap.note()
    } else {
        String::new()
    };
    Ok((paid, evidence, format!("{why}{stops}")))
}

/// What the cap leaves of a month's billed messages.
enum AtTheCap {
    /// There is none.
    Free,
    /// Nothing above so many.
    Stop(u64),
    /// Above so many only the urgent ones, of which there are so many in a month.
    Urgent(u64, Month),
}

impl AtTheCap {
    fn of(line: &Line, of: UplinkIx, lead_s: f64, shelf: &Shelf) -> Result<AtTheCap, String> {
        Ok(match cap(&line.uplinks[of.0]) {
            None => AtTheCap::Free,
            Some((most, AtCap::Stop)) => AtTheCap::Stop(most),
            Some((most, AtCap::UrgentOnly)) => {
                AtTheCap::Urgent(most, urgent_month(line, of, lead_s, shelf)?)
            }
        })
    }

    /// Billed at most in this share of the months, of so many without the cap.
    fn most(&self, billed: u64, share: f64) -> Result<u64, String> {
        Ok(match self {
            AtTheCap::Free => billed,
            AtTheCap::Stop(most) => billed.min(*most),
            AtTheCap::Urgent(most, _) if billed <= *most => billed,
            AtTheCap::Urgent(most, urgent) => billed.min(most + urgent.quantile(share)?),
        })
    }

    /// Billed at most in this share of the months, whatever has waited for them.
    fn ceiling(&self, share: f64) -> Result<u64, String> {
        Ok(match self {
            AtTheCap::Free => u64::MAX,
            AtTheCap::Stop(most) => *most,
            AtTheCap::Urgent(most, urgent) => most.saturating_add(urgent.quantile(share)?),
        })
    }

    /// Share of the months that begin with what the cap held back before them, at most.
    fn waits(&self, m: &Month) -> f64 {
        match self {
            AtTheCap::Free => 0.0,
            AtTheCap::Stop(most) | AtTheCap::Urgent(most, _) => m.left_over(*most),
        }
    }

    /// Billed at least, of so many without the cap.
    fn fewest(&self, billed: u64) -> u64 {
        match self {
            AtTheCap::Free => billed,
            AtTheCap::Stop(most) | AtTheCap::Urgent(most, _) => billed.min(*most),
        }
    }

    /// Share of the months that bill no more than this, and whether it is only a lower limit.
    fn share_within(&self, m: &Month, billed: u64) -> Result<(f64, bool), String> {
        let free = m.share_within(billed)?;
        let drawn = m.drawn.is_some();
        Ok(match self {
            AtTheCap::Stop(most) if *most <= billed => (1.0, false),
            AtTheCap::Urgent(most, urgent) if *most <= billed => {
                let after = urgent.share_up_to(billed - most);
                (free.max(after), drawn || free < 1.0)
            }
            AtTheCap::Free | AtTheCap::Stop(_) | AtTheCap::Urgent(..) => (free, drawn),
        })
    }

    fn note(&self) -> String {
        match self {
            AtTheCap::Free => String::new(),
            AtTheCap::Stop(most) => {
                format!("; at {most} the cap of the plan stops the uplink until the next month")
            }
            AtTheCap::Urgent(most, _) => {
                format!("; at {most} the cap of the plan leaves only what is urgent")
            }
        }
    }
}

/// What a tariff is, for a digest.
fn tariff(line: &Line, of: UplinkIx) -> impl std::fmt::Debug {
    let u = &line.uplinks[of.0];
    (
        u.price,
        (u.included, u.minimum_charge, u.cap, u.bills_failed),
        (u.message_bytes, u.overhead_bytes, u.adds_bytes),
        (u.pack_within_s.map(|q| q.si), u.urgent),
    )
}

fn judge_cost(
    line: &Line,
    of: UplinkIx,
    limit: Money,
    paid: u64,
    (evidence, why): (Evidence, String),
) -> Verdict {
    let u = &line.uplinks[of.0];
    let subject = format!("uplink.{}", u.id);
    let Some(total) = u.cost(paid) else {
        let why = format!("the price of {paid} messages is more than can be counted");
        return unknown(subject, why);
    };
    let unit = String::from_utf8_lossy(&limit.currency).into_owned();
    let (Some(limit_major), Some(price_major), Some(total_major)) =
        (limit.major(), u.price.major(), total.major())
    else {
        return unknown(subject, format!("how {unit} is divided is not known"));
    };
    let against = Against {
        side: Side::AtMost,
        limit: limit_major,
        narrow: price_major,
        unit,
    };
    against.judge(subject, total_major, evidence, why)
}

/// The distribution of a month's cost in words.
fn expected(
    line: &Line,
    of: UplinkIx,
    limit: Money,
    share: f64,
    m: &Month,
    at_cap: &AtTheCap,
) -> Result<String, String> {
    let u = &line.uplinks[of.0];
    let cost = |share: f64| {
        let paid = at_cap.most(m.quantile(share)?, share)?;
        u.cost(paid)
            .map(|c| c.to_string())
            .ok_or_else(|| format!("the price of {paid} messages is more than can be counted"))
    };
    let mut why = format!(
        "in {MONTH_DAYS:.0} d, in {} % of the months: {}; half of the months cost at most {}, 90 % {}, 99 % {}",
        show_number(100.0 * share),
        m.why,
        cost(0.5)?,
        cost(0.9)?,
        cost(0.99)?,
    );
    if let Some(most) = u.affordable(limit) {
        let (within, bound) = at_cap.share_within(m, most)?;
        why.push_str(&format!(
            "; {}{} of the months cost no more than {limit}",
            if bound { "at least " } else { "" },
            show_share(within)
        ));
    }
    if let Some((most, _)) = cap(u) {
        why.push_str(&format!(
            "; the cap of {most} messages is passed in {}{} of the months",
            if m.drawn.is_some() { "at most " } else { "" },
            show_share(1.0 - m.share_within(most)?)
        ));
        if at_cap.waits(m) > NEGLIGIBLE {
            why.push_str(", and what it holds back goes in later months: these shares are of months that begin with nothing left over");
        }
    }
    let failed = failed_attempts_words(u);
    for note in m.notes.iter().map(String::as_str).chain(failed) {
        why.push_str("; ");
        why.push_str(note);
    }
    Ok(why)
}
