//! Noise and full scale of the chains of hydrophones, as verdicts.

use plan::{Line, SensorIx};

use crate::chain::{CLEAR_DB, CREST_DB, ChainBudget, DetectorBudget, chain_budget_of};
use crate::memo::Memo;
use crate::pick_up::KEPT_OUT_UNSAID;
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// A noise closer to its limit than this is marginal, dB.
const NARROW_NOISE_DB: f64 = 1.0;
/// A full scale closer to its limit than this is marginal, dB.
const NARROW_PEAK_DB: f64 = 3.0;
const NOISE_METHOD: &str = "noise of the chain against the four-term formula of the sea, by decidecade (docs/method/chain.md)";
const PEAK_METHOD: &str =
    "full scale of the converter over sensitivity and gain (docs/method/chain.md)";

/// How far the chain lies below what a detector listens for, and what that is; why it is not known otherwise.
fn clear(budget: &ChainBudget, detector: &DetectorBudget) -> Result<(f64, String), String> {
    if let Some(threshold) = detector.threshold {
        return Ok((
            threshold.clear_db(),
            format!(
                "{}: its threshold of {:.1} dB, and {:.1} dB of the chain in {:.0} to {:.0} Hz",
                detector.path,
                threshold.level_db,
                threshold.noise_db,
                detector.band_hz.0,
                detector.band_hz.1
            ),
        ));
    }
    match (detector.least_clear, &budget.sea_unknown) {
        (Some((clear_db, (low_hz, high_hz))), _) => Ok((
            clear_db,
            format!(
                "{}: the sea of the quietest month, nearest from {low_hz:.0} to {high_hz:.0} Hz",
                detector.path
            ),
        )),
        (None, Some(why)) => Err(format!("the sea is unknown: {why}")),
        (None, None) => Err(format!("{} hears no band that is known", detector.path)),
    }
}

/// That of the detectors of a hydrophone that has least; `None` where it has no detector.
fn least_of(
    budget: &ChainBudget,
    detectors: &[DetectorBudget],
) -> Result<Option<(f64, String)>, String> {
    let all: Vec<(f64, String)> = detectors
        .iter()
        .map(|d| clear(budget, d))
        .collect::<Result<_, _>>()?;
    Ok(all.into_iter().min_by(|a, b| a.0.total_cmp(&b.0)))
}

/// The detector of a hydrophone that has least, against a limit; `None` for one without a detector.
fn self_noise_of(line: &Line, sensor: SensorIx, at_least_db: f64, memo: &Memo) -> Option<Verdict> {
    let subject = line.sensor_path(sensor);
    let budget = match chain_budget_of(line, sensor, memo) {
        Ok(budget) => budget,
        Err(error) => return Some(unknown(subject, error.to_string())),
    };
    let least = match least_of(&budget, &budget.detectors) {
        Ok(least) => least?,
        Err(why) => return Some(unknown(subject, why)),
    };
    let (mut value_db, mut why) = least;
    if !budget.noise_known {
        // What is known is the least that the chain makes: it can break a limit, but not keep one.
        let known = budget.known_alone();
        if value_db >= at_least_db {
            return Some(unknown(
                subject,
                format!(
                    "`self_noise` is not written, and so what the hydrophone itself adds is unknown; by its {known} alone it lies {value_db:.1} dB below, which is the most it can be"
                ),
            ));
        }
        why.push_str(&format!(
            "; by its {known} alone, so this is the most it can be: `self_noise` is not written"
        ));
    }
    // With lines that may fold into the band it can be kept, and not broken.
    if let Some(Ok(Some((then_db, then)))) = budget
        .detectors_at_most
        .as_ref()
        .map(|all| least_of(&budget, all))
        .filter(|_| value_db >= at_least_db)
    {
        if then_db < at_least_db {
            return Some(unknown(
                subject,
                format!(
                    "{why}: it lies {value_db:.1} dB below, or {then_db:.1} dB with what may fold into its band; {KEPT_OUT_UNSAID}"
                ),
            ));
        }
        (value_db, why) = (then_db, then);
    }
    if budget.detectors.iter().any(|d| d.beyond_table) {
        why.push_str("; beyond the ends of its self-noise the nearest row counts");
    }
    let against = Against {
        side: Side::AtLeast,
        limit: at_least_db,
        narrow: NARROW_NOISE_DB,
        unit: "dB".to_owned(),
    };
    let evidence = Evidence::computed(
        NOISE_METHOD,
        &(
            &budget.noise,
            budget.winds_m_s,
            budget.shipping,
            &budget.detectors,
            &budget.detectors_at_most,
        ),
    );
    Some(against.judge(subject, value_db, evidence, why))
}

/// A requirement: what each hydrophone with a detector, or one, has below what it listens for.
pub(crate) fn self_noise(
    line: &Line,
    of: Option<SensorIx>,
    at_least_db: f64,
    memo: &Memo,
) -> Vec<Verdict> {
    if let Some(sensor) = of {
        let none = || unknown(line.sensor_path(sensor), "no detector hears through it");
        return vec![self_noise_of(line, sensor, at_least_db, memo).unwrap_or_else(none)];
    }
    let all: Vec<Verdict> = line
        .hydrophones()
        .filter_map(|sensor| self_noise_of(line, sensor, at_least_db, memo))
        .collect();
    if all.is_empty() {
        return vec![unheard()];
    }
    all
}

