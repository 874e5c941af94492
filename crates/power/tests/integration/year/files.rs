//! Both readers of weather files: whole years, mistakes with their place, hostile text.

use power::sun::{Components, HOURS};
use power::weather::{
    FileError, WeatherFile, WeatherHour, parse_plain_csv, parse_plain_csv_years, parse_tmy3,
    parse_years,
};
use proptest::prelude::*;

use super::{document, sand_point_hours, sand_point_sun, twelve, within};

const PLAIN_HEAD: &str = "time,ghi_w_m2,dni_w_m2,dhi_w_m2,air_temperature_degc,wind_speed_m_s";
const TMY3_STATION: &str = "999999,\"PLACE, INVENTED\",ZZ,-9.0,55.5,-160.5,7";
const TMY3_HEAD: &str = "Date (MM/DD/YYYY),Time (HH:MM),GHI (W/m^2),GHI source,DNI (W/m^2),DHI (W/m^2),\
                         Dry-bulb (C),Wspd (m/s)";

/// Invented weather: each value tells its hour and its column.
fn weather(hour: usize) -> WeatherHour {
    let h = hour as f64;
    WeatherHour {
        components: Components {
            global_w_m2: h % 1000.0,
            beam_normal_w_m2: (h * 0.25) % 900.0,
            diffuse_w_m2: (h * 0.5) % 500.0,
        },
        air_temperature_degc: h % 50.0 - 20.0,
        wind_speed_m_s: h % 30.0,
    }
}

