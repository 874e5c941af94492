//! What the plan writes of panels, air and skyline, and years that were measured instead of generated.

use std::path::Path;

use assess::{Check, EnergyYears, Ruling, WEATHER_SEED, Word, check, energy_years};
use plan::{Reading, SupplyIx};

use crate::support::{changed, close, good, known, requirement, why_unknown};

const SUN: (&str, &str) = (
    "kind = \"bench\"",
    "kind = \"solar-battery\"\npanels = { peak_power_each = \"20 W\", tilt = \"60 deg\", faces = 4, loss = \"15 %\" }\nbattery = { chemistry = \"lifepo4\", capacity = \"60 Ah\", voltage = \"12.8 V\" }",
);
const CLEARNESS: (&str, &str) = (
    "shipping = 0.2",
    "shipping = 0.2\nclearness = [0.34, 0.38, 0.42, 0.45, 0.47, 0.46, 0.43, 0.42, 0.41, 0.37, 0.33, 0.31]",
);
const LOSS: &str = "loss = \"15 %\" }";

#[track_caller]
fn told(changes: &[(&str, &str)]) -> EnergyYears {
    let mut all = vec![SUN, CLEARNESS];
    all.extend(changes);
    let line = good(&all).line.unwrap();
    let years = energy_years(&line, SupplyIx(0), WEATHER_SEED, Some(5), &mut |_| true);
    years.unwrap().unwrap()
}

fn with_panels(keys: &str) -> EnergyYears {
    told(&[(LOSS, &format!("loss = \"15 %\", {keys} }}"))])
}

fn with_site(keys: &str) -> EnergyYears {
    told(&[("ph = 8", &format!("ph = 8\n{keys}"))])
}

fn year_wh(years: &EnergyYears) -> f64 {
    years.months.iter().map(|m| m.gained_wh_per_d).sum()
}

fn twelve(of: &str) -> String {
    format!("[{}]", vec![format!("\"{of}\""); 12].join(", "))
}

fn assumes(years: &EnergyYears, what: &str) -> bool {
    years.assumed.iter().any(|a| a.contains(what))
}

/// A tenth of the light less is a tenth of the energy less, but for panels that stay a little cooler; two kinds of dirt multiply.
#[test]
fn verif_dirt_takes_its_share() {
    let clean = told(&[]);
    let birds = with_panels(&format!("dirt = {{ birds = {} }}", twelve("10 %")));
    let ratio = year_wh(&birds) / year_wh(&clean);
    assert!((0.9..0.91).contains(&ratio), "{ratio}");
    let both = with_panels(&format!(
        "dirt = {{ birds = {}, salt = {} }}",
        twelve("10 %"),
        twelve("20 %")
    ));
    let ratio = year_wh(&both) / year_wh(&clean);
    assert!((0.72..0.74).contains(&ratio), "{ratio}");
    assert!(assumes(&clean, "`dirt`") && !assumes(&birds, "`dirt`"));
}

/// At 50 deg north in December a panel that faces south gets more than twice what a turning buoy gives, one that faces north less.
#[test]
fn verif_a_panel_that_faces_south_sees_the_winter_sun() {
    let december = |years: &EnergyYears| years.months[11].gained_wh_per_d;
    let yaw = told(&[]);
    let south = with_panels("azimuth = \"180 deg\"");
    let north = with_panels("azimuth = \"0 deg\"");
    assert!(december(&south) > 1.6 * december(&yaw));
    assert!(december(&north) < december(&yaw));
    assert!(assumes(&yaw, "`azimuth`") && !assumes(&south, "`azimuth`"));
}

