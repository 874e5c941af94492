//! All paths between two places: images, a mirror, shadows, conservation.

use std::f64::consts::PI;

use proptest::prelude::*;
use seawater::{
    Bed, CAUSTIC_GAIN_DB, Eigenray, RayLimits, Reach, bed_bounce, coherent_loss_db,
    lloyd_mirror_loss_db,
};

use super::{ALL, SAND, SHALLOW, sea, silent_bed};
use crate::reference::{Reference, assert_near};

/// Truth: shooting with solve_ivp, reference/seawater/scipy-ray-paths.csv. Every path of the file is found, and no other within
/// the fan of the file.
#[test]
fn val_paths_of_a_shallow_site() {
    let sea = sea(&SHALLOW, silent_bed());
    for (source, receiver, range) in [(8.0, 70.0, 900.0), (40.0, 22.0, 1500.0)] {
        let found = sea
            .between(source, receiver)
            .unwrap()
            .eigenrays(range, &ALL)
            .unwrap();
        let mut found: Vec<Eigenray> = found
            .paths
            .into_iter()
            .filter(|p| p.launch_deg.abs() < 32.0)
            .collect();
        found.sort_by(|a, b| a.launch_deg.total_cmp(&b.launch_deg));
        let (mut count, mut grazing) = (0, 0);
        for row in Reference::open("scipy-ray-paths.csv").rows() {
            if row.number("source_m") != source {
                continue;
            }
            let launch = row.number("launch_deg");
            let path = found
                .iter()
                .min_by(|a, b| {
                    (a.launch_deg - launch)
                        .abs()
                        .total_cmp(&(b.launch_deg - launch).abs())
                })
                .unwrap();
            assert_near(path.launch_deg, launch, 1e-5);
            assert_near(path.arrival_deg, row.number("arrival_deg"), 1e-5);
            assert_near(path.time_s, row.number("time_s"), 1e-8);
            let spreading_db = row.number("spreading_db");
            if spreading_db.is_nan() {
                grazing += 1;
            } else {
                assert_near(path.spreading_db, spreading_db, 0.01);
            }
            assert_eq!(
                f64::from(path.family.surface_bounces),
                row.number("surface")
            );
            assert_eq!(f64::from(path.family.bed_bounces), row.number("bed"));
            count += 1;
        }
        assert!(count > 10 && grazing <= 1);
        assert_eq!(found.len(), count, "{found:#?}");
    }
}

/// Coherent sum of the images of a source between surface and bed, each with its own reflection coefficients; second route.
fn image_loss_db(f: f64, c: f64, h: f64, zs: f64, zr: f64, r: f64, bed: Bed) -> f64 {
    let (mut re, mut im) = (0.0, 0.0);
    for m in 0..=60 {
        let m = f64::from(m);
        for (dz, surface, bottom) in [
            (2.0 * h * m - zs + zr, m, m),
            (2.0 * h * (m + 1.0) - zs - zr, m, m + 1.0),
            (2.0 * h * m + zs + zr, m + 1.0, m),
            (2.0 * h * (m + 1.0) + zs - zr, m + 1.0, m + 1.0),
        ] {
            if bottom > 3.0 {
                continue;
            }
            let length = libm::hypot(r, dz);
            let grazing = libm::asin(dz.abs() / length) / PI * 180.0;
            let bounce = bed_bounce(bed, grazing, c, 1026.0).expect("a bed that can be");
            let size = libm::pow(10.0, -bounce.loss_db * bottom / 20.0) / length;
            let phase = 2.0 * PI * f * length / c + surface * PI + bottom * bounce.phase_rad;
            re += size * libm::cos(phase);
            im += size * libm::sin(phase);
        }
    }
    -10.0 * libm::log10(re * re + im * im)
}

#[test]
fn verif_images_of_water_of_one_speed() {
    let sea = sea(&[(0.0, 1490.0), (33.0, 1490.0), (80.0, 1490.0)], SAND);
    for (zs, zr) in [(5.0, 60.0), (33.0, 20.0), (70.0, 12.5)] {
        for r in [30.0, 250.0, 1111.0, 4000.0] {
            let paths = sea
                .between(zs, zr)
                .unwrap()
                .eigenrays(r, &ALL)
                .unwrap()
                .paths;
            for f in [200.0, 1000.0] {
                assert_near(
                    coherent_loss_db(&paths, f),
                    image_loss_db(f, 1490.0, 80.0, zs, zr, r, SAND),
                    0.01,
                );
            }
        }
    }
}

/// Rays in deep water of one speed against the closed form of the surface image.
#[test]
fn verif_lloyd_mirror_to_a_hundredth_of_a_decibel() {
    let sea = sea(&[(0.0, 1500.0), (4000.0, 1500.0)], silent_bed());
    let open = RayLimits {
        most_bed_bounces: 0,
        ..ALL
    };
    for (f, zs, zr) in [
        (150.0, 25.0, 200.0),
        (1000.0, 3.0, 20.0),
        (12_000.0, 1.0, 35.0),
    ] {
        for r in [10.0, 100.0, 500.0, 2000.0, 8000.0, 30_000.0] {
            let found = sea.between(zs, zr).unwrap().eigenrays(r, &open).unwrap();
            assert_eq!(found.paths.len(), 2);
            assert_near(
                coherent_loss_db(&found.paths, f),
                lloyd_mirror_loss_db(f, zs, zr, r, 1500.0).unwrap(),
                0.01,
            );
        }
    }
}

