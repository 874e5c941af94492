//! Rays: held to the integrated ray equations, to images and to conservation.

use std::f64::consts::PI;

use proptest::prelude::*;
use seawater::{
    Bed, CAUSTIC_GAIN_DB, Eigenray, Layers, RayLimits, RaySea, Reach, SeaError, Variable,
    bed_bounce, coherent_loss_db, incoherent_loss_db, lloyd_mirror_loss_db,
};

use crate::reference::{Reference, assert_near};

const ALL: RayLimits = RayLimits {
    most_bed_bounces: 3,
    most_surface_bounces: 10,
    faintest_db: 400.0,
    most_paths: 1000,
};
/// The site of reference/seawater/scipy-ray-paths.csv.
const SHALLOW: [(f64, f64); 5] = [
    (0.0, 1508.0),
    (15.0, 1508.2),
    (30.0, 1492.0),
    (60.0, 1490.5),
    (90.0, 1491.2),
];
const SAND: Bed = Bed::Fluid {
    sound_speed_m_s: 1650.0,
    density_kg_m3: 1900.0,
    attenuation_db_per_wavelength: 0.8,
};

fn sea(points: &[(f64, f64)], bed: Bed) -> RaySea {
    let layers = Layers::new(points).expect("layers that can be");
    RaySea::of_layers(layers, 0.0, 1026.0, bed, 1000.0).expect("a sea that can be")
}

fn silent_bed() -> Bed {
    Bed::Loss { per_bounce_db: 0.0 }
}

/// Truth: solve_ivp, reference/seawater/scipy-ray-arcs.csv.
#[test]
fn val_arcs_of_a_constant_gradient() {
    for row in Reference::open("scipy-ray-arcs.csv").rows() {
        let [c, g, launch, turning, range, time] = [
            "speed_m_s",
            "gradient_per_s",
            "launch_deg",
            "turning_m",
            "range_m",
            "time_s",
        ]
        .map(|column| row.number(column));
        // The source a metre down, for the surface is a boundary; one layer on to below the turn.
        let c0 = c - g;
        let deep = turning + 20.0;
        let sea = sea(&[(0.0, c0), (deep, c0 + g * deep)], silent_bed());
        let at_turn = sea.trace(1.0, launch, range, 0).unwrap();
        assert_near(at_turn.depth_m - 1.0, turning, 1e-6 * turning);
        assert_near(at_turn.time_s, time, 1e-6 * time);
        assert_near(at_turn.angle_deg, 0.0, 1e-4);
        let back = sea.trace(1.0, launch, 2.0 * range, 0).unwrap();
        assert_near(back.depth_m, 1.0, 1e-3);
        assert_near(back.angle_deg, -launch, 1e-6 * launch);
        assert_near(back.time_s, 2.0 * time, 2e-6 * time);
    }
}

/// Truth: solve_ivp, reference/seawater/scipy-ray-level.csv. Speed falls with depth, so a level ray bends down at once.
#[test]
fn val_a_level_ray_where_speed_falls() {
    for row in Reference::open("scipy-ray-level.csv").rows() {
        let [c, g, range, gained, time] = [
            "speed_m_s",
            "gradient_per_s",
            "range_m",
            "gained_m",
            "time_s",
        ]
        .map(|column| row.number(column));
        // The source a metre down, for the surface is a boundary.
        let c0 = c - g;
        let deep = gained + 20.0;
        let at = |g: f64| {
            sea(&[(0.0, c0), (deep, c0 + g * deep)], silent_bed())
                .trace(1.0, 0.0, range, 0)
                .unwrap()
        };
        let found = at(g);
        assert_near(found.depth_m - 1.0, gained, 1e-6 * gained);
        assert_near(found.time_s, time, 1e-6 * time);
        // Red: straight on, and in the time of the straight way.
        let straight = at(0.0);
        assert!((straight.depth_m - found.depth_m).abs() > 60.0);
        assert!((straight.time_s - time).abs() > 2e-5 * time, "{straight:?}");
    }
}

/// A gradient with the wrong sign must fail the check above.
#[test]
fn verif_a_gradient_turned_round_does_not_turn_the_ray() {
    let sea = sea(&[(0.0, 1500.0), (400.0, 1493.6)], silent_bed());
    let trace = sea.trace(1.0, 5.0, 8202.0622, 0).unwrap();
    assert!(trace.range_m < 5000.0, "it meets the bed: {trace:?}");
}

fn munk() -> RaySea {
    let speed = |z: f64| {
        let eta = 2.0 * (z - 1300.0) / 1300.0;
        1500.0 * (1.0 + 0.00737 * (eta - 1.0 + libm::exp(-eta)))
    };
    let points: Vec<(f64, f64)> = (0..=500)
        .map(|i| 10.0 * f64::from(i))
        .map(|z| (z, speed(z)))
        .collect();
    sea(&points, silent_bed())
}

