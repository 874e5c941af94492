//! How far a detector finds a call, for people and for programs.

use std::cmp::Ordering;
use std::fmt::Write as _;

use assess::range::{BandOf, Found, LawRange, Month, Outer, Ranges, Recorded, Spread};
use quantity::HALF_WIDTH_DEVIATIONS;
use serde_json::{Value, json};

use super::check::wrap;
use crate::calendar::MONTHS;

/// Points of the share over range in the JSON.
const MOST_RANGES: usize = 200;

/// A range in a few characters.
fn far(outer: Outer) -> String {
    match outer {
        Outer::Nowhere => "nowhere".to_owned(),
        Outer::At(m) if m < 1000.0 => format!("{m:.0} m"),
        Outer::At(m) => format!("{:.2} km", m / 1000.0),
        Outer::Beyond(m) => format!("> {:.0} km", m / 1000.0),
    }
}

fn spread(spread: Spread) -> String {
    match spread {
        Spread::None => "the same for every call".to_owned(),
        Spread::Normal { deviation_db } => {
            format!(
                "± {:.1} dB (95 %, k = 2: a standard deviation of {deviation_db:.1} dB)",
                HALF_WIDTH_DEVIATIONS * deviation_db
            )
        }
        Spread::Uniform { half_width_db } => {
            format!("anything within {half_width_db:.1} dB to each side")
        }
    }
}

