//! How much hydrophones hear, and how often waves clip their chains, as verdicts.

use plan::{Line, Listeners, Q, SensorIx, SupplyKind};
use power::weather::{WIND_LASTS_H, WindYears};
use quantity::{Dimension, show, show_number, show_share};

use crate::cell_verdicts::{MONTHS, cell_life};
use crate::hours::{Cause, HeardYears, Seas, Waved, Whose};
use crate::input::SECONDS_PER_HOUR;
use crate::months::months_in_water;
use crate::start_verdicts::never_starts;
use crate::verdict::{Against, Evidence, Ruling, Side, Verdict, unknown};
use crate::years::{CONFIDENCE, MOST_YEARS, OwnHeld, Years, share_of_years};

/// Margins below which a verdict is marginal (choices of ours).
const NARROW_POINTS: f64 = 1.0;
const NARROW_H: f64 = 2.0;
const NARROW_CLIPPED_POINTS: f64 = 0.1;
/// A smaller share of the time is none (a choice of ours): a thirtieth of a second of a year, in which the tail of a normal law is a matter of rounding.
const NEVER: f64 = 1e-9;
const HEARING: &str = "hours of hearing: the hourly year, Rayleigh's wind, Pierson and Moskowitz's sea, a tide of two constituents, causes at once; exact limits (docs/method/hours.md)";
const WAVES: &str = "waves and heave through the high-pass, Gaussian, over the winds of each month (docs/method/hours.md)";
/// Corners that are tried for a high-pass that would do, Hz.
const CORNERS_HZ: [f64; 9] = [0.5, 1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 50.0, 100.0];
const POLES: u32 = 2;

/// A requirement: the share of time that is clipped by waves and heave, of each hydrophone or one.
pub(crate) fn heave_overload(
    line: &Line,
    of: Option<SensorIx>,
    at_most: Q,
    assumed: &mut Vec<String>,
) -> Vec<Verdict> {
    let wanted: Vec<SensorIx> = match of {
        Some(sensor) => vec![sensor],
        None => line.hydrophones().collect(),
    };
    if wanted.is_empty() {
        return vec![unknown("the line", "it has no hydrophone")];
    }
    let judged = wanted.into_iter().map(|sensor| {
        let subject = line.sensor_path(sensor);
        clipped(line, sensor, at_most.si, assumed).unwrap_or_else(|why| unknown(subject, why))
    });
    judged.collect()
}

/// A smaller share of the time that waves clip is not worth a word where nobody asks for it.
const TOLD_CLIPPED: f64 = 0.01;

/// Hydrophones of which waves and heave clip the chain for a part of the worst month that is worth a word, where no requirement asks for that; what is not known of it is for that requirement to say.
pub(crate) fn clipped_open(line: &Line) -> Vec<String> {
    let asks = |r: &plan::Requirement| matches!(r.that, plan::That::HeaveOverload { .. });
    if line.requirements.iter().any(asks) {
        return Vec::new();
    }
    let mut assumed = Vec::new();
    let each = line.hydrophones().filter_map(|sensor| {
        let Ok(Verdict::Known(known)) = clipped(line, sensor, TOLD_CLIPPED, &mut assumed) else {
            return None;
        };
        (known.ruling == Ruling::Broken).then(|| {
            format!(
                "{} for {} % of the time of its worst month",
                known.subject,
                show_number(known.value.value)
            )
        })
    });
    each.collect()
}

