//! Verdicts on spares, on windows of weather, and on the charge with which a battery is deployed.

use plan::{Line, Q, SupplyIx, SupplyKind};
use quantity::{Dimension, show};

use super::spares::spares;
use super::weather::{Ready, Wait, weather_waits};
use crate::attested_verdicts::day;
use crate::corners;
use crate::input::deployed;
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};
use crate::year_verdicts::each_supply;

const SPARES: &str = "binomial law of what is dead on deck (docs/method/slip.md)";
const WINDOW: &str = "waits for a window in a chain of calm and rough hours, Weibull heights by month (docs/method/slip.md)";
const CHARGE: &str =
    "self-discharge and a steady draw of a battery that lies (docs/method/slip.md)";
/// Points of percent over the limit that are marginal.
const NARROW_POINTS: f64 = 5.0;
const NARROW_CHANCE_POINTS: f64 = 2.0;

fn percent(at_least: Q, narrow: f64) -> Against {
    Against {
        side: Side::AtLeast,
        limit: 100.0 * at_least.si,
        narrow,
        unit: "%".to_owned(),
    }
}

/// Chance that every place of the line is filled.
pub(crate) fn enough_spares(line: &Line, at_least: Q) -> Verdict {
    const SUBJECT: &str = "the line";
    let found = spares(line);
    if found.rows.is_empty() {
        return unknown(SUBJECT, "the plan has neither modules nor spans");
    }
    let silent: Vec<&str> = found
        .rows
        .iter()
        .filter(|row| row.dead.is_none())
        .map(|row| row.of.as_str())
        .collect();
    let (true, Some(all)) = (silent.is_empty(), found.all_filled) else {
        return unknown(
            SUBJECT,
            format!(
                "how often one is dead on deck is not written, of {}: add `dead_on_deck = \"2 %\"` to [deployment] or to a `spare` table",
                silent.join(", ")
            ),
        );
    };
    let weakest = found
        .rows
        .iter()
        .min_by(|a, b| a.filled.unwrap_or(1.0).total_cmp(&b.filled.unwrap_or(1.0)));
    let weakest = weakest.map_or_else(String::new, |row| {
        format!(
            "; the least is that of {}: {} and {} aboard, {} of each dead, {:.2} % filled, {} for 95 %",
            row.of,
            match row.places {
                1 => "1 place".to_owned(),
                n => format!("{n} places"),
            },
            match row.carried {
                0 => "no spare".to_owned(),
                1 => "1 spare".to_owned(),
                n => format!("{n} spares"),
            },
            show(row.dead.unwrap_or(f64::NAN), Dimension::Ratio),
            100.0 * row.filled.unwrap_or(f64::NAN),
            match row.needed {
                Some([0, _]) => "none is needed".to_owned(),
                Some([1, _]) => "1 spare is needed".to_owned(),
                Some([n, _]) => format!("{n} spares are needed"),
                None => "more than can be counted are needed".to_owned(),
            }
        )
    });
    let why = format!("each works or not for itself{weakest}");
    let evidence = Evidence::computed(SPARES, &found);
    percent(at_least, NARROW_CHANCE_POINTS).judge(SUBJECT.to_owned(), 100.0 * all, evidence, why)
}

/// Chance that each work finds its window within its slip.
pub(crate) fn weather_window(line: &Line, at_least: Q) -> Vec<Verdict> {
    let waits = weather_waits(line);
    let both = [
        ("deployment.deploying", waits.deploying),
        ("deployment.recovering", waits.recovering),
    ];
    if both.iter().all(|(_, wait)| wait.is_none()) {
        return vec![unknown(
            "the deployment",
            "no work is written: add `deploying = { wave = \"1.5 m\", lasts = \"12 h\" }` and `recovering` to [deployment]",
        )];
    }
    let each = both.into_iter().map(|(subject, wait)| match wait {
        None => unknown(
            subject,
            "it is not written: add `{ wave = \"1.5 m\", lasts = \"12 h\" }` to [deployment]",
        ),
        Some(wait) => within_slip(subject, wait, at_least),
    });
    each.collect()
}

fn within_slip(subject: &str, wait: Wait, at_least: Q) -> Verdict {
    let wait = match wait {
        Ok(wait) => wait,
        Err(why) => return unknown(subject, why),
    };
    let chances = wait.ready.iter().filter_map(|r| Some((r, r.in_slip?)));
    let Some((ready, chance)) = chances.min_by(|a, b| a.1.total_cmp(&b.1)) else {
        let slip = wait.slip_key;
        return unknown(
            subject,
            format!("no `{slip}` is written: how long may be waited"),
        );
    };
    let why = format!(
        "{} h in a row with waves of at most {}, ready on {} {}, within {}; half of the waits end by {}, nine tenths by {}",
        wait.lasts_h,
        show(wait.wave_m, Dimension::Length),
        day(ready.on),
        ready.from,
        show(wait.slip_s.unwrap_or(0.0), Dimension::Time),
        days(ready, 0),
        days(ready, 1)
    );
    let evidence = Evidence::computed(WINDOW, &wait);
    percent(at_least, NARROW_CHANCE_POINTS).judge(subject.to_owned(), 100.0 * chance, evidence, why)
}

fn days(ready: &Ready, which: usize) -> String {
    match ready.within_d[which] {
        None => "more than 120 d".to_owned(),
        Some(days) => format!("{days:.1} d"),
    }
}

/// Charge of each battery when it is deployed, at the worse of the planned and the last start.
pub(crate) fn charge_at_deployment(
    line: &Line,
    of: Option<SupplyIx>,
    at_least: Q,
    assumed: &mut Vec<String>,
) -> Vec<Verdict> {
    let charged = |s: &plan::Supply| s.kind == SupplyKind::SolarBattery;
    each_supply(line, of, charged, &mut |supply| {
        let own = &line.supplies[supply.0];
        if !charged(own) {
            return Err("it has no battery that is charged before it is deployed".to_owned());
        }
        let found = deployed(line, supply).map_err(|e| e.to_string())?;
        let worst = found.starts.iter().min_by(|a, b| a.1.total_cmp(&b.1));
        let &(later_s, charge) = worst.ok_or("the deployment has no start")?;
        let hold = own.hold.ok_or("no `hold` is written")?;
        for one in &found.assumed {
            if !assumed.contains(one) {
                assumed.push(one.clone());
            }
        }
        let late = corners::started(later_s);
        let why = format!(
            "{late}: {} since its last full charge with {} drawn all the time; of what is usable in the cold of the month, at its age",
            show(hold.lasts_s.si + later_s, Dimension::Time),
            show(hold.draws_w.si, Dimension::Power)
        );
        let evidence =
            Evidence::computed(CHARGE, &(&found.battery, &found.starts, hold.draws_w.si));
        let subject = format!("supply.{}", own.id);
        Ok(percent(at_least, NARROW_POINTS).judge(subject, 100.0 * charge, evidence, why))
    })
}
