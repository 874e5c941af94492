//! Latin hypercubes, correlation by rank and values at a share, against SciPy and NumPy.

use chance::{
    Stream, normal_share_below, normal_value_at_share, rank_correlation, ranks, strata,
    value_at_share,
};
use proptest::prelude::*;

use crate::reference::rows;

/// Of the value: what the reference file says.
const TOLERANCE: f64 = 1e-12;

/// Numbers of the rows of a kind: two that say what was asked, and the answer.
fn of_kind(kind: &str, count: usize) -> Vec<[f64; 3]> {
    let found: Vec<[f64; 3]> = rows("scipy-sampling.csv", 52)
        .iter()
        .filter(|row| row[0] == kind)
        .map(|row| [1, 2, 3].map(|at| row[at].parse().unwrap_or(f64::NAN)))
        .collect();
    assert_eq!(found.len(), count, "rows of {kind}");
    found
}

/// The lists of the script: `wave(i, k)`.
fn wave(i: i64, k: i64) -> i64 {
    (i * k + (i * i) % 7) % 101
}

fn close(found: f64, wanted: f64) -> bool {
    (found - wanted).abs() <= TOLERANCE * wanted.abs().max(1e-3)
}

#[test]
fn val_values_of_the_normal_law_at_a_share_are_those_of_scipy() {
    for [share, _, wanted] in of_kind("normal", 15) {
        let found = normal_value_at_share(share);
        assert!(close(found, wanted), "{share}: {found}, not {wanted}");
    }
    assert_eq!(normal_value_at_share(0.0), f64::NEG_INFINITY);
    assert_eq!(normal_value_at_share(1.0), f64::INFINITY);
    for outside in [-0.1, 1.1, f64::NAN] {
        assert!(normal_value_at_share(outside).is_nan());
    }
}

#[test]
fn val_rank_correlation_is_that_of_scipy() {
    for [count, k, wanted] in of_kind("spearman", 12) {
        let (count, k) = (count as i64, k as i64);
        let a: Vec<f64> = (0..count).map(|i| wave(i, k) as f64).collect();
        let b: Vec<f64> = (0..count)
            .map(|i| (wave(i, 11) / 5 - i / 3) as f64)
            .collect();
        let found = rank_correlation(&a, &b).unwrap();
        assert!(
            (found - wanted).abs() < TOLERANCE,
            "{count} {k}: {found}, not {wanted}"
        );
    }
    assert_eq!(rank_correlation(&[1.0, 2.0], &[3.0]), None);
    assert_eq!(rank_correlation(&[1.0, 2.0], &[3.0, 3.0]), None);
    assert_eq!(rank_correlation(&[1.0, f64::NAN], &[3.0, 4.0]), None);
    assert_eq!(rank_correlation(&[1.0], &[3.0]), None);
    assert_eq!(rank_correlation(&[], &[]), None);
}

#[test]
fn val_values_at_a_share_are_those_of_numpy() {
    for [count, share, wanted] in of_kind("share", 20) {
        let mut values: Vec<f64> = (0..count as i64).map(|i| wave(i, 37) as f64).collect();
        values.sort_by(f64::total_cmp);
        let found = value_at_share(&values, share).unwrap();
        assert!(
            close(found, wanted),
            "{count} {share}: {found}, not {wanted}"
        );
    }
    assert_eq!(value_at_share(&[], 0.5), None);
    assert_eq!(value_at_share(&[1.0], 1.5), None);
    assert_eq!(value_at_share(&[1.0], f64::NAN), None);
}

/// Centred discrepancy: F. J. Hickernell, "A generalized discrepancy and quadrature error bound", Mathematics of
/// Computation 67 (1998), 299, equation 5.1a, squared.
fn centred_discrepancy(points: &[Vec<f64>]) -> f64 {
    let count = points.len() as f64;
    let away = |x: f64| (x - 0.5).abs();
    let whole = (13.0_f64 / 12.0).powi(points[0].len() as i32);
    let each: f64 = points
        .iter()
        .map(|x| {
            let terms = x
                .iter()
                .map(|&u| 1.0 + 0.5 * away(u) - 0.5 * away(u) * away(u));
            terms.product::<f64>()
        })
        .sum();
    let pairs: f64 = points
        .iter()
        .flat_map(|x| points.iter().map(move |y| (x, y)))
        .map(|(x, y)| {
            let terms = x
                .iter()
                .zip(y)
                .map(|(&u, &v)| 1.0 + 0.5 * away(u) + 0.5 * away(v) - 0.5 * (u - v).abs());
            terms.product::<f64>()
        })
        .sum();
    whole - 2.0 / count * each + pairs / (count * count)
}

fn hypercube(seed: u64, draws: usize, dimensions: usize) -> Vec<Vec<f64>> {
    let columns: Vec<Vec<f64>> = (0..dimensions as u64)
        .map(|d| strata(&mut Stream::named(seed, "test/hypercube", d), draws))
        .collect();
    (0..draws)
        .map(|i| columns.iter().map(|column| column[i]).collect())
        .collect()
}

