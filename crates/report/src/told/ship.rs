//! Spares, waits for weather and the cautions of a ship, for people and for programs.

use std::fmt::Write as _;

use assess::{MonthOfCalm, SpareRow, Spares, WeatherWaits, WorkWait};
use quantity::{Dimension, SECONDS_PER_DAY, show, show_share};
use serde_json::{Value, json};

use super::check::list;
use crate::calendar::MONTHS;

/// Batteries that lie and lines that are lifted.
pub(crate) const CAUTIONS: [&str; 2] = [
    "lithium cells in a hold can burn: how they travel, how full and beside what is laid down by transport rules, local codes and licensed practice, not here",
    "lifting over the side and lines under tension kill: the limits of ship, gear and crew decide when work goes on, whatever a forecast or a figure says",
];

/// Spares and waits, and the cautions.
pub(super) fn ship_text(out: &mut String, spares: &Spares, waits: &WeatherWaits) {
    spares_text(out, spares);
    for (key, wait) in [
        ("deploying", &waits.deploying),
        ("recovering", &waits.recovering),
    ] {
        match wait {
            None => {
                let _ = writeln!(
                    out,
                    "\n{key}: unknown: the plan does not write what of the sea it needs, deployment.{key}"
                );
            }
            Some(Err(why)) => {
                let _ = writeln!(out, "\n{key}: unknown: {why}");
            }
            Some(Ok(wait)) => wait_text(out, wait),
        }
    }
    list(
        out,
        "Cautions (local codes and licensed practice decide)",
        &CAUTIONS.map(str::to_owned),
    );
}

fn percent(share: Option<f64>) -> String {
    share.map_or_else(|| "unknown".to_owned(), show_share)
}

fn spares_text(out: &mut String, spares: &Spares) {
    let _ = writeln!(
        out,
        "\nSpares: the chance that every place has something that works\n  {:<24} {:>6} {:>7} {:>8} {:>9}   needed for 95 %, 99 %",
        "", "places", "aboard", "dead", "filled"
    );
    for SpareRow {
        of,
        places,
        carried,
        dead,
        filled,
        needed,
    } in &spares.rows
    {
        let needed = needed.map_or_else(|| "unknown".to_owned(), |[a, b]| format!("{a}, {b}"));
        let _ = writeln!(
            out,
            "  {of:<24} {places:>6} {carried:>7} {:>8} {:>9}   {needed}",
            dead.map_or_else(|| "unknown".to_owned(), |q| show(q, Dimension::Ratio)),
            percent(*filled),
        );
    }
    let _ = writeln!(out, "  all of them: {}", percent(spares.all_filled));
}

fn within(days: Option<f64>) -> String {
    days.map_or_else(|| "> 120".to_owned(), |d| format!("{d:.1}"))
}

fn wait_text(out: &mut String, wait: &WorkWait) {
    let _ = writeln!(
        out,
        "\n{}: {} h in a row with waves of at most {}",
        wait.key,
        wait.lasts_h,
        show(wait.wave_m, Dimension::Length)
    );
    for ready in &wait.ready {
        let chance = match (wait.slip_s, ready.in_slip) {
            (Some(slip_s), Some(chance)) => format!(
                "within its {} of {} with {:.1} %",
                wait.slip_key,
                show(slip_s, Dimension::Time),
                100.0 * chance
            ),
            _ => format!("the plan writes no {}", wait.slip_key),
        };
        let _ = writeln!(
            out,
            "  ready on {} {}: {chance}; half of the waits end by {} d, nine tenths by {} d",
            ready.on.strftime("%Y-%m-%d"),
            ready.from,
            within(ready.within_d[0]),
            within(ready.within_d[1])
        );
    }
    out.push_str(
        "  ready on the first of a month   calm, %  calm spell, h  rough, h   P50, d   P90, d\n",
    );
    for (month, of) in MONTHS.iter().zip(&wait.months) {
        let MonthOfCalm {
            calm_share,
            mean_calm_h,
            mean_rough_h,
            within_d,
        } = of;
        let _ = writeln!(
            out,
            "  {month:<30} {:>9.1} {mean_calm_h:>14.0} {mean_rough_h:>9.0} {:>8} {:>8}",
            100.0 * calm_share,
            within(within_d[0]),
            within(within_d[1])
        );
    }
}

/// The same as a part of a document.
pub(super) fn ship_json(spares: &Spares, waits: &WeatherWaits) -> Value {
    let rows: Vec<Value> = spares
        .rows
        .iter()
        .map(|row| {
            json!({
                "of": row.of,
                "places": row.places,
                "carried": row.carried,
                "dead_on_deck_percent": row.dead.map(|p| 100.0 * p),
                "filled_percent": row.filled.map(|p| 100.0 * p),
                "needed_for_95_percent": row.needed.map(|n| n[0]),
                "needed_for_99_percent": row.needed.map(|n| n[1]),
            })
        })
        .collect();
    let wait = |wait: &Option<Result<WorkWait, String>>| match wait {
        None => Value::Null,
        Some(Err(why)) => json!({ "unknown": why }),
        Some(Ok(wait)) => wait_json(wait),
    };
    json!({
        "spares": rows,
        "all_filled_percent": spares.all_filled.map(|p| 100.0 * p),
        "deploying": wait(&waits.deploying),
        "recovering": wait(&waits.recovering),
        "cautions": CAUTIONS,
    })
}

fn wait_json(wait: &WorkWait) -> Value {
    // A spell that never ends has no length.
    let finite = |h: f64| h.is_finite().then_some(h);
    let ready: Vec<Value> = wait
        .ready
        .iter()
        .map(|ready| {
            json!({
                "on": ready.on.strftime("%Y-%m-%d").to_string(),
                "from": ready.from,
                "in_slip_percent": ready.in_slip.map(|p| 100.0 * p),
                "p50_d": ready.within_d[0],
                "p90_d": ready.within_d[1],
            })
        })
        .collect();
    let months: Vec<Value> = MONTHS
        .iter()
        .zip(&wait.months)
        .map(|(month, of)| {
            json!({
                "month": month,
                "calm_percent": 100.0 * of.calm_share,
                "mean_calm_h": finite(of.mean_calm_h),
                "mean_rough_h": finite(of.mean_rough_h),
                "p50_d": of.within_d[0],
                "p90_d": of.within_d[1],
            })
        })
        .collect();
    json!({
        "wave_m": wait.wave_m,
        "lasts_h": wait.lasts_h,
        "slip_d": wait.slip_s.map(|s| s / SECONDS_PER_DAY),
        "ready": ready,
        "months": months,
    })
}
