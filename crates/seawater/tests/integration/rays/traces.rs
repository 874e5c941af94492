//! Single rays: arcs, the Munk profile, the width of a tube.

use std::f64::consts::PI;

use seawater::RaySea;

use super::{ALL, SHALLOW, sea, silent_bed};
use crate::reference::{Reference, assert_near};

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
