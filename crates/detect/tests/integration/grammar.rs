//! Which stages may follow which: every row of up to five stages is held against the three orders of `docs/method/detect.md`.

use detect::{
    BackgroundKind, Confirm, ContourPoint, KOfN, LevelKind, Logic, Sense, Spec, SpecError, Stage,
};

use crate::learned::even_odds;
use crate::support::{clicks, upcall, upcall_ridge};

const LETTERS: &[u8; 13] = b"DBLEMNSGKTPRJ";

/// Decimate, band, level, exposure, matched, learned (N), spectrogram, ground (background), likeness (K), trigger, pulses, ridge,
/// judgement.
fn stage(letter: u8) -> Stage {
    let calls = upcall(4000.0, Confirm::AtEnd).stages;
    match letter {
        b'D' => Stage::Decimate { factor: 2 },
        b'B' => calls[0].clone(),
        b'L' => calls[1].clone(),
        b'E' => Stage::Exposure {
            window_s: 0.25,
            hop_s: None,
        },
        b'M' => Stage::Matched {
            template: vec![1.0, -1.0],
            hop_s: None,
        },
        b'N' => even_odds(),
        b'S' => Stage::Spectrogram {
            window_s: 0.1,
            hop_s: None,
        },
        b'G' => calls[2].clone(),
        b'K' => likeness(&[(0.0, 100.0), (1.0, 200.0)]),
        b'T' => calls[3].clone(),
        b'P' => clicks().stages[3].clone(),
        b'R' => upcall_ridge(),
        _ => Stage::Likely {
            at_least: 0.5,
            constant: 0.0,
            weights: Vec::new(),
        },
    }
}

fn likeness(points: &[(f64, f64)]) -> Stage {
    Stage::Likeness {
        contour: points
            .iter()
            .map(|&(after_s, frequency_hz)| ContourPoint {
                after_s,
                frequency_hz,
            })
            .collect(),
        width_hz: 20.0,
    }
}

/// The three orders, read from left to right.
fn is_an_order(letters: &[u8]) -> bool {
    let rest = letters.strip_prefix(b"D").unwrap_or(letters);
    let rest = rest.strip_prefix(b"B").unwrap_or(rest);
    let rest = rest.strip_suffix(b"J").unwrap_or(rest);
    matches!(
        rest,
        [b'L' | b'E' | b'M' | b'N', b'T']
            | [b'L' | b'E' | b'M', b'G', b'T' | b'P']
            | b"SGKT"
            | b"SGR"
    )
}

fn built(letters: &[u8]) -> Result<(), SpecError> {
    let spec = Spec {
        rate_hz: 4000.0,
        stages: letters.iter().map(|&letter| stage(letter)).collect(),
    };
    Logic::new(&spec).map(|_| ())
}

#[test]
fn verif_only_the_three_orders_are_built() {
    let (mut taken, mut refused) = (0, 0);
    for length in 0..=5 {
        for mut number in 0..13_usize.pow(length) {
            let letters: Vec<u8> = (0..length)
                .map(|_| {
                    let letter = LETTERS[number % 13];
                    number /= 13;
                    letter
                })
                .collect();
            let shown = String::from_utf8_lossy(&letters).into_owned();
            let result = built(&letters);
            assert_eq!(result.is_ok(), is_an_order(&letters), "{shown}: {result:?}");
            match result {
                Ok(()) => taken += 1,
                Err(error) => {
                    let fits = matches!(
                        error,
                        SpecError::Empty | SpecError::NoDecision | SpecError::Misplaced { .. }
                    );
                    assert!(fits, "{shown}: {error}");
                    refused += 1;
                }
            }
        }
    }
    for long in [&b"DBLGTJ"[..], b"DBMGPJ", b"DBSGKT", b"DBSGKTJ", b"DBSGRJ"] {
        built(long).unwrap();
        taken += 1;
    }
    // Three levels with a trigger, with background and trigger, with background and pulses; learned; likeness and ridge: 12 orders,
    // 4 beginnings, 2 ends, less those above that are too long.
    assert!(taken >= 60 && refused > 250_000, "{taken} {refused}");
}

fn refused(letters: &[u8], at: usize, by: Stage) -> SpecError {
    let mut stages: Vec<Stage> = letters.iter().map(|&letter| stage(letter)).collect();
    stages[at] = by;
    let spec = Spec {
        rate_hz: 4000.0,
        stages,
    };
    let error = Logic::new(&spec).unwrap_err();
    assert!(
        error.to_string().contains(&format!("stage {}", at + 1)),
        "{error}"
    );
    error
}

#[test]
fn verif_numbers_of_the_further_stages() {
    let rank = |rank| {
        let stage = Stage::Background {
            kind: BackgroundKind::Ordered { rank },
            over_s: 30.0,
            guard_s: 0.0,
        };
        refused(b"BLGT", 2, stage)
    };
    for bad in [0.0, 1.01, f64::NAN] {
        assert!(matches!(rank(bad), SpecError::Rank { .. }));
    }
    let guard = Stage::Background {
        kind: BackgroundKind::Mean,
        over_s: 30.0,
        guard_s: -1.0,
    };
    assert!(matches!(
        refused(b"BLGT", 2, guard),
        SpecError::Negative { name: "guard", .. }
    ));
    let pulses = |share, count| {
        let mut stage = stage(b'P');
        if let Stage::Pulses {
            steady, at_least, ..
        } = &mut stage
        {
            (*steady, *at_least) = (Some(share), count);
        }
        refused(b"BLGP", 3, stage)
    };
    assert!(matches!(pulses(1.5, 5), SpecError::Steady { .. }));
    assert!(matches!(pulses(0.2, 2), SpecError::SteadyOfTwo { .. }));
    let trigger = |dip_s, k_of| {
        let mut stage = stage(b'T');
        if let Stage::Trigger {
            bridge_s, k_of_n, ..
        } = &mut stage
        {
            (*bridge_s, *k_of_n) = (dip_s, k_of);
        }
        refused(b"BLGT", 3, stage)
    };
    assert!(matches!(
        trigger(-0.1, None),
        SpecError::Negative { name: "bridge", .. }
    ));
    let five_of_three = KOfN {
        at_least: 5,
        of_last: 3,
    };
    assert!(matches!(
        trigger(0.0, Some(five_of_three)),
        SpecError::CellCount { .. }
    ));
    for points in [
        &[(0.0, 100.0)][..],
        &[(0.5, 100.0), (1.0, 200.0)],
        &[(0.0, 100.0), (0.0, 200.0)],
    ] {
        let error = refused(b"BSGKT", 3, likeness(points));
        assert!(matches!(error, SpecError::ContourTimes { .. }), "{error}");
    }
    let outside = refused(b"BSGKT", 3, likeness(&[(0.0, 100.0), (1.0, 300.0)]));
    assert!(matches!(outside, SpecError::ContourOutsideBand { .. }));
    let slopes = Stage::Ridge {
        sense: Sense::Any,
        above_db: 8.0,
        least_slope_hz_per_s: 100.0,
        most_slope_hz_per_s: 50.0,
        gap_s: 0.0,
        shortest_s: 0.2,
        longest_s: None,
        hold_off_s: 0.0,
    };
    assert!(matches!(
        refused(b"BSGR", 3, slopes),
        SpecError::Slopes { .. }
    ));
    let hop = Stage::Level {
        kind: LevelKind::TeagerKaiser,
        window_s: 0.1,
        hop_s: Some(0.2),
    };
    assert!(matches!(
        refused(b"BLGT", 1, hop),
        SpecError::HopTooLong { .. }
    ));
}
