//! The energy years of a supply, for people and for programs.

use std::fmt::Write as _;

use assess::{BAND_SHARES, EnergyYears, SecondOpinion};
use serde_json::{Value, json};

use super::check::{list, wrap};
use crate::calendar::{MONTHS, day_name};

/// Shares of the years of which the hours off are told.
const OFF_SHARES: [f64; 4] = [0.5, 0.9, 0.99, 1.0];
/// Peak powers, as shares of the planned one, of which the smallest battery is told; JSON and picture have all.
const TOLD_PEAKS: [f64; 6] = [0.5, 0.75, 1.0, 1.5, 2.0, 3.0];
/// Confidence of the limits of the share of years with an outage.
const CONFIDENCE: f64 = 0.95;

/// The load and of what it is made, the months, hours off, the worst week, sizes, and what was assumed.
#[must_use]
pub fn year_text(name: &str, years: &EnergyYears) -> String {
    let mut out = String::new();
    let _ = writeln!(
        out,
        "{name}\n\n{}: {}\n",
        years.supply,
        match &years.weather_file {
            None => format!(
                "{}, seed {}",
                counted(years.years, "generated year"),
                years.seed
            ),
            Some(path) => format!("{} of {path}", counted(years.years, "measured year")),
        }
    );
    let _ = writeln!(
        out,
        "Load at the battery {:.2} W, {:.1} Wh a day",
        years.load_w,
        24.0 * years.load_w
    );
    for part in &years.load_parts {
        let _ = writeln!(out, "  {:>8.3} W  {}", part.power_w, part.what);
    }
    if years.standing_w > 0.0 {
        let _ = writeln!(
            out,
            "  {:>8.3} W  besides, that charge controller and supply draw themselves",
            years.standing_w
        );
    }
    if let Some(wh) = years.wh_per_sensor_hour {
        let _ = writeln!(
            out,
            "  {wh:.3} Wh for each hour that one hydrophone listens"
        );
    }
    if let Some(days) = years.autonomy_d {
        let degc = &years.cells_degc;
        let differ = degc.iter().any(|one| *one != degc[0]);
        let month = years.autonomy_month.filter(|_| differ);
        let when = month.map_or_else(String::new, |month| {
            format!(" in {}, when it lasts least", MONTHS[month])
        });
        let _ = writeln!(
            out,
            "Without any light the full battery lasts {days:.1} d{when}"
        );
    }
    let _ = writeln!(out);
    let _ = writeln!(
        out,
        "  month   sun Wh/d  load Wh/d   hours off   years with one   lowest charge %"
    );
    let _ = writeln!(
        out,
        "                                in a year     of {:>5}      middle   worst",
        years.years
    );
    for (name, m) in MONTHS.iter().zip(&years.months) {
        let _ = writeln!(
            out,
            "  {name}    {:>9.1}  {:>9.1}   {:>9.2}   {:>14}   {:>8.0}  {:>6.0}",
            m.gained_wh_per_d,
            m.asked_wh_per_d,
            m.hours_off,
            m.years_with_outage,
            100.0 * m.middle_lowest_charge,
            100.0 * m.lowest_charge
        );
    }
    let outages = &years.outages;
    let off: Vec<String> = OFF_SHARES
        .iter()
        .filter_map(|share| {
            let hours = outages.hours_off_in(*share)?;
            Some(format!("{hours} h in {:.0} %", 100.0 * share))
        })
        .collect();
    let _ = writeln!(
        out,
        "\nHours off a year, at most: {} of the years",
        off.join(", ")
    );
    let have = if years.years == 1 { "has" } else { "have" };
    let _ = write!(
        out,
        "{} of {} {have} an hour off",
        outages.bad_years(0),
        counted(years.years, "year")
    );
    let _ = match outages.bad_share_limits(0, CONFIDENCE) {
        Ok((low, high)) => writeln!(
            out,
            ": between {:.2} % and {:.2} % of years at {:.0} % confidence",
            100.0 * low,
            100.0 * high,
            100.0 * CONFIDENCE
        ),
        Err(why) => writeln!(out, ": {why}"),
    };
    let lowest = &years.lowest_charges;
    let charge: Vec<String> = OFF_SHARES
        .iter()
        .filter_map(|share| {
            let charge = lowest.charge_in(*share)?;
            Some(format!("{:.0} % in {:.0} %", 100.0 * charge, 100.0 * share))
        })
        .collect();
    let _ = writeln!(
        out,
        "Lowest charge of a year, at least: {} of the years",
        charge.join(", ")
    );
    if let Some(second) = &years.second_opinion {
        let _ = writeln!(out, "{}", second_opinion(second, years.years));
    }
    for row in wrap(
        "Where the start may slip these are the hours and charges of the worse of the planned and the last start; months and the worst week are those of the planned one.",
        108,
    ) {
        let _ = writeln!(out, "{row}");
    }
    let (year, week) = &years.worst_week;
    let day = week.first_hour / 24;
    let _ = writeln!(
        out,
        "\nWorst week: from {} of year {year}, usable charge at the end of each day: {}",
        day_name(day),
        week.charge
            .chunks(24)
            .filter_map(|day| day.last())
            .map(|c| format!("{:.0} %", 100.0 * c))
            .collect::<Vec<_>>()
            .join(", ")
    );
    if let Some(sizes) = &years.sizes {
        let c = &sizes.claim;
        let _ = writeln!(
            out,
            "\nSmallest battery for at most {} h off in {} % of years at {} % confidence\n  panels W   battery Wh   (planned {:.0} W, {:.0} Wh)",
            c.at_most_hours,
            100.0 * c.years.share,
            100.0 * c.years.confidence,
            sizes.planned.0,
            sizes.planned.1
        );
        let told = |peak_w: f64| {
            let is = |share: &f64| (share * sizes.planned.0 - peak_w).abs() < 1e-6 * peak_w;
            TOLD_PEAKS.iter().any(is)
        };
        for row in sizes.rows.iter().filter(|row| told(row.peak_power_w)) {
            let battery = row.battery_wh.map_or_else(
                || format!("none up to {:.0}", sizes.largest_wh),
                |wh| format!("{wh:.0}"),
            );
            let _ = writeln!(out, "  {:>8.0}   {battery:>10}", row.peak_power_w);
        }
    }
    if let (None, Some(needed)) = (&years.sizes, years.years_needed) {
        let _ = writeln!(
            out,
            "\nNo sizes are told: the requirement on this supply needs {needed} years, which are more than were run or than a check draws"
        );
    }
    let _ = writeln!(out);
    let caution = match &years.weather_file {
        None => {
            "Generated years err to the dark side where real days spread less than the models say: at one station of 55 deg north they have three times the hours off of its typical year (docs/method/energy-year.md). Show the distribution and this bias, never one number.".to_owned()
        }
        Some(_) => measured_caution(years),
    };
    for row in wrap(&caution, 108) {
        let _ = writeln!(out, "{row}");
    }
    list(
        &mut out,
        "Assumed, because the plan does not say otherwise",
        &years.assumed,
    );
    out
}