fn clipped(
    line: &Line,
    sensor: SensorIx,
    at_most: f64,
    assumed: &mut Vec<String>,
) -> Result<Verdict, String> {
    let seas = Seas::of(line)?;
    let waved = Waved::of(line, sensor)?;
    let winds = WindYears::new(seas.wind_m_s(), WIND_LASTS_H).map_err(|e| e.to_string())?;
    for told in waved
        .assumed
        .iter()
        .cloned()
        .chain([seas.words().to_owned()])
    {
        if !assumed.contains(&told) {
            assumed.push(told);
        }
    }
    let months = months_in_water(line);
    let worst = |waved: &Waved| {
        let share = |month: usize| {
            let share = seas.clipped_share(waved, month, &winds);
            if share < NEVER { 0.0 } else { share }
        };
        let each = months.iter().map(|m| (share(*m), *m));
        each.max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)))
            .expect("a deployment lies in some month")
    };
    let (share, month) = worst(&waved);
    let mean_m_s = seas.wind_m_s()[month];
    let sea_m = seas.height_m(month, mean_m_s);
    let swell = line.sea.swell.map_or_else(String::new, |swell| {
        format!(
            " and the swell of {} m and {} s",
            show_number(swell.height_m.si),
            show_number(swell.period_s.si)
        )
    });
    let mut why = format!(
        "{}: in {} a sea of {sea_m:.1} m at the mean wind of {} m/s{swell} makes {} rms {}, and full scale is {}",
        waved.held,
        MONTHS[month],
        show_number(mean_m_s),
        pascals(waved.heard_pa(sea_m)),
        waved.high_pass.map_or_else(
            || "without a high-pass".to_owned(),
            |(corner_hz, poles)| format!(
                "behind the high-pass of {poles} {} at {} Hz",
                if poles == 1 { "pole" } else { "poles" },
                show_number(corner_hz)
            )
        ),
        pascals(waved.full_scale_pa),
    );
    if share > at_most {
        let poles = waved.high_pass.map_or(POLES, |(_, poles)| poles.max(1));
        let would_do = CORNERS_HZ.iter().find(|corner_hz| {
            let higher = waved
                .high_pass
                .is_none_or(|(own_hz, _)| **corner_hz > own_hz);
            higher
                && Waved::behind(line, sensor, Some((**corner_hz, poles)))
                    .is_ok_and(|other| worst(&other).0 <= at_most)
        });
        why.push_str(&match would_do {
            Some(corner_hz) => format!(
                "; a high-pass of {poles} {} at {} Hz would keep it",
                if poles == 1 { "pole" } else { "poles" },
                show_number(*corner_hz)
            ),
            None => "; no high-pass up to 100 Hz keeps it: less gain, or a hydrophone that does not rise with a buoy".to_owned(),
        });
    }
    let against = Against {
        side: Side::AtMost,
        limit: 100.0 * at_most,
        narrow: NARROW_CLIPPED_POINTS,
        unit: "%".to_owned(),
    };
    let evidence = Evidence::computed(WAVES, &(&waved, &seas, &months));
    Ok(against.judge(line.sensor_path(sensor), 100.0 * share, evidence, why))
}

fn pascals(pa: f64) -> String {
    if pa >= 1000.0 {
        format!("{:.1} kPa", pa / 1000.0)
    } else {
        format!("{pa:.1} Pa")
    }
}

/// Figures of the years, each with the month of which it is, where it is of one.
type Figures = Vec<(f64, Option<usize>)>;

/// What is judged of each year.
struct Claimed<'a> {
    against: Against,
    /// What a bad year has, in words.
    bad: String,
    /// Those of whom it is about.
    figures: &'a dyn Fn(&HeardYears, Whose) -> Figures,
    /// Whether it is of the longest time without, of which that is no part which drowns hydrophones at times.
    of_stretches: bool,
}

impl Claimed<'_> {
    /// What the plan does not say enough of.
    fn missing(&self, line: &Line, heard: &HeardYears, whose: Whose) -> Vec<String> {
        let mut missing = heard.unknown(line, whose);
        let stretch = heard.stretch_unknown(line, whose);
        missing.extend(stretch.filter(|_| self.of_stretches));
        missing
    }
}

/// A requirement: the share of the hours of the worst month.
pub(crate) fn listening_share(
    of: Listeners,
    at_least: Q,
    claim: (Option<Q>, Option<Q>),
    years: &mut Years<'_>,
) -> Vec<Verdict> {
    let claimed = Claimed {
        against: Against {
            side: Side::AtLeast,
            limit: 100.0 * at_least.si,
            narrow: NARROW_POINTS,
            unit: "%".to_owned(),
        },
        bad: format!(
            "less than {} of the hours of some month",
            show(at_least.si, Dimension::Ratio)
        ),
        figures: &|heard, whose| {
            let months = heard.worst_months(whose).into_iter();
            months
                .map(|(share, month)| (100.0 * share, Some(month)))
                .collect()
        },
        of_stretches: false,
    };
    each(of, &claimed, claim, years)
}

