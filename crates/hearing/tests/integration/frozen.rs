//! Counts of this crate, frozen: whoever changes them raises [`hearing::METHOD`], so that older evidence counts no longer.

use hearing::{curve, thresholds_db};

use crate::hear::{spec, write};
use crate::trial::{bursts, labels, scored, tried};

/// Bursts from 2 dB to 2 dB, every second one labelled, one label where nothing sounds and one half beyond a burst, with a clipped
/// stretch and one in which every sample is the same: hits, false alarms and what is judged at each threshold.
#[test]
fn regress_other_counts_are_another_method() {
    let folder = tempfile::tempdir().unwrap();
    let amplitudes: Vec<f64> = (0..16)
        .map(|i| libm::pow(10.0, -f64::from(i * 5 % 16) / 10.0))
        .collect();
    let mut samples = bursts(&amplitudes);
    samples[40_000..41_600].fill(1.0);
    samples[60_000..70_000].fill(0.25);
    let path = write(&folder.path().join("bursts.wav"), 1, &samples);
    let thresholds = thresholds_db(118.0, 110.0, 130.0, 4.0);
    let trial = tried(std::slice::from_ref(&path), &spec(), &thresholds, 2);
    let mut marked: Vec<(f64, f64)> = (0..16)
        .step_by(2)
        .map(|i| (f64::from(i) * 2.0 + 1.0, f64::from(i) * 2.0 + 1.3))
        .collect();
    marked[3].1 += 0.4;
    marked.push((6.0, 6.4));
    let score = scored(&trial, &[labels(&path, &marked)], 2);
    let counts: Vec<(u64, u64)> = score
        .counts
        .iter()
        .map(|c| (c.hits, c.false_alarms))
        .collect();
    let set_aside = score.set_aside.len();
    let judged_ms = (1000.0 * score.judged_s).round() as i64;
    let labelled = score.labelled;
    let choice = curve(&[score], &thresholds, 0.95)
        .unwrap()
        .choose(0.3)
        .unwrap();
    assert_eq!(
        (
            hearing::METHOD,
            (
                counts,
                labelled,
                set_aside,
                judged_ms,
                format!("{choice:?}")
            )
        ),
        (
            1,
            (
                vec![(6, 8), (5, 7), (5, 6), (4, 5), (3, 3), (2, 2)],
                8,
                1,
                30_535,
                "Threshold(4)".to_owned()
            )
        ),
        "the same recording comes to something else: raise `hearing::METHOD` and freeze the new counts"
    );
}
