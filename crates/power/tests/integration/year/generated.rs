//! A year of days of clearness through hours and panels: `reference/power/pvlib-year-generated.json`.

use power::sun::{DAYS, PlaneYear};
use power::year::{Climate, GeneratedYields};

use super::{
    document, month_of, panels, sand_point_sun, south_60, twelve, within, within_share, yaw_60,
};

/// Headings in steps on the other side, and positions of the sun that differ by 1e-7 deg.
const TOLERANCE: f64 = 1e-6;

#[test]
fn val_a_year_of_days_of_clearness() {
    let file = document("pvlib-year-generated.json");
    let sun = sand_point_sun();
    let climate = Climate {
        air_temperature_degc: twelve(&file["air_temperature_degc"]),
        wind_speed_m_s: twelve(&file["wind_speed_m_s"]),
    };
    let numbers = |value: &serde_json::Value| -> Vec<f64> {
        let list = value.as_array().unwrap().iter();
        list.map(|value| value.as_f64().unwrap()).collect()
    };
    let clearness: [f64; DAYS] = numbers(&file["clearness"]).try_into().unwrap();
    let planes: [(&str, PlaneYear); 2] = [("south", south_60(&sun)), ("yaw", yaw_60(&sun))];
    for (name, plane) in planes {
        let theirs = &file[name];
        let yields_of = GeneratedYields::new(&sun, &plane, &panels(), &climate).unwrap();
        let plane_kwh_m2 = yields_of.plane_wh_m2(&clearness).unwrap() / 1000.0;
        within_share(
            plane_kwh_m2,
            theirs["plane_kwh_m2"].as_f64().unwrap(),
            TOLERANCE,
        );
        let mut yields = Vec::new();
        yields_of.fill(&clearness, &mut yields).unwrap();
        let mut months = [0.0; 12];
        for (hour, per_watt) in yields.iter().enumerate() {
            months[month_of(hour)] += per_watt;
        }
        for (ours, theirs) in months.into_iter().zip(twelve(&theirs["wh_per_w_by_month"])) {
            within_share(ours, theirs, TOLERANCE);
        }
        let by_day = numbers(&theirs["wh_per_w_by_day"]);
        assert_eq!(by_day.len(), DAYS);
        for (ours, theirs) in yields.chunks(24).zip(by_day) {
            within(ours.iter().sum(), theirs, TOLERANCE);
        }
        let of_days = theirs["wh_per_w_of_day"].as_object().unwrap();
        assert_eq!(of_days.len(), 5);
        for (day, theirs) in of_days {
            let day: usize = day.parse().unwrap();
            for (ours, theirs) in yields[24 * day..].iter().zip(numbers(theirs)) {
                within(*ours, theirs, TOLERANCE);
            }
        }
    }
}
