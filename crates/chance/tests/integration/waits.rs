//! Chains of two states and the wait for a window, against numpy and closed forms.

use chance::{MOST_STEPS, TwoState, TwoStateError, Wait, WindowError, window_wait};
use proptest::prelude::*;

use crate::reference::rows;

const EXACT: f64 = 1e-10;
/// 4.5 standard errors of 200,000 draws.
const DRAWN: f64 = 0.005;

fn seasons(told: &str) -> Vec<(TwoState, usize)> {
    let season = |season: &str| {
        let parts: Vec<f64> = season.split(':').map(truth::number).collect();
        let chain = TwoState::from_share_and_bad_run(parts[0], parts[1]).expect("a chain");
        (chain, parts[2] as usize)
    };
    told.split(';').map(season).collect()
}

#[test]
fn val_waits_for_windows() {
    for row in rows("numpy-windows.csv", 49) {
        let wait = window_wait(&seasons(&row[0]), row[1].parse().unwrap(), 1000).unwrap();
        let found = wait.over_by(row[2].parse().unwrap());
        let number = |at: usize| row[at].parse::<f64>().unwrap();
        assert!((found - number(3)).abs() < EXACT, "{row:?}: {found}");
        assert!((found - number(4)).abs() < DRAWN, "{row:?}: {found}");
    }
}

/// A window of one step is the first good one: over at once with the share of good, after n steps but for `(1 - g)(1 - b)^n`.
#[test]
fn verif_a_window_of_one_step() {
    let chain = TwoState::from_runs(30.0, 12.0).unwrap();
    let wait = window_wait(&[(chain, 0)], 1, 100).unwrap();
    for steps in 0..=100 {
        let left = 12.0 / 42.0 * (11.0_f64 / 12.0).powi(steps);
        assert!((wait.over_by(steps as usize) - (1.0 - left)).abs() < 1e-14);
    }
    // 12/42 (11/12)^n is at most 0.1 from n = 12.07 on, and at most a half at once.
    assert_eq!(wait.within_steps(0.9), Some(13));
    assert_eq!(wait.within_steps(0.5), Some(0));
    assert_eq!(wait.within_steps(1.0), None);
    assert_eq!(wait.within_steps(f64::NAN), None);
    assert_eq!(wait.over_by(500), wait.over_by(100));
    assert_eq!(wait.followed_steps(), 100);
}

/// At once with `g (1 - a)^(w-1)`; always calm, always; never calm, never.
#[test]
fn verif_windows_at_once_and_never() {
    let chain = TwoState::from_share_and_bad_run(0.6, 40.0).unwrap();
    let wait = window_wait(&[(chain, 0)], 24, 0).unwrap();
    let stays = 1.0 - 0.4 / 0.6 / 40.0;
    assert!((wait.over_by(0) - 0.6 * f64::powi(stays, 23)).abs() < 1e-14);
    let of = |share: f64| {
        let chain = TwoState::from_share_and_bad_run(share, 40.0).unwrap();
        window_wait(&[(chain, 0)], 24, 500).unwrap()
    };
    assert_eq!(of(1.0).over_by(0), 1.0);
    assert_eq!(of(0.0).over_by(500), 0.0);
}

#[test]
fn verif_the_three_ways_to_a_chain_agree() {
    let runs = TwoState::from_runs(60.0, 20.0).unwrap();
    assert!((runs.good_share() - 0.75).abs() < 1e-15);
    let share = TwoState::from_share_and_bad_run(0.75, 20.0).unwrap();
    let persistence = TwoState::from_share_and_persistence(0.75, runs.persistence()).unwrap();
    for other in [share, persistence] {
        assert!((other.leaves_good() - runs.leaves_good()).abs() < 1e-15);
        assert!((other.leaves_bad() - runs.leaves_bad()).abs() < 1e-15);
    }
    let alone = TwoState::from_share_and_persistence(0.3, 0.0).unwrap();
    assert!((alone.leaves_bad() - 0.3).abs() < 1e-15 && alone.persistence().abs() < 1e-15);
}