/// The curve of each distinct wind, the months, the depths, and what makes it doubtful.
#[must_use]
pub fn range_text(name: &str, ranges: &Ranges) -> String {
    let mut out = String::new();
    let s = &ranges.subject;
    let _ = writeln!(out, "{name}\n\n{} and {}", s.detector, s.call);
    let about = format!(
        "Source at {:.0} m, {:.1} dB re 1 uPa m, {}; {:.1} dB re 1 uPa m within {:.0} Hz to {:.0} Hz, {} (all its energy there behind the high-pass over the {:.2} s of its middle 90 %). {} at {:.1} m ({}).",
        s.source_depth_m,
        s.source_level_db,
        spread(s.spread),
        s.in_band_source_db(),
        s.band_hz.0,
        s.band_hz.1,
        match s.band_of {
            BandOf::Detector => "where the detector listens",
            BandOf::Call =>
                "the band of nine tenths of the call's energy, as the detector names none",
        },
        s.energy_duration_s(),
        s.sensor,
        s.hydrophone_depth_m,
        s.hydrophone_depth_by,
    );
    for row in wrap(&about, 106) {
        let _ = writeln!(out, "  {row}");
    }
    if let Some(recorded) = &ranges.recorded {
        for row in wrap(&about_recordings(recorded), 106) {
            let _ = writeln!(out, "  {row}");
        }
    } else if !s.says_its_noise {
        let _ = writeln!(
            out,
            "  {} does not say all of its own noise (`self_noise`): beside the sea only what is known of it is\n  heard{}",
            s.sensor,
            if s.over_background() {
                ", and every range is at most this"
            } else {
                ", and with a fixed threshold more noise may carry more calls or fewer"
            }
        );
    }
    if ranges.recorded.is_none() && s.may_fold() {
        let _ = writeln!(
            out,
            "  Lines of electronics may fold into what the detector passes, and nothing says how much of them is kept\n  out (`anti_alias`, `oversampling`): they are not in this noise"
        );
    }
    if let Some(why) = s.other_sound() {
        let text =
            format!("No law was measured for this call, and no requirement on it is met: {why}.");
        for row in wrap(&text, 106) {
            let _ = writeln!(out, "  {row}");
        }
    }
    if let Some(worst) = worst(ranges) {
        curve(&mut out, worst, ranges);
    }
    over_hours(&mut out, ranges);
    let _ = writeln!(
        out,
        "\n  at the winds in which calls were drawn\n  month   wind    noise in band   half found to        nine tenths to       effective area\n                   dB re 1 uPa    seen      at least   seen      at least   seen      at least"
    );
    for month in &ranges.months {
        let r = &month.range;
        let [half, most] = r.found;
        let noise = match (r.month, r.wind_m_s) {
            (Some(of), Some(wind_m_s)) => {
                format!("{:5} {wind_m_s:5.1} m/s ", MONTHS[usize::from(of) - 1])
            }
            (None, Some(wind_m_s)) => format!("{:5} {wind_m_s:5.1} m/s ", "wind"),
            _ => format!("{:15} ", name_of(month)),
        };
        let _ = writeln!(
            out,
            "  {noise}{:8.1}       {:9} {:10} {:9} {:10} {:>7.1} {:>7.1} km2",
            r.noise_level_db,
            far(half.seen),
            far(half.low),
            far(most.seen),
            far(most.low),
            r.area_m2.0 / 1e6,
            r.area_m2.1 / 1e6,
        );
    }
    let _ = writeln!(
        out,
        "  \"at least\": by the lower limits at 95 % of the shares that were counted"
    );
    // The lower limit of N calls that are all found is the N-th root of 2.5 % (C. J. Clopper and E. S. Pearson 1934).
    let few = |m: &Month| {
        m.range.found.iter().any(|found| {
            let lost = matches!(found.low, Outer::Nowhere) && found.seen != Outer::Nowhere;
            lost && libm::pow(0.025, 1.0 / ranges.asked as f64) < found.share
        })
    };
    if ranges.months.iter().any(few) {
        let _ = writeln!(
            out,
            "  \"nowhere\" at least: {} calls at each ratio are too few to show nine tenths, even if all are found; it\n  takes 36 or more (--calls)",
            ranges.asked
        );
    }
    let of_no_month = |m: &Month| m.range.month.is_none() && m.range.wind_m_s.is_some();
    if ranges.months.iter().any(of_no_month) {
        let _ = writeln!(
            out,
            "  \"wind\": a wind by itself, asked for or the most in which a requirement is to hold"
        );
    }
    if let Some(worst) = worst(ranges) {
        let [half, most] = worst.range.louder;
        let in_which = match ranges.recorded {
            None => format!(
                "The formula of ambient noise is good to 5 dB at best: in {}",
                name_of(worst)
            ),
            Some(_) => "Other days are louder or quieter than the recordings".to_owned(),
        };
        let then = if ranges.recorded.is_some() { ":" } else { "," };
        let text = format!(
            "{in_which}{then} in noise 5 dB louder, a half is found to {} and nine tenths to {}.",
            far(half),
            far(most)
        );
        for row in wrap(&text, 104) {
            let _ = writeln!(out, "  {row}");
        }
        let _ = writeln!(
            out,
            "\n  by depth of the hydrophone, {}\n    depth   half found to   nine tenths to",
            name_of(worst)
        );
        for (depth_m, [half, most]) in &worst.by_depth {
            let here = if *depth_m == s.hydrophone_depth_m {
                "  its own"
            } else {
                ""
            };
            let _ = writeln!(
                out,
                "  {depth_m:5.0} m   {:13}   {}{here}",
                far(half.seen),
                far(most.seen)
            );
        }
        let way = if s.with_surface_image() {
            "the straight path and its image in a flat surface; no bed, no profile"
        } else {
            "a simple spreading law knows of depth only the distance and the absorption"
        };
        let _ = writeln!(out, "    {way}");
    }
    if let Some(worst) = worst(ranges) {
        by_law(&mut out, worst, ranges);
    }
    let mut warnings: Vec<&String> = ranges
        .months
        .iter()
        .flat_map(|m| &m.range.warnings)
        .collect();
    warnings.sort();
    warnings.dedup();
    for (i, warning) in warnings.iter().enumerate() {
        let gap = if i == 0 { "\n" } else { "" };
        for (row, text) in wrap(&format!("doubtful: {warning}"), 106)
            .iter()
            .enumerate()
        {
            let _ = writeln!(
                out,
                "{}  {}{text}",
                if row == 0 { gap } else { "" },
                if row == 0 { "" } else { "  " }
            );
        }
    }
    out
}

/// Ranges under each law of spreading; of a measured one with many ends only what the plan writes, the worst and the best.
fn by_law(out: &mut String, month: &Month, ranges: &Ranges) {
    let reach_m = |law: &&LawRange| match law.found[1].low {
        Outer::Nowhere => 0.0,
        Outer::At(m) | Outer::Beyond(m) => m,
    };
    let measured = ranges.subject.local.as_ref();
    let mut laws: Vec<&LawRange> = month.by_law.iter().collect();
    if measured.is_some() {
        laws.sort_by(|a, b| reach_m(a).total_cmp(&reach_m(b)));
        let last = laws.len() - 1;
        let mut at = 0;
        laws.retain(|law| {
            at += 1;
            law.own || at == 1 || at == last + 1
        });
    }
    let _ = writeln!(
        out,
        "\n  by law of spreading, {}\n    {:43} half found to        nine tenths to\n    {:43} seen      at least   seen      at least",
        name_of(month),
        "",
        ""
    );
    for law in laws {
        let [half, most] = law.found;
        let row = format!(
            "    {:43} {:9} {:10} {:9} {:10}{}",
            law.words,
            far(half.seen),
            far(half.low),
            far(most.seen),
            far(most.low),
            if law.own { " the plan's" } else { "" }
        );
        let _ = writeln!(out, "{}", row.trim_end());
    }
    let text = match measured {
        Some(local) => format!(
            "{}{}; the worst and the best of what its uncertainty leaves, and of every law from 15 to 20 lg r where it ends. A `shall` is judged under the worst.",
            local.words,
            local
                .season
                .as_ref()
                .map_or_else(String::new, |season| format!("; {season}"))
        ),
        None => "No loss was measured at the place: a `shall` is judged under all of these, and unknown where they differ.".to_owned(),
    };
    let text = match ranges.subject.no_rays() {
        Some(why) => format!("{text} Rays are not among them: {why}."),
        None => text,
    };
    for row in wrap(&text, 102) {
        let _ = writeln!(out, "    {row}");
    }
}

