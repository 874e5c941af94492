//! Planes under the sun: `reference/power/pvlib-sun-planes.json`.

use power::sun::{
    Components, Horizon, Iam, Sky, cell_temperature_faiman_degc, cell_temperature_ross_degc,
    cos_incidence, incidence_deg, mean_beam_share, mean_cos_incidence, panel_power_w, ring_range,
    transpose,
};
use serde_json::Value;

use super::{close, close_relative, json, list, number};

const FORMULA_TOLERANCE: f64 = 1e-8;
/// The reference turns the panel in 7200 steps.
const YAW_TOLERANCE: f64 = 1e-6;
/// The reference turns the ring in 36000 steps, and the lowest share lies in a bend.
const RING_TOLERANCE: f64 = 1e-4;
/// The reference cuts the sky into patches of 1/4 by 1/40 deg.
const SKY_TOLERANCE: f64 = 3e-4;
const ASHRAE: Iam = Iam::Ashrae { b: 0.05 };

fn planes() -> Value {
    json("pvlib-sun-planes.json")
}

fn total_w_m2(case: &Value, cos_incidence: f64, sky: Sky) -> f64 {
    let components = Components {
        global_w_m2: number(case, "global_w_m2"),
        beam_normal_w_m2: number(case, "beam_normal_w_m2"),
        diffuse_w_m2: number(case, "diffuse_w_m2"),
    };
    transpose(
        &components,
        number(case, "normal_w_m2"),
        number(case, "zenith_deg"),
        number(case, "tilt_deg"),
        cos_incidence,
        0.06,
        sky,
    )
    .unwrap()
    .total_w_m2()
}

#[test]
fn val_fixed_planes() {
    for case in list(&planes(), "fixed") {
        let angles = (
            number(case, "tilt_deg"),
            number(case, "plane_azimuth_deg"),
            number(case, "zenith_deg"),
            number(case, "sun_azimuth_deg"),
        );
        let incidence = incidence_deg(angles.0, angles.1, angles.2, angles.3).unwrap();
        close(incidence, number(case, "incidence_deg"), 1e-6);
        let cos = cos_incidence(angles.0, angles.1, angles.2, angles.3).unwrap();
        let hay_davies = total_w_m2(case, cos, Sky::HayDavies);
        close_relative(
            total_w_m2(case, cos, Sky::Isotropic),
            number(case, "isotropic_w_m2"),
            FORMULA_TOLERANCE,
        );
        close_relative(
            hay_davies,
            number(case, "hay_davies_w_m2"),
            FORMULA_TOLERANCE,
        );
        close_relative(
            ASHRAE.modifier(cos).unwrap(),
            number(case, "ashrae"),
            FORMULA_TOLERANCE,
        );
        close_relative(
            Iam::Physical.modifier(cos).unwrap(),
            number(case, "physical"),
            FORMULA_TOLERANCE,
        );
        let faiman = cell_temperature_faiman_degc(hay_davies, 10.0, 5.0);
        close_relative(faiman, number(case, "faiman_degc"), FORMULA_TOLERANCE);
        let ross = cell_temperature_ross_degc(hay_davies, 10.0, 45.0);
        close_relative(ross, number(case, "ross_degc"), FORMULA_TOLERANCE);
    }
}

#[test]
fn val_incidence_modifiers() {
    for case in list(&planes(), "modifiers") {
        let cos = number(case, "incidence_deg").to_radians().cos();
        close(
            ASHRAE.modifier(cos).unwrap(),
            number(case, "ashrae"),
            FORMULA_TOLERANCE,
        );
        close(
            Iam::Physical.modifier(cos).unwrap(),
            number(case, "physical"),
            FORMULA_TOLERANCE,
        );
    }
    for iam in [Iam::None, ASHRAE, Iam::Physical] {
        assert_eq!(iam.modifier(0.0).unwrap(), 0.0);
        assert_eq!(iam.modifier(-0.5).unwrap(), 0.0);
        close(iam.modifier(1.0).unwrap(), 1.0, 1e-15);
    }
}

#[test]
fn val_yawing_planes() {
    for case in list(&planes(), "yaw") {
        let cos = mean_cos_incidence(number(case, "tilt_deg"), number(case, "zenith_deg")).unwrap();
        close_relative(cos, number(case, "mean_cos"), YAW_TOLERANCE);
        close_relative(
            total_w_m2(case, cos, Sky::Isotropic),
            number(case, "isotropic_w_m2"),
            YAW_TOLERANCE,
        );
        close_relative(
            total_w_m2(case, cos, Sky::HayDavies),
            number(case, "hay_davies_w_m2"),
            YAW_TOLERANCE,
        );
    }
}

#[test]
fn val_incidence_modifiers_over_yaw() {
    for case in list(&planes(), "yaw_iam") {
        let (tilt_deg, zenith_deg) = (number(case, "tilt_deg"), number(case, "zenith_deg"));
        let bare = mean_beam_share(tilt_deg, zenith_deg, Iam::None).unwrap();
        assert_eq!(bare, mean_cos_incidence(tilt_deg, zenith_deg).unwrap());
        for (iam, name) in [(ASHRAE, "ashrae"), (Iam::Physical, "physical")] {
            let share = mean_beam_share(tilt_deg, zenith_deg, iam).unwrap() / bare;
            close_relative(share, number(case, name), YAW_TOLERANCE);
        }
    }
}

#[test]
fn val_rings() {
    for case in list(&planes(), "rings") {
        let panels = u32::try_from(case["panels"].as_u64().unwrap()).unwrap();
        let (tilt_deg, zenith_deg) = (number(case, "tilt_deg"), number(case, "zenith_deg"));
        let (lowest, highest) = ring_range(panels, tilt_deg, zenith_deg).unwrap();
        close(lowest, number(case, "lowest"), RING_TOLERANCE);
        close(highest, number(case, "highest"), RING_TOLERANCE);
        let mean = mean_cos_incidence(tilt_deg, zenith_deg).unwrap();
        close(mean, number(case, "mean"), YAW_TOLERANCE);
    }
}

#[test]
fn val_sky_within_a_horizon() {
    for case in list(&planes(), "horizons") {
        let points: Vec<(f64, f64)> = list(case, "points_deg")
            .iter()
            .map(|point| (point[0].as_f64().unwrap(), point[1].as_f64().unwrap()))
            .collect();
        let horizon = Horizon::new(&points).unwrap();
        let share = horizon
            .sky_share(number(case, "tilt_deg"), number(case, "plane_azimuth_deg"))
            .unwrap();
        close(share, number(case, "sky_share"), SKY_TOLERANCE);
    }
}

/// Faiman's coefficients by hand: 1000 W/m2, 20 degC, 1 m/s; the standard condition of a panel is its peak power.
#[test]
fn val_cell_and_power_by_hand() {
    close(
        cell_temperature_faiman_degc(1000.0, 20.0, 1.0),
        51.4070,
        5e-5,
    );
    close(cell_temperature_ross_degc(800.0, 20.0, 45.0), 45.0, 1e-12);
    assert_eq!(panel_power_w(50.0, -0.004, 1000.0, 25.0), 50.0);
    close(panel_power_w(50.0, -0.004, 500.0, 50.0), 22.5, 1e-12);
}