#[test]
fn verif_mistakes_are_named() {
    assert_eq!(
        TwoState::from_runs(0.5, 3.0),
        Err(TwoStateError::ShortRun { mean_steps: 0.5 })
    );
    TwoState::from_runs(3.0, f64::INFINITY).unwrap_err();
    TwoState::from_share_and_persistence(0.5, 1.0).unwrap_err();
    TwoState::from_share_and_persistence(-0.1, 0.5).unwrap_err();
    let short = TwoState::from_share_and_bad_run(0.1, 8.9).unwrap_err();
    assert!(
        matches!(short, TwoStateError::RunTooShortForShare { least_steps, .. } if (least_steps - 9.0).abs() < 1e-12)
    );
    TwoState::from_share_and_bad_run(0.1, 9.1).unwrap();
    let chain = TwoState::from_runs(3.0, 3.0).unwrap();
    assert_eq!(window_wait(&[], 1, 1), Err(WindowError::NoSeason));
    assert_eq!(window_wait(&[(chain, 0)], 0, 1), Err(WindowError::NoWindow));
    let long = window_wait(&[(chain, 0)], MOST_STEPS + 1, 1).unwrap_err();
    assert!(matches!(long, WindowError::TooLong { .. }));
    window_wait(&[(chain, 0)], 5000, MOST_STEPS).unwrap_err();
    assert_eq!(Wait::new(vec![]), None);
    assert_eq!(Wait::new(vec![0.5, 0.4]), None);
    assert_eq!(Wait::new(vec![0.5, f64::NAN]), None);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(64) })]

    /// A chain at rest stays there; a longer window is waited for longer; a wait of more steps is over more surely.
    #[test]
    fn verif_longer_windows_wait_longer(good_run in 1.0..200.0_f64, bad_run in 1.0..200.0_f64, window in 1..40_usize) {
        let chain = TwoState::from_runs(good_run, bad_run).unwrap();
        let [good, bad] = chain.step(chain.at_rest());
        prop_assert!((good - chain.good_share()).abs() < 1e-12 && (good + bad - 1.0).abs() < 1e-12);
        let short = window_wait(&[(chain, 0)], window, 300).unwrap();
        let long = window_wait(&[(chain, 0)], window + 1, 300).unwrap();
        for steps in 0..=300 {
            prop_assert!(long.over_by(steps) <= short.over_by(steps) + 1e-12);
            prop_assert!(steps == 0 || short.over_by(steps) >= short.over_by(steps - 1) - 1e-15);
        }
    }
}

/// Above a level and above it a step later, against a quadrature of another form and 2,000,000 drawn steps.
#[test]
fn val_how_long_a_level_is_exceeded() {
    let mut drawn = 0;
    for row in rows("scipy-exceedance.csv", 35) {
        let number = |at: usize| truth::number(&row[at]);
        let (share, correlation) = (number(0), number(1));
        let found = chance::exceedance_persistence(share, correlation).unwrap();
        assert!((found - number(2)).abs() < 1e-8, "{row:?}: {found}");
        if (0.1..=0.8).contains(&share) && correlation < 0.96 {
            assert!((found - number(3)).abs() < 0.02, "{row:?}: {found}");
            drawn += 1;
        }
    }
    assert_eq!(drawn, 16);
}

/// Spells that end at any instant: their mean is that of the exponential law, `-1 / ln r = spell g`; looked at hour by hour the chain steps as it is looked at after one hour.
#[test]
fn verif_spells_and_parts_of_steps() {
    let chain = TwoState::from_share_and_bad_spell(0.7, 14.0).unwrap();
    assert!((chain.persistence().ln() + 1.0 / (14.0 * 0.7)).abs() < 1e-14);
    let begin = [0.2, 0.5];
    let close = |a: [f64; 2], b: [f64; 2]| {
        assert!(
            (a[0] - b[0]).abs() < 1e-14 && (a[1] - b[1]).abs() < 1e-14,
            "{a:?} {b:?}"
        );
    };
    close(chain.later(begin, 1.0), chain.step(begin));
    close(chain.later(begin, 0.0), begin);
    close(chain.later(chain.later(begin, 0.3), 0.7), chain.step(begin));
    close(chain.later(begin, 1e6), [0.49, 0.21]);
    for lasts in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert!(TwoState::from_share_and_bad_spell(0.5, lasts).is_err());
    }
    assert_eq!(
        TwoState::from_share_and_bad_spell(0.0, 5.0)
            .unwrap()
            .at_rest(),
        [0.0, 1.0]
    );
}