fn name_of(month: &Month) -> String {
    match (month.range.month, month.range.wind_m_s) {
        (Some(month), _) => MONTHS[usize::from(month) - 1].to_owned(),
        (None, Some(wind_m_s)) => format!("{wind_m_s} m/s of wind"),
        (None, None) => "as recorded".to_owned(),
    }
}

/// What the recordings are whose noise is under the calls.
fn about_recordings(recorded: &Recorded) -> String {
    let (low_db, high_db) = recorded.level_about_calls_db;
    let stretches = match recorded.stretches {
        1 => "one stretch".to_owned(),
        n => format!("{n} stretches"),
    };
    let short = match recorded.too_short {
        0 => String::new(),
        1 => "; one more stretch is too short for the detector to settle".to_owned(),
        n => format!("; {n} more stretches are too short for the detector to settle"),
    };
    format!(
        "Noise as recorded, {:.1} min in {stretches}{short}: between {low_db:.1} dB and {high_db:.1} dB re 1 uPa in the band from 5 s before to 5 s after a call, from which its ratio counts. Ranges rest on the same calls at one received level in all of this noise, so that loud and quiet noise count by how long they last. Neither wind nor shipping of the site is read. The limits speak for these recordings, and not for other days.",
        recorded.used_s / 60.0,
    )
}

/// The month of the smallest effective area.
fn worst(ranges: &Ranges) -> Option<&Month> {
    ranges
        .months
        .iter()
        .min_by(|a, b| a.range.area_m2.0.total_cmp(&b.range.area_m2.0))
}

/// Ranges over the hours of each month's wind and of the year's, by the lower limits.
fn over_hours(out: &mut String, ranges: &Ranges) {
    let winds = ranges.subject.hour_winds.as_ref();
    let (all, words) = match (&ranges.over_hours, winds) {
        (Ok(all), Ok(winds)) => (all, &winds.words),
        (Err(why), _) | (_, Err(why)) => {
            let text = format!("Over the hours of a month nothing is told: {why}.");
            let _ = writeln!(out);
            for row in wrap(&text, 104) {
                let _ = writeln!(out, "  {row}");
            }
            return;
        }
    };
    let _ = writeln!(
        out,
        "\n  over the hours, by the lower limits\n          half found to                    nine tenths to\n          P10        P50        P90        P10        P50        P90"
    );
    for row in all {
        let _ = write!(
            out,
            "  {:8}",
            row.month.map_or("year", |m| MONTHS[usize::from(m) - 1])
        );
        for share in 0..2 {
            for found in &row.found {
                let _ = write!(out, "{:11}", far(found[share].low));
            }
        }
        let end = out.trim_end_matches(' ').len();
        out.truncate(end);
        let _ = writeln!(out);
    }
    let text = format!(
        "P10: the range that nine tenths of the hours exceed. P90: the range that one hour in ten exceeds. Under the plan's own law of spreading. The wind is {words}; the noise is that of each wind by the formula, and the share of calls over the ratio that of the calls drawn in the noise nearest to it, which lies up to {:.1} dB from it.",
        all.iter().flat_map(|row| row.apart_db).fold(0.0, f64::max)
    );
    for row in wrap(&text, 104) {
        let _ = writeln!(out, "  {row}");
    }
}