/// 0.4 % is what is taken without a word; twice of it changes the year by as much as the panels are warmer than 25 degC on average.
#[test]
fn verif_loss_by_warmth_and_warmth_of_the_air() {
    let preset = told(&[]);
    let same = with_panels("loss_per_kelvin = \"0.4 %\"");
    close(year_wh(&same), year_wh(&preset), 1e-9 * year_wh(&preset));
    assert!(!assumes(&same, "`loss_per_kelvin`") && assumes(&preset, "`loss_per_kelvin`"));
    // Air of 10 degC, as the water: without a word it is the cells' temperature.
    let air = with_site(&format!("air_temperature = {}", twelve("10 degC")));
    close(year_wh(&air), year_wh(&preset), 1e-9 * year_wh(&preset));
    let warm = with_site(&format!("air_temperature = {}", twelve("35 degC")));
    let ratio = year_wh(&warm) / year_wh(&air);
    // 25 K at 0.4 % each of about the rated power.
    assert!((0.88..0.92).contains(&ratio), "{ratio}");
}

/// Land all round takes the low sun of December more than the high one of June; a skyline of nothing takes nothing.
#[test]
fn verif_land_takes_the_low_sun() {
    let open = told(&[]);
    let flat = with_site("horizon = [{ azimuth = \"0 deg\", elevation = \"0 deg\" }]");
    close(year_wh(&flat), year_wh(&open), 1e-9 * year_wh(&open));
    let land = with_site("horizon = [{ azimuth = \"0 deg\", elevation = \"12 deg\" }]");
    let lost = |m: usize| land.months[m].gained_wh_per_d / open.months[m].gained_wh_per_d;
    let (december, june) = (lost(11), lost(5));
    assert!(december < 0.8 && december < june - 0.1, "{december} {june}");
    assert!(assumes(&open, "`horizon`") && !assumes(&land, "`horizon`"));
    // A full turn is where the circle began: the core refuses it, by the key's name.
    let line = good(&[
        SUN,
        CLEARNESS,
        (
            "ph = 8",
            "ph = 8\nhorizon = [{ azimuth = \"360 deg\", elevation = \"4 deg\" }]",
        ),
    ]);
    let refused = energy_years(&line.line.unwrap(), SupplyIx(0), 1, Some(5), &mut |_| true);
    let refused = refused.unwrap_err().to_string();
    assert!(refused.contains("site.horizon"), "{refused}");
}

/// Cells at the surface are as warm as its water; cold ones hold less and their days without light are fewer.
#[test]
fn verif_the_water_at_the_surface_cools_the_cells() {
    let preset = told(&[]);
    let cold = with_site(&format!("surface_temperature = {}", twelve("0 degC")));
    assert!(cold.autonomy_d.unwrap() < preset.autonomy_d.unwrap());
    assert!(assumes(&cold, "as warm as the water at the surface"));
    assert!(assumes(&preset, "10.0 degC all year"));
}

/// A plan with a weather file beside it.
#[track_caller]
pub(crate) fn measured(changes: &[(&str, &str)], weather: &str) -> Reading {
    let mut all = vec![SUN, ("ph = 8", "ph = 8\nweather = \"weather.csv\"")];
    all.extend(changes);
    let text = changed(&all);
    let reading = assess::read(Path::new("plan.toml"), &|path| {
        let named = path.ends_with("weather.csv");
        Ok(if named { weather } else { text.as_str() }
            .as_bytes()
            .to_vec())
    });
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    reading
}

/// Whole years of hours with the same light from 10 to 14 h and none else.
pub(crate) fn plain_years(years: &[usize], beam_w_m2: f64) -> String {
    let mut text =
        "time,ghi_w_m2,dni_w_m2,dhi_w_m2,air_temperature_degc,wind_speed_m_s\n".to_owned();
    for year in years {
        let february = if year % 4 == 0 { 29 } else { 28 };
        for (month, days) in (1..).zip([31, february, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]) {
            for hour in 0..24 * days {
                let (day, hour) = (hour / 24 + 1, hour % 24);
                let w_m2 = if (10..14).contains(&hour) {
                    beam_w_m2
                } else {
                    0.0
                };
                text += &format!("{year}-{month:02}-{day:02}T{hour:02}:00Z,{w_m2},0,{w_m2},10,5\n");
            }
        }
    }
    text
}

