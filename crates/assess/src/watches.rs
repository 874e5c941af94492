//! Limits on the world that the line polices, as verdicts: whether a sound that just reaches the limit at its distance is measured at the
//! hydrophone whole, over the noise and under full scale, whether the threshold has the guard band that its uncertainty asks for, and whether
//! it is told in time. Equations, sources and limits: docs/method/watches.md.

use chance::normal_value_at_share;
use plan::{Action, Confirm, Detector, LevelStage, Line, Q, Stage, WatchedLevel, WorldWatch};
use quantity::{Dimension, HALF_WIDTH_DEVIATIONS, Law, show, show_number};

use crate::chain::{ChainBudget, chain_budget_of};
use crate::delay_verdicts::delay;
use crate::input::detector_spec;
use crate::memo::Memo;
use crate::month::UnderLoad;
use crate::pick_up::{KEPT_OUT_UNSAID, Which};
use crate::range::listens_in;
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// So far the noise is to lie below the threshold, dB (common practice: it then adds 0.4 dB).
pub const NOISE_CLEAR_DB: f64 = 10.0;
/// Margins below which a verdict of a watch is marginal, dB: choices of ours.
const NARROW_DB: f64 = 1.0;
const NARROW_NOISE_DB: f64 = 3.0;
/// From one value of a level to the next where the plan does not say, as a share of its window.
const HOP_OF_WINDOW: f64 = 0.25;
const METHOD: &str = "a level carried from its distance to the hydrophone, and a guard band of its uncertainty (docs/method/watches.md; GUM, JCGM 100:2008, from memory)";

