//! Votes of several detectors.

use detect::{Vote, VoteError, VoteSpec};
use proptest::prelude::*;

fn vote(members: usize, at_least: usize) -> Vote {
    Vote::new(VoteSpec {
        members,
        at_least,
        within: 10,
        hold_off: 100,
    })
    .unwrap()
}

/// Two of two: the second report carries it; whichever of the two comes first, and at exactly the longest time still.
#[test]
fn verif_a_vote_is_carried_by_reports_that_lie_near_each_other() {
    for (first, second) in [(0, 1), (1, 0)] {
        let mut v = vote(2, 2);
        assert!(v.heard(first, 1000, 1000).is_empty());
        assert_eq!(v.heard(second, 1010, 1010), [0, 1]);
        let mut v = vote(2, 2);
        assert!(v.heard(first, 1000, 1000).is_empty());
        assert!(v.heard(second, 1011, 1011).is_empty());
        // The next report of the first lies near the latest of the second.
        assert_eq!(v.heard(first, 1020, 1020), [0, 1]);
    }
}

/// A report that was long under way counts by when it was heard, not by when it came.
#[test]
fn verif_a_late_report_counts_by_when_it_was_heard() {
    let mut v = vote(2, 2);
    assert!(v.heard(0, 1005, 1005).is_empty());
    assert_eq!(v.heard(1, 1000, 1900), [0, 1]);
}

/// 1000 and 1020 are both near 1010, but not near each other: two agree, the earlier two, and three do not.
#[test]
fn verif_all_that_carry_a_vote_lie_within_the_time_of_each_other() {
    let reports = [(0, 1000), (1, 1020), (2, 1010)];
    let carried = |at_least| {
        let mut v = vote(3, at_least);
        reports.map(|(m, at)| v.heard(m, at, 2000).len())
    };
    assert_eq!(carried(2), [0, 0, 2]);
    assert_eq!(carried(3), [0, 0, 0]);
}

#[test]
fn verif_nothing_is_carried_in_the_hold_off() {
    let mut v = vote(2, 2);
    v.heard(0, 0, 0);
    assert_eq!(v.heard(1, 0, 0), [0, 1]);
    v.heard(0, 99, 99);
    assert!(v.heard(1, 99, 99).is_empty());
    assert_eq!(v.heard(0, 100, 100), [0, 1]);
    // What has carried a vote does not count again.
    assert!(v.heard(0, 101, 300).is_empty());
    v.reset();
    assert!(v.heard(1, 102, 301).is_empty());
}

#[test]
fn verif_what_cannot_be_counted_is_refused() {
    for (members, at_least) in [(0, 0), (1, 1), (2, 0), (2, 3)] {
        let spec = VoteSpec {
            members,
            at_least,
            within: 1,
            hold_off: 0,
        };
        assert_eq!(
            Vote::new(spec).err(),
            Some(VoteError::Count { members, at_least })
        );
    }
    assert!(vote(2, 2).heard(7, 0, 0).is_empty());
}

proptest! {
    /// A second route: all reports so far, the latest of each member that has not carried a vote, and every choice of members.
    #[test]
    fn verif_votes_are_those_that_a_search_through_all_choices_finds(
        reports in prop::collection::vec((0usize..4, 0u64..40), 1..60),
        at_least in 1usize..5,
    ) {
        let mut v = Vote::new(VoteSpec { members: 4, at_least, within: 10, hold_off: 25 }).unwrap();
        let mut latest = [None::<u64>; 4];
        let mut free_from = 0;
        for (n, (member, back)) in reports.into_iter().enumerate() {
            let known = 40 + 7 * n as u64;
            let at = known - back;
            latest[member] = Some(at);
            // The largest choice in which all lie near each other; of equally large ones that of the earliest report.
            let best = (1u32..16)
                .map(|choice| (0..4).filter(|m| choice & (1 << m) != 0).collect::<Vec<usize>>())
                .filter(|of| {
                    of.contains(&member)
                        && of.iter().all(|a| {
                            of.iter().all(|b| match (latest[*a], latest[*b]) {
                                (Some(x), Some(y)) => x.abs_diff(y) <= 10,
                                _ => false,
                            })
                        })
                })
                .max_by_key(|of| {
                    let first = of.iter().filter_map(|m| latest[*m]).min().unwrap();
                    (of.len(), std::cmp::Reverse(first))
                })
                .unwrap_or_default();
            let expected: Vec<usize> = if known >= free_from && best.len() >= at_least {
                best
            } else {
                Vec::new()
            };
            prop_assert_eq!(v.heard(member, at, known), expected.clone());
            if !expected.is_empty() {
                free_from = known + 25;
                for m in expected {
                    latest[m] = None;
                }
            }
        }
    }
}