/// A requirement: the longest time without hearing.
pub(crate) fn listening_gap(
    of: Listeners,
    at_most_s: Q,
    claim: (Option<Q>, Option<Q>),
    years: &mut Years<'_>,
) -> Vec<Verdict> {
    let claimed = Claimed {
        against: Against {
            side: Side::AtMost,
            limit: at_most_s.si / SECONDS_PER_HOUR,
            narrow: NARROW_H,
            unit: "h".to_owned(),
        },
        bad: format!("more than {} without", show(at_most_s.si, Dimension::Time)),
        figures: &|heard, whose| {
            let gaps = heard.gaps_h(whose).into_iter();
            gaps.map(|gap_h| (gap_h, None)).collect()
        },
        of_stretches: true,
    };
    each(of, &claimed, claim, years)
}

/// Why hours of hearing are not all there: cells that are empty before the latest recovery.
fn cells_run_out(line: &Line) -> Option<String> {
    if !line
        .supplies
        .iter()
        .any(|s| s.kind == SupplyKind::PrimaryCells)
    {
        return None;
    }
    let lives = cell_life(line, None, None, &mut Vec::new());
    let Some(Verdict::Known(life)) = lives.into_iter().find(Verdict::is_broken) else {
        return None;
    };
    Some(format!(
        "hours count as if {} gave power at every one, and its cells last {} d: a requirement on `cell-life` asks that",
        life.subject,
        show_number(life.value.value)
    ))
}

fn each(
    asked: Listeners,
    claimed: &Claimed<'_>,
    claim: (Option<Q>, Option<Q>),
    years: &mut Years<'_>,
) -> Vec<Verdict> {
    let line = years.hangs.line();
    let in_a_draw = years.is_a_draw();
    let mut notes = Vec::new();
    let verdicts: Vec<Verdict> = match years.hearing() {
        Err(why) => vec![unknown("the line", why)],
        Ok(heard) => {
            let best = heard.at_best();
            let of = |heard: &HeardYears, whose: Whose, notes: &mut Vec<OwnHeld>| {
                let found = if in_a_draw {
                    Ok(of_a_draw(line, heard, whose, claimed, notes))
                } else {
                    of_years(line, heard, whose, claimed, claim)
                };
                found.unwrap_or_else(|why| unknown(heard.subject(line, whose), why))
            };
            let judged = heard.whose(asked).into_iter().map(|whose| {
                let at_most = of(heard, whose, &mut notes);
                match &best {
                    // What is kept with all that electronics may take is kept.
                    Some(best) if at_most.is_broken() => {
                        let at_least = of(best, whose, &mut Vec::new());
                        between(at_most, at_least, &heard.between(whose))
                    }
                    _ => at_most,
                }
            });
            judged.collect()
        }
    };
    for note in notes {
        years.note(note);
    }
    // A draw does not follow its start.
    let open = match in_a_draw {
        true => None,
        false => cells_run_out(line).or_else(|| never_starts(line, years.memo)),
    };
    let verdicts: Vec<Verdict> = verdicts
        .into_iter()
        .map(|verdict| verdict.only_broken_for(open.as_ref()))
        .collect();
    if !in_a_draw && claim.1.is_none() {
        let told = format!(
            "a share of years is shown with {} confidence, because no `confidence` is written",
            show(CONFIDENCE, Dimension::Ratio)
        );
        if !years.assumed.contains(&told) {
            years.assumed.push(told);
        }
    }
    verdicts
}