/// What the other model of daily clearness says.
fn second_opinion(second: &SecondOpinion, years: u64) -> String {
    let charge = second.lowest_charges.charge_in(1.0);
    format!(
        "Second opinion, days by the distribution of Bendt and others: {} of {} with an hour off, lowest charge {}",
        second.outages.bad_years(0),
        counted(years, "year"),
        charge.map_or_else(|| "unknown".to_owned(), |c| format!("{:.0} %", 100.0 * c))
    )
}

fn counted(number: u64, what: &str) -> String {
    match number {
        1 => format!("1 {what}"),
        many => format!("{many} {what}s"),
    }
}

/// What so few years can support.
fn measured_caution(years: &EnergyYears) -> String {
    let most = 100.0 * years.bad_share_of_none;
    format!(
        "Measured years are these and no more: where none of {} is bad, that shows only that at most {most:.1} % of years are, at {:.0} % confidence. A typical year (TMY) is no bad year: its months were picked for being ordinary.",
        counted(years.years, "year"),
        100.0 * CONFIDENCE
    )
}

/// The same as one JSON object.
#[must_use]
pub fn year_json(name: &str, years: &EnergyYears) -> Value {
    let (worst_year, week) = &years.worst_week;
    json!({
        "format": "year/1",
        "name": name,
        "supply": years.supply,
        "seed": years.seed,
        "years": years.years,
        "weather_file": years.weather_file,
        "standing_w": years.standing_w,
        "load_w": years.load_w,
        "load_parts": years.load_parts.iter().map(|p| json!({ "what": p.what, "power_w": p.power_w })).collect::<Vec<_>>(),
        "energy_per_sensor_hour_wh": years.wh_per_sensor_hour,
        "autonomy_d": years.autonomy_d,
        "autonomy_month": years.autonomy_month.map(|m| MONTHS[m]),
        "start_hour_of_year": years.start_hour,
        "months": MONTHS.iter().zip(&years.months).map(|(name, m)| json!({
            "month": name,
            "gained_wh_per_d": m.gained_wh_per_d,
            "asked_wh_per_d": m.asked_wh_per_d,
            "hours_off_h": m.hours_off,
            "years_with_outage": m.years_with_outage,
            "lowest_charge": m.lowest_charge,
            "middle_lowest_charge": m.middle_lowest_charge,
        })).collect::<Vec<_>>(),
        "years_needed": years.years_needed,
        "hours_off_h": years.outages.hours_off(),
        "battery_temperature_degc": years.cells_degc,
        "lowest_charge": years.lowest_charge,
        "lowest_charge_of_years": years.lowest_charges.charges(),
        "second_opinion": years.second_opinion.as_ref().map(|s| json!({
            "hours_off_h": s.outages.hours_off(),
            "lowest_charge_of_years": s.lowest_charges.charges(),
        })),
        "worst_week": { "year": worst_year, "first_hour_of_year": week.first_hour, "charge": week.charge },
        "band_shares_of_years": BAND_SHARES,
        "charge_by_day": years.band,
        "sizes": years.sizes.as_ref().map(|s| json!({
            "at_most_h": s.claim.at_most_hours,
            "share": s.claim.years.share,
            "confidence": s.claim.years.confidence,
            "largest_wh": s.largest_wh,
            "step_wh": s.step_wh,
            "planned": { "peak_power_w": s.planned.0, "battery_wh": s.planned.1 },
            "rows": s.rows.iter().map(|r| json!({
                "peak_power_w": r.peak_power_w, "battery_wh": r.battery_wh, "bad_years": r.bad_years,
            })).collect::<Vec<_>>(),
        })),
        "assumed": years.assumed,
    })
}