#[test]
fn verif_level_paths_between_equal_depths() {
    let uniform = sea(&[(0.0, 1500.0), (100.0, 1500.0)], silent_bed());
    let paths = uniform
        .between(40.0, 40.0)
        .unwrap()
        .eigenrays(1000.0, &ALL)
        .unwrap()
        .paths;
    let first = paths[0];
    assert_eq!((first.launch_deg, first.length_m), (0.0, 1000.0));
    assert_near(first.time_s, 1000.0 / 1500.0, 1e-12);
    assert_near(
        coherent_loss_db(&paths, 500.0),
        image_loss_db(500.0, 1500.0, 100.0, 40.0, 40.0, 1000.0, silent_bed()),
        0.01,
    );
    // With a gradient the same depths are joined by an arc.
    let bent = sea(&[(0.0, 1500.0), (100.0, 1501.6)], silent_bed());
    let arc = bent
        .between(40.0, 40.0)
        .unwrap()
        .eigenrays(1000.0, &ALL)
        .unwrap()
        .paths[0];
    let c = 1500.64;
    assert_near(
        arc.time_s,
        2.0 / 0.016 * libm::asinh(0.016 * 1000.0 / (2.0 * c)),
        1e-10,
    );
    assert!(arc.launch_deg > 0.0 && arc.arrival_deg < 0.0);
}

#[test]
fn verif_straight_below() {
    let sea = sea(&SHALLOW, SAND);
    let paths = sea
        .between(5.0, 80.0)
        .unwrap()
        .eigenrays(0.0, &ALL)
        .unwrap()
        .paths;
    let first = paths[0];
    assert_near(first.launch_deg, 90.0, 1e-6);
    assert_near(first.length_m, 75.0, 1e-9);
    assert_near(first.spreading_db, 20.0 * libm::log10(75.0), 0.1);
    assert_eq!(
        paths.len(),
        14,
        "down or up first, up to three bounces from the bed"
    );
}

/// A surface layer over falling speed: beyond where the level ray goes down nothing comes but by the bed.
#[test]
fn verif_a_shadow_is_told() {
    let sea = sea(&[(0.0, 1510.0), (200.0, 1490.0)], silent_bed());
    let pair = sea.between(10.0, 20.0).unwrap();
    // The ray that grazes the surface bounds the light: x = sum of sqrt(2 R z), R = c / |g|.
    let radius = 1510.0 / 0.1;
    let edge = libm::sqrt(2.0 * radius * 10.0) + libm::sqrt(2.0 * radius * 20.0);
    let open = RayLimits {
        most_bed_bounces: 0,
        ..ALL
    };
    assert_eq!(
        pair.eigenrays(0.98 * edge, &open).unwrap().reach,
        Reach::Direct
    );
    assert_eq!(
        pair.eigenrays(1.02 * edge, &open).unwrap().reach,
        Reach::Nothing
    );
    assert_eq!(pair.eigenrays(1.02 * edge, &ALL).unwrap().reach, Reach::Bed);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Source and receiver changed about: the same paths, the same times and the same losses.
    #[test]
    fn verif_reciprocity(
        zs in 1.0_f64..89.0,
        zr in 1.0_f64..89.0,
        r in 50.0_f64..4000.0,
        speeds in proptest::array::uniform5(1480.0_f64..1520.0),
    ) {
        let points: Vec<(f64, f64)> = SHALLOW.iter().zip(speeds).map(|(p, c)| (p.0, c)).collect();
        let sea = sea(&points, SAND);
        let there = sea.between(zs, zr).unwrap().eigenrays(r, &ALL).unwrap();
        let back = sea.between(zr, zs).unwrap().eigenrays(r, &ALL).unwrap();
        prop_assert_eq!(there.paths.len(), back.paths.len());
        prop_assert_eq!(there.reach, back.reach);
        for (a, b) in there.paths.iter().zip(&back.paths) {
            prop_assert!((a.time_s - b.time_s).abs() < 1e-9);
            prop_assert!((a.bed_loss_db - b.bed_loss_db).abs() < 1e-5);
            if !a.near_caustic {
                prop_assert!((a.spreading_db - b.spreading_db).abs() < 1e-3, "{a:?} {b:?}");
            }
        }
    }

    /// Nothing is louder than the cap allows, and every path is at least as long as the straight line.
    #[test]
    fn verif_paths_are_sane(
        zs in 1.0_f64..89.0,
        zr in 1.0_f64..89.0,
        r in 2.0_f64..20_000.0,
        speeds in proptest::array::uniform5(1450.0_f64..1540.0),
    ) {
        let points: Vec<(f64, f64)> = SHALLOW.iter().zip(speeds).map(|(p, c)| (p.0, c)).collect();
        let sea = sea(&points, SAND);
        let straight = libm::hypot(r, zs - zr);
        for p in sea.between(zs, zr).unwrap().eigenrays(r, &ALL).unwrap().paths {
            prop_assert!(p.length_m >= straight * (1.0 - 1e-9));
            prop_assert!(p.spreading_db >= 20.0 * libm::log10(p.length_m) - CAUSTIC_GAIN_DB - 1e-9);
            prop_assert!(p.bed_loss_db >= 0.0 && p.time_s > straight / 1540.0 * (1.0 - 1e-9));
            let back = sea.trace(zs, p.launch_deg, r, 50);
            if let Ok(back) = back {
                prop_assert!((back.time_s - p.time_s).abs() < 1e-6, "{p:?} {back:?}");
            }
        }
    }
}
