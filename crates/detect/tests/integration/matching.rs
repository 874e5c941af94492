//! Matching of found and labelled sounds.

use detect::{Matching, Rule, Sounding, match_events};
use proptest::prelude::*;

fn sounding(begin_s: f64, end_s: f64, score: f64) -> Sounding {
    Sounding {
        begin_s,
        end_s,
        score,
        band_hz: None,
    }
}

#[test]
fn verif_precision_recall_f1_of_42_6_8() {
    // TP 42, FP 6, FN 8 give .875, .84, 42/49 (C. J. van Rijsbergen, Information Retrieval, 1979, from memory; recomputed
    // by hand).
    let matching = Matching {
        hits: (0..42).map(|i| (i, i)).collect(),
        false_alarms: (42..48).collect(),
        missed: (42..50).collect(),
    };
    assert_eq!(matching.precision(), Some(0.875));
    assert_eq!(matching.recall(), Some(0.84));
    assert!((matching.f1().unwrap() - 0.857_142_857).abs() < 1e-9);
}

#[test]
fn verif_nothing_found_or_labelled_has_no_share() {
    let none = match_events(&[], &[], Rule::Overlap { least_s: 0.0 });
    assert_eq!(
        (none.precision(), none.recall(), none.f1()),
        (None, None, None)
    );
    let missed = match_events(
        &[],
        &[sounding(0.0, 1.0, 0.0)],
        Rule::Overlap { least_s: 0.0 },
    );
    assert_eq!(
        (missed.precision(), missed.recall(), missed.f1()),
        (None, Some(0.0), Some(0.0))
    );
}

#[test]
fn verif_higher_score_chooses_first_and_each_label_is_taken_once() {
    let truth = [sounding(0.0, 2.0, 0.0), sounding(3.0, 4.0, 0.0)];
    // Two found in one label: the stronger has it, the other is a false alarm although it came first.
    let found = [
        sounding(0.2, 1.0, 5.0),
        sounding(0.8, 1.9, 9.0),
        sounding(3.9, 5.0, 1.0),
        sounding(6.0, 7.0, 20.0),
    ];
    let m = match_events(&found, &truth, Rule::Overlap { least_s: 0.0 });
    assert_eq!(m.hits, [(1, 0), (2, 1)]);
    assert_eq!(m.false_alarms, [0, 3]);
    assert!(m.missed.is_empty());
    // With more in common asked for, the third no longer fits.
    let m = match_events(&found, &truth, Rule::Overlap { least_s: 0.2 });
    assert_eq!(m.hits, [(1, 0)]);
    assert_eq!(m.missed, [1]);
    // Touching is not overlapping.
    let m = match_events(
        &[sounding(2.0, 3.0, 1.0)],
        &truth,
        Rule::Overlap { least_s: 0.0 },
    );
    assert!(m.hits.is_empty());
}

#[test]
fn verif_begin_rule_takes_the_nearest_and_includes_its_limit() {
    let truth = [sounding(1.0, 1.0, 0.0), sounding(1.5, 1.5, 0.0)];
    let m = match_events(
        &[sounding(1.375, 9.0, 0.0)],
        &truth,
        Rule::Begin { within_s: 0.5 },
    );
    assert_eq!(m.hits, [(0, 1)]);
    let m = match_events(
        &[sounding(2.0, 9.0, 0.0)],
        &truth,
        Rule::Begin { within_s: 0.5 },
    );
    assert_eq!(m.hits, [(0, 1)]);
    let m = match_events(
        &[sounding(2.0625, 9.0, 0.0)],
        &truth,
        Rule::Begin { within_s: 0.5 },
    );
    assert!(m.hits.is_empty());
    let m = match_events(
        &[sounding(f64::NAN, 9.0, 0.0)],
        &truth,
        Rule::Begin { within_s: 0.5 },
    );
    assert_eq!(m.false_alarms, [0]);
}

#[test]
fn verif_bands_that_do_not_touch_do_not_match() {
    let with = |band_hz| Sounding {
        band_hz,
        ..sounding(0.0, 1.0, 1.0)
    };
    let matched = |found, label| {
        let rule = Rule::Overlap { least_s: 0.0 };
        match_events(&[with(found)], &[with(label)], rule)
            .hits
            .len()
    };
    assert_eq!(matched(Some((60.0, 260.0)), Some((300.0, 900.0))), 0);
    assert_eq!(matched(Some((60.0, 260.0)), Some((20.0, 50.0))), 0);
    // Touching is enough, and so is that one says nothing.
    assert_eq!(matched(Some((60.0, 260.0)), Some((260.0, 900.0))), 1);
    assert_eq!(matched(Some((60.0, 260.0)), None), 1);
    assert_eq!(matched(None, Some((300.0, 900.0))), 1);
    // The label that fits worse in time is taken where the better one has another band.
    let labels = [with(Some((300.0, 900.0))), with(Some((50.0, 100.0)))];
    let found = [Sounding {
        begin_s: 0.25,
        ..with(Some((60.0, 260.0)))
    }];
    for rule in [
        Rule::Overlap { least_s: 0.0 },
        Rule::Begin { within_s: 0.5 },
    ] {
        assert_eq!(match_events(&found, &labels, rule).hits, [(0, 1)]);
    }
}