fn curve(out: &mut String, month: &Month, ranges: &Ranges) {
    let sampled = &month.sampled;
    let points = sampled.curve.points();
    let calls = points.first().map_or(0, |p| p.calls);
    let asked = ranges.asked;
    let others = match calls.cmp(&asked) {
        Ordering::Less => {
            format!("\n    no more fit into the recordings; {asked} were asked for")
        }
        Ordering::Greater if sampled.kept => format!("; {asked} were asked for"),
        Ordering::Greater => {
            format!("; {asked} were asked for, and whole stretches of them are drawn")
        }
        Ordering::Equal => String::new(),
    };
    let mut winds = ranges.months.iter().map(|m| m.sampled.wind_m_s);
    let more = if winds.any(|wind| wind != sampled.wind_m_s) {
        "\n    (those at the other winds, which the other rows rest on: --format json)"
    } else {
        ""
    };
    let _ = writeln!(
        out,
        "\n  {}{}, {calls} calls at each ratio, seed {}{}{others}{more}\n    in-band ratio   found   limits at 95 %",
        name_of(month),
        sampled
            .wind_m_s
            .filter(|_| month.range.month.is_some())
            .map_or_else(String::new, |wind| format!(" ({wind:.1} m/s)")),
        sampled.seed,
        if sampled.kept { ", counted before" } else { "" },
    );
    for (point, clipped) in points.iter().zip(&sampled.clipped) {
        let overload = match clipped {
            0 => String::new(),
            n => format!("   {n} overload the converter"),
        };
        let _ = writeln!(
            out,
            "    {:7.1} dB     {:6.1} %   {:5.1} % to {:5.1} %{overload}",
            point.snr_db,
            100.0 * point.share(),
            100.0 * point.low,
            100.0 * point.high,
        );
    }
    let hours = sampled.listened_s / 3600.0;
    let _ = writeln!(
        out,
        "    false alarms: {} in {hours:.2} h of the noise alone; found by chance: {} of {calls}",
        sampled.false_alarms, sampled.by_chance
    );
    for loss in &month.losses {
        let share = 100.0 * loss.share;
        let text = match (loss.needed_db, loss.ideal_db) {
            (Some(needed), _) if loss.by_chance => format!(
                "{share:.0} % are found at {needed:.1} dB, but the noise alone gives events at {} of {calls} places of calls: that is no share of calls, and no loss is told; raise the threshold",
                sampled.by_chance
            ),
            (Some(needed), Some(ideal)) => format!(
                "{share:.0} % are found at {needed:.1} dB; the ideal energy detector of the same band, matched to the length of the call, needs {ideal:.1} dB at {}: the loss is {}{:.1} dB",
                if loss.counted {
                    "the same rate of false alarms"
                } else {
                    "the highest rate that no false alarm allows"
                },
                if loss.counted { "" } else { "at most " },
                needed - ideal,
            ),
            (Some(needed), None) => format!(
                "{share:.0} % are found at {needed:.1} dB; at so many false alarms the ideal detector has no ratio"
            ),
            (None, _) => format!("{share:.0} % are found at no ratio"),
        };
        for (i, row) in wrap(&text, 102).iter().enumerate() {
            let _ = writeln!(out, "    {}{row}", if i == 0 { "" } else { "  " });
        }
    }
}

/// The same as a document.
#[must_use]
pub fn range_json(name: &str, ranges: &Ranges) -> Value {
    let s = &ranges.subject;
    json!({
        "format": "range/1",
        "name": name,
        "detector": s.detector,
        "call": s.call,
        "sensor": s.sensor,
        "self_noise_known": s.says_its_noise,
        "source_level_db_re_1upa_m": s.source_level_db,
        "source_level_in_band_db_re_1upa_m": s.in_band_source_db(),
        "spread": match s.spread {
            Spread::None => json!({ "law": "none" }),
            Spread::Normal { deviation_db } => json!({ "law": "normal", "deviation_db": deviation_db }),
            Spread::Uniform { half_width_db } => json!({ "law": "uniform", "half_width_db": half_width_db }),
        },
        "source_depth_m": s.source_depth_m,
        "hydrophone_depth_m": s.hydrophone_depth_m,
        "hydrophone_depth_by": s.hydrophone_depth_by,
        "band_low_hz": s.band_hz.0,
        "band_high_hz": s.band_hz.1,
        "band_of": match s.band_of {
            BandOf::Detector => "detector",
            BandOf::Call => "call",
        },
        "with_surface_image": s.with_surface_image(),
        "energy_duration_s": s.energy_duration_s(),
        "time_bandwidth": s.time_bandwidth(),
        "recorded": ranges.recorded.as_ref().map(|r| json!({
            "stretches": r.stretches,
            "stretches_too_short": r.too_short,
            "used_s": r.used_s,
            "calls_asked": ranges.asked,
            "level_about_calls_low_db_re_1upa": r.level_about_calls_db.0,
            "level_about_calls_high_db_re_1upa": r.level_about_calls_db.1,
            "ranges_rest_on": "calls at one received level in all of the noise",
            "received": r.received.points().iter().map(|p| json!({
                "over_mean_noise_db": p.snr_db, "found": p.found, "share": p.share(), "low": p.low, "high": p.high,
            })).collect::<Vec<_>>(),
        })),
        "loss_measured": s.local.as_ref().map(|local| json!({
            "farthest_m": local.farthest_m, "band_low_hz": local.band_hz.0, "band_high_hz": local.band_hz.1,
            "words": local.words, "season": local.season, "why_not_of_this_call": s.other_sound(),
        })),
        "lines_may_fold": s.may_fold(),
        "why_no_rays": s.no_rays(),
        "over_hours": over_hours_json(ranges),
        "months": ranges.months.iter().map(month_json).collect::<Vec<_>>(),
    })
}

