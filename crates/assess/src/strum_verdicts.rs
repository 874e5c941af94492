//! For how long of a tide the strum of the rope beside a hydrophone lies in the band of a detector, as verdicts.

use mooring::StrumShares;
use plan::{Line, Q, SensorIx};

use crate::chain_verdicts::heard;
use crate::input::SECONDS_PER_HOUR;
use crate::mooring_verdicts::Hangs;
use crate::strum::{Beside, RopeBeside, RopeStrums, bands, beside, no_fairing, of_a_tide_h};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// Strum closer to its limit than this is marginal, h of a tide (a choice of ours: the speed of a tide is seldom known better).
const NARROW_H: f64 = 0.5;
const METHOD: &str = "vortices at 0.2 U/d and twice that over a tide that runs as a sine (docs/method/hours.md, mooring.md)";

/// A requirement: strum beside each hydrophone with a detector, or one.
pub(crate) fn strum_hours(
    hangs: &Hangs<'_>,
    of: Option<SensorIx>,
    at_most_s: Q,
    assumed: &mut Vec<String>,
) -> Vec<Verdict> {
    let line = hangs.line();
    let wanted = match heard(line, of) {
        Ok(wanted) => wanted,
        Err(none) => return vec![none],
    };
    let limit_h = at_most_s.si / SECONDS_PER_HOUR;
    let judged = wanted.into_iter().map(|sensor| {
        let subject = line.sensor_path(sensor);
        one(hangs, sensor, limit_h, assumed).unwrap_or_else(|why| unknown(subject, why))
    });
    judged.collect()
}

/// The detector and the rope with the longest strum.
struct Worst<'a> {
    detector: &'a str,
    band_hz: (f64, f64),
    rope: &'a RopeBeside,
    strums: RopeStrums,
}

fn one(
    hangs: &Hangs<'_>,
    sensor: SensorIx,
    limit_h: f64,
    assumed: &mut Vec<String>,
) -> Result<Verdict, String> {
    let line = hangs.line();
    let against = Against {
        side: Side::AtMost,
        limit: limit_h,
        narrow: NARROW_H,
        unit: "h a tide".to_owned(),
    };
    let subject = line.sensor_path(sensor);
    let bands = bands(line, sensor)?;
    if bands.is_empty() {
        return Err("no detector hears through it".to_owned());
    }
    let ropes = match beside(hangs, sensor)? {
        Beside::Nothing { why } => {
            let evidence = Evidence::computed(METHOD, &(&subject, &why));
            return Ok(against.judge(subject, 0.0, evidence, why));
        }
        Beside::Ropes(ropes) => ropes,
    };
    for rope in &ropes {
        let section = &line.sections[rope.section.0];
        if section.fairing.is_none() {
            let told = no_fairing(section);
            if !assumed.contains(&told) {
                assumed.push(told);
            }
        }
    }
    let mut worst: Option<Worst<'_>> = None;
    let mut open: Option<(f64, Worst<'_>)> = None;
    for (detector, band_hz) in &bands {
        for rope in &ropes {
            let strums = rope.strums(*band_hz).map_err(|e| e.to_string())?;
            let most_h = most_hours_of(&strums);
            if open.as_ref().is_none_or(|(so_far_h, _)| most_h > *so_far_h) {
                let with = Worst {
                    detector,
                    band_hz: *band_hz,
                    rope,
                    strums,
                };
                open = Some((most_h, with));
            }
            let longest_h = worst.as_ref().map(|w| hours_of(&w.strums));
            if longest_h.is_none_or(|so_far_h| hours_of(&strums) > so_far_h) {
                worst = Some(Worst {
                    detector,
                    band_hz: *band_hz,
                    rope,
                    strums,
                });
            }
        }
    }
    let worst = worst.expect("a hydrophone has a detector and a rope here");
    let hours = hours_of(&worst.strums);
    if against.holds(hours)
        && let Some((most_h, open)) = open.filter(|(most_h, _)| !against.holds(*most_h))
    {
        return Err(format!(
            "up to {most_h:.1} h: {}; where the Reynolds number is below {} or above {:.0e} no Strouhal number is known here, and those hours are counted as well",
            words(line, &open),
            mooring::CRITICAL_REYNOLDS.0,
            mooring::CRITICAL_REYNOLDS.1
        ));
    }
    let evidence = Evidence::computed(METHOD, &(&bands, &ropes));
    Ok(against.judge(subject, hours, evidence, words(line, &worst)))
}

/// Hours of the tide with the more of them if all of which nothing is known lie in the band.
fn most_hours_of(strums: &RopeStrums) -> f64 {
    let of = |shares: &StrumShares| shares.hours_a_tide() + shares.open_hours_a_tide();
    let neaps_h = strums.neaps.as_ref().map_or(0.0, of);
    of(&strums.springs).max(neaps_h)
}

/// Hours of the tide with the more of them: a weaker one may lie in the band for longer than a strong one that runs through it.
fn hours_of(strums: &RopeStrums) -> f64 {
    let neaps_h = strums.neaps.map_or(0.0, |neaps| neaps.hours_a_tide());
    strums.springs.hours_a_tide().max(neaps_h)
}

fn words(line: &Line, worst: &Worst<'_>) -> String {
    let Worst {
        detector,
        band_hz: (low_hz, high_hz),
        rope,
        strums,
    } = worst;
    let section = &line.sections[rope.section.0].id;
    let springs = &rope.springs;
    let most_hz = mooring::STROUHAL * springs.across_m_s / rope.diameter_m;
    let mm = |m: f64| quantity::show_number((m * 1e6).round() / 1e3);
    let grown = match rope.grown_m > 0.0 {
        true => format!(", {} mm with what has grown on it,", mm(rope.diameter_m)),
        false => String::new(),
    };
    let mut why = format!(
        "{detector}: the {} mm rope of section.{section}{grown} sheds vortices at up to {most_hz:.1} Hz (0.2 U/d at {:.2} m/s, the strongest at springs, {}) and is shaken at twice that too; in {low_hz:.0} to {high_hz:.0} Hz for {:.1} h of a tide by the first, {:.1} h by the second",
        mm(rope.diameter_m - 2.0 * rope.grown_m),
        springs.across_m_s,
        springs.case,
        of_a_tide_h(strums.springs.vortices),
        of_a_tide_h(strums.springs.doubled),
    );
    if let (Some(flow), Some(neaps)) = (&rope.neaps, &strums.neaps) {
        why.push_str(&format!(
            "; at neaps {:.1} h ({:.2} m/s, {})",
            neaps.hours_a_tide(),
            flow.across_m_s,
            flow.case
        ));
    }
    if springs.upright {
        why.push_str("; the rope counts as upright, since its line has no shape in that case");
    }
    if hours_of(strums) > 0.0 {
        why.push_str(&format!(
            "; `fairing = true` on section.{section}, or a hydrophone that stands on the bottom, takes it away"
        ));
    }
    why
}
