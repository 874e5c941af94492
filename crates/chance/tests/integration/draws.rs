//! Random streams against a second program, and their laws.

use std::num::NonZeroU64;

use chance::Stream;

use crate::reference::rows;

/// 32 degrees of freedom, 0.1 % level: scipy.stats.chi2.isf(0.001, 32) = 62.49.
const CHI_SQUARE_32: f64 = 62.49;
/// 33 degrees of freedom, 0.1 % level: scipy.stats.chi2.isf(0.001, 33) and ppf.
const CHI_SQUARE_33: f64 = 63.87;
const CHI_SQUARE_33_LOW: f64 = 13.43;

#[test]
fn val_named_streams_agree_with_the_second_program() {
    for row in rows("twin-streams.csv", 27) {
        let number = |at: usize| row[at].parse::<u64>().unwrap();
        let mut stream = Stream::named(number(0), &row[1], number(2));
        let words: Vec<u64> = (0..48).map(|_| stream.next_u64()).collect();
        assert_eq!(
            [words[0], words[8], words[40]],
            [number(3), number(4), number(5)]
        );
    }
}

#[test]
fn val_gaussian_counts_agree_with_the_normal_law() {
    const DRAWS: usize = 1_000_000;
    let law: Vec<(f64, f64)> = rows("scipy-normal.csv", 33)
        .iter()
        .map(|row| (row[0].parse().unwrap(), row[1].parse().unwrap()))
        .collect();
    for name in ["noise", "weather", "spread"] {
        let mut stream = Stream::named(7, name, 3);
        let mut counts = vec![0_u32; law.len() + 1];
        for _ in 0..DRAWS {
            let x = stream.gaussian();
            counts[law.partition_point(|&(edge, _)| edge <= x)] += 1;
        }
        let mut below = 0.0;
        let mut chi_square = 0.0;
        // Each outermost cell expects 32 draws, enough for the test; 34 cells with one sum have 33 degrees.
        for (at, &count) in counts.iter().enumerate() {
            let up_to = law.get(at).map_or(1.0, |&(_, up_to)| up_to);
            let expected = (up_to - below) * DRAWS as f64;
            chi_square += (f64::from(count) - expected) * (f64::from(count) - expected) / expected;
            below = up_to;
        }
        assert!(chi_square < CHI_SQUARE_33, "{name}: {chi_square}");
        assert!(
            chi_square > CHI_SQUARE_33_LOW,
            "{name}: {chi_square} is too good"
        );
    }
}

/// Kolmogorov-Smirnov: the largest gap times sqrt(n) exceeds 1.95 once in a thousand (asymptotic law).
#[test]
fn verif_gaussian_passes_kolmogorov_smirnov_and_moments() {
    const DRAWS: usize = 200_000;
    let n = DRAWS as f64;
    let mut stream = Stream::named(20_270_315, "moments", 0);
    let mut draws: Vec<f64> = (0..DRAWS).map(|_| stream.gaussian()).collect();
    let moment = |power: i32| draws.iter().map(|x| x.powi(power)).sum::<f64>() / n;
    // Four standard errors of each raw moment: variances 1, 2, 15 and 96 over n.
    assert!(moment(1).abs() < 4.0 * (1.0 / n).sqrt());
    assert!((moment(2) - 1.0).abs() < 4.0 * (2.0 / n).sqrt());
    assert!(moment(3).abs() < 4.0 * (15.0 / n).sqrt());
    assert!((moment(4) - 3.0).abs() < 4.0 * (96.0 / n).sqrt());
    let neighbours = draws.windows(2).map(|pair| pair[0] * pair[1]).sum::<f64>() / n;
    assert!(neighbours.abs() < 4.0 * (1.0 / n).sqrt());
    draws.sort_by(f64::total_cmp);
    let gap = draws
        .iter()
        .enumerate()
        .map(|(at, &x)| {
            let below = 0.5 * libm::erfc(-x / 2.0_f64.sqrt());
            (below - at as f64 / n).max((at + 1) as f64 / n - below)
        })
        .fold(0.0, f64::max);
    assert!(gap * n.sqrt() < 1.95, "{}", gap * n.sqrt());
}