fn winter(share: &str, confidence: &str) -> String {
    format!(
        "[requirement.winter]\nthat = \"outage-hours\"\nat_most = \"0 h\"\nshare = \"{share}\"\nconfidence = \"{confidence}\"\n\n[requirement.charge]\nthat = \"lowest-charge\"\nat_least = \"30 %\"\nshare = \"{share}\"\nconfidence = \"{confidence}\"\n\n[requirement.voltage]\n"
    )
}

#[track_caller]
fn of_measured(share: &str, confidence: &str, weather: &str) -> Check {
    let asked = winter(share, confidence);
    let reading = measured(&[("[requirement.voltage]\n", &asked)], weather);
    check(&reading, &assess::Shelf::default())
}

/// In a year without any light the battery lasts the days that it lasts without light, and then the load is off for the rest.
#[test]
fn verif_a_dark_year_is_off_when_the_battery_is_empty() {
    let dark = plain_years(&[2023], 0.0);
    let reading = measured(&[], &dark);
    let line = reading.line.unwrap();
    let years = energy_years(&line, SupplyIx(0), 1, None, &mut |_| true);
    let years = years.unwrap().unwrap();
    assert_eq!(years.years, 1);
    assert_eq!(years.weather_file.as_deref(), Some("weather.csv"));
    assert_eq!(years.second_opinion, None);
    let off = f64::from(years.outages.hours_off()[0]);
    let lasts_h = 24.0 * years.autonomy_d.unwrap();
    assert!((off - (8760.0 - lasts_h)).abs() <= 1.5, "{off} {lasts_h}");
    // Of one year more nothing is known.
    let two = energy_years(&line, SupplyIx(0), 1, Some(2), &mut |_| true);
    assert!(
        two.unwrap_err()
            .to_string()
            .contains("holds out for 1 of the years")
    );
}

/// One dark year of one refutes 99 % of years (it is bad with 5 % of them at least) but not 90 %; one bright year shows half of the
/// years at even odds, ln 0.5/ln 0.5 = 1, and nothing of 90 %.
#[test]
fn verif_one_measured_year_supports_what_one_year_can() {
    let dark = plain_years(&[2023], 0.0);
    let bright = plain_years(&[2023], 700.0);
    let check = of_measured("99 %", "95 %", &dark);
    assert_eq!(requirement(&check, "winter").word(), Word::Broken);
    assert_eq!(requirement(&check, "charge").word(), Word::Broken);
    let winter = known(&check, "winter");
    assert!(
        winter.why.contains("1 of 1 measured year"),
        "{}",
        winter.why
    );
    let check = of_measured("90 %", "95 %", &dark);
    for id in ["winter", "charge"] {
        let why = why_unknown(&check, id);
        assert!(why.contains("neither shows nor refutes"), "{why}");
    }
    let check = of_measured("90 %", "95 %", &bright);
    let why = why_unknown(&check, "winter");
    assert!(
        why.contains("0 of 1 measured year has") && why.contains("at most 95 % of years"),
        "{why}"
    );
    assert!(why.contains("29 years without a bad one"), "{why}");
    let check = of_measured("50 %", "50 %", &bright);
    assert_eq!(known(&check, "winter").ruling, Ruling::Met);
    assert_eq!(known(&check, "winter").value.value, 0.0);
    assert_eq!(known(&check, "charge").ruling, Ruling::Met);
    // Three years count as three: 0.5^3 = 12.5 %, so 87.5 % confidence for half of the years.
    let three = plain_years(&[2023, 2024, 2025], 700.0);
    let check = of_measured("50 %", "87 %", &three);
    assert!(
        known(&check, "winter")
            .why
            .contains("0 of 3 measured years")
    );
    assert_eq!(requirement(&check, "winter").word(), Word::Met);
    let check = of_measured("50 %", "88 %", &three);
    assert_eq!(requirement(&check, "winter").word(), Word::Unknown);
}

#[test]
fn verif_a_weather_file_with_a_mistake_is_unknown_with_its_line() {
    let torn = plain_years(&[2023], 0.0).replace("2023-02-01T00:00Z,0", "2023-02-01T00:00Z,x");
    let check = of_measured("90 %", "95 %", &torn);
    let why = why_unknown(&check, "winter");
    assert!(
        why.contains("site.weather") && why.contains("weather.csv") && why.contains("line 746"),
        "{why}"
    );
}

