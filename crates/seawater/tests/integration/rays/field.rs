//! The loss over depth and range, by tubes of rays.

use std::f64::consts::PI;

use seawater::{Bed, RayLimits, incoherent_loss_db};

use super::{SHALLOW, sea, silent_bed};
use crate::reference::assert_near;

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