/// What is expected at the hydrophone when the limit is just reached, and how surely.
#[derive(Clone, Debug, PartialEq)]
pub struct Carried {
    /// Level at the hydrophone, dB.
    pub level_db: f64,
    /// What is added to the limit to give it: the loss of the way between, dB, negative where the hydrophone lies further off.
    pub nearer_db: f64,
    /// Parts of the uncertainty, each a standard deviation, dB, with what it is of.
    pub parts: Vec<(&'static str, f64)>,
    /// Their sum in squares, dB.
    pub deviation_db: f64,
    /// Guard band: so far the threshold lies below that level, dB.
    pub guard_db: f64,
}

/// What is expected at the hydrophone of a watch.
///
/// # Errors
/// What the plan does not say.
pub fn carried(line: &Line, watch: &WorldWatch) -> Result<Carried, String> {
    let detector = &line.detectors[watch.by.0];
    let sensor = line.sensor(detector.on);
    let times = watch.at_m.si / watch.hydrophone_at_m.si;
    let decades = libm::log10(times);
    let spreading = match watch.spreading_db {
        Some(q) => q,
        None if decades == 0.0 && watch.hydrophone_at_m.law.is_none() => Q {
            si: 0.0,
            law: None,
            at: watch.at,
        },
        None => {
            return Err(
                "`spreading` is not written: the level that a tenfold distance takes between the two".to_owned(),
            );
        }
    };
    let calibration = sensor
        .calibrated
        .as_ref()
        .and_then(|c| c.uncertainty_db)
        .ok_or_else(|| {
            format!(
                "`calibrated` of {} says nothing of its `uncertainty`",
                line.sensor_path(detector.on)
            )
        })?;
    let varies = watch.varies_db.ok_or(
        "`varies` is not written: by how much the two levels differ besides the law of spreading",
    )?;
    let nearer_db = spreading.si * decades;
    // d(N lg r)/dr = N / (r ln 10).
    let by_metre_db = spreading.si / (watch.hydrophone_at_m.si * std::f64::consts::LN_10);
    let parts = vec![
        ("calibration", calibration.db / HALF_WIDTH_DEVIATIONS),
        ("law of spreading", deviation(spreading.law) * decades.abs()),
        (
            "distance of the hydrophone",
            deviation(watch.hydrophone_at_m.law) * by_metre_db.abs(),
        ),
        ("variation", varies.db / HALF_WIDTH_DEVIATIONS),
    ];
    let squares: f64 = parts.iter().map(|(_, db)| db * db).sum();
    let deviation_db = libm::sqrt(squares);
    let guard_db = normal_value_at_share(1.0 - watch.missed.si) * deviation_db;
    Ok(Carried {
        level_db: watch.limit_db.db + nearer_db,
        nearer_db,
        parts,
        deviation_db,
        guard_db,
    })
}

/// The standard deviation of a spread.
fn deviation(law: Option<Law>) -> f64 {
    match law {
        None => 0.0,
        Some(Law::Normal { half_width }) => half_width / HALF_WIDTH_DEVIATIONS,
        Some(Law::Uniform { half_width }) => half_width / libm::sqrt(3.0),
    }
}

/// All that decides whether a watch is policed.
pub(crate) fn watched(line: &Line, watch: &WorldWatch, memo: &Memo) -> Vec<Verdict> {
    let detector = &line.detectors[watch.by.0];
    let path = format!("detector.{}", detector.id);
    let mut verdicts = Vec::new();
    let levels = threshold(watch, detector)
        .map(|own_db| MaySet::of(line, watch, own_db))
        .and_then(|threshold| Ok((threshold, carried(line, watch)?)));
    match levels {
        Err(why) => verdicts.push(unknown(format!("{path} threshold"), why)),
        Ok((threshold, carried)) => {
            verdicts.push(guarded(watch, &path, &threshold, &carried));
            match chain_budget_of(line, detector.on, memo) {
                Err(error) => verdicts.push(unknown(path.clone(), error.to_string())),
                Ok(budget) => {
                    let heard = heard_band(line, &budget, &path, watch);
                    verdicts.extend(heard.map(|why| unknown(format!("{path} band"), why)));
                    verdicts.push(over_noise(watch, detector, &budget, &threshold, memo));
                    verdicts.push(under_full_scale(watch, &budget, &carried));
                }
            }
        }
    }
    verdicts.extend(taken_whole(watch, detector).map(|why| unknown(format!("{path} length"), why)));
    verdicts.push(match &watch.told {
        Some(told) => match told.that {
            plan::That::Delay {
                from,
                to,
                at_most_s,
            } => delay(line, from, to, at_most_s, told, &mut UnderLoad::LeftOut),
            _ => unreachable!("a watch is told within a delay"),
        },
        None => unknown(
            format!("{path} told"),
            "nothing says where it is told and how soon: add `to = \"module.ID.output.ID\"` and `within = \"10 s\"`",
        ),
    });
    verdicts
}

/// The fixed threshold of a detector that takes the level that a watch limits, dB.
fn threshold(watch: &WorldWatch, detector: &Detector) -> Result<f64, String> {
    let wanted = match watch.of {
        WatchedLevel::Exposure => "exposure",
        WatchedLevel::Rms => "rms",
    };
    let takes = detector.stages.iter().any(|stage| {
        matches!(
            (stage, watch.of),
            (
                Stage::Level {
                    kind: LevelStage::Exposure,
                    ..
                },
                WatchedLevel::Exposure
            ) | (
                Stage::Level {
                    kind: LevelStage::Rms,
                    ..
                },
                WatchedLevel::Rms
            )
        )
    });
    if !takes {
        return Err(format!(
            "the limit is one of {wanted}, and the detector takes another level: `level = \"{wanted}\"` does"
        ));
    }
    if detector.over_background() {
        return Err("the detector holds its level against a running background and not against a threshold, so that it says nothing of a limit".to_owned());
    }
    detector
        .stages
        .iter()
        .find_map(|stage| match stage {
            Stage::Trigger { on_above_db, .. } => Some(on_above_db.db),
            _ => None,
        })
        .ok_or_else(|| "the detector holds its level against no threshold".to_owned())
}

/// What the threshold of a detector may be while it listens.
struct MaySet {
    lowest_db: f64,
    highest_db: f64,
    /// The behaviour that sets it highest, where one sets it above the plan's own.
    highest_by: Option<String>,
    /// The behaviour that sets it lowest, where one sets it below the plan's own.
    lowest_by: Option<String>,
}

impl MaySet {
    /// A rule sets it to what it says; a routine, and a rule that leaves it to what it was asked, to anything that is settable.
    fn of(line: &Line, watch: &WorldWatch, own_db: f64) -> Self {
        let settable = line.detectors[watch.by.0].settable.threshold_db;
        let mut all = MaySet {
            lowest_db: own_db,
            highest_db: own_db,
            highest_by: None,
            lowest_by: None,
        };
        for behaviour in &line.behaviours {
            for action in &behaviour.actions {
                let Action::Set {
                    detector,
                    threshold_db,
                    hold_off_s,
                } = action
                else {
                    continue;
                };
                let says = threshold_db.is_some() || hold_off_s.is_some();
                let anything = settable.filter(|_| behaviour.routine.is_some() || !says);
                let range = anything
                    .map(|(low, high)| (low.db, high.db))
                    .or(threshold_db.map(|db| (db, db)));
                let Some((low_db, high_db)) = range.filter(|_| *detector == watch.by) else {
                    continue;
                };
                let by = || Some(format!("behaviour.{}", behaviour.id));
                if high_db > all.highest_db {
                    (all.highest_db, all.highest_by) = (high_db, by());
                }
                if low_db < all.lowest_db {
                    (all.lowest_db, all.lowest_by) = (low_db, by());
                }
            }
        }
        all
    }
}

/// Which threshold of a detector is meant: its own, or that to which a behaviour may set it.
fn which(end: &str, by: Option<&String>) -> String {
    match by {
        None => "its threshold".to_owned(),
        Some(by) => format!("the {end} threshold to which {by} may set it"),
    }
}

/// Why it is not known that a detector takes a sound whole, and tells of it; `None` where it does.
fn taken_whole(watch: &WorldWatch, detector: &Detector) -> Option<String> {
    let (window_s, written_hop_s) = detector.stages.iter().find_map(|stage| match stage {
        Stage::Level {
            window_s, hop_s, ..
        } => Some((window_s.si, hop_s.map(|q| q.si))),
        _ => None,
    })?;
    let hop_s = written_hop_s.unwrap_or(HOP_OF_WINDOW * window_s);
    if detector
        .stages
        .iter()
        .any(|s| matches!(s, Stage::Likely { .. }))
    {
        return Some("a model of features judges what is over the threshold, and may let a sound over the limit pass: take `likely` out of the detector".to_owned());
    }
    let time = |s: f64| show(s, Dimension::Time);
    let Some(lasts_s) = watch.lasts_s.map(|q| q.si) else {
        return Some("`lasts` is not written: how long such a sound lasts, so whether the window of its level holds it and `shortest` lets it through is not known".to_owned());
    };
    let (shortest_s, longest_s, dwell_s) = detector.stages.iter().find_map(|s| match s {
        Stage::Trigger {
            shortest_s,
            longest_s,
            confirm,
            k_of_n,
            ..
        } => {
            let at_end = matches!(confirm, Confirm::AtEnd);
            let several = k_of_n.map_or(0.0, |(k, _)| f64::from(k.saturating_sub(1)));
            Some((
                shortest_s.si,
                longest_s.map(|q| q.si).filter(|_| at_end),
                several * hop_s,
            ))
        }
        _ => None,
    })?;
    // For so long at least the level holds all of the sound, or nothing but it.
    let full_s = match watch.of {
        WatchedLevel::Exposure => window_s - lasts_s,
        WatchedLevel::Rms => lasts_s - window_s,
    };
    if full_s < hop_s {
        let (lasts, window) = (time(lasts_s), time(window_s));
        return Some(match watch.of {
            WatchedLevel::Exposure => {
                let would_s =
                    written_hop_s.map_or(lasts_s / (1.0 - HOP_OF_WINDOW), |hop_s| lasts_s + hop_s);
                format!(
                    "a sound of {lasts} may not lie whole in one window of {window}, and then its exposure reads low: a `window` of {} does",
                    time(would_s)
                )
            }
            WatchedLevel::Rms => format!(
                "a sound of {lasts} may fill no window of {window}, and then its level reads low: a shorter `window` does"
            ),
        });
    }
    // Values stand a hop apart, so that one less than fits may lie above.
    let sure_s = (full_s - hop_s).max(0.0);
    if shortest_s + dwell_s > sure_s && shortest_s + dwell_s > 0.0 {
        return Some(format!(
            "the level of a sound of {} is over the threshold for {} at least, and the detector tells of nothing shorter than {}: `shortest = \"0 s\"` without `of_last` tells of all",
            time(lasts_s),
            time(sure_s),
            time(shortest_s + dwell_s)
        ));
    }
    longest_s
        .filter(|longest_s| *longest_s < lasts_s + window_s)
        .map(|longest_s| {
            format!(
                "a sound of {} may be over the threshold for longer than {} and is then dropped at its end: take `longest` out, or confirm it early",
                time(lasts_s),
                time(longest_s)
            )
        })
}

fn unit(watch: &WorldWatch) -> String {
    match watch.of {
        WatchedLevel::Exposure => "dB re 1 uPa2 s",
        WatchedLevel::Rms => "dB re 1 uPa",
    }
    .to_owned()
}

fn guarded(watch: &WorldWatch, path: &str, threshold: &MaySet, carried: &Carried) -> Verdict {
    let threshold_db = threshold.highest_db;
    let highest_db = carried.level_db - carried.guard_db;
    let parts: Vec<String> = carried
        .parts
        .iter()
        .filter(|(_, db)| *db > 0.0)
        .map(|(what, db)| format!("{what} {db:.2} dB"))
        .collect();
    let whence = if carried.nearer_db == 0.0 {
        format!("the hydrophone lies at {}", metres(watch.at_m.si))
    } else {
        format!(
            "{:+.1} dB from {} to the hydrophone at {}",
            carried.nearer_db,
            metres(watch.at_m.si),
            metres(watch.hydrophone_at_m.si)
        )
    };
    let against = Against {
        side: Side::AtMost,
        limit: highest_db,
        narrow: NARROW_DB,
        unit: unit(watch),
    };
    let mut why = format!(
        "{}; the limit of {:.1} dB is {:.1} dB at the hydrophone ({whence}), and to miss at most {} of what just reaches it the threshold must lie {:.1} dB below: {} of standard deviation ({})",
        which("highest", threshold.highest_by.as_ref()),
        watch.limit_db.db,
        carried.level_db,
        show(watch.missed.si, Dimension::Ratio),
        carried.guard_db,
        decibels(carried.deviation_db),
        parts.join(", ")
    );
    if threshold_db > highest_db {
        why.push_str(&format!(
            "; {} of {:.1} dB would do",
            match threshold.highest_by {
                None => "`on_above`",
                Some(_) => "one",
            },
            libm::floor(10.0 * highest_db) / 10.0
        ));
    }
    let evidence = Evidence::computed(METHOD, &(carried, threshold_db));
    against.judge(format!("{path} threshold"), threshold_db, evidence, why)
}

/// Why a detector does not hear all of the band in which the limit counts, or why that is not known; `None` where it does.
fn heard_band(line: &Line, budget: &ChainBudget, path: &str, watch: &WorldWatch) -> Option<String> {
    let spec = match detector_spec(line, watch.by, None) {
        Ok(spec) => spec,
        Err(error) => return Some(error.to_string()),
    };
    let own_hz = budget.detectors.iter().find(|d| d.path == path)?.band_hz;
    let passed_hz = listens_in(&spec);
    let heard_hz = (own_hz.0.max(passed_hz.0), own_hz.1.min(passed_hz.1));
    let hertz = |hz: f64| show(hz, Dimension::Frequency);
    let hears = format!(
        "the detector hears {} to {}",
        hertz(heard_hz.0),
        hertz(heard_hz.1)
    );
    let Some((low, high)) = watch.band_hz else {
        return Some(format!(
            "`band` is not written, and {hears}: what a limit over all frequencies counts outside is not measured; say in which band the limit counts"
        ));
    };
    (heard_hz.0 > low.si || heard_hz.1 < high.si).then(|| {
        format!(
            "the limit counts in {} to {}, and {hears}: what lies outside is not measured",
            hertz(low.si),
            hertz(high.si)
        )
    })
}

/// The noise of sea and chain in the band of the detector against its threshold.
fn over_noise(
    watch: &WorldWatch,
    detector: &Detector,
    budget: &ChainBudget,
    threshold: &MaySet,
    memo: &Memo,
) -> Verdict {
    let threshold_db = threshold.lowest_db;
    let path = format!("detector.{}", detector.id);
    let subject = format!("{path} over the noise");
    if let Some(why) = &budget.sea_unknown {
        return unknown(subject, format!("the sea is unknown: {why}"));
    }
    let own = budget.detectors.iter().find(|d| d.path == path);
    let (low_hz, high_hz) = own.map_or((1.0, budget.audible_hz), |d| d.band_hz);
    let power = |which: Which| -> Option<f64> {
        let parts = budget.parts_of_sea(low_hz, high_hz, memo).into_iter();
        parts
            .map(|(edges, sea)| {
                let chain_db = budget.chain_db(edges.0, edges.1, which)?;
                Some(libm::pow(10.0, sea?.windiest_db / 10.0) + libm::pow(10.0, chain_db / 10.0))
            })
            .sum()
    };
    let Some((sure, at_most)) = power(Which::Sure).zip(power(Which::All)) else {
        return unknown(subject, "the noise in its band is not known");
    };
    let window_s = detector.stages.iter().find_map(|stage| match stage {
        Stage::Level { window_s, .. } => Some(window_s.si),
        _ => None,
    });
    let over_db = match watch.of {
        WatchedLevel::Exposure => 10.0 * libm::log10(window_s.unwrap_or(1.0)),
        WatchedLevel::Rms => 0.0,
    };
    let noise_of = |power: f64| 10.0 * libm::log10(power) + over_db;
    let mut noise_db = noise_of(sure);
    let mut clear_db = threshold_db - noise_db;
    // Lines that may fold into the band are in what can keep the limit, and not in what can break it.
    if clear_db >= NOISE_CLEAR_DB {
        noise_db = noise_of(at_most);
        let then_db = threshold_db - noise_db;
        if then_db < NOISE_CLEAR_DB {
            return unknown(
                subject,
                format!(
                    "the noise lies {clear_db:.1} dB below, or {then_db:.1} dB with what may fold into its band; {KEPT_OUT_UNSAID}"
                ),
            );
        }
        clear_db = then_db;
    }
    // Of a chain of which not all is said, what is known can break the limit and never keep it.
    if !budget.noise_known && clear_db >= NOISE_CLEAR_DB {
        return unknown(
            subject,
            format!(
                "`self_noise` is not written; by its {} alone the noise lies {clear_db:.1} dB below, which is the most it can be",
                budget.known_alone()
            ),
        );
    }
    let against = Against {
        side: Side::AtLeast,
        limit: NOISE_CLEAR_DB,
        narrow: NARROW_NOISE_DB,
        unit: "dB".to_owned(),
    };
    let why = format!(
        "{} over {noise_db:.1} dB of the sea of the windiest month and the chain in {low_hz:.0} to {high_hz:.0} Hz",
        which("lowest", threshold.lowest_by.as_ref())
    );
    let evidence = Evidence::computed(METHOD, &(noise_db, threshold_db));
    against.judge(subject, clear_db, evidence, why)
}

/// The peak of a sound that passes the limit by the guard band against full scale.
fn under_full_scale(watch: &WorldWatch, budget: &ChainBudget, carried: &Carried) -> Verdict {
    let subject = format!("{} full scale", budget.path);
    let Some(peak_above) = watch.peak_above_db else {
        return unknown(
            subject,
            "`peak_above` is not written: by how much the zero-to-peak of such a sound lies above its level",
        );
    };
    let peak_db = carried.level_db + carried.guard_db + peak_above.db;
    let against = Against {
        side: Side::AtLeast,
        limit: 0.0,
        narrow: NARROW_NOISE_DB,
        unit: "dB".to_owned(),
    };
    let full_db = budget.noise.chain().overload_peak_level_db_re_1upa();
    let why = format!(
        "what is left above the peak of {peak_db:.1} dB re 1 uPa of a sound that passes the limit by the guard band; full scale is {full_db:.1} dB"
    );
    let evidence = Evidence::computed(METHOD, &(peak_db, full_db));
    against.judge(subject, full_db - peak_db, evidence, why)
}

fn metres(m: f64) -> String {
    show(m, Dimension::Length)
}

fn decibels(db: f64) -> String {
    format!("{} dB", show_number((100.0 * db).round() / 100.0))
}

/// A watch in words.
pub(crate) fn sentence(watch: &WorldWatch) -> String {
    let (what, unit) = match watch.of {
        WatchedLevel::Exposure => ("sound exposure", "dB re 1 uPa2 s"),
        WatchedLevel::Rms => ("sound", "dB re 1 uPa"),
    };
    format!(
        "the line can police that no {what} passes {} {unit} at {} from its source",
        show_number(watch.limit_db.db),
        metres(watch.at_m.si)
    )
}
