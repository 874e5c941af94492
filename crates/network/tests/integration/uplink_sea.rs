//! How long the sea keeps a message: `reference/network/numpy-sea.json` and closed forms.

use chance::TwoState;
use network::{OfferedIn, SeaLink, SeaLinkError, of_attempts};

use crate::support::{list, reference};

const EXACT: f64 = 1e-10;
/// Five standard errors of 400,000 messages.
const DRAWN: f64 = 0.004;

#[test]
fn val_messages_that_wait_for_the_sea() {
    let document = reference("numpy-sea.json");
    let cases = list(&document["cases"]);
    assert_eq!(cases.len(), 7);
    for case in cases {
        let of = |key: &str| case[key].as_f64().unwrap();
        let link = SeaLink {
            chain: TwoState::from_runs(of("mean_good"), of("mean_bad")).unwrap(),
            good_succeeds: of("good_succeeds"),
            bad_succeeds: of("bad_succeeds"),
        };
        let offered = match case["offered"].as_str().unwrap() {
            "good" => OfferedIn::Good,
            "bad" => OfferedIn::Bad,
            _ => OfferedIn::AnyStep,
        };
        let wait = link.wait(offered, 1000).unwrap();
        for (at, hours) in list(&case["hours"]).iter().enumerate() {
            let found = wait.over_by(hours.as_u64().unwrap() as usize);
            let exact = case["exact"][at].as_f64().unwrap();
            let drawn = case["drawn"][at].as_f64().unwrap();
            assert!((found - exact).abs() < EXACT, "{hours} h: {found} {exact}");
            assert!((found - drawn).abs() < DRAWN, "{hours} h: {found} {drawn}");
        }
        let mean = link.mean_steps(offered).unwrap().unwrap();
        assert!((mean / of("mean") - 1.0).abs() < EXACT, "{mean}");
        for (chance, hours) in [0.5, 0.9, 0.99].into_iter().zip(list(&case["p50_p90_p99"])) {
            assert_eq!(
                wait.within_steps(chance),
                Some(hours.as_u64().unwrap() as usize)
            );
        }
    }
}

/// Three quarters of the hours good: on their own, 99 of 100 messages are ashore within 3 h; with storms of 20 h, within 63 h: `0.25 0.95^n <= 0.01`.
#[test]
fn verif_storms_make_the_tail() {
    let hours = |chain: TwoState| {
        let link = SeaLink {
            chain,
            good_succeeds: 1.0,
            bad_succeeds: 0.0,
        };
        link.wait(OfferedIn::AnyStep, 500)
            .unwrap()
            .within_steps(0.99)
    };
    let alone = TwoState::from_share_and_persistence(0.75, 0.0).unwrap();
    assert_eq!(hours(alone), Some(3));
    let storms = TwoState::from_share_and_bad_run(0.75, 20.0).unwrap();
    assert_eq!(hours(storms), Some(63));
}

/// Attempts in an hour each on their own: 1 - (1 - p)^m. Without persistence and with one chance in both states, the wait is geometric with mean 1/p - 1.
#[test]
fn verif_attempts_and_geometric_waits() {
    assert!((of_attempts(0.5, 3) - 0.875).abs() < 1e-15);
    assert_eq!(
        (
            of_attempts(1.0, 2),
            of_attempts(0.0, 2),
            of_attempts(0.3, 0)
        ),
        (1.0, 0.0, 0.0)
    );
    let link = SeaLink {
        chain: TwoState::from_runs(7.0, 3.0).unwrap(),
        good_succeeds: 0.2,
        bad_succeeds: 0.2,
    };
    for offered in [OfferedIn::AnyStep, OfferedIn::Good, OfferedIn::Bad] {
        assert!((link.mean_steps(offered).unwrap().unwrap() - 4.0).abs() < 1e-12);
        let wait = link.wait(offered, 50).unwrap();
        assert!((wait.over_by(9) - (1.0 - f64::powi(0.8, 10))).abs() < 1e-14);
    }
}

#[test]
fn verif_what_never_comes_ashore_has_no_mean() {
    let of = |chain: TwoState, good_succeeds: f64, bad_succeeds: f64, offered: OfferedIn| {
        let link = SeaLink {
            chain,
            good_succeeds,
            bad_succeeds,
        };
        link.mean_steps(offered).unwrap()
    };
    let storms = TwoState::from_runs(40.0, 20.0).unwrap();
    assert_eq!(of(storms, 0.0, 0.0, OfferedIn::AnyStep), None);
    let never_good = TwoState::from_share_and_bad_run(0.0, 20.0).unwrap();
    assert_eq!(of(never_good, 1.0, 0.0, OfferedIn::Bad), None);
    assert_eq!(of(never_good, 1.0, 0.0, OfferedIn::Good), Some(0.0));
    assert_eq!(of(never_good, 0.9, 0.0, OfferedIn::Good), None);
    let always_good = TwoState::from_share_and_bad_run(1.0, 20.0).unwrap();
    assert_eq!(of(always_good, 0.5, 0.0, OfferedIn::AnyStep), Some(1.0));
}

#[test]
fn verif_mistakes_are_named() {
    let mut link = SeaLink {
        chain: TwoState::from_runs(40.0, 20.0).unwrap(),
        good_succeeds: 1.1,
        bad_succeeds: 0.0,
    };
    let error = link.wait(OfferedIn::AnyStep, 10).unwrap_err();
    assert_eq!(
        error,
        SeaLinkError::NotAChance {
            step: "good",
            value: 1.1
        }
    );
    link.mean_steps(OfferedIn::AnyStep).unwrap_err();
    link.good_succeeds = 1.0;
    link.wait(OfferedIn::AnyStep, 100_000).unwrap_err();
}