/// How evenly the points fill the cube: as evenly as those of `scipy.stats.qmc.LatinHypercube`, and more evenly than plain
/// random ones.
#[test]
fn val_hypercubes_fill_the_cube_as_those_of_scipy() {
    let [draws, dimensions, wanted] = of_kind("discrepancy", 1)[0];
    let grid: Vec<Vec<f64>> = (0..draws as i64)
        .map(|i| {
            let place = |d: i64| (wave(i, 3 + 10 * d) as f64 + 0.5) / 101.0;
            (0..dimensions as i64).map(place).collect()
        })
        .collect();
    assert!(close(centred_discrepancy(&grid), wanted));

    const CUBES: u64 = 200;
    let [draws, dimensions, mean] = of_kind("hypercubes-mean", 1)[0];
    let deviation = of_kind("hypercubes-deviation", 1)[0][2];
    let (draws, dimensions) = (draws as usize, dimensions as usize);
    let mean_of = |cube: &dyn Fn(u64) -> Vec<Vec<f64>>| {
        (0..CUBES)
            .map(|s| centred_discrepancy(&cube(s)))
            .sum::<f64>()
            / CUBES as f64
    };
    let ours = mean_of(&|seed| hypercube(seed, draws, dimensions));
    let error = deviation * (2.0 / CUBES as f64).sqrt();
    assert!((ours - mean).abs() < 4.0 * error, "{ours}, not {mean}");
    let plain = mean_of(&|seed| {
        let mut stream = Stream::named(seed, "test/plain", 0);
        let point = |_| (0..dimensions).map(|_| stream.uniform()).collect();
        (0..draws).map(point).collect()
    });
    assert!(plain > ours + 4.0 * error, "{plain} against {ours}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// The property by which `scipy.stats.qmc` defines the sample: one draw in each of n equal strata, in every dimension.
    #[test]
    fn verif_each_stratum_holds_one_draw(seed: u64, draws in 0_usize..2000) {
        let column = strata(&mut Stream::named(seed, "test/strata", 3), draws);
        let mut filled: Vec<usize> = column.iter().map(|u| (u * draws as f64).floor() as usize).collect();
        filled.sort_unstable();
        // Rounding may put a draw at a boundary into the stratum beside; its own ends are still not passed by more than that.
        for (stratum, &at) in filled.iter().enumerate() {
            prop_assert!(at.abs_diff(stratum) <= 1);
        }
        let mut sorted = column.clone();
        sorted.sort_by(f64::total_cmp);
        for (stratum, u) in sorted.iter().enumerate() {
            let ends = (stratum as f64 / draws as f64, (stratum as f64 + 1.0) / draws as f64);
            prop_assert!(*u >= ends.0 && *u < ends.1 && *u > 0.0 && *u < 1.0);
        }
    }

    #[test]
    fn verif_the_value_at_a_share_has_that_share_below_it(share in 1e-12_f64..1.0) {
        let back = normal_share_below(normal_value_at_share(share));
        prop_assert!((back - share).abs() <= 4e-15 * share.max(1e-3), "{back}, not {share}");
    }

    /// The ranks of n values are those of any rising function of them, and add up to n (n + 1) / 2.
    #[test]
    fn verif_ranks_add_up_and_follow_order_alone(values in proptest::collection::vec(-20_i32..20, 1..60)) {
        let values: Vec<f64> = values.into_iter().map(f64::from).collect();
        let of = ranks(&values);
        let count = values.len() as f64;
        prop_assert_eq!(of.iter().sum::<f64>(), count * (count + 1.0) / 2.0);
        let cubes: Vec<f64> = values.iter().map(|x| x * x * x).collect();
        prop_assert_eq!(ranks(&cubes), of);
    }
}

/// Two dimensions come in orders of their own: their rank correlation is that of chance, with standard deviation
/// 1 / sqrt(n - 1).
#[test]
fn verif_dimensions_are_in_orders_of_their_own() {
    const DRAWS: usize = 400;
    let column = |d| strata(&mut Stream::named(9, "test/orders", d), DRAWS);
    let columns: Vec<Vec<f64>> = (0..12).map(column).collect();
    let mut squares = Vec::new();
    for (i, a) in columns.iter().enumerate() {
        for b in &columns[..i] {
            squares.push(rank_correlation(a, b).unwrap().powi(2) * (DRAWS as f64 - 1.0));
        }
    }
    // 66 squares of a mean of 1 and a deviation of about sqrt 2: the mean lies within four of its standard errors.
    let mean = squares.iter().sum::<f64>() / squares.len() as f64;
    assert!((mean - 1.0).abs() < 4.0 * (2.0 / 66.0_f64).sqrt(), "{mean}");
    assert_eq!(column(3), columns[3]);
}