/// What is broken with the most that electronics may take: broken with the least, or unknown between the two.
fn between(at_most: Verdict, at_least: Verdict, why: &[String]) -> Verdict {
    if at_least.is_broken() {
        return at_least.because("; this with the least that electronics can take");
    }
    let value = |verdict: &Verdict| match verdict {
        Verdict::Known(known) => Some((known.value.value, known.value.unit.clone())),
        Verdict::Provisional(so_far) => Some((so_far.value.value, so_far.value.unit.clone())),
        Verdict::Unknown { .. } => None,
    };
    match value(&at_most).zip(value(&at_least)) {
        Some(((most, unit), (least, _))) => unknown(
            at_most.subject(),
            format!(
                "{most:.1} {unit} with the most that electronics may take, and {least:.1} {unit} with the least: {}",
                why.join("; ")
            ),
        ),
        None => at_least,
    }
}

/// What is known of the causes can break a limit, and not keep it while another is unknown.
fn whole(verdict: Verdict, missing: &[String]) -> Verdict {
    if missing.is_empty() {
        return verdict;
    }
    let broken = matches!(&verdict, Verdict::Known(k) if k.ruling == Ruling::Broken);
    if broken {
        return verdict.because(&format!(
            "; not counted, because the plan does not say enough: {}",
            missing.join("; ")
        ));
    }
    unknown(
        verdict.subject(),
        format!("the plan does not say enough: {}", missing.join("; ")),
    )
}

fn of_a_draw(
    line: &Line,
    heard: &HeardYears,
    whose: Whose,
    claimed: &Claimed<'_>,
    notes: &mut Vec<OwnHeld>,
) -> Verdict {
    let figures = (claimed.figures)(heard, whose);
    let missing = claimed.missing(line, heard, whose);
    let subject = heard.subject(line, whose);
    let worst = figures
        .iter()
        .map(|(f, _)| *f)
        .reduce(|a, b| match claimed.against.side {
            Side::AtMost => a.max(b),
            Side::AtLeast => a.min(b),
        });
    let Some(worst) = worst else {
        return unknown(subject, "no year was run");
    };
    if missing.is_empty() {
        notes.push(OwnHeld {
            measured: heard.measured.is_some(),
            numbers: heard.numbers.clone(),
            held: figures
                .iter()
                .map(|(f, _)| claimed.against.holds(*f))
                .collect(),
        });
    }
    let evidence = Evidence::computed(HEARING, &(&heard.made_from, &figures));
    let why = format!("the worst of {} years", figures.len());
    whole(
        claimed.against.judge(subject, worst, evidence, why),
        &missing,
    )
}

