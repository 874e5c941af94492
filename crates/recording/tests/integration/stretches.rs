//! Files that abut (rule: within one sample period) and gaps between them.

use jiff::Timestamp;
use proptest::prelude::*;
use recording::{Piece, StretchError, stretches};

fn piece(start_ns: i128, frames: u64, rate_hz: u32) -> Piece {
    Piece {
        start: Timestamp::from_nanosecond(start_ns).unwrap(),
        frames,
        rate_hz,
    }
}

const FIVE_MINUTES_NS: i128 = 300_000_000_000;

#[test]
fn verif_files_that_abut_are_one_stretch() {
    let pieces: Vec<Piece> = (0..12)
        .map(|i| piece(i * FIVE_MINUTES_NS, 300 * 48_000, 48_000))
        .collect();
    let found = stretches(&pieces).unwrap();
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].frames, 3600 * 48_000);
    assert_eq!(found[0].pieces, (0..12).collect::<Vec<_>>());
    assert_eq!(found[0].gap_before_ns, None);
}

/// At 1 MHz a sample period is exactly 1000 ns: inclusive at the edge, a gap one nanosecond beyond.
#[test]
fn verif_the_limit_is_one_sample_period_inclusive() {
    let count = |start_ns| {
        stretches(&[
            piece(0, 1_000_000, 1_000_000),
            piece(start_ns, 5, 1_000_000),
        ])
        .unwrap()
        .len()
    };
    assert_eq!(count(1_000_000_000), 1);
    assert_eq!(count(1_000_001_000), 1);
    assert_eq!(count(1_000_001_001), 2);
    assert_eq!(count(999_999_000), 1);
    let overlap = stretches(&[
        piece(0, 1_000_000, 1_000_000),
        piece(999_998_999, 5, 1_000_000),
    ]);
    assert_eq!(
        overlap,
        Err(StretchError::Overlap {
            earlier: 0,
            later: 1,
            overlap_ns: 1001
        })
    );
}

/// 44.1 kHz has no whole period in nanoseconds: 22675.7 ns.
#[test]
fn verif_nothing_is_rounded_where_the_period_is_no_whole_number_of_nanoseconds() {
    let count = |start_ns| {
        stretches(&[piece(0, 1, 44_100), piece(start_ns, 1, 44_100)])
            .unwrap()
            .len()
    };
    assert_eq!(count(2 * 22_675), 1);
    assert_eq!(count(45_351), 1);
    assert_eq!(count(45_352), 2);
}

#[test]
fn verif_a_gap_or_another_rate_begins_a_new_stretch() {
    let pieces = [
        piece(3 * FIVE_MINUTES_NS, 300 * 96_000, 96_000),
        piece(0, 300 * 48_000, 48_000),
        piece(2 * FIVE_MINUTES_NS, 300 * 48_000, 48_000),
    ];
    let found = stretches(&pieces).unwrap();
    let order: Vec<_> = found
        .iter()
        .map(|s| (s.pieces.clone(), s.rate_hz, s.gap_before_ns))
        .collect();
    assert_eq!(
        order,
        [
            (vec![1], 48_000, None),
            (vec![2], 48_000, Some(FIVE_MINUTES_NS)),
            (vec![0], 96_000, Some(0))
        ]
    );
}

#[test]
fn verif_pieces_that_cannot_be_are_named() {
    assert_eq!(stretches(&[]), Ok(vec![]));
    let none = stretches(&[piece(0, 10, 8000), piece(5, 0, 8000)]);
    assert_eq!(
        none,
        Err(StretchError::NoLength {
            piece: 1,
            frames: 0,
            rate_hz: 8000
        })
    );
    let rateless = stretches(&[piece(0, 10, 0)]);
    assert_eq!(
        rateless,
        Err(StretchError::NoLength {
            piece: 0,
            frames: 10,
            rate_hz: 0
        })
    );
    let long = u64::MAX / 3 * 2;
    let too_long = stretches(&[
        piece(0, long, 1_000_000_000),
        piece(long.into(), long, 1_000_000_000),
    ]);
    assert_eq!(too_long, Err(StretchError::TooLong { piece: 1 }));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Every piece is in one stretch, no frame is lost, and the order given does not matter.
    #[test]
    fn verif_frames_are_conserved(gaps in prop::collection::vec(0_i128..3, 1..20), turn in 0_usize..20) {
        let mut start_ns = 0;
        let mut pieces = Vec::new();
        for gap in &gaps {
            start_ns += gap * 1_000_000_000;
            pieces.push(piece(start_ns, 8000, 8000));
            start_ns += 1_000_000_000;
        }
        let found = stretches(&pieces).unwrap();
        prop_assert_eq!(found.len(), 1 + gaps.iter().skip(1).filter(|gap| **gap > 0).count());
        prop_assert_eq!(found.iter().map(|s| s.frames).sum::<u64>(), 8000 * pieces.len() as u64);
        let by = turn % pieces.len();
        pieces.rotate_left(by);
        let turned = stretches(&pieces).unwrap();
        let starts = |list: &[recording::Stretch]| list.iter().map(|s| (s.start, s.frames)).collect::<Vec<_>>();
        prop_assert_eq!(starts(&found), starts(&turned));
    }
}
