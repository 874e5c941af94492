//! Verdicts on the years of a solar supply: hours without power and the lowest charge, each against a share of years.

use plan::{Line, Q, Supply, SupplyIx};
use power::year::ShareOfYears;
use quantity::{Dimension, show};
use sha2::{Digest, Sha256};

use crate::corners;
use crate::input::SECONDS_PER_HOUR;
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};
use crate::years::{
    CONFIDENCE, MOST_YEARS, SupplyYears, WEATHER_SEED, Years, claim, share_of_years,
};

/// How generated years are computed.
const GENERATED: &str = "generated years of daily clearness (Aguiar, Collares-Pereira and Conde 1988), hourly panels and battery; exact limits (Clopper and Pearson 1934)";
/// How those of a weather file are.
const MEASURED: &str =
    "measured hours of weather, hourly panels and battery; exact limits (Clopper and Pearson 1934)";
/// Hours off that still are marginal, h.
const NARROW_H: f64 = 24.0;
/// Charge over the limit that is marginal, points.
const NARROW_POINTS: f64 = 5.0;

/// Shares of the years of which the distribution is told besides the worst.
const MIDDLE: f64 = 0.5;
const MOST: f64 = 0.9;

/// A verdict for each supply that a requirement on batteries is about.
pub(crate) fn each_battery(
    line: &Line,
    of: Option<SupplyIx>,
    mut judge: impl FnMut(SupplyIx) -> Result<Verdict, String>,
) -> Vec<Verdict> {
    each_supply(line, of, |s| s.battery.is_some(), &mut judge)
}

/// A verdict for the supply that is named, or for each of a kind.
pub(crate) fn each_supply(
    line: &Line,
    of: Option<SupplyIx>,
    kind: impl Fn(&Supply) -> bool,
    judge: &mut dyn FnMut(SupplyIx) -> Result<Verdict, String>,
) -> Vec<Verdict> {
    let wanted = |i: &usize| match of {
        Some(one) => one.0 == *i,
        None => kind(&line.supplies[*i]),
    };
    (0..line.supplies.len())
        .filter(wanted)
        .map(|i| {
            let subject = format!("supply.{}", line.supplies[i].id);
            judge(SupplyIx(i)).unwrap_or_else(|why| unknown(subject, why))
        })
        .collect()
}

pub(crate) fn outage_hours(
    line: &Line,
    of: Option<SupplyIx>,
    at_most_s: Q,
    share: Option<Q>,
    confidence: Option<Q>,
    years: &mut Years<'_>,
) -> Vec<Verdict> {
    each_battery(line, of, |supply| {
        let against = Against {
            side: Side::AtMost,
            limit: at_most_s.si / SECONDS_PER_HOUR,
            narrow: NARROW_H,
            unit: "h a year".to_owned(),
        };
        if let Some(own) = years.own(supply) {
            let own = own?;
            let hours: Vec<f64> = own.hours_off().into_iter().map(f64::from).collect();
            let held = own.own_held(hours.iter().map(|h| against.holds(*h)).collect());
            years.note(held);
            return of_a_draw(line, supply, &against, &hours);
        }
        let asked = Asked::of(line, supply, share, confidence, years)?;
        let outages = asked.years.outages(asked.count);
        let claim = claim(at_most_s, asked.share);
        let bad = outages.bad_years(claim.at_most_hours);
        let more = format!("more than {} h off", claim.at_most_hours);
        let allowed = asked.decided(bad, &more)?;
        let known = || "no year was run".to_owned();
        let shown_h = outages.hours_off_but(allowed).ok_or_else(known)?;
        let hours = |share| outages.hours_off_in(share).ok_or_else(known);
        let why = format!(
            "{}; the middle year has {} h, nine in ten at most {} h, the worst {} h; {}{}",
            asked.counted(bad, &more)?,
            hours(MIDDLE)?,
            hours(MOST)?,
            hours(1.0)?,
            asked.rests_on(),
            corners::of_years(line, asked.years.worse_starts(asked.count, false))
        );
        let judged = against.judge(
            asked.subject(line),
            f64::from(shown_h),
            asked.evidence(line, "outage-hours"),
            why,
        );
        Ok(judged.so_far(asked.count, asked.of_years()))
    })
}

