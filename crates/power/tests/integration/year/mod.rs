//! Weather, battery and the hourly year against `reference/power/*`, handbook figures, and second routes.

mod battery;
mod capacitor;
mod claims;
mod files;
mod generated;
mod lying;
mod primary;
mod properties;
mod recipe;
mod restart;
mod sand_point;
mod stretches;
mod twin;
mod weather;

use power::battery::{Battery, Charging, Chemistry, Cutoff};
use power::sun::{
    Array, Face, HOURS, Horizon, Iam, Mounting, Observer, PlaneYear, SOLAR_CONSTANT_ASTM_E490_W_M2,
    Site, Sky, SunYear,
};
use power::weather::{WeatherHour, parse_tmy3};
use power::year::{Extra, Load, PanelModel, PowerSystem, Start, StateShare, first_hour_of_month};
use serde_json::Value;

/// The numbers of a CSV file, row by row.
fn numbers(name: &str) -> Vec<Vec<f64>> {
    truth::rows(&format!("power/{name}"))
        .iter()
        .map(|row| row.iter().map(|field| truth::number(field)).collect())
        .collect()
}

fn document(name: &str) -> Value {
    truth::json(&format!("power/{name}"))
}

fn twelve(value: &Value) -> [f64; 12] {
    let values: Vec<f64> = value
        .as_array()
        .unwrap()
        .iter()
        .map(|value| value.as_f64().unwrap())
        .collect();
    values.try_into().unwrap()
}

#[track_caller]
fn within(ours: f64, theirs: f64, tolerance: f64) {
    assert!(
        (ours - theirs).abs() <= tolerance,
        "{ours} against {theirs}, tolerance {tolerance}"
    );
}

#[track_caller]
fn within_share(ours: f64, theirs: f64, share: f64) {
    within(ours, theirs, share * theirs.abs());
}

/// A weather file that `reference/fetch.py` fetches, or `None` after saying that the check is skipped.
fn fetched(check: &str, name: &str) -> Option<String> {
    let path = truth::fetched(check, &format!("weather/{name}"))?;
    Some(std::fs::read_to_string(path).unwrap())
}

/// The hours of 703165TY.csv.
fn sand_point_hours(check: &str) -> Option<Vec<WeatherHour>> {
    let file = parse_tmy3(&fetched(check, "703165TY.csv")?).unwrap();
    let place = file.place.unwrap();
    assert_eq!(place.name, "SAND POINT");
    assert_eq!(
        (place.latitude_deg, place.longitude_deg, place.elevation_m),
        (55.317, -160.517, 7.0)
    );
    assert_eq!((file.utc_offset_h, file.left_out_hours), (-9.0, 0));
    Some(file.hours)
}

/// Sand Point, Alaska, as the head of 703165TY.csv gives it.
fn sand_point_sun() -> SunYear {
    sand_point_sun_by(-9.0)
}

/// The same by another clock, hours from UTC.
fn sand_point_sun_by(utc_offset_h: f64) -> SunYear {
    SunYear::new(&Site {
        observer: Observer {
            latitude_deg: 55.317,
            longitude_deg: -160.517,
            elevation_m: 7.0,
            pressure_pa: 101_325.0,
            temperature_degc: 12.0,
        },
        year: 1990,
        utc_offset_h,
        delta_t_s: 67.0,
        solar_constant_w_m2: SOLAR_CONSTANT_ASTM_E490_W_M2,
        linke_turbidity: [3.0; 12],
        horizon: Horizon::open(),
    })
    .unwrap()
}

fn south_60(sun: &SunYear) -> PlaneYear {
    let array = Array {
        mounting: Mounting::Fixed(vec![Face {
            tilt_deg: 60.0,
            azimuth_deg: 180.0,
        }]),
        beam_iam: Iam::Ashrae { b: 0.05 },
        sky: Sky::HayDavies,
        albedo: 0.06,
    };
    PlaneYear::new(sun, &array).unwrap()
}

fn yaw_60(sun: &SunYear) -> PlaneYear {
    let array = Array {
        mounting: Mounting::Yawing { tilt_deg: 60.0 },
        beam_iam: Iam::None,
        sky: Sky::Isotropic,
        albedo: 0.06,
    };
    PlaneYear::new(sun, &array).unwrap()
}

/// Panels of the reference cases.
fn panels() -> PanelModel {
    PanelModel {
        temperature_coefficient_per_k: -0.004,
        loss: 0.15,
        light_left: [1.0; 12],
    }
}

/// The system of the reference cases: all of the capacity can be drawn, and charging knows no limit.
fn plain_system(peak_power_w: f64, capacity_wh: f64, start: Start) -> PowerSystem {
    PowerSystem {
        peak_power_w,
        standby_w: 0.3,
        battery: Battery {
            capacity_wh,
            age_years: 0.0,
            chemistry: Chemistry {
                usable_by_temperature: vec![(-40.0, 1.0), (60.0, 1.0)],
                discharge_efficiency: 0.96,
                self_discharge_per_month: 0.03,
                yearly_loss: 0.0,
                cutoff: Some(Cutoff {
                    of: power::battery::ChargeOf::Usable,
                    disconnect_at: 0.2,
                    reconnect_at: 0.4,
                }),
                charging: Some(Charging {
                    efficiency: 0.92,
                    lowest_degc: -40.0,
                    highest_degc: 60.0,
                    limit: None,
                }),
            },
        },
        battery_temperature_degc: [10.0; 12],
        start,
    }
}

/// 5 W, and 30 W more for two minutes of each hour.
fn plain_load() -> Load {
    let sending = 2.0 / 60.0;
    Load {
        states: vec![
            StateShare {
                power_w: 5.0,
                share: 1.0 - sending,
            },
            StateShare {
                power_w: 35.0,
                share: sending,
            },
        ],
        extra: Extra::None,
    }
}

const FULL_ON_1_JANUARY: Start = Start::At {
    hour: 0,
    charge: 1.0,
};

/// Wh per watt in eight light hours a day, in whole thousandths of a linear congruential generator: little in winter,
/// ten times as much in summer.
fn invented_year(seed: u64) -> Vec<f64> {
    let mut state = seed;
    (0..HOURS)
        .map(|hour| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            let from_winter = (hour / 24).abs_diff(182);
            let most = 100 + 5 * (182 - from_winter.min(182)) as u64;
            if (8..16).contains(&(hour % 24)) {
                ((state >> 33) % most) as f64 / 1000.0
            } else {
                0.0
            }
        })
        .collect()
}

fn month_of(hour: usize) -> usize {
    (0..12)
        .rev()
        .find(|&month| first_hour_of_month(month).unwrap() <= hour)
        .unwrap()
}