/// Beyond the base layer the draws come from another method.
#[test]
fn verif_the_tail_has_its_share() {
    const DRAWS: u32 = 20_000_000;
    const BASE: f64 = 3.6541528853610088;
    let mut stream = Stream::named(1, "tail", 0);
    let mut beyond = 0_u32;
    let mut far = 0_u32;
    for _ in 0..DRAWS {
        let x = stream.gaussian().abs();
        beyond += u32::from(x > BASE);
        far += u32::from(x > 4.5);
    }
    for (count, edge) in [(beyond, BASE), (far, 4.5)] {
        let expected = f64::from(DRAWS) * libm::erfc(edge / 2.0_f64.sqrt());
        assert!((f64::from(count) - expected).abs() < 4.0 * expected.sqrt());
    }
}

#[test]
fn verif_uniform_is_even_and_stays_below_one() {
    const DRAWS: usize = 400_000;
    let mut stream = Stream::named(5, "even", 0);
    let mut draws: Vec<f64> = (0..DRAWS).map(|_| stream.uniform()).collect();
    assert!(draws.iter().all(|&x| (0.0..1.0).contains(&x)));
    draws.sort_by(f64::total_cmp);
    let n = DRAWS as f64;
    let gap = draws
        .iter()
        .enumerate()
        .map(|(at, &x)| (x - at as f64 / n).max((at + 1) as f64 / n - x))
        .fold(0.0, f64::max);
    assert!(gap * n.sqrt() < 1.95);
}

#[test]
fn verif_whole_numbers_below_a_limit_are_even() {
    let mut stream = Stream::named(5, "below", 0);
    let limit = |n| NonZeroU64::new(n).unwrap();
    let mut counts = [0_u32; 33];
    const EACH: u32 = 10_000;
    for _ in 0..33 * EACH {
        counts[stream.below(limit(33)) as usize] += 1;
    }
    let chi_square: f64 = counts
        .iter()
        .map(|&count| (f64::from(count) - f64::from(EACH)).powi(2) / f64::from(EACH))
        .sum();
    assert!(chi_square < CHI_SQUARE_32, "{chi_square}");
    assert_eq!(stream.below(limit(1)), 0);
    // Three quarters of the range: the plain remainder of a word would make the lower third twice as likely.
    let wide = limit(3 << 62);
    let low = (0..30_000).filter(|_| stream.below(wide) < 1 << 62).count();
    assert!((low as f64 - 10_000.0).abs() < 4.0 * (30_000.0 * 2.0 / 9.0_f64).sqrt());
}

#[test]
fn verif_streams_repeat_and_differ() {
    let first = |seed, name: &str, index| Stream::named(seed, name, index).next_u64();
    assert_eq!(first(1, "a", 0), first(1, "a", 0));
    let mut others = vec![
        first(1, "a", 0),
        first(2, "a", 0),
        first(1, "b", 0),
        first(1, "a", 1),
        first(1, "a0", 0),
        first(0x6101, "", 0),
        first(1, "", 0),
    ];
    others.sort_unstable();
    others.dedup();
    assert_eq!(others.len(), 7);
}

#[test]
fn verif_filling_is_drawing_however_it_is_cut() {
    let mut one = Stream::named(9, "cut", 0);
    let mut other = one.clone();
    let mut whole = vec![0.0_f32; 1000];
    one.fill_gaussian_f32(&mut whole);
    let mut pieces = vec![0.0_f32; 700];
    other.fill_gaussian_f32(&mut pieces[..13]);
    other.fill_gaussian_f32(&mut pieces[13..]);
    pieces.extend((0..300).map(|_| other.gaussian() as f32));
    assert_eq!(whole, pieces);
}

#[test]
fn regress_bits_of_the_first_draws() {
    let mut stream = Stream::named(2027, "bits", 1);
    let sum = (0..100_000).fold(0_u64, |sum, _| {
        sum.rotate_left(7) ^ stream.gaussian().to_bits()
    });
    assert_eq!(sum, 16_454_126_159_819_215_678);
}
