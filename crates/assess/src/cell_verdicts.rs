//! Verdicts on a battery without its panels: how long it lasts without light, how long primary cells last, and what an hour of
//! listening costs.

use plan::{Line, Q, Supply, SupplyIx, SupplyKind};
use power::battery::LONGEST_CELL_LIFE_YEARS;
use quantity::SECONDS_PER_DAY;

use crate::corners;
use crate::energy_year::wh_per_sensor_hour;
use crate::input::{SECONDS_PER_HOUR, drawn_battery, primary_cells, refused};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};
use crate::year_verdicts::{each_battery, each_supply};

const AUTONOMY: &str = "energy of the full battery over the mean load, with self-discharge, in the month in which it lasts least (common practice)";
const CELL_LIFE: &str = "shares of the capacity at each current, with self-discharge and cold by month (common practice)";
const SENSOR_ENERGY: &str = "mean load at the battery over the hydrophones of the line";
/// Days over the limit that are marginal.
pub(crate) const NARROW_AUTONOMY_D: f64 = 1.0;
const NARROW_LIFE_D: f64 = 14.0;
/// Energy below the limit that is marginal, Wh.
const NARROW_SENSOR_WH: f64 = 0.05;

/// Names of the months.
pub(crate) const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

fn subject(line: &Line, of: SupplyIx) -> String {
    format!("supply.{}", line.supplies[of.0].id)
}

/// Time that a full battery carries the mean load without any light.
pub(crate) fn autonomy(
    line: &Line,
    of: Option<SupplyIx>,
    at_least_s: Q,
    assumed: &mut Vec<String>,
) -> Vec<Verdict> {
    each_battery(line, of, |supply| {
        if line.supplies[supply.0].kind == SupplyKind::PrimaryCells {
            return Err("primary cells have no light to wait for: a requirement on `cell-life` asks how long they last".to_owned());
        }
        let drawn = drawn_battery(line, supply).map_err(|e| e.to_string())?;
        let subject = subject(line, supply);
        let against = Against {
            side: Side::AtLeast,
            limit: at_least_s.si / SECONDS_PER_DAY,
            narrow: NARROW_AUTONOMY_D,
            unit: "d".to_owned(),
        };
        let digest = (&drawn.battery, drawn.temperature_degc, drawn.load_w);
        let evidence = Evidence::computed(AUTONOMY, &digest);
        if !drawn.full_holds {
            let why = format!(
                "not even full are its terminals above `disconnect_voltage` while its mean load of {:.2} W is drawn",
                drawn.load_w
            );
            return Ok(against.judge(subject, 0.0, evidence, why));
        }
        let lasts = drawn
            .battery
            .autonomy(&drawn.temperature_degc, drawn.load_w)
            .map_err(|e| refused(&subject, e).to_string())?;
        assumed.extend(drawn.assumed.iter().cloned());
        let degc = drawn.temperature_degc;
        let when = if degc.iter().all(|one| *one == degc[0]) {
            "all year"
        } else {
            MONTHS[lasts.month]
        };
        let why = format!(
            "from full to the cut-off at {:.1} degC ({when}), after {:.1} years in service{}; mean load {:.2} W at the battery",
            degc[lasts.month],
            drawn.battery.age_years,
            corners::at_the_end(line),
            drawn.load_w
        );
        Ok(against.judge(subject, lasts.hours / 24.0, evidence, why))
    })
}

