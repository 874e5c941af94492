//! Uneven land around a panel that turns.

use power::sun::{
    Array, Components, Horizon, Iam, Mounting, PlaneYear, SOLAR_CONSTANT_ASTM_E490_W_M2, Site, Sky,
    SunYear, mean_cos_incidence,
};
use proptest::prelude::*;

use super::{at_sea, close};
use crate::cases;

/// Mean of the share of the sky over headings two degrees apart.
fn mean_over_headings(land: &Horizon, tilt_deg: f64) -> f64 {
    (0..180)
        .map(|step| land.sky_share(tilt_deg, 2.0 * f64::from(step)).unwrap())
        .sum::<f64>()
        / 180.0
}

proptest! {
    #![proptest_config(cases())]

    #[test]
    fn verif_sky_of_a_panel_that_turns(
        heights_deg in prop::collection::vec(0.0..50.0_f64, 2..7),
        tilt_deg in 0.0..=90.0_f64,
    ) {
        let pitch_deg = 360.0 / heights_deg.len() as f64;
        let points: Vec<(f64, f64)> = (0..).map(|i| f64::from(i) * pitch_deg).zip(heights_deg).collect();
        let land = Horizon::new(&points).unwrap();
        let ours = land.mean_sky_share(tilt_deg).unwrap();
        let over_headings = mean_over_headings(&land, tilt_deg);
        prop_assert!((ours - over_headings).abs() < 1e-4, "{ours} {over_headings}");
    }
}

/// A year behind a mountain in the south, hour by hour from its parts.
#[test]
fn verif_year_of_a_panel_that_turns_behind_land() {
    let land = Horizon::new(&[(90.0, 0.0), (150.0, 25.0), (210.0, 30.0), (270.0, 0.0)]).unwrap();
    let sun = SunYear::new(&Site {
        observer: at_sea(57.0),
        year: 2027,
        utc_offset_h: 0.0,
        delta_t_s: 70.0,
        solar_constant_w_m2: SOLAR_CONSTANT_ASTM_E490_W_M2,
        linke_turbidity: [3.0; 12],
        horizon: land.clone(),
    })
    .unwrap();
    let array = Array {
        mounting: Mounting::Yawing { tilt_deg: 60.0 },
        beam_iam: Iam::None,
        sky: Sky::Isotropic,
        albedo: 0.06,
    };
    let plane = PlaneYear::new(&sun, &array).unwrap();
    let sky_share = mean_over_headings(&land, 60.0);
    assert!(sky_share < 0.73, "{sky_share} of 0.75 in the open");
    let light = Components {
        global_w_m2: 300.0,
        beam_normal_w_m2: 400.0,
        diffuse_w_m2: 120.0,
    };
    let mut behind_land = 0;
    for (sun, hour) in sun.hours().iter().zip(plane.hours()) {
        let elevation_deg = 90.0 - sun.apparent_zenith_deg;
        let seen =
            elevation_deg > 0.0 && elevation_deg >= land.elevation_deg(sun.azimuth_deg).unwrap();
        behind_land += usize::from(elevation_deg > 0.0 && !seen);
        let beam = if seen {
            400.0 * mean_cos_incidence(60.0, sun.apparent_zenith_deg).unwrap()
        } else {
            0.0
        };
        let expected = beam + 120.0 * sky_share + 300.0 * 0.06 * 0.25;
        close(hour.plane_from_components_w_m2(&light), expected, 0.01);
    }
    assert!(behind_land > 800, "{behind_land}");
}
