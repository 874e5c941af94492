//! Curves, ranges and areas against closed forms and a worked example.

use injection::{
    Bound, Curve, Outer, Reach, Shares, Spread, effective_area_m2, ideal_found_share, ideal_snr_db,
    outer_range_m, unbroken_range_m,
};
use seawater::{Spreading, absorption, band_level_db_re_1upa, transmission_loss_db};

#[track_caller]
fn near(found: f64, expected: f64, within: f64) {
    assert!(
        (found - expected).abs() <= within,
        "{found} is not {expected}"
    );
}

/// Found without exception from 0 dB on.
fn step() -> Curve {
    Curve::new(&[(-1e-9, 0), (0.0, 1000)], 1000).expect("a step")
}

/// Calls whose levels follow a normal law, found from 0 dB on: the share at a mean ratio is that law's below it. Scipy 1.17.1,
/// `norm.cdf(x / 5)`.
#[test]
fn val_shares_of_calls_that_differ_follow_their_law() {
    let curve = step();
    let spread = Spread::Normal { deviation_db: 5.0 };
    let shares = Shares::new(&curve, Bound::Seen, spread);
    for (mean_db, share) in [
        (-10.0, 0.022_750_1),
        (-3.21, 0.260_436_6),
        (0.0, 0.5),
        (1.05, 0.583_166_2),
        (6.4, 0.899_727_4),
    ] {
        // Two hundred parts of equal probability.
        near(shares.at(mean_db), share, 0.0035);
    }
    assert_eq!(shares.at(-80.0), 0.0);
    assert_eq!(shares.at(80.0), 1.0);
    // Each way read from one table reaches as far as one worked out for itself. Shares half between two of the two hundred steps: on a step
    // itself the last digit decides to which of its ends it reaches.
    for slope in [15.0, 20.0] {
        let snr_db = |range_m: f64| Ok::<_, ()>(60.0 - slope * libm::log10(range_m));
        let itself = Reach::new(&curve, Bound::Seen, spread, 50_000.0, snr_db).unwrap();
        let read = Reach::by_way(&shares, 50_000.0, snr_db).unwrap();
        for share in [0.1025, 0.5025, 0.8975] {
            let [a, b] = [&itself, &read].map(|reach| match outer_range_m(reach, share) {
                Outer::At(m) => m,
                other => panic!("{other:?}"),
            });
            near(a / b, 1.0, 0.01);
        }
    }
    let alike = Shares::new(&curve, Bound::Seen, Spread::None);
    assert_eq!((alike.at(-1e-6), alike.at(0.0)), (0.0, 1.0));
}

#[test]
fn verif_a_curve_reads_its_points_and_lies_straight_between_them() {
    let curve = Curve::new(&[(-2.0, 10), (0.0, 50), (4.0, 90)], 100).unwrap();
    for (snr_db, share) in [
        (-2.1, 0.0),
        (-2.0, 0.1),
        (-1.0, 0.3),
        (0.0, 0.5),
        (3.0, 0.8),
        (30.0, 0.9),
    ] {
        near(curve.share(snr_db, Bound::Seen), share, 1e-12);
    }
    near(curve.snr_at(0.7, Bound::Seen).unwrap(), 2.0, 1e-12);
    assert_eq!(curve.snr_at(0.95, Bound::Seen), None);
    // Clopper and Pearson, 50 of 100: 0.398321 to 0.601679 (scipy 1.17.1, binomtest(50, 100).proportion_ci()).
    near(curve.share(0.0, Bound::Low), 0.398321, 1e-6);
    near(curve.share(0.0, Bound::High), 0.601679, 1e-6);
    for counts in [&[][..], &[(0.0, 1), (0.0, 2)], &[(f64::NAN, 1)]] {
        assert!(Curve::new(counts, 10).is_err());
    }
    assert!(Curve::new(&[(0.0, 11)], 10).is_err());
}

/// All calls within 10 km and none beyond make a disc of 10 km.
#[test]
fn verif_a_sharp_range_gives_its_own_disc() {
    let reach = Reach::new(&step(), Bound::Seen, Spread::None, 50_000.0, |r| {
        Ok::<f64, ()>(20.0 * libm::log10(10_000.0 / r))
    })
    .unwrap();
    let Outer::At(range_m) = outer_range_m(&reach, 0.5) else {
        panic!("{:?}", outer_range_m(&reach, 0.5));
    };
    near(range_m, 10_000.0, 110.0);
    near(
        effective_area_m2(&reach) / 1e6,
        100.0 * std::f64::consts::PI,
        4.0,
    );
}

