//! Limits on the world that the line polices, as verdicts: whether a sound that just reaches the limit at its distance is measured at the
//! hydrophone, over the noise and under full scale, whether the threshold has the guard band that its uncertainty asks for, and whether
//! it is told in time. Equations, sources and limits: docs/method/watches.md.

use chance::normal_value_at_share;
use plan::{Detector, LevelStage, Line, Q, Stage, WatchedLevel, WorldWatch};
use quantity::{Dimension, HALF_WIDTH_DEVIATIONS, Law, show, show_number};

use crate::chain::{ChainBudget, chain_budget_of};
use crate::delay_verdicts::delay;
use crate::memo::Memo;
use crate::month::UnderLoad;
use crate::pick_up::{KEPT_OUT_UNSAID, Which};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// So far the noise is to lie below the threshold, dB (common practice: it then adds 0.4 dB).
pub const NOISE_CLEAR_DB: f64 = 10.0;
/// Margins below which a verdict of a watch is marginal, dB: choices of ours.
const NARROW_DB: f64 = 1.0;
const NARROW_NOISE_DB: f64 = 3.0;
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
        .and_then(|threshold_db| Ok((threshold_db, carried(line, watch)?)));
    match levels {
        Err(why) => verdicts.push(unknown(format!("{path} threshold"), why)),
        Ok((threshold_db, carried)) => {
            verdicts.push(guarded(watch, &path, threshold_db, &carried));
            match chain_budget_of(line, detector.on, memo) {
                Err(error) => verdicts.push(unknown(path.clone(), error.to_string())),
                Ok(budget) => {
                    let heard = heard_band(&budget, &path, watch);
                    verdicts.extend(heard.map(|why| unknown(format!("{path} band"), why)));
                    verdicts.push(over_noise(watch, detector, &budget, threshold_db, memo));
                    verdicts.push(under_full_scale(watch, &budget, &carried));
                }
            }
        }
    }
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

fn unit(watch: &WorldWatch) -> String {
    match watch.of {
        WatchedLevel::Exposure => "dB re 1 uPa2 s",
        WatchedLevel::Rms => "dB re 1 uPa",
    }
    .to_owned()
}

fn guarded(watch: &WorldWatch, path: &str, threshold_db: f64, carried: &Carried) -> Verdict {
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
        "its threshold; the limit of {:.1} dB is {:.1} dB at the hydrophone ({whence}), and to miss at most {} of what just reaches it the threshold must lie {:.1} dB below: {} of standard deviation ({})",
        watch.limit_db.db,
        carried.level_db,
        show(watch.missed.si, Dimension::Ratio),
        carried.guard_db,
        decibels(carried.deviation_db),
        parts.join(", ")
    );
    if threshold_db > highest_db {
        why.push_str(&format!(
            "; `on_above` of {:.1} dB would do",
            libm::floor(10.0 * highest_db) / 10.0
        ));
    }
    let evidence = Evidence::computed(METHOD, carried);
    against.judge(format!("{path} threshold"), threshold_db, evidence, why)
}

/// Why a detector does not hear all of the band in which the limit counts; `None` where it does.
fn heard_band(budget: &ChainBudget, path: &str, watch: &WorldWatch) -> Option<String> {
    let (low, high) = watch.band_hz?;
    let own = budget.detectors.iter().find(|d| d.path == path)?;
    (own.band_hz.0 > low.si || own.band_hz.1 < high.si).then(|| {
        format!(
            "the limit counts in {} to {}, and the detector hears {} to {}: what lies outside is not measured",
            show(low.si, Dimension::Frequency),
            show(high.si, Dimension::Frequency),
            show(own.band_hz.0, Dimension::Frequency),
            show(own.band_hz.1, Dimension::Frequency)
        )
    })
}

/// The noise of sea and chain in the band of the detector against its threshold.
fn over_noise(
    watch: &WorldWatch,
    detector: &Detector,
    budget: &ChainBudget,
    threshold_db: f64,
    memo: &Memo,
) -> Verdict {
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
        "its threshold over {noise_db:.1} dB of the sea of the windiest month and the chain in {low_hz:.0} to {high_hz:.0} Hz"
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