/// Month, day and hour of each hour of a year.
fn calendar(leap: bool) -> impl Iterator<Item = (usize, usize, usize)> {
    let february = if leap { 29 } else { 28 };
    [31, february, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
        .into_iter()
        .enumerate()
        .flat_map(|(month, days)| (0..24 * days).map(move |h| (month + 1, h / 24 + 1, h % 24)))
}

fn plain_lines(year: usize, offset: &str) -> Vec<String> {
    let leap = year.is_multiple_of(4);
    let rows = calendar(leap).enumerate().map(|(at, (month, day, hour))| {
        let w = weather(at);
        format!(
            "{year}-{month:02}-{day:02}T{hour:02}:00{offset},{},{},{},{},{}",
            w.components.global_w_m2,
            w.components.beam_normal_w_m2,
            w.components.diffuse_w_m2,
            w.air_temperature_degc,
            w.wind_speed_m_s
        )
    });
    std::iter::once(PLAIN_HEAD.to_owned()).chain(rows).collect()
}

fn tmy3_lines() -> Vec<String> {
    let rows = calendar(false).enumerate().map(|(at, (month, day, hour))| {
        let w = weather(at);
        format!(
            "{month:02}/{day:02}/{},{:02}:00,{},1,{},{},{},{}",
            1980 + month,
            hour + 1,
            w.components.global_w_m2,
            w.components.beam_normal_w_m2,
            w.components.diffuse_w_m2,
            w.air_temperature_degc,
            w.wind_speed_m_s
        )
    });
    [TMY3_STATION.to_owned(), TMY3_HEAD.to_owned()]
        .into_iter()
        .chain(rows)
        .collect()
}

fn expected(file: &WeatherFile) {
    assert_eq!(file.hours.len(), HOURS);
    for (at, hour) in file.hours.iter().enumerate() {
        assert_eq!(*hour, weather(at), "hour {at}");
    }
}

/// The fetched typical year as pvlib reads it (`reference/power/pvlib-year-sand-point.json`): sums, monthly means, and
/// the clearness of its months.
#[test]
fn val_sums_of_the_file() {
    let Some(hours) = sand_point_hours("sums of the typical year") else {
        return;
    };
    let reference = document("pvlib-year-sand-point.json");
    let sum = |of: fn(&WeatherHour) -> f64| hours.iter().map(of).sum::<f64>() / 1000.0;
    for (ours, name) in [
        (sum(|hour| hour.components.global_w_m2), "global_kwh_m2"),
        (sum(|hour| hour.components.beam_normal_w_m2), "beam_kwh_m2"),
        (sum(|hour| hour.components.diffuse_w_m2), "diffuse_kwh_m2"),
    ] {
        within(ours, reference[name].as_f64().unwrap(), 1e-9);
    }
    let sun = sand_point_sun();
    let mut means = [(0.0, 0.0, 0.0); 12];
    let mut light = [(0.0, 0.0); 12];
    for (hour, at) in hours.iter().zip(sun.hours()) {
        let month = &mut means[at.month];
        month.0 += hour.air_temperature_degc;
        month.1 += hour.wind_speed_m_s;
        month.2 += 1.0;
        light[at.month].0 += hour.components.global_w_m2;
    }
    for day in sun.days() {
        light[day.month].1 += day.extraterrestrial_wh_m2;
    }
    let air = twelve(&reference["air_temperature_degc"]);
    let wind = twelve(&reference["wind_speed_m_s"]);
    let clearness = twelve(&reference["clearness"]);
    for month in 0..12 {
        let (air_sum, wind_sum, count) = means[month];
        within(air_sum / count, air[month], 1e-9);
        within(wind_sum / count, wind[month], 1e-9);
        within(light[month].0 / light[month].1, clearness[month], 1e-3);
    }
}

/// The same invented year through both forms, with line ends of either kind, a mark before the first line, and empty
/// lines at the end.
#[test]
fn verif_both_forms_give_the_same_hours() {
    let plain = parse_plain_csv(&plain_lines(2023, "-09:00").join("\n")).unwrap();
    expected(&plain);
    assert_eq!(plain.place, None);
    assert_eq!((plain.utc_offset_h, plain.left_out_hours), (-9.0, 0));
    let tmy3 = parse_tmy3(&format!("\u{feff}{}\r\n\r\n", tmy3_lines().join("\r\n"))).unwrap();
    expected(&tmy3);
    let place = tmy3.place.unwrap();
    assert_eq!(place.name, "PLACE, INVENTED");
    assert_eq!(
        (place.latitude_deg, place.longitude_deg, place.elevation_m),
        (55.5, -160.5, 7.0)
    );
    assert_eq!(tmy3.utc_offset_h, -9.0);
}

#[test]
fn verif_columns_stand_in_any_order_and_offsets_have_minutes() {
    let lines: Vec<String> = plain_lines(2023, "+05:30")
        .iter()
        .map(|line| {
            let mut fields: Vec<&str> = line.split(',').collect();
            fields.reverse();
            fields.join(", ")
        })
        .collect();
    let file = parse_plain_csv(&lines.join("\n")).unwrap();
    expected(&file);
    assert_eq!(file.utc_offset_h, 5.5);
    assert_eq!(
        parse_plain_csv(&plain_lines(2023, "Z").join("\n"))
            .unwrap()
            .utc_offset_h,
        0.0
    );
}

/// A leap year has its 29 February read and left out: 1 March follows 28 February.
#[test]
fn verif_a_leap_day_is_read_and_left_out() {
    let mut lines = plain_lines(2024, "Z");
    assert_eq!(lines.len(), 8785);
    let file = parse_plain_csv(&lines.join("\n")).unwrap();
    assert_eq!((file.hours.len(), file.left_out_hours), (HOURS, 24));
    let leap_day = 24 * 59;
    assert_eq!(file.hours[leap_day - 1], weather(leap_day - 1));
    assert_eq!(file.hours[leap_day], weather(leap_day + 24));
    assert_eq!(file.hours[HOURS - 1], weather(8783));
    // It is checked all the same, and may not be missing.
    lines[1 + leap_day] = lines[1 + leap_day].replacen(&format!(",{}", leap_day % 1000), ",x", 1);
    let said = parse_plain_csv(&lines.join("\n")).unwrap_err().to_string();
    assert!(
        said.contains("line 1418") && said.contains("ghi_w_m2"),
        "{said}"
    );
    lines.drain(1 + leap_day..1 + leap_day + 24);
    let said = parse_plain_csv(&lines.join("\n")).unwrap_err().to_string();
    assert!(said.contains("2024-02-29T00:00+00:00"), "{said}");
}

/// Each mistake is told with its line, its column and what was expected.
#[test]
fn verif_mistakes_of_a_plain_table() {
    let good = plain_lines(2023, "Z");
    let told = |change: &dyn Fn(&mut Vec<String>)| {
        let mut lines = good.clone();
        change(&mut lines);
        parse_plain_csv(&lines.join("\n")).unwrap_err().to_string()
    };
    let head = |text: &str| told(&|lines| lines[0] = text.to_owned());
    let row = |text: &str| told(&|lines| lines[100] = text.to_owned());
    for (said, parts) in [
        (told(&Vec::clear), vec!["line 1", "head"]),
        (
            told(&|lines| lines.truncate(1)),
            vec!["line 2", "first hour"],
        ),
        (
            head("time,ghi,dni_w_m2"),
            vec!["line 1", "`ghi`", "ghi_w_m2,dni_w_m2"],
        ),
        (
            head("time,ghi_w_m2,ghi_w_m2"),
            vec!["line 1", "ghi_w_m2", "twice"],
        ),
        (
            head("time,ghi_w_m2"),
            vec!["line 1", "no column `dni_w_m2`"],
        ),
        (
            row("2023-01-05T03:00Z,1,2,3,4"),
            vec!["line 101", "6 fields", "found 5"],
        ),
        (
            row("2023-01-05T03:00Z,1,2,3,4,5,5"),
            vec!["line 101", "found 7", "decimals by points"],
        ),
        (
            row("2023-01-05T03:00,1,2,3,4,5"),
            vec!["line 101", "`time`", "2023-01-31T06:00-09:00"],
        ),
        (
            row("2023-01-05T03:30Z,1,2,3,4,5"),
            vec!["line 101", "`time`"],
        ),
        (
            row("2023-01-05T03:00+15:00,1,2,3,4,5"),
            vec!["line 101", "`time`"],
        ),
        (
            row("2023-01-05T03:00+01:00,1,2,3,4,5"),
            vec!["line 101", "2023-01-05T03:00+00:00"],
        ),
        (
            row("2023-01-05T04:00Z,1,2,3,4,5"),
            vec!["2023-01-05T03:00+00:00", "none left out"],
        ),
        (
            row("2024-01-05T03:00Z,1,2,3,4,5"),
            vec!["line 101", "2023-01-05T03:00+00:00"],
        ),
        (
            row("2023-01-05T03:00Z,,2,3,4,5"),
            vec!["line 101", "`ghi_w_m2`", "missing"],
        ),
        (
            row("2023-01-05T03:00Z,1,-9999,3,4,5"),
            vec!["line 101", "`dni_w_m2`", "-9999"],
        ),
        (
            row("2023-01-05T03:00Z,1,2,-1,4,5"),
            vec!["line 101", "`dhi_w_m2`", "-1", "W/m2"],
        ),
        (
            row("2023-01-05T03:00Z,1,2,2001,4,5"),
            vec!["`dhi_w_m2`", "2001", "2000"],
        ),
        (
            row("2023-01-05T03:00Z,1,2,3,NaN,5"),
            vec!["line 101", "`air_temperature_degc`"],
        ),
        (
            row("2023-01-05T03:00Z,1,2,3,inf,5"),
            vec!["line 101", "`air_temperature_degc`"],
        ),
        (
            row("2023-01-05T03:00Z,1,2,3,4,five"),
            vec!["`wind_speed_m_s`", "a number", "five"],
        ),
        (row(""), vec!["line 101", "6 fields", "found 1"]),
        (
            told(&|lines| drop(lines.remove(8))),
            vec!["line 9", "2023-01-01T07:00"],
        ),
        (
            told(&|lines| drop(lines.pop())),
            vec!["line 8761", "2023-12-31T23:00"],
        ),
        (
            told(&|lines| lines.push(lines[1].clone())),
            vec!["line 8762", "complete"],
        ),
    ] {
        for part in parts {
            assert!(said.contains(part), "{part:?} is not in {said:?}");
        }
    }
}

#[test]
fn verif_mistakes_of_a_typical_year() {
    let good = tmy3_lines();
    let told = |change: &dyn Fn(&mut Vec<String>)| {
        let mut lines = good.clone();
        change(&mut lines);
        parse_tmy3(&lines.join("\n")).unwrap_err().to_string()
    };
    let row = |text: &str| told(&|lines| lines[100] = text.to_owned());
    for (said, parts) in [
        (told(&Vec::clear), vec!["line 1", "station"]),
        (told(&|lines| lines.truncate(1)), vec!["line 2", "head"]),
        (
            told(&|lines| lines[0] = "1,NAME,AK".to_owned()),
            vec!["line 1", "7 fields", "found 3"],
        ),
        (
            told(&|lines| lines[0] = lines[0].replace("55.5", "91")),
            vec!["line 1", "latitude", "91"],
        ),
        (
            told(&|lines| lines[1] = lines[1].replace("DHI (W/m^2)", "DHI")),
            vec!["line 2", "DHI (W/m^2)"],
        ),
        (
            told(&|lines| lines[1] = lines[1].replace("GHI source", "GHI (W/m^2)")),
            vec!["line 2", "GHI (W/m^2)", "twice"],
        ),
        (
            row("01/05/1981,02:00,1,1,2,3,4,5"),
            vec!["line 101", "Time (HH:MM)", "found `02:00`", "03:00"],
        ),
        (
            row("01/06/1981,03:00,1,1,2,3,4,5"),
            vec!["line 101", "Date", "01/05"],
        ),
        (
            row("1/05/1981,03:00,1,1,2,3,4,5"),
            vec!["line 101", "MM/DD/YYYY"],
        ),
        (
            row("01/05/1981,03:00,1,1,2,3,4"),
            vec!["line 101", "8 fields", "found 7"],
        ),
        (
            row("é1/05/198,02:00,1,1,2,3,4,5"),
            vec!["line 101", "MM/DD/YYYY"],
        ),
        (
            row("01/05/1981,03:00,1,1,-9900,3,4,5"),
            vec!["line 101", "`DNI (W/m^2)`", "-9900", "not filled"],
        ),
        (
            told(&|lines| drop(lines.pop())),
            vec!["line 8762", "12/31 24:00"],
        ),
        (
            told(&|lines| lines.push(lines[2].clone())),
            vec!["line 8763", "complete"],
        ),
    ] {
        for part in parts {
            assert!(said.contains(part), "{part:?} is not in {said:?}");
        }
    }
}

/// Line and column of a mistake in a field.
fn place_of(error: &FileError) -> (usize, Option<&'static str>) {
    match error {
        FileError::NotANumber { line, column, .. }
        | FileError::Missing { line, column, .. }
        | FileError::OutOfRange { line, column, .. }
        | FileError::BadTime { line, column, .. }
        | FileError::WrongHour { line, column, .. } => (*line, Some(column)),
        FileError::Fields { line, .. } => (*line, None),
        other => panic!("{other}"),
    }
}

proptest! {
    #![proptest_config(crate::cases())]

    /// One field of a good file bent: either it still is a number in range, and only that value changes, or the
    /// mistake is told at its line and, unless commas came in, at its column.
    #[test]
    fn verif_one_bent_field(
        hour in 0..HOURS,
        column in 0_usize..6,
        text in "[-+0-9.eE,:TZaN é]{0,12}",
    ) {
        let mut lines = plain_lines(2023, "Z");
        let mut fields: Vec<&str> = lines[1 + hour].split(',').collect();
        fields[column] = &text;
        let bent = fields.join(",");
        lines[1 + hour] = bent;
        match parse_plain_csv(&lines.join("\n")) {
            Ok(file) => {
                prop_assert!(column > 0);
                let value: f64 = text.trim().parse().unwrap();
                let mut changed = weather(hour);
                *match column {
                    1 => &mut changed.components.global_w_m2,
                    2 => &mut changed.components.beam_normal_w_m2,
                    3 => &mut changed.components.diffuse_w_m2,
                    4 => &mut changed.air_temperature_degc,
                    _ => &mut changed.wind_speed_m_s,
                } = value;
                for (at, found) in file.hours.iter().enumerate() {
                    let wanted = if at == hour { changed } else { weather(at) };
                    prop_assert_eq!(*found, wanted);
                }
            }
            Err(error) => {
                let (line, named) = place_of(&error);
                prop_assert_eq!(line, hour + 2);
                if text.contains(',') {
                    prop_assert_eq!(named, None);
                } else {
                    prop_assert_eq!(named, PLAIN_HEAD.split(',').nth(column));
                }
            }
        }
    }

    /// No text whatever makes a reader panic, and none of these is a year.
    #[test]
    fn verif_any_text_is_refused(text in "\\PC{0,200}", rows in "([0-9:/.,TZ-]{0,40}\n){0,8}") {
        for body in [text.clone(), rows.clone(), format!("{PLAIN_HEAD}\n{rows}{text}")] {
            prop_assert!(parse_plain_csv(&body).is_err());
        }
        for body in [&text, &rows, &format!("{TMY3_STATION}\n{TMY3_HEAD}\n{rows}{text}")] {
            prop_assert!(parse_tmy3(body).is_err());
        }
    }
}

/// Three years on end, a leap year among them, are each the year that they are alone; a file of one form is told from the other.
#[test]
fn verif_several_years_follow_each_other() {
    let years: Vec<Vec<String>> = [2023, 2024, 2025].map(|y| plain_lines(y, "+01:00")).into();
    let mut all = years[0].clone();
    all.extend(
        years[1..]
            .iter()
            .flat_map(|lines| lines[1..].iter().cloned()),
    );
    let found = parse_plain_csv_years(&all.join("\n")).unwrap();
    let alone: Vec<WeatherFile> = years
        .iter()
        .map(|lines| parse_plain_csv(&lines.join("\n")).unwrap())
        .collect();
    assert_eq!(found, alone);
    assert_eq!(
        found.iter().map(|y| y.left_out_hours).collect::<Vec<_>>(),
        [0, 24, 0]
    );
    assert_eq!(parse_years(&all.join("\n")), Ok(found));
    let typical = tmy3_lines().join("\n");
    assert_eq!(
        parse_years(&typical),
        Ok(vec![parse_tmy3(&typical).unwrap()])
    );
    // One year is asked for, a year is left out, the last one ends early, the offset changes.
    let second = all.len() - 8760;
    assert_eq!(
        parse_plain_csv(&all.join("\n")),
        Err(FileError::TooLong { line: 8762 })
    );
    let mut gap = years[0].clone();
    gap.extend(years[2][1..].iter().cloned());
    assert!(matches!(
        parse_years(&gap.join("\n")),
        Err(FileError::WrongHour { line: 8762, .. })
    ));
    assert!(matches!(
        parse_years(&all[..second].join("\n")),
        Ok(two) if two.len() == 2
    ));
    assert!(matches!(
        parse_years(&all[..second - 1].join("\n")),
        Err(FileError::TooShort { .. })
    ));
    let mut moved = years[0].clone();
    moved.extend(plain_lines(2024, "+02:00")[1..].iter().cloned());
    assert!(matches!(
        parse_years(&moved.join("\n")),
        Err(FileError::WrongHour { line: 8762, .. })
    ));
    assert!(parse_years("").is_err());
    assert!(parse_years("time,ghi").is_err());
}