pub(crate) fn lowest_charge(
    line: &Line,
    of: Option<SupplyIx>,
    at_least: Q,
    share: Option<Q>,
    confidence: Option<Q>,
    years: &mut Years<'_>,
) -> Vec<Verdict> {
    each_battery(line, of, |supply| {
        let against = Against {
            side: Side::AtLeast,
            limit: 100.0 * at_least.si,
            narrow: NARROW_POINTS,
            unit: "%".to_owned(),
        };
        if let Some(own) = years.own(supply) {
            let own = own?;
            let lowest = own.lowest_of_each().into_iter();
            let percent: Vec<f64> = lowest.map(|charge| 100.0 * charge).collect();
            let held = own.own_held(percent.iter().map(|p| against.holds(*p)).collect());
            years.note(held);
            return of_a_draw(line, supply, &against, &percent);
        }
        let asked = Asked::of(line, supply, share, confidence, years)?;
        let lowest = asked.years.lowest_charges(asked.count);
        let bad = lowest.bad_years(at_least.si);
        let below = format!(
            "less than {} of its charge left at some hour",
            show(at_least.si, Dimension::Ratio)
        );
        let allowed = asked.decided(bad, &below)?;
        let known = || "no year was run".to_owned();
        let shown = lowest.charge_but(allowed).ok_or_else(known)?;
        let percent = |share| {
            let charge = lowest.charge_in(share).ok_or_else(known);
            charge.map(|c| format!("{:.1} %", 100.0 * c))
        };
        let why = format!(
            "{}; the lowest charge of the middle year is {}, of nine in ten at least {}, of the worst {}; {}{}",
            asked.counted(bad, &below)?,
            percent(MIDDLE)?,
            percent(MOST)?,
            percent(1.0)?,
            asked.rests_on(),
            corners::of_years(line, asked.years.worse_starts(asked.count, true))
        );
        let judged = against.judge(
            asked.subject(line),
            100.0 * shown,
            asked.evidence(line, "lowest-charge"),
            why,
        );
        Ok(judged.so_far(asked.count, asked.of_years()))
    })
}

/// The verdict of one draw: the worst of its own few years against the limit.
fn of_a_draw(
    line: &Line,
    supply: SupplyIx,
    against: &Against,
    each_year: &[f64],
) -> Result<Verdict, String> {
    let worse = |a: f64, b: f64| match against.side {
        Side::AtMost => a.max(b),
        Side::AtLeast => a.min(b),
    };
    let worst = each_year.iter().copied().reduce(worse);
    let worst = worst.ok_or("no year was run")?;
    Ok(against.judge(
        format!("supply.{}", line.supplies[supply.0].id),
        worst,
        Evidence::computed(GENERATED, &each_year),
        format!("the worst of {} years", each_year.len()),
    ))
}

/// A share of years that is asked of a supply, and the years that answer.
struct Asked<'y> {
    supply: SupplyIx,
    share: ShareOfYears,
    needed: u64,
    years: &'y SupplyYears,
    /// How many of them count.
    count: u64,
}

impl<'y> Asked<'y> {
    fn of(
        line: &Line,
        supply: SupplyIx,
        share: Option<Q>,
        confidence: Option<Q>,
        years: &'y mut Years<'_>,
    ) -> Result<Self, String> {
        let share = share.map(|q| q.si).ok_or("no share of years is written")?;
        if confidence.is_none() {
            years.assumed.push(format!(
                "a share of years is shown with {} confidence, because no `confidence` is written",
                show(CONFIDENCE, Dimension::Ratio)
            ));
        }
        let share = share_of_years(share, confidence);
        let needed = share.years_needed().map_err(|_| {
            format!(
                "no number of years shows {}: both must lie below 100 %",
                words(share)
            )
        })?;
        let measured = line.sea.weather.is_some();
        if needed > MOST_YEARS && !measured {
            return Err(format!(
                "{needed} years without a bad one would be needed, and {MOST_YEARS} are drawn at most: ask for a smaller share or confidence"
            ));
        }
        let years = years.of(supply)?;
        Ok(Self {
            supply,
            share,
            needed,
            years,
            count: years.count(needed),
        })
    }

    /// Years that the claim asks for: as many as were measured, or as show it when none is bad.
    fn of_years(&self) -> u64 {
        let measured = self.years.input.light.measured_years();
        measured.unwrap_or(self.needed)
    }

