//! How late messages are ashore, for people and for programs.

use std::fmt::Write as _;

use assess::{LOOK_SHARE, UplinkAshore, UplinkWatch};
use plan::Line;
use quantity::{Dimension, show};
use serde_json::{Value, json};

use super::check::{list, wrap};
use crate::calendar::MONTHS;

const WIDTH: usize = 110;

/// An uplink of the plan, or its typed path and why its waits are unknown.
pub type UplinkFound = Result<UplinkAshore, (String, String)>;

/// For each uplink how late messages are ashore by month, when the shore should look for a heartbeat, and what sending draws.
#[must_use]
pub fn uplink_text(line: &Line, found: &[UplinkFound]) -> String {
    let mut out = format!("{}\n", line.deployment.name);
    for one in found {
        match one {
            Err((path, why)) => {
                let _ = writeln!(
                    out,
                    "\n{path}: how late messages are ashore is unknown: {why}"
                );
            }
            Ok(uplink) => one_uplink(&mut out, uplink),
        }
    }
    out
}

fn one_uplink(out: &mut String, uplink: &UplinkAshore) {
    let _ = writeln!(out, "\n{}", uplink.uplink);
    let held = match uplink.held_s > 0.0 {
        true => format!(
            ", {} of waiting for others included",
            show(uplink.held_s, Dimension::Time)
        ),
        false => String::new(),
    };
    let heading = format!(
        "A message that finds the queue empty, from when it is ready to its acknowledgement ashore{held}; * the month of the deployment in which they are latest"
    );
    rows(out, &heading);
    let _ = writeln!(
        out,
        "      {:>8} {:>8} {:>8} {:>8} {:>11} {:>11} {:>11} {:>8} {:>8}",
        "high sea", "lasts", "success", "off", "half", "90 %", "99 %", "given up", "attempts"
    );
    for (number, m) in uplink.months.iter().enumerate() {
        let percent = |share: f64| format!("{:.2} %", 100.0 * share);
        let known = |told: Option<String>| told.unwrap_or_else(|| "-".to_owned());
        let times = m.within_s.map(time);
        let _ = writeln!(
            out,
            "  {}{} {:>8} {:>8} {:>8} {:>8} {:>11} {:>11} {:>11} {:>8} {:>8.2}",
            MONTHS[number],
            if number == uplink.worst_month {
                "*"
            } else {
                " "
            },
            known(m.high_share.map(percent)),
            known(m.high_lasts_h.map(|h| format!("{h:.1} h"))),
            percent(m.success),
            percent(m.off_share),
            times[0],
            times[1],
            times[2],
            percent(m.given_up),
            m.attempts
        );
    }
    if let Some(from) = &uplink.seas_from {
        rows(out, &format!("Seas from {from}"));
    }
    for watch in &uplink.watches {
        watched(out, watch);
    }
    for (supply, parts) in &uplink.load_parts {
        match parts {
            Err(why) => rows(out, &format!("What it draws of {supply} is unknown: {why}")),
            Ok(parts) if parts.is_empty() => {}
            Ok(parts) => {
                let _ = writeln!(out, "  Mean power at the battery of {supply}");
                for part in parts {
                    let by_month = part.by_month_w.map_or(String::new(), |months| {
                        let least = months.into_iter().fold(f64::INFINITY, f64::min);
                        let most = months.into_iter().fold(0.0, f64::max);
                        format!(", from {:.1} to {:.1} mW by month", 1e3 * least, 1e3 * most)
                    });
                    rows(
                        out,
                        &format!("  {:.1} mW{by_month}: {}", 1e3 * part.power_w, part.what),
                    );
                }
            }
        }
    }
    list(
        out,
        "Taken although the plan does not write it",
        &uplink.assumed,
    );
}

