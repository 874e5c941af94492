//! Second routes over random inputs.

use power::sun::{
    Horizon, Iam, Instant, Observer, cos_incidence, incidence_deg, mean_beam_share,
    mean_cos_incidence, ring_range, sun_position,
};
use proptest::prelude::*;

use crate::cases;

proptest! {
    #![proptest_config(cases())]

    /// Everywhere and at any time the sun has a place in the sky, at a sensible distance, and refraction only lifts it.
    #[test]
    fn verif_every_instant_has_a_sun(
        latitude_deg in -90.0..=90.0_f64, longitude_deg in -180.0..=180.0_f64, julian_day in 2_299_238.5..3_912_880.5_f64,
        pressure_pa in 60_000.0..105_000.0_f64, temperature_degc in -60.0..50.0_f64,
    ) {
        let observer = Observer { latitude_deg, longitude_deg, elevation_m: 0.0, pressure_pa, temperature_degc };
        let sun = sun_position(Instant::from_julian_day(julian_day, 69.0).unwrap(), &observer).unwrap();
        prop_assert!((0.0..=180.0).contains(&sun.true_zenith_deg));
        prop_assert!((0.0..360.0).contains(&sun.azimuth_deg));
        prop_assert!((0.98..1.02).contains(&sun.distance_au));
        prop_assert!(sun.declination_deg.abs() < 24.0);
        let lift_deg = sun.true_zenith_deg - sun.apparent_zenith_deg;
        prop_assert!((-1e-3..1.5).contains(&lift_deg), "{}", lift_deg);
    }

    /// The closed means over yaw against a sum over headings.
    #[test]
    fn verif_yaw_means(tilt_deg in 0.0..=90.0_f64, zenith_deg in 0.0..90.0_f64, b in 0.0..0.3_f64) {
        let headings = 2000_u32;
        for iam in [Iam::None, Iam::Ashrae { b }, Iam::Physical] {
            let mean: f64 = (0..headings)
                .map(|k| {
                    let azimuth_deg = 360.0 * (f64::from(k) + 0.5) / f64::from(headings);
                    let cos = cos_incidence(tilt_deg, azimuth_deg, zenith_deg, 0.0).unwrap();
                    cos.max(0.0) * iam.modifier(cos).unwrap()
                })
                .sum::<f64>() / f64::from(headings);
            let closed = mean_beam_share(tilt_deg, zenith_deg, iam).unwrap();
            prop_assert!((closed - mean).abs() < 5e-6, "{} against {}", closed, mean);
        }
    }

    /// No heading gives a ring more or less than its range, and headings come near both ends.
    #[test]
    fn verif_ring_ranges(panels in 1_u32..9, tilt_deg in 0.0..=90.0_f64, zenith_deg in 0.0..90.0_f64) {
        let (lowest, highest) = ring_range(panels, tilt_deg, zenith_deg).unwrap();
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for step in 0..1440 {
            let share = (0..panels)
                .map(|k| {
                    let azimuth_deg = (f64::from(step) / 4.0 + 360.0 * f64::from(k) / f64::from(panels)).rem_euclid(360.0);
                    cos_incidence(tilt_deg, azimuth_deg, zenith_deg, 0.0).unwrap().max(0.0)
                })
                .sum::<f64>() / f64::from(panels);
            low = share.min(low);
            high = share.max(high);
        }
        prop_assert!(lowest <= low + 1e-12 && high <= highest + 1e-12);
        prop_assert!(low - lowest < 0.003 && highest - high < 0.003);
        let mean = mean_cos_incidence(tilt_deg, zenith_deg).unwrap();
        prop_assert!(lowest <= mean + 1e-12 && mean <= highest + 1e-12);
    }

    /// A horizon of one height on the horizontal leaves cos^2 of it; an almost open one is the open one.
    #[test]
    fn verif_sky_shares(height_deg in 0.0..60.0_f64, tilt_deg in 0.0..=90.0_f64, azimuth_deg in 0.0..360.0_f64) {
        let even = Horizon::new(&[(0.0, height_deg)]).unwrap();
        let cos = height_deg.to_radians().cos();
        prop_assert!((even.sky_share(0.0, azimuth_deg).unwrap() - cos * cos).abs() < 1e-12);
        let turned = even.mean_sky_share(tilt_deg).unwrap();
        prop_assert!((even.sky_share(tilt_deg, azimuth_deg).unwrap() - turned).abs() < 2e-4);
        let nearly = Horizon::new(&[(0.0, 1e-9)]).unwrap();
        let open = Horizon::open().sky_share(tilt_deg, azimuth_deg).unwrap();
        prop_assert!((nearly.sky_share(tilt_deg, azimuth_deg).unwrap() - open).abs() < 1e-4);
    }

    /// The angle of incidence is the angle between two directions.
    #[test]
    fn verif_incidence_is_an_angle(tilt_deg in 0.0..=90.0_f64, facing_deg in 0.0..360.0_f64, zenith_deg in 0.0..=180.0_f64, azimuth_deg in 0.0..360.0_f64) {
        let direction = |down_deg: f64, around_deg: f64| {
            let (down, around) = (down_deg.to_radians(), around_deg.to_radians());
            [down.sin() * around.cos(), down.sin() * around.sin(), down.cos()]
        };
        let (panel, sun) = (direction(tilt_deg, facing_deg), direction(zenith_deg, azimuth_deg));
        let dot: f64 = panel.iter().zip(sun).map(|(p, s)| p * s).sum();
        let cos = incidence_deg(tilt_deg, facing_deg, zenith_deg, azimuth_deg).unwrap().to_radians().cos();
        prop_assert!((cos - dot).abs() < 1e-12);
    }
}

/// Two, five and ten degrees all round, by hand.
#[test]
fn verif_even_horizons() {
    for (height_deg, share) in [(2.0, 0.998_782), (5.0, 0.992_404), (10.0, 0.969_846)] {
        let even = Horizon::new(&[(0.0, height_deg)]).unwrap();
        let ours = even.sky_share(0.0, 0.0).unwrap();
        assert!((ours - share).abs() < 5e-7, "{ours}");
    }
}