    fn measured(&self) -> bool {
        self.years.input.light.measured_years().is_some()
    }

    /// How many bad years the claim bears, when so many are `bad`; why it is not known, when the years show neither the claim nor
    /// its contrary. Of generated years there are as many as the claim needs when none is bad, so one that is bad breaks it, also
    /// among the first of them that a quick check counts.
    fn decided(&self, bad: u64, what: &str) -> Result<u64, String> {
        if self.count < self.of_years() {
            return Ok(0);
        }
        let said = |e: power::year::YearError| e.to_string();
        let allowed = self.share.most_bad(self.count).map_err(said)?;
        let refuted = self.share.is_refuted_by(bad, self.count).map_err(said)?;
        match allowed {
            Some(allowed) if bad <= allowed || refuted || !self.measured() => Ok(allowed),
            None if refuted => Ok(0),
            _ => Err(format!(
                "{}, and that neither shows nor refutes {}: {} years without a bad one show it; {}",
                self.counted(bad, what)?,
                words(self.share),
                self.needed,
                self.rests_on()
            )),
        }
    }

    /// How many of the years are bad, and what that shows of all years.
    fn counted(&self, bad: u64, what: &str) -> Result<String, String> {
        let confidence = self.share.confidence;
        let bound =
            chance::bad_share_bound(bad, self.count, confidence).map_err(|e| e.to_string())?;
        let (kind, have) = (
            if self.measured() {
                "measured"
            } else {
                "generated"
            },
            if self.count == 1 {
                "year has"
            } else {
                "years have"
            },
        );
        Ok(format!(
            "{bad} of {} {kind} {have} {what}: at {} confidence at most {} % of years",
            self.count,
            show(confidence, Dimension::Ratio),
            rounded_up(100.0 * bound)
        ))
    }

    fn rests_on(&self) -> String {
        let input = &self.years.input;
        let mean_w: f64 = input.load_parts.iter().map(|p| p.power_w).sum();
        let standby_w = input.systems[0].standby_w;
        let caution = if self.measured() {
            "what was measured is these years and no more; a typical year is no bad one"
        } else {
            "generated years err to the dark side (docs/method/energy-year.md)"
        };
        format!(
            "mean load {:.2} W at the battery; {caution}",
            mean_w + standby_w
        )
    }

    fn subject(&self, line: &Line) -> String {
        format!("supply.{}", line.supplies[self.supply.0].id)
    }

    fn evidence(&self, line: &Line, that: &str) -> Evidence {
        let numbers = |all: &[Q]| all.iter().map(|q| q.si).collect::<Vec<f64>>();
        let sea = &line.sea;
        let panels = line.supplies[self.supply.0].panels.as_ref().map(|p| {
            let dirt = p.dirt.as_ref();
            (
                (p.tilt_deg.si, p.loss.si),
                p.azimuth_deg.map(|q| q.si),
                p.loss_per_kelvin.map(|q| q.si),
                dirt.map(|d| [&d.birds, &d.salt, &d.growth].map(|kind| numbers(kind))),
            )
        });
        let horizon: Vec<(f64, f64)> = sea
            .horizon
            .iter()
            .map(|p| (p.azimuth_deg.si, p.elevation_deg.si))
            .collect();
        let weather = sea.weather.as_ref();
        let digest = (
            (that, WEATHER_SEED, self.count, self.share),
            (&self.years.input.systems, &self.years.input.load),
            [&sea.clearness, &sea.wind_m_s, &sea.air_temperature_degc].map(|all| numbers(all)),
            (sea.latitude_deg.si, sea.longitude_deg.si, horizon),
            weather.map(|w| plan::hex(&Sha256::digest(w.text.as_bytes()))),
            panels,
        );
        let method = if self.measured() { MEASURED } else { GENERATED };
        Evidence::computed(method, &digest)
    }
}

fn words(share: ShareOfYears) -> String {
    format!(
        "{} of years at {} confidence",
        show(share.share, Dimension::Ratio),
        show(share.confidence, Dimension::Ratio)
    )
}

/// A bound in percent with two digits after the point, never below it.
fn rounded_up(percent: f64) -> f64 {
    (100.0 * percent).ceil() / 100.0
}