/// The straight path and its image in the surface, by `|2 sin(phase)|` of a tone: found where the two together lift it, and not in
/// the gaps where they cancel. Zeros lie where the paths differ by whole wavelengths: the outermost lobe ends far beyond the first.
#[test]
fn verif_a_gap_ends_the_range_without_gaps_and_not_the_outermost() {
    let (source_m, ear_m, wavelength_m) = (10.0_f64, 20.0_f64, 6.0);
    let differ_m = |r: f64| {
        let path = |rise: f64| libm::sqrt(r * r + rise * rise);
        path(ear_m + source_m) - path(ear_m - source_m)
    };
    let reach = Reach::new(&step(), Bound::Seen, Spread::None, 50_000.0, |r| {
        let lift = 2.0 * libm::sin(std::f64::consts::PI * differ_m(r) / wavelength_m).abs();
        Ok::<f64, ()>(20.0 * libm::log10(60.0 / r * lift))
    })
    .unwrap();
    // The first zero from the source on has the greatest difference of all: three wavelengths.
    let zero_m = (1..100_000)
        .map(|i| 1e-3 * f64::from(i))
        .find(|&r| differ_m(r) <= 3.0 * wavelength_m)
        .unwrap();
    let Outer::At(first_m) = unbroken_range_m(&reach, 0.5) else {
        panic!("{:?}", unbroken_range_m(&reach, 0.5));
    };
    near(first_m / zero_m, 1.0, 0.1);
    let Outer::At(last_m) = outer_range_m(&reach, 0.5) else {
        panic!("no range");
    };
    // The outermost zero, of one wavelength, lies nearer than the outermost range.
    assert!(
        last_m > 5.0 * first_m && differ_m(last_m) < wavelength_m,
        "{last_m}"
    );
    let sharp = Reach::new(&step(), Bound::Seen, Spread::None, 50_000.0, |r| {
        Ok::<f64, ()>(20.0 * libm::log10(10_000.0 / r))
    })
    .unwrap();
    assert_eq!(unbroken_range_m(&sharp, 0.5), outer_range_m(&sharp, 0.5));
    assert_eq!(unbroken_range_m(&sharp, 1.1), Outer::Nowhere);
    assert_eq!(unbroken_range_m(&sharp, 0.0), Outer::Beyond(50_000.0));
}

/// With a normal spread of source levels over a sharp threshold the share at a range is that of the normal law; spherical
/// spreading makes of it the closed form 2 pi int p r dr = pi R^2 exp(2 (k s)^2), k = ln 10 / 20.
#[test]
fn verif_a_spread_of_source_levels_widens_the_disc_by_the_lognormal_moment() {
    let (deviation_db, half_m) = (5.0, 2000.0);
    let reach = Reach::new(
        &step(),
        Bound::Seen,
        Spread::Normal { deviation_db },
        50_000.0,
        |r| Ok::<f64, ()>(20.0 * libm::log10(half_m / r)),
    )
    .unwrap();
    let Outer::At(range_m) = outer_range_m(&reach, 0.5) else {
        panic!("no range");
    };
    near(range_m / half_m, 1.0, 0.02);
    // One standard deviation further out 15.87 % are found.
    let Outer::At(further_m) = outer_range_m(&reach, 0.158_655) else {
        panic!("no range");
    };
    near(20.0 * libm::log10(further_m / half_m), deviation_db, 0.1);
    let k = libm::log(10.0) / 20.0;
    let moment = libm::exp(2.0 * k * k * deviation_db * deviation_db);
    let disc = std::f64::consts::PI * half_m * half_m;
    near(effective_area_m2(&reach) / disc / moment, 1.0, 0.02);
}

/// Source level 172 dB in 90-170 Hz for 1 s, wind 7.5 m/s, shipping 0.5, water of 8 degC and salinity 32 at 50 m, pH 8, ideal
/// energy detector of TW = 80 with a false alarm of 1e-6: noise 86.599 dB, absorption 1.8874e-3 dB/km, ratio -2.011 dB for
/// a half; with 20 lg r 23,355 m (computed with numpy and scipy), with 15 lg r 569.8 km, which is refused as arithmetic.
#[test]
fn val_the_worked_example_from_source_level_to_range() {
    let (source_db, tw, false_alarm) = (172.0, 80.0, 1e-6);
    let noise_db = band_level_db_re_1upa(90.0, 170.0, 7.5, 0.5).unwrap();
    near(noise_db, 86.599, 1e-3);
    let alpha = absorption(130.0, 8.0, 32.0, 50.0, 8.0)
        .unwrap()
        .total_db_per_km;
    near(alpha, 1.8874e-3, 2e-6);
    near(ideal_snr_db(tw, false_alarm, 0.5).unwrap(), -2.011, 1e-3);
    let calls = 1_000_000_000;
    let counts: Vec<(f64, u64)> = (0..401)
        .map(|i| {
            let snr_db = -6.0 + 0.02 * f64::from(i);
            let share = ideal_found_share(tw, false_alarm, snr_db).unwrap();
            (snr_db, (share * calls as f64) as u64)
        })
        .collect();
    let curve = Curve::new(&counts, calls).unwrap();
    let outer = |law: Spreading, farthest_m: f64| {
        let reach = Reach::new(&curve, Bound::Seen, Spread::None, farthest_m, |r| {
            transmission_loss_db(law, r, alpha).map(|loss_db| source_db - loss_db - noise_db)
        });
        outer_range_m(&reach.unwrap(), 0.5)
    };
    let Outer::At(range_m) = outer(Spreading::Spherical, 50_000.0) else {
        panic!("no range");
    };
    near(range_m, 23_355.0, 12.0);
    assert!(matches!(outer(Spreading::Practical, 50_000.0), Outer::Beyond(m) if m == 50_000.0));
    let Outer::At(arithmetic_m) = outer(Spreading::Practical, 2e6) else {
        panic!("no range");
    };
    near(arithmetic_m, 569_800.0, 400.0);
}