/// The rule of the page, looking at every label for every found sound.
fn plainly(found: &[Sounding], truth: &[Sounding], rule: Rule) -> Vec<(usize, usize)> {
    let mut turns: Vec<usize> = (0..found.len()).collect();
    turns.sort_by(|&a, &b| {
        let begin = found[a].begin_s.total_cmp(&found[b].begin_s);
        found[b]
            .score
            .total_cmp(&found[a].score)
            .then(begin)
            .then(a.cmp(&b))
    });
    let mut taken = vec![false; truth.len()];
    let mut pairs = Vec::new();
    for f in turns {
        let mut best: Option<(f64, f64, usize)> = None;
        for (t, label) in truth.iter().enumerate() {
            let apart = (found[f].begin_s - label.begin_s).abs();
            let common = found[f].end_s.min(label.end_s) - found[f].begin_s.max(label.begin_s);
            let (fits, common) = match rule {
                Rule::Overlap { least_s } => (common > least_s, common),
                Rule::Begin { within_s } => (apart <= within_s, 0.0),
            };
            let better = best.is_none_or(|b| common > b.0 || (common == b.0 && apart < b.1));
            if fits && !taken[t] && better {
                best = Some((common, apart, t));
            }
        }
        if let Some((_, _, t)) = best {
            taken[t] = true;
            pairs.push((f, t));
        }
    }
    pairs.sort_unstable();
    pairs
}

/// Largest number of pairs, by augmenting paths: a second route without scores.
fn most_pairs(found: &[Sounding], truth: &[Sounding]) -> usize {
    fn augment(
        f: usize,
        fits: &[Vec<usize>],
        seen: &mut [bool],
        taken: &mut [Option<usize>],
    ) -> bool {
        for &t in &fits[f] {
            if !seen[t] {
                seen[t] = true;
                if taken[t].is_none_or(|other| augment(other, fits, seen, taken)) {
                    taken[t] = Some(f);
                    return true;
                }
            }
        }
        false
    }
    let fits: Vec<Vec<usize>> = found
        .iter()
        .map(|f| {
            (0..truth.len())
                .filter(|&t| f.begin_s < truth[t].end_s && truth[t].begin_s < f.end_s)
                .collect()
        })
        .collect();
    let mut taken = vec![None; truth.len()];
    (0..found.len())
        .filter(|&f| augment(f, &fits, &mut vec![false; truth.len()], &mut taken))
        .count()
}

fn soundings(most: usize) -> impl Strategy<Value = Vec<Sounding>> {
    prop::collection::vec((0u32..200, 1u32..12, 0u32..50), 0..most).prop_map(|rows| {
        rows.into_iter()
            .map(|(b, l, s)| sounding(f64::from(b), f64::from(b + l), f64::from(s)))
            .collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn verif_looking_near_is_looking_at_all(found in soundings(40), truth in soundings(40), rule in prop_oneof![
        Just(Rule::Overlap { least_s: 0.0 }),
        Just(Rule::Overlap { least_s: 3.0 }),
        Just(Rule::Begin { within_s: 0.0 }),
        Just(Rule::Begin { within_s: 7.0 }),
    ]) {
        prop_assert_eq!(match_events(&found, &truth, rule).hits, plainly(&found, &truth, rule));
    }

    #[test]
    fn verif_matching_is_one_to_one_and_maximal(found in soundings(40), truth in soundings(40)) {
        let m = match_events(&found, &truth, Rule::Overlap { least_s: 0.0 });
        let mut fs: Vec<usize> = m.hits.iter().map(|h| h.0).chain(m.false_alarms.iter().copied()).collect();
        let mut ts: Vec<usize> = m.hits.iter().map(|h| h.1).chain(m.missed.iter().copied()).collect();
        fs.sort_unstable();
        ts.sort_unstable();
        prop_assert_eq!(fs, (0..found.len()).collect::<Vec<_>>());
        prop_assert_eq!(ts, (0..truth.len()).collect::<Vec<_>>());
        for &f in &m.false_alarms {
            for &t in &m.missed {
                let apart = found[f].end_s <= truth[t].begin_s || truth[t].end_s <= found[f].begin_s;
                prop_assert!(apart, "two that fit were both left over");
            }
        }
        let most = most_pairs(&found, &truth);
        prop_assert!(m.hits.len() <= most && 2 * m.hits.len() >= most);
    }
}
