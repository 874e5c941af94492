//! Red: simpler declinations and a misprinted clear sky must fail the checks that ours pass.
//! `reference/power/pvlib-sun-declinations.json`, `reference/power/pvlib-sun-clear-sky.csv`.

use power::sun::{
    Horizon, Instant, SOLAR_CONSTANT_2011_W_M2, Site, SunYear, daily_extraterrestrial_wh_m2,
    extraterrestrial_w_m2, haurwitz_w_m2, sun_position,
};

use super::sky::cooper_deg;
use super::{at_sea, close, close_relative, json, list, number, rows};

/// Each day in closed form against the sun's path in steps of five minutes.
const DAY_TOLERANCE: f64 = 0.001;

/// Spencer's Fourier series of the declination, 1971.
fn spencer_deg(day_of_year: f64) -> f64 {
    let b = std::f64::consts::TAU * (day_of_year - 1.0) / 365.0;
    let rad = 0.006918 - 0.399912 * b.cos() + 0.070257 * b.sin() - 0.006758 * (2.0 * b).cos()
        + 0.000907 * (2.0 * b).sin()
        - 0.002697 * (3.0 * b).cos()
        + 0.00148 * (3.0 * b).sin();
    rad.to_degrees()
}

/// Declination, deg, of a day of the year.
type Declination = fn(f64) -> f64;

const WRONG: [(&str, Declination); 2] = [("cooper", cooper_deg), ("spencer", spencer_deg)];

/// The days of a month, 0 to 11, 1990.
fn sum_of_month(sun: &SunYear, month: usize, of_day: impl Fn(usize) -> f64) -> f64 {
    let days = sun.days().iter().enumerate();
    days.filter(|(_, day)| day.month == month)
        .map(|(day, _)| of_day(day))
        .sum()
}

/// What they do to a month is what pvlib finds, and where that is more than a percent the check of months fails.
#[test]
fn val_simpler_declinations_fail() {
    let file = json("pvlib-sun-declinations.json");
    let mut failed = [0; 2];
    for place in list(&file, "places") {
        let latitude_deg = number(place, "latitude_deg");
        let sun = SunYear::new(&Site {
            observer: at_sea(latitude_deg),
            year: 1990,
            utc_offset_h: 0.0,
            delta_t_s: 67.0,
            solar_constant_w_m2: SOLAR_CONSTANT_2011_W_M2,
            linke_turbidity: [3.0; 12],
            horizon: Horizon::open(),
        })
        .unwrap();
        for ((name, declination_deg), failed) in WRONG.iter().zip(&mut failed) {
            let ratios = list(&place["months_over_the_suns_path"], name);
            for (month, ratio) in ratios.iter().enumerate() {
                let right = sum_of_month(&sun, month, |day| sun.days()[day].extraterrestrial_wh_m2);
                let wrong = sum_of_month(&sun, month, |day| {
                    let n = u16::try_from(day + 1).unwrap();
                    let normal = extraterrestrial_w_m2(n, SOLAR_CONSTANT_2011_W_M2).unwrap();
                    daily_extraterrestrial_wh_m2(
                        latitude_deg,
                        declination_deg(f64::from(n)),
                        normal,
                    )
                    .unwrap()
                });
                let ratio = ratio.as_f64().unwrap();
                close_relative(wrong / right, ratio, DAY_TOLERANCE);
                if (ratio - 1.0).abs() > 0.01 {
                    assert!((wrong / right - 1.0).abs() > 8.0 * DAY_TOLERANCE);
                    *failed += 1;
                }
            }
        }
    }
    // Of 36 months each.
    assert!(failed[0] > 18 && failed[1] > 12, "{failed:?}");
}

/// How far they are from the sun at noon: 1.08 deg on day 286 (Cooper), 0.33 deg on day 269 (Spencer).
#[test]
fn val_errors_of_simpler_declinations() {
    let farthest = &json("pvlib-sun-declinations.json")["farthest"];
    let months = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let dates = (1_u8..)
        .zip(months)
        .flat_map(|(month, days)| (1..=days).map(move |day| (month, day)));
    let noons: Vec<f64> = dates
        .map(|(month, day)| {
            let noon = Instant::from_utc(1990, month, day, 12.0, 67.0).unwrap();
            sun_position(noon, &at_sea(0.0)).unwrap().declination_deg
        })
        .collect();
    for (name, declination_deg) in WRONG {
        let off_deg = (1..)
            .zip(&noons)
            .map(|(n, noon_deg): (u16, _)| ((declination_deg(f64::from(n)) - noon_deg).abs(), n));
        let (off_deg, day) = off_deg.max_by(|a, b| a.0.total_cmp(&b.0)).unwrap();
        // The sun as seen from the place stands up to 0.0024 deg beside that from the centre of the earth.
        close(off_deg, number(&farthest[name], "off_deg"), 0.003);
        assert_eq!(f64::from(day), number(&farthest[name], "day_of_year"));
    }
}

/// 15 April at 43 deg north with the declination of the book, by integration: 33.8076 MJ/m2.
#[test]
fn val_day_outside_the_atmosphere_by_integration() {
    let normal = extraterrestrial_w_m2(105, 1367.0).unwrap();
    let day = daily_extraterrestrial_wh_m2(43.0, cooper_deg(105.0), normal).unwrap();
    let theirs = number(&json("pvlib-sun-declinations.json"), "april_mj_m2");
    close_relative(day * 3600.0 / 1e6, theirs, 2e-8);
}

/// Some texts print 0.057 for 0.059 in the formula of Haurwitz (from memory): 0.2 % with a high sun, more under a low one.
#[test]
fn val_haurwitz_with_the_other_figure_fails() {
    let mut seen = 0;
    for row in &rows("pvlib-sun-clear-sky.csv") {
        let (zenith_deg, theirs) = (&row["apparent_zenith_deg"], &row["haurwitz_w_m2"]);
        let (zenith_deg, theirs): (f64, f64) =
            (zenith_deg.parse().unwrap(), theirs.parse().unwrap());
        close_relative(haurwitz_w_m2(zenith_deg).unwrap(), theirs, 1e-8);
        let cos = zenith_deg.to_radians().cos();
        if cos > 0.05 {
            let other = 1098.0 * cos * (-0.057 / cos).exp();
            assert!(other / theirs - 1.0 > 0.0019, "{zenith_deg}");
            seen += 1;
        }
    }
    assert!(seen > 40);
}
