//! What moves verdicts most of all that a plan does not write.

use std::path::Path;

use assess::{
    Assumption, Came, Check, LeverageOf, Memo, Shelf, Tier, assumed_by_leverage, check_with,
};
use plan::Reading;

use crate::energy::{CLEARNESS, EXPECTS, SUN, WINTER};
use crate::support::{good, requirement};

fn fetch(wanted: &Path) -> std::io::Result<Vec<u8>> {
    Err(std::io::Error::other(format!(
        "{} is not there",
        wanted.display()
    )))
}

fn weighed(reading: &Reading, threads: usize) -> (Check, Vec<Assumption>) {
    let (shelf, memo) = (Shelf::default(), Memo::new());
    let check = check_with(reading, &shelf, &memo, Tier::Full);
    let of = LeverageOf {
        path: Path::new("plan.toml"),
        reading,
        shelf: &shelf,
        fetch: &fetch,
        memo: &memo,
    };
    let found = assumed_by_leverage(&of, &check, threads, &|_| true).unwrap();
    (check, found)
}

/// A card of 1 TB that must hold a deployment: a tenth kept free takes a tenth of the time, `0.1 T`.
#[test]
fn verif_a_share_kept_free_moves_the_time_of_a_store_by_that_share() {
    let reading = good(&[]);
    let (check, found) = weighed(&reading, 1);
    let card = found
        .iter()
        .find(|a| a.told.contains("filled to the last byte"))
        .unwrap();
    let (tried, moved) = card.most().unwrap();
    assert_eq!(tried.keys, ["storage.card.keep_free"]);
    assert_eq!(tried.value, "10 %");
    assert_eq!(moved.requirement, "card");
    let assess::Verdict::Known(known) = &requirement(&check, "card").verdicts[0] else {
        panic!("not known");
    };
    let lost = moved.before.value - moved.after.as_ref().unwrap().value;
    let tenth = 0.1 * known.value.value;
    assert!((lost / tenth - 1.0).abs() < 1e-9, "{lost} against {tenth}");
    assert!((moved.widths - lost / known.narrow).abs() < 1e-9);
}

/// Every sentence of the check is there once, the larger leverage first, what is no number last and in its order; one thread or two.
#[test]
fn verif_all_that_is_assumed_is_told_once_by_leverage() {
    let reading = good(&[]);
    let (check, found) = weighed(&reading, 1);
    let mut told: Vec<&String> = found.iter().map(|a| &a.told).collect();
    told.sort();
    let mut all: Vec<&String> = check.assumed.iter().collect();
    all.sort();
    assert_eq!(told, all);
    let widths: Vec<f64> = found.iter().map(|a| a.widths().unwrap_or(-1.0)).collect();
    assert!(widths.windows(2).all(|w| w[0] >= w[1]), "{widths:?}");
    assert!(widths[0] > 0.0);
    let behind: Vec<&String> = found
        .iter()
        .filter(|a| a.widths().is_none())
        .map(|a| &a.told)
        .collect();
    let place = |t: &String| check.assumed.iter().position(|a| a == t).unwrap();
    assert!(behind.windows(2).all(|w| place(w[0]) < place(w[1])));
    let (_, again) = weighed(&reading, 2);
    assert_eq!(found, again);
}

/// What a sentence stands for is a key that the plan can have: each number is tried and accepted, and the plan that writes it no longer assumes it.
#[test]
fn verif_each_number_is_one_that_the_plan_may_write() {
    for reading in [good(&[]), good(&[SUN, CLEARNESS, EXPECTS, WINTER])] {
        let (_, found) = weighed(&reading, 2);
        for one in &found {
            for tried in &one.tried {
                assert_ne!(
                    tried.came,
                    Came::Refused,
                    "{:?} {}",
                    tried.keys,
                    tried.value
                );
            }
        }
        assert!(found.iter().any(|a| !a.tried.is_empty()));
    }
}