/// Truth: reference/seawater/numpy-munk-speeds.csv.
#[test]
fn val_munk_speeds() {
    let rows = Reference::open("numpy-munk-speeds.csv");
    let sea = munk();
    for row in rows.rows() {
        let found = sea.layers().speed_m_s(row.number("depth_m"));
        assert_near(found, row.number("speed_m_s"), 1e-4);
    }
}

/// Truth: solve_ivp over the smooth profile, reference/seawater/scipy-ray-munk.csv; tolerance 5 m and 1 ms.
#[test]
fn val_munk_profile() {
    let sea = munk();
    let (mut worst_m, mut worst_s) = (0.0_f64, 0.0_f64);
    for row in Reference::open("scipy-ray-munk.csv").rows() {
        let (depth, launch) = (row.number("depth_m"), row.number("launch_deg"));
        let half = sea.trace(depth, launch, 50e3, 0).unwrap();
        let whole = sea.trace(depth, launch, 100e3, 0).unwrap();
        for (found, expected) in [
            (half.depth_m, row.number("depth_50km_m")),
            (whole.depth_m, row.number("depth_100km_m")),
        ] {
            assert_near(found, expected, 5.0);
            worst_m = worst_m.max((found - expected).abs());
        }
        for (found, expected) in [
            (half.time_s, row.number("time_50km_s")),
            (whole.time_s, row.number("time_100km_s")),
        ] {
            assert_near(found, expected, 1e-3);
            worst_s = worst_s.max((found - expected).abs());
        }
        assert_near(whole.angle_deg, row.number("angle_100km_deg"), 0.02);
        let depths = whole.points_m.iter().map(|p| p.1);
        assert_near(
            depths.clone().fold(f64::INFINITY, f64::min),
            row.number("shallowest_m"),
            1.0,
        );
        assert_near(depths.fold(0.0, f64::max), row.number("deepest_m"), 1.0);
        let cycle = sea.trace(depth, launch, row.number("cycle_m"), 0).unwrap();
        assert_near(cycle.depth_m, depth, 1.0);
        assert_near(cycle.angle_deg, launch, 0.01);
        assert_near(cycle.time_s, row.number("cycle_s"), 1e-3);
        worst_s = worst_s.max((cycle.time_s - row.number("cycle_s")).abs());
    }
    assert!(worst_m < 2.0 && worst_s < 1e-4, "{worst_m} m, {worst_s} s");
}

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

/// Snell's invariant at both ends of every path.
#[test]
fn verif_snell() {
    let sea = sea(&SHALLOW, silent_bed());
    let paths = sea
        .between(8.0, 70.0)
        .unwrap()
        .eigenrays(2500.0, &ALL)
        .unwrap()
        .paths;
    assert!(paths.len() > 10);
    for p in paths {
        for (angle, depth) in [(p.launch_deg, 8.0), (p.arrival_deg, 70.0)] {
            let invariant = libm::cos(angle / 180.0 * PI) / sea.layers().speed_m_s(depth);
            assert_near(invariant, p.slowness_s_m, 1e-12);
        }
    }
}