fn watched(out: &mut String, watch: &UplinkWatch) {
    let seldom = 1.0 - LOOK_SHARE;
    let most_out = watch.stays_out.iter().copied().fold(0.0, f64::max);
    let all = watch.in_30_d();
    let later = match most_out > seldom {
        true => format!(
            "in the worst month {:.2} of {all:.0} in 30 d stay out by themselves, so that one that stays out tells nothing there",
            most_out * all
        ),
        false => format!(
            "{:.2} in 30 d are later all the same, in clusters as high seas come",
            watch.false_alarms()
        ),
    };
    let heading = format!(
        "{} tells each {}: a heartbeat that is later than this has a chance below {:.0} %, so look where there is such a time; {later}; a module that stops is looked for within",
        watch.module,
        show(watch.every_s, Dimension::Time),
        100.0 * seldom,
    );
    rows(out, &heading);
    for (number, name) in MONTHS.iter().enumerate() {
        let _ = writeln!(
            out,
            "    {name} {:>11} {:>11}",
            time(watch.look_after_s[number]),
            time(watch.noticed_within_s(number))
        );
    }
    match &watch.among_others {
        Ok(out_share) if *out_share > seldom => rows(
            out,
            &format!(
                "Among the other messages that are expected, its cap and its waits counted, {:.2} % of them never come ashore: these times do not hold there",
                100.0 * out_share
            ),
        ),
        Ok(_) => {}
        Err(why) => rows(
            out,
            &format!("How many of them come ashore among the other messages is not known: {why}"),
        ),
    }
}

fn rows(out: &mut String, said: &str) {
    for (k, row) in wrap(said, WIDTH).iter().enumerate() {
        let _ = writeln!(out, "  {}{row}", if k == 0 { "" } else { "  " });
    }
}

/// A time in the unit that suits it.
fn time(s: Option<f64>) -> String {
    match s {
        None => "never".to_owned(),
        Some(s) if s < 120.0 => format!("{s:.0} s"),
        Some(s) if s < 7200.0 => format!("{:.1} min", s / 60.0),
        Some(s) => format!("{:.1} h", s / 3600.0),
    }
}

/// [`uplink_text`] for programs; what is not known is `null`, with the reason beside it.
#[must_use]
pub fn uplink_json(line: &Line, found: &[UplinkFound]) -> Value {
    json!({
        "format": "uplink/1",
        "deployment": line.deployment.name,
        "uplinks": found.iter().map(|one| match one {
            Err((path, why)) => json!({ "uplink": path, "unknown": why }),
            Ok(uplink) => uplink_of(uplink),
        }).collect::<Vec<_>>(),
    })
}

fn uplink_of(uplink: &UplinkAshore) -> Value {
    json!({
        "uplink": uplink.uplink,
        "held_s": uplink.held_s,
        "seas_from": uplink.seas_from,
        "worst_month": uplink.worst_month + 1,
        "months": uplink.months.iter().enumerate().map(|(number, m)| json!({
            "month": number + 1,
            "high_share": m.high_share,
            "high_lasts_h": m.high_lasts_h,
            "success": m.success,
            "off_share": m.off_share,
            "p50_s": m.within_s[0],
            "p90_s": m.within_s[1],
            "p99_s": m.within_s[2],
            "given_up": m.given_up,
            "left": m.left,
            "attempts": m.attempts,
        })).collect::<Vec<_>>(),
        "heartbeats": uplink.watches.iter().map(|w| json!({
            "module": w.module,
            "every_s": w.every_s,
            "later_share": 1.0 - LOOK_SHARE,
            "false_alarms_in_30_d": w.false_alarms(),
            "look_after_s": w.look_after_s,
            "stays_out_share": w.stays_out,
            "stays_out_among_others_share": w.among_others.as_ref().ok(),
            "stays_out_among_others_unknown": w.among_others.as_ref().err(),
            "noticed_within_s": (0..12).map(|m| w.noticed_within_s(m)).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "loads": uplink.load_parts.iter().map(|(supply, parts)| json!({
            "supply": supply,
            "unknown": parts.as_ref().err(),
            "parts": parts.as_ref().ok().map(|parts| parts.iter().map(|p| json!({
                "what": p.what,
                "power_w": p.power_w,
                "by_month_w": p.by_month_w,
            })).collect::<Vec<_>>()),
        })).collect::<Vec<_>>(),
        "assumed": uplink.assumed,
    })
}