fn of_years(
    line: &Line,
    heard: &HeardYears,
    whose: Whose,
    claimed: &Claimed<'_>,
    (share, confidence): (Option<Q>, Option<Q>),
) -> Result<Verdict, String> {
    let share = share_of_years(
        share.map(|q| q.si).ok_or("no share of years is written")?,
        confidence,
    );
    let words = format!(
        "{} of years at {} confidence",
        show(share.share, Dimension::Ratio),
        show(share.confidence, Dimension::Ratio)
    );
    let needed = share
        .years_needed()
        .map_err(|_| format!("no number of years shows {words}: both must lie below 100 %"))?;
    if needed > MOST_YEARS && heard.measured.is_none() {
        return Err(format!(
            "{needed} years without a bad one would be needed, and {MOST_YEARS} are drawn at most: ask for a smaller share or confidence"
        ));
    }
    let said = |e: power::year::YearError| e.to_string();
    let (figures, against) = ((claimed.figures)(heard, whose), &claimed.against);
    let count = figures.len() as u64;
    let bad = figures.iter().filter(|(f, _)| !against.holds(*f)).count() as u64;
    let counted = format!(
        "{bad} of {count} {} years have {}",
        if heard.measured.is_some() {
            "measured"
        } else {
            "generated"
        },
        claimed.bad
    );
    let refuted = share.is_refuted_by(bad, heard.of_years).map_err(said)?;
    let allowed = match share.most_bad(heard.of_years).map_err(said)? {
        Some(allowed) if bad <= allowed || refuted || heard.measured.is_none() => allowed,
        None if refuted => 0,
        _ => {
            return Err(format!(
                "{counted}, and that neither shows nor refutes {words}: {needed} years without a bad one show it"
            ));
        }
    };
    let mut sorted = figures.clone();
    sorted.sort_by(|a, b| match against.side {
        Side::AtLeast => a.0.total_cmp(&b.0),
        Side::AtMost => b.0.total_cmp(&a.0),
    });
    let at = |place: u64| sorted.get((place as usize).min(sorted.len().saturating_sub(1)));
    // Of fewer years than are asked for that which so many of them would decide, unless all years are decided by these.
    let in_part = count < heard.of_years;
    let place = match in_part && bad <= allowed {
        true => allowed * count / heard.of_years.max(1),
        false => allowed,
    };
    let (Some((value, month)), Some((middle, _))) = (at(place), at(count / 2)) else {
        return Err("no year was run".to_owned());
    };
    let unit = &against.unit;
    let borne = match in_part {
        true => format!(
            "{}, which is {} so far, and {words} bear {allowed} of {}, which is {}",
            counted,
            show_share(bad as f64 / count.max(1) as f64),
            heard.of_years,
            show_share(allowed as f64 / heard.of_years.max(1) as f64)
        ),
        false => format!("{counted}, and {words} bear {allowed}"),
    };
    let mut why = format!("{borne}; the middle year has {middle:.1} {unit}");
    if let Some(month) = month {
        why.push_str(&format!("; the worst month is {}", MONTHS[*month]));
    }
    let causes = heard.causes(whose);
    if !causes.is_empty() {
        let told: Vec<String> = causes
            .iter()
            .map(|(cause, share, ear)| {
                let told = format!("{} {}", cause.word(), show_share(*share));
                match whose {
                    Whose::Ear(_) => told,
                    Whose::AtOnce(_) => {
                        format!("{told} at {}", heard.subject(line, Whose::Ear(*ear)))
                    }
                }
            })
            .collect();
        let which = match whose {
            Whose::Ear(_) => "",
            Whose::AtOnce(_) => ", where it takes most",
        };
        why.push_str(&format!(
            "; of all the time each takes by itself{which}: {}",
            told.join(", ")
        ));
    }
    let judged = against.judge(
        heard.subject(line, whose),
        *value,
        Evidence::computed(HEARING, &(&heard.made_from, &heard.in_water, count, share)),
        why,
    );
    let bad_or_narrow = matches!(&judged, Verdict::Known(k) if k.ruling != Ruling::Met);
    let judged = match causes.first().filter(|_| bad_or_narrow) {
        Some((cause, ..)) => judged.because(&format!("; {}", mends(*cause))),
        None => judged,
    };
    let judged = whole(judged, &claimed.missing(line, heard, whose));
    // So many of those so far that the share of all can hardly be borne any more.
    let hopeless = in_part && share.is_refuted_by(bad, count).map_err(said)?;
    Ok(match bad > allowed || hopeless {
        true => judged.so_far(count, heard.of_years),
        false => judged.so_far_open(count, heard.of_years),
    })
}

/// What mends the cause that takes most.
fn mends(cause: Cause) -> &'static str {
    match cause {
        Cause::Power => {
            "power takes most: more panels, a larger battery or a smaller load (`soundline year`)"
        }
        Cause::Starting => {
            "starting takes most: what restarts less often, boots faster or settles sooner"
        }
        Cause::Path => {
            "the way ashore takes most: a store beside the hydrophone, or the same supply for what leads on"
        }
        Cause::Clock => "the clock takes most: a better one, or one that is set from elsewhere",
        Cause::Heave => {
            "waves and heave take most: a high-pass with a higher corner, less gain, or a hydrophone that does not rise with a buoy"
        }
        Cause::Strum => {
            "strum takes most: `fairing = true` on the section, or a hydrophone on the bottom"
        }
        Cause::PickUp => {
            "electronics take most: another frequency of the converter, a low-pass ahead of the sampling, or screens (`soundline chain`)"
        }
    }
}