/// Time that primary cells carry the load, from the worse of the planned and the last start.
pub(crate) fn cell_life(
    line: &Line,
    of: Option<SupplyIx>,
    at_least_s: Option<Q>,
    assumed: &mut Vec<String>,
) -> Vec<Verdict> {
    let primary = |s: &Supply| s.kind == SupplyKind::PrimaryCells;
    each_supply(line, of, primary, &mut |supply| {
        if !primary(&line.supplies[supply.0]) {
            return Err("its cells are charged: requirements on `outage-hours`, `lowest-charge` and `autonomy` ask of them".to_owned());
        }
        let subject = subject(line, supply);
        let input = primary_cells(line, supply).map_err(|e| e.to_string())?;
        let mut shortest: Option<power::battery::CellLife> = None;
        let mut corner = String::new();
        let slip_s = corners::start_slip_s(line);
        for (start, &start_hour) in input.start_hours.iter().enumerate() {
            let life = input
                .cells
                .life(&input.currents, start_hour)
                .map_err(|e| refused(&subject, e).to_string())?;
            let hours = |life: &power::battery::CellLife| life.hours.unwrap_or(f64::INFINITY);
            if shortest.is_none_or(|s| hours(&life) < hours(&s)) {
                shortest = Some(life);
                if let Some(late_s) = slip_s {
                    let late_s = if start == 0 { 0.0 } else { late_s };
                    corner = format!("; worst corner: {}", corners::started(late_s));
                }
            }
        }
        let life = shortest.ok_or("the deployment has no start")?;
        assumed.extend(input.assumed.iter().cloned());
        let highest_a = input.currents.iter().map(|c| c.current_a);
        let highest_a = highest_a.fold(0.0, f64::max);
        let (Some(hours), Some(month), Some(capacity_ah)) =
            (life.hours, life.month, life.capacity_ah)
        else {
            return Err(format!(
                "its cells last longer than {LONGEST_CELL_LIFE_YEARS} years, which is more than can be said of any cell"
            ));
        };
        let why = format!(
            "empty in {}; mean {} mA, highest {} mA, of which the mix takes a capacity of {capacity_ah:.1} Ah; pulses count as if they flowed steadily, which errs to the short side{corner}{}",
            MONTHS[month],
            digits(1e3 * life.mean_a),
            digits(1e3 * highest_a),
            corners::at_the_end(line)
        );
        let against = Against {
            side: Side::AtLeast,
            limit: at_least_s.map_or_else(|| line.deployment.longest_s(), |q| q.si)
                / SECONDS_PER_DAY,
            narrow: NARROW_LIFE_D,
            unit: "d".to_owned(),
        };
        let digest = (&input.cells, &input.currents, &input.start_hours);
        let evidence = Evidence::computed(CELL_LIFE, &digest);
        Ok(against.judge(subject, hours / 24.0, evidence, why))
    })
}

/// Energy for each hour that one hydrophone listens: of the supply that is named its share of it, else all batteries together.
pub(crate) fn sensor_energy(
    line: &Line,
    of: Option<SupplyIx>,
    at_most_j: Q,
    assumed: &mut Vec<String>,
) -> Vec<Verdict> {
    let whole = of.map_or_else(|| "the line".to_owned(), |supply| subject(line, supply));
    let judged = hour_of_listening(line, of, whole.clone(), at_most_j, assumed);
    vec![judged.unwrap_or_else(|why| unknown(whole, why))]
}

fn hour_of_listening(
    line: &Line,
    of: Option<SupplyIx>,
    subject_of_all: String,
    at_most_j: Q,
    assumed: &mut Vec<String>,
) -> Result<Verdict, String> {
    let all = (0..line.supplies.len()).map(SupplyIx);
    let asked: Vec<SupplyIx> = match of {
        Some(one) => vec![one],
        None => all
            .filter(|s| line.supplies[s.0].battery.is_some())
            .collect(),
    };
    if asked.is_empty() || asked.iter().any(|s| line.supplies[s.0].battery.is_none()) {
        return Err("no battery feeds it".to_owned());
    }
    let mut load_w = 0.0;
    for supply in &asked {
        let drawn = drawn_battery(line, *supply).map_err(|e| e.to_string())?;
        load_w += drawn.load_w;
        assumed.extend(drawn.assumed.iter().cloned());
    }
    let wh = wh_per_sensor_hour(line, load_w).ok_or("the plan has no hydrophone")?;
    let at = match (of, asked.as_slice()) {
        (Some(_), _) if line.supplies.len() > 1 => {
            "at this battery, which bears a share of the line,".to_owned()
        }
        (_, [_]) => "at the battery".to_owned(),
        (_, several) => format!("at {} batteries together", several.len()),
    };
    let against = Against {
        side: Side::AtMost,
        limit: at_most_j.si / SECONDS_PER_HOUR,
        narrow: NARROW_SENSOR_WH,
        unit: "Wh".to_owned(),
    };
    let hydrophones = line.hydrophones().count();
    let why = format!(
        "mean load {load_w:.2} W {at} over {hydrophones} hydrophone{}, counted as listening all the time",
        if hydrophones == 1 { "" } else { "s" }
    );
    let evidence = Evidence::computed(SENSOR_ENERGY, &(load_w, hydrophones));
    Ok(against.judge(subject_of_all, wh, evidence, why))
}

/// Three significant digits.
fn digits(value: f64) -> String {
    if value >= 100.0 {
        format!("{value:.0}")
    } else if value >= 1.0 {
        format!("{value:.1}")
    } else {
        format!("{value:.3}")
    }
}