/// The typical year of Sand Point, Alaska (TMY3 703165TY as the package pvlib ships it). With an isotropic sky and no cover a ring of
/// 200 W at 60 deg gives 117.47 kWh through pvlib 0.16.1 (0.587 kWh for each watt); Hay and Davies add 0.6 %, the cover takes 2 to 4 %.
#[test]
fn val_a_typical_year_through_a_plan() {
    let check_name = "val_a_typical_year_through_a_plan";
    let Some(path) = truth::fetched(check_name, "weather/703165TY.csv") else {
        return;
    };
    let weather = std::fs::read_to_string(path).unwrap();
    let place = [
        ("latitude = \"50 deg\"", "latitude = \"55.317 deg\""),
        ("longitude = \"0 deg\"", "longitude = \"-160.517 deg\""),
        (
            "faces = 4, loss",
            "faces = 4, loss_per_kelvin = \"0.4 %\", loss",
        ),
    ];
    let reading = measured(&place, &weather);
    let years = energy_years(&reading.line.unwrap(), SupplyIx(0), 1, None, &mut |_| true);
    let years = years.unwrap().unwrap();
    let days = assess::MONTH_DAYS.map(f64::from);
    let wh: f64 = years
        .months
        .iter()
        .zip(days)
        .map(|(m, days)| m.gained_wh_per_d * days)
        .sum();
    let per_watt = wh / 80.0 / 1000.0;
    assert!(
        (0.96..1.0).contains(&(per_watt / (0.587_335 * 1.006))),
        "{per_watt}"
    );
    assert!(assumes(&years, "SAND POINT, 0 km from the site"));
    assert!(!assumes(&years, "`air_temperature`"));
    // The file's light belongs to its own place, and the distance is told.
    let reading = measured(&[], &weather);
    let far = energy_years(&reading.line.unwrap(), SupplyIx(0), 1, None, &mut |_| true);
    let far = far.unwrap().unwrap();
    close(year_wh(&far), year_wh(&years), 1e-6 * year_wh(&years));
    assert!(!assumes(&far, "SAND POINT, 0 km"));
}

/// Two requirements that ask for different numbers of years get the first of the same years: 29 for 90 % of them, 59 for 95 %.
#[test]
fn verif_requirements_on_a_supply_share_its_years() {
    let asked = winter("90 %", "95 %").replace(
        "at_least = \"30 %\"\nshare = \"90 %\"",
        "at_least = \"30 %\"\nshare = \"95 %\"",
    );
    let changes = [SUN, CLEARNESS, ("[requirement.voltage]\n", &asked)];
    let reading = good(&changes);
    let check = check(&reading, &assess::Shelf::default());
    let line = reading.line.as_ref().unwrap();
    let input = assess::input::energy(line, SupplyIx(0)).unwrap();
    let (mut off, mut lowest) = (Vec::new(), Vec::new());
    assess::run_years(line, &input, WEATHER_SEED, 59, &mut |_, accounts, _| {
        off.push(accounts[0].hours_off);
        lowest.push(accounts[0].lowest_charge);
        true
    })
    .unwrap();
    let winter = known(&check, "winter");
    let longest = off[..29].iter().copied().max().unwrap();
    close(winter.value.value, f64::from(longest), 0.0);
    let bad = off[..29].iter().filter(|h| **h > 0).count();
    assert!(
        winter
            .why
            .starts_with(&format!("{bad} of 29 generated years")),
        "{}",
        winter.why
    );
    let charge = known(&check, "charge");
    let least = lowest.iter().copied().fold(1.0, f64::min);
    close(charge.value.value, 100.0 * least, 1e-9);
    assert!(
        charge.why.contains("of 59 generated years"),
        "{}",
        charge.why
    );
    assert!(bad > 0 && off.iter().max() >= off[..29].iter().max());
}
