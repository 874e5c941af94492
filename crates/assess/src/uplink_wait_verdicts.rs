//! Uplinks: the share of the messages of the worst month that are ashore in time.

use plan::{Line, UplinkIx};
use quantity::{Dimension, show};

use crate::memo::Memo;
use crate::month::{SEED, UnderLoad};
use crate::months::months_in_water;
use crate::uplink_wait::{assumed, told, uplink_months};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// Closer to the share than this is marginal, points.
const NARROW_POINTS: f64 = 1.0;
const ALONE_METHOD: &str =
    "attempts through a chain of calm and high seas, lone messages (docs/method/uplink.md)";
const LOAD_METHOD: &str = "attempts through a chain of calm and high seas, lone messages and drawn months of the uplink's queue (docs/method/uplink.md)";

/// The share of messages ashore within a time, from when they are ready: the lesser of that of messages that find the queue empty, and of drawn months in which they wait for each other. What is
/// assumed is added to `noted`.
pub(crate) fn uplink_wait(
    line: &Line,
    of: UplinkIx,
    (at_most_s, share): (f64, f64),
    load: &mut UnderLoad<'_>,
    memo: &Memo,
    noted: &mut Vec<String>,
) -> Verdict {
    let subject = format!("uplink.{}", line.uplinks[of.0].id);
    let months = match uplink_months(line, of, memo) {
        Ok((months, _)) => months,
        Err(why) => return unknown(subject, why),
    };
    for told in assumed(line, of) {
        if !noted.contains(&told) {
            noted.push(told);
        }
    }
    let in_water = months_in_water(line);
    let of_month = |m: usize| months[m].share_within(at_most_s);
    let worst = in_water
        .iter()
        .copied()
        .min_by(|a, b| of_month(*a).total_cmp(&of_month(*b)).then(a.cmp(b)))
        .unwrap_or(0);
    let alone = of_month(worst);
    let limit = show(at_most_s, Dimension::Time);
    let mut why = told(&months[worst], worst);
    let off = in_water
        .iter()
        .map(|m| months[*m].off_share)
        .fold(0.0, f64::max);
    let found = match load {
        UnderLoad::LeftOut => UnderLoad::new(memo).share_within(line, of, at_most_s),
        drawn => drawn.share_within(line, of, at_most_s),
    };
    let (value, drawn) = match &found {
        Ok((within, drawn)) => {
            let within = (1.0 - off) * within;
            why.push_str(&format!(
                "; with the messages that are expected {:.1} % are ashore within {limit} ({drawn} drawn months, seed {SEED}), without them {:.1} %",
                (1000.0 * within).floor() / 10.0,
                (1000.0 * alone).floor() / 10.0
            ));
            (alone.min(within), Some(*drawn))
        }
        Err(unknown_why) if alone >= share => {
            return unknown(
                subject,
                format!("{why}; how long they wait for each other is not known: {unknown_why}"),
            );
        }
        Err(_) => (alone, None),
    };
    let input = (
        &months,
        at_most_s,
        share,
        found.as_ref().ok(),
        uplink_input(line, of),
    );
    let evidence = match drawn {
        Some(drawn) => Evidence::sampled(LOAD_METHOD, &input, u64::from(drawn), SEED),
        None => Evidence::computed(ALONE_METHOD, &input),
    };
    let against = Against {
        side: Side::AtLeast,
        limit: 100.0 * share,
        narrow: NARROW_POINTS,
        unit: "%".to_owned(),
    };
    against.judge(subject, 100.0 * value, evidence, why)
}

/// What an uplink is, for a digest.
fn uplink_input(line: &Line, of: UplinkIx) -> impl std::fmt::Debug {
    crate::input::uplink_spec(line, of)
}