/// The width of a tube against the difference of two rays, across turns, bounces and boundaries.
#[test]
fn verif_tube_width_is_the_gap_between_neighbours() {
    let sea = sea(&SHALLOW, silent_bed());
    for launch in [-24.0, -12.0, -3.7, 2.2, 4.1, 9.0, 18.0] {
        for range in [120.0, 700.0, 1900.0, 4100.0] {
            let h = 1e-5;
            let [before, here, after] =
                [-h, 0.0, h].map(|d| sea.trace(40.0, launch + d, range, 50).unwrap());
            let bounces = |t: &seawater::Trace| (t.surface_bounces, t.bed_bounces);
            assert_eq!(bounces(&before), bounces(&after), "neighbours go alike");
            let gap = (after.depth_m - before.depth_m) / (2.0 * h / 180.0 * PI);
            let across = gap.abs() * libm::cos(here.angle_deg / 180.0 * PI);
            // Of angles 2e-5 degrees apart.
            assert_near(here.tube_m.abs(), across, 1e-6 * across);
        }
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

/// The field of a fan against the paths, in power, averaged over a few cells: two routes to the level.
#[test]
fn verif_field_agrees_with_paths() {
    let sea = sea(&SHALLOW, Bed::Loss { per_bounce_db: 3.0 });
    let field = sea.loss_field(40.0, 3000.0, (60, 30), 8001, 12).unwrap();
    let all = RayLimits {
        most_bed_bounces: 12,
        most_surface_bounces: 20,
        faintest_db: 400.0,
        most_paths: 1000,
    };
    let (mut sum, mut count) = (0.0, 0);
    for column in [10, 25, 40, 58] {
        for row in [6, 12, 18, 24] {
            let loss_db = field.loss_db[row * 60 + column];
            // The mean power over the depths of the cell.
            let power: f64 = (0..9)
                .map(|i| {
                    let depth = field.depth_m[row] + 3.0 * (f64::from(i) - 4.0) / 9.0;
                    let paths = sea
                        .between(40.0, depth)
                        .unwrap()
                        .eigenrays(field.range_m[column], &all)
                        .unwrap()
                        .paths;
                    libm::pow(10.0, -incoherent_loss_db(&paths) / 10.0) / 9.0
                })
                .sum();
            let difference = loss_db + 10.0 * libm::log10(power);
            assert!(difference.abs() < 2.0, "{column} {row}: {difference}");
            sum += difference;
            count += 1;
        }
    }
    assert!(
        (sum / f64::from(count)).abs() < 0.3,
        "{}",
        sum / f64::from(count)
    );
}

/// Energy: what crosses a vertical line in loss-free water is what was sent out within the fan.
#[test]
fn verif_field_keeps_energy() {
    let sea = sea(&[(0.0, 1500.0), (100.0, 1500.0)], silent_bed());
    let field = sea.loss_field(40.0, 2000.0, (20, 200), 4001, 4000).unwrap();
    // Flux through a cylinder: sum of |p|^2 cos t r dz has no closed form without the angles, but far out with many bounces the
    // field is even in depth, and |p|^2 = integral of dt / (r H) = pi / (r H).
    for column in [5, 19] {
        let mean: f64 = (0..200)
            .map(|row| libm::pow(10.0, -field.loss_db[row * 20 + column] / 10.0))
            .sum::<f64>()
            / 200.0;
        let expected = (176.0 / 180.0 * PI) / (field.range_m[column] * 100.0);
        assert_near(10.0 * libm::log10(mean / expected), 0.0, 0.1);
    }
}

/// Rayleigh's coefficient: straight down it is that of the impedances, below the critical angle of a loss-free bed it is one, at
/// grazing minus one.
#[test]
fn verif_bed_reflection_in_closed_form() {
    let lossless = Bed::Fluid {
        sound_speed_m_s: 1700.0,
        density_kg_m3: 2000.0,
        attenuation_db_per_wavelength: 0.0,
    };
    let down = bed_bounce(lossless, 90.0, 1500.0, 1000.0).unwrap();
    let (z1, z2) = (1000.0 * 1500.0, 2000.0 * 1700.0);
    assert_near(
        down.loss_db,
        -20.0 * libm::log10((z2 - z1) / (z2 + z1)),
        1e-9,
    );
    assert_near(down.phase_rad, 0.0, 1e-9);
    let critical = libm::acos(1500.0 / 1700.0) / PI * 180.0;
    for share in [0.1, 0.5, 0.99] {
        let bounce = bed_bounce(lossless, share * critical, 1500.0, 1000.0).unwrap();
        assert_near(bounce.loss_db, 0.0, 1e-9);
        // Total reflection: phase -2 arctan(sqrt(cos^2 t - n^2) / (m sin t)).
        let t = share * critical / 180.0 * PI;
        let n = 1500.0 / 1700.0;
        let tail = libm::sqrt(libm::cos(t) * libm::cos(t) - n * n);
        assert_near(
            bounce.phase_rad,
            -2.0 * libm::atan2(tail, 2.0 * libm::sin(t)),
            1e-9,
        );
    }
    assert!(
        bed_bounce(lossless, critical + 10.0, 1500.0, 1000.0)
            .unwrap()
            .loss_db
            > 3.0
    );
    let lossy = bed_bounce(SAND, 15.0, 1500.0, 1026.0).unwrap();
    assert!(lossy.loss_db > 0.1, "{lossy:?}");
}

#[test]
fn verif_outside_the_range_is_an_error() {
    let sea = sea(&SHALLOW, SAND);
    assert!(matches!(
        sea.between(95.0, 20.0),
        Err(SeaError::OutOfRange {
            variable: Variable::SourceDepth,
            high: 90.0,
            ..
        })
    ));
    assert!(sea.between(20.0, 0.0).is_err());
    assert!(sea.between(20.0, f64::NAN).is_err());
    assert!(
        sea.between(20.0, 20.5)
            .unwrap()
            .eigenrays(0.5, &ALL)
            .is_err(),
        "nearer than a metre"
    );
    assert!(
        sea.between(20.0, 40.0)
            .unwrap()
            .eigenrays(f64::INFINITY, &ALL)
            .is_err()
    );
    assert!(sea.trace(20.0, 89.5, 100.0, 1).is_err());
    assert!(Layers::new(&[(1.0, 1500.0), (20.0, 1500.0)]).is_err());
    assert!(Layers::new(&[(0.0, 1500.0)]).is_err());
    assert!(Layers::new(&[(0.0, 1500.0), (f64::NAN, 1500.0)]).is_err());
    assert!(Layers::new(&[(0.0, 1500.0), (30.0, 150.0)]).is_err());
    let layers = Layers::new(&SHALLOW).unwrap();
    let wrong = Bed::Loss {
        per_bounce_db: -1.0,
    };
    assert!(RaySea::of_layers(layers, 0.0, 1026.0, wrong, 100.0).is_err());
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
