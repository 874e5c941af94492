//! Hours without power in the years of a solar supply: generated years against a share of years.

use plan::{Line, Q, SupplyIx, SupplyKind};
use power::year::{Claim, Outages, Scratch, ShareOfYears, YearAccount};

use crate::input::{EnergyInput, InputError, SECONDS_PER_HOUR, energy};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// How the years are computed.
pub(crate) const METHOD: &str = "generated years of daily clearness (Aguiar, Collares-Pereira and Conde 1988), hourly panels and battery; exact limits (Clopper and Pearson 1934)";
/// Hours off that still are marginal, h.
const NARROW_H: f64 = 24.0;
/// Confidence that counts where none is written.
pub(crate) const CONFIDENCE: f64 = 0.95;
/// Seed of the weather: the same plan has the same years.
pub const WEATHER_SEED: u64 = 1;
/// Most years that a check draws; about half a second.
pub(crate) const MOST_YEARS: u64 = 3000;

/// The years of a supply.
///
/// `each` gets the number of the year, its account for each of the input's starts, the planned one first, and the usable state of
/// charge at the end of each hour of the planned one, 1 January first; it says whether to go on.
///
/// # Errors
/// [`InputError`] for what the energy year refuses.
pub fn generated_years(
    line: &Line,
    input: &EnergyInput,
    seed: u64,
    years: u64,
    each: &mut EachYear<'_>,
) -> Result<(), InputError> {
    let plans = input.plans(line)?;
    let what = || format!("supply.{}", line.supplies[input.supply.0].id);
    let mut clearness = [0.0; power::sun::DAYS];
    let (mut yields, mut scratch) = (Vec::new(), Scratch::default());
    for year in 0..years {
        input.weather.fill(seed, year, &mut clearness);
        input.yields.fill(&clearness, &mut yields)?;
        // The planned start last, whose hours are then still there.
        let mut accounts = Vec::with_capacity(plans.len());
        for plan in plans.iter().rev() {
            let account = plan.run(&yields, &mut scratch);
            accounts.push(account.map_err(|source| InputError::Year {
                what: what(),
                source,
            })?);
        }
        accounts.reverse();
        if !each(year, &accounts, scratch.charge()) {
            return Ok(());
        }
    }
    Ok(())
}

/// What gets each year of [`generated_years`].
pub type EachYear<'a> = dyn FnMut(u64, &[YearAccount], &[f64]) -> bool + 'a;

/// Of a year's accounts that of the worse start.
pub(crate) fn worse(accounts: &[YearAccount]) -> &YearAccount {
    accounts
        .iter()
        .max_by_key(|account| account.hours_off)
        .expect("a year has at least the planned start")
}

/// What a requirement claims of the years.
pub(crate) fn claim(at_most_s: Q, share: f64, confidence: Option<Q>) -> Claim {
    Claim {
        // Hours off are whole.
        at_most_hours: (at_most_s.si / SECONDS_PER_HOUR) as u32,
        years: ShareOfYears {
            share,
            confidence: confidence.map_or(CONFIDENCE, |q| q.si),
        },
    }
}

pub(crate) fn outage_hours(
    line: &Line,
    of: Option<SupplyIx>,
    at_most_s: Q,
    share: Option<Q>,
    confidence: Option<Q>,
    assumed: &mut Vec<String>,
) -> Vec<Verdict> {
    let wanted = |i: &usize| match of {
        Some(one) => one.0 == *i,
        None => line.supplies[*i].battery.is_some(),
    };
    (0..line.supplies.len())
        .filter(wanted)
        .map(|i| {
            let subject = format!("supply.{}", line.supplies[i].id);
            let judged = outage(line, SupplyIx(i), at_most_s, share, confidence, assumed);
            judged.unwrap_or_else(|why| unknown(subject, why))
        })
        .collect()
}

fn outage(
    line: &Line,
    of: SupplyIx,
    at_most_s: Q,
    share: Option<Q>,
    confidence: Option<Q>,
    assumed: &mut Vec<String>,
) -> Result<Verdict, String> {
    let supply = &line.supplies[of.0];
    if supply.kind != SupplyKind::SolarBattery {
        return Err("the hourly year is worked out for panels with a battery only".to_owned());
    }
    let share = share.map(|q| q.si).ok_or("no share of years is written")?;
    if confidence.is_none() {
        assumed.push(format!(
            "a share of years is shown with {} % confidence, because no `confidence` is written",
            100.0 * CONFIDENCE
        ));
    }
    let claim = claim(at_most_s, share, confidence);
    let confidence = claim.years.confidence;
    let years = claim.years.years_needed().map_err(|_| {
        format!(
            "no number of years shows {} % of years at {} % confidence: both must lie below 100 %",
            100.0 * share,
            100.0 * confidence
        )
    })?;
    if years > MOST_YEARS {
        return Err(format!(
            "{years} years without a bad one would be needed, and {MOST_YEARS} are drawn at most: ask for a smaller share or confidence"
        ));
    }
    let input = energy(line, of).map_err(|e| e.to_string())?;
    assumed.extend(input.assumed.iter().cloned());
    let mut outages = Outages::new();
    generated_years(line, &input, WEATHER_SEED, years, &mut |_, accounts, _| {
        outages.add(worse(accounts));
        true
    })
    .map_err(|e| e.to_string())?;
    // With as many years as the claim needs none may be bad: the longest outage is what is shown of the share.
    let shown_h = outages.hours_off_in(1.0).ok_or("no year was generated")?;
    let bad = outages.bad_years(claim.at_most_hours);
    let mean_w: f64 = input.load_parts.iter().map(|p| p.power_w).sum();
    let against = Against {
        side: Side::AtMost,
        limit: at_most_s.si / SECONDS_PER_HOUR,
        narrow: NARROW_H,
        unit: "h a year".to_owned(),
    };
    let digest = (
        WEATHER_SEED,
        years,
        claim,
        &input.systems,
        &input.load,
        line.sea.clearness.iter().map(|q| q.si).collect::<Vec<_>>(),
        line.sea.wind_m_s.iter().map(|q| q.si).collect::<Vec<_>>(),
        (
            line.sea.latitude_deg.si,
            line.sea.longitude_deg.si,
            supply.panels.as_ref().map(|p| (p.tilt_deg.si, p.loss.si)),
        ),
    );
    let why = format!(
        "the most in {years} generated years, of which {bad} break the limit: so many show {} % of years at {} % confidence; \
         mean load {mean_w:.2} W at the battery; generated years err to the dark side (docs/method/energy-year.md)",
        100.0 * share,
        100.0 * confidence
    );
    Ok(against.judge(
        format!("supply.{}", supply.id),
        f64::from(shown_h),
        Evidence::computed(METHOD, &digest),
        why,
    ))
}