/// The hydrophone that is asked for, or all through which a detector hears.
///
/// # Errors
/// The verdict where there is none.
pub(crate) fn heard(line: &Line, of: Option<SensorIx>) -> Result<Vec<SensorIx>, Verdict> {
    let hears = |sensor: &SensorIx| line.detectors.iter().any(|d| d.on == *sensor);
    let wanted: Vec<SensorIx> = match of {
        Some(sensor) => vec![sensor],
        None => line.hydrophones().filter(hears).collect(),
    };
    match wanted.is_empty() {
        true => Err(unheard()),
        false => Ok(wanted),
    }
}

fn unheard() -> Verdict {
    unknown("the line", "no detector hears through a hydrophone")
}

/// The standing check: as [`self_noise`] with [`CLEAR_DB`], where it is known.
pub(crate) fn standing_self_noise(line: &Line, memo: &Memo) -> Vec<Verdict> {
    line.hydrophones()
        .filter_map(|sensor| self_noise_of(line, sensor, CLEAR_DB, memo))
        .filter(|verdict| matches!(verdict, Verdict::Known(_)))
        .collect()
}

/// A requirement: the peak that each hydrophone, or one, bears.
pub(crate) fn overload(line: &Line, of: Option<SensorIx>, at_least_db: f64) -> Vec<Verdict> {
    let wanted: Vec<SensorIx> = match of {
        Some(sensor) => vec![sensor],
        None => line.hydrophones().collect(),
    };
    if wanted.is_empty() {
        return vec![unknown("the line", "it has no hydrophone")];
    }
    let one = |sensor: SensorIx| {
        let subject = line.sensor_path(sensor);
        let chain = match crate::input::sensor_chain(line, sensor) {
            Ok(chain) => chain,
            Err(error) => return unknown(subject, error.to_string()),
        };
        let against = Against {
            side: Side::AtLeast,
            limit: at_least_db,
            narrow: NARROW_PEAK_DB,
            unit: "dB re 1 uPa".to_owned(),
        };
        against.judge(
            subject,
            chain.overload_peak_level_db_re_1upa(),
            Evidence::computed(PEAK_METHOD, &chain),
            "zero-to-peak, above the corner of its high-pass, where the converter is what overloads"
                .to_owned(),
        )
    };
    wanted.into_iter().map(one).collect()
}

/// The standing check: the sea of the windiest month, and fixed thresholds, lie so far below full scale as [`CREST_DB`]; where
/// either is known.
pub(crate) fn standing_overload(line: &Line, memo: &Memo) -> Vec<Verdict> {
    let one = |sensor: SensorIx| {
        let budget = chain_budget_of(line, sensor, memo).ok()?;
        let peak_db = budget.noise.chain().overload_peak_level_db_re_1upa();
        let windiest = budget
            .months
            .iter()
            .min_by(|a, b| a.headroom_db.total_cmp(&b.headroom_db))
            .map(|m| {
                let why = format!(
                    "the sea at a mean wind of {} m/s, behind the high-pass",
                    m.wind_m_s
                );
                (m.headroom_db, why)
            });
        let thresholds = budget.detectors.iter().filter_map(|d| {
            let threshold = d.threshold.filter(|t| !t.of_exposure)?;
            let why = format!("the threshold of {}, {:.1} dB", d.path, threshold.level_db);
            Some((peak_db - threshold.level_db, why))
        });
        let (least_db, why) = windiest
            .into_iter()
            .chain(thresholds)
            .min_by(|a, b| a.0.total_cmp(&b.0))?;
        let against = Against {
            side: Side::AtLeast,
            limit: CREST_DB,
            narrow: NARROW_PEAK_DB,
            unit: "dB".to_owned(),
        };
        let evidence = Evidence::computed(PEAK_METHOD, &(peak_db, least_db, &why));
        Some(against.judge(budget.path, least_db, evidence, why))
    };
    line.hydrophones().filter_map(one).collect()
}

/// Hydrophones with a chain of which it is not known how far their full scale lies above the sea, each with why.
pub(crate) fn overload_open(line: &Line, memo: &Memo) -> Vec<String> {
    let with_chain = line
        .hydrophones()
        .filter(|s| line.sensor(*s).chain.is_some());
    let unknown = with_chain.filter_map(|sensor| {
        let path = line.sensor_path(sensor);
        match chain_budget_of(line, sensor, memo) {
            Err(why) => Some(format!("{path}, {why}")),
            Ok(budget) if budget.months.is_empty() => {
                Some(format!("{path}, the noise of the sea is not known"))
            }
            Ok(_) => None,
        }
    });
    unknown.collect()
}

/// Hydrophones with detectors of which it is not known how their noise lies to what they listen for.
pub(crate) fn noise_open(line: &Line, memo: &Memo) -> Vec<String> {
    line.hydrophones()
        .filter(|sensor| {
            matches!(
                self_noise_of(line, *sensor, CLEAR_DB, memo),
                Some(Verdict::Unknown { .. })
            )
        })
        .map(|sensor| line.sensor_path(sensor))
        .collect()
}