fn outer_json(outer: Outer) -> Value {
    match outer {
        Outer::Nowhere => json!({ "found": "nowhere" }),
        Outer::At(m) => json!({ "found": "to", "range_m": m }),
        Outer::Beyond(m) => json!({ "found": "beyond", "range_m": m }),
    }
}

fn found_json(found: &Found) -> Value {
    json!({
        "share": found.share,
        "seen": outer_json(found.seen),
        "at_least": outer_json(found.low),
        "seen_without_a_gap": outer_json(found.unbroken_seen),
        "at_least_without_a_gap": outer_json(found.unbroken_low),
    })
}

/// P10 is exceeded in nine tenths of the hours, P90 in one tenth.
fn over_hours_json(ranges: &Ranges) -> Value {
    let (all, words) = match (&ranges.over_hours, &ranges.subject.hour_winds) {
        (Ok(all), Ok(winds)) => (all, &winds.words),
        (Err(why), _) | (_, Err(why)) => return json!({ "why_none": why }),
    };
    let hours = all.iter().map(|row| {
        let of = |i: usize| {
            json!({ "wind_m_s": row.wind_m_s[i], "drawn_in_noise_apart_db": row.apart_db[i], "ranges": row.found[i].iter().map(found_json).collect::<Vec<_>>() })
        };
        json!({ "month": row.month, "p10": of(0), "p50": of(1), "p90": of(2) })
    });
    json!({
        "wind": words,
        "p10_is_exceeded_in_share": 0.9,
        "rows": hours.collect::<Vec<_>>(),
    })
}

fn month_json(month: &Month) -> Value {
    let (sampled, range) = (&month.sampled, &month.range);
    let step = range.seen.shares.len().div_ceil(MOST_RANGES).max(1);
    json!({
        "month": range.month,
        "wind_m_s": range.wind_m_s,
        "noise_level_db_re_1upa": range.noise_level_db,
        "calls": sampled.curve.points().first().map_or(0, |p| p.calls),
        "seed": sampled.seed,
        "kept": sampled.kept,
        "points": sampled.curve.points().iter().zip(&sampled.clipped).map(|(p, clipped)| json!({
            "snr_db": p.snr_db, "found": p.found, "share": p.share(), "low": p.low, "high": p.high, "overloaded": clipped,
        })).collect::<Vec<_>>(),
        "by_chance": sampled.by_chance,
        "false_alarms": sampled.false_alarms,
        "listened_s": sampled.listened_s,
        "losses": month.losses.iter().map(|l| json!({
            "share": l.share, "needed_snr_db": l.needed_db, "ideal_snr_db": l.ideal_db, "loss_db": l.loss_db(),
            "false_alarm": l.false_alarm, "at_most": !l.counted, "by_chance": l.by_chance,
        })).collect::<Vec<_>>(),
        "ranges": range.found.iter().map(found_json).collect::<Vec<_>>(),
        "ranges_in_noise_5_db_louder": range.louder.iter().map(|o| outer_json(*o)).collect::<Vec<_>>(),
        "effective_area_m2": range.area_m2.0,
        "effective_area_at_least_m2": range.area_m2.1,
        "over_range": range.seen.shares.iter().zip(&range.low.shares).step_by(step).map(|(seen, low)| json!({
            "range_m": seen.0, "share": seen.1, "at_least": low.1,
        })).collect::<Vec<_>>(),
        "by_depth": month.by_depth.iter().map(|(depth_m, found)| json!({
            "depth_m": depth_m, "ranges": found.iter().map(found_json).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "by_law": month.by_law.iter().map(|law| json!({
            "law": law.words, "own": law.own, "ranges": law.found.iter().map(found_json).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "warnings": range.warnings,
    })
}
