//! What was measured, as JSON (`measures/1`). A level of minus infinity (exact silence) is `null`, like one that is not known;
//! `averaged_s` tells them apart.

use std::path::PathBuf;

use assess::DummyJudged;
use hearing::{Period, PeriodBegin, Reference};
use serde_json::{Value, json};
use signal::{level_db, peak_level_db};

use super::dummy;
use super::head::{About, reference_upa};
use super::periods::PERIODS;
use super::told::{Sensor, Told, spread};
use beside::PROGRAM;

/// The document, but for its periods, which [`Periods`](super::periods::Periods) writes into it.
pub(super) fn document(
    told: &Told,
    judged: &[Result<DummyJudged, String>],
    about: &About<'_>,
    head: &[(String, String)],
    mistakes: &[Value],
) -> Value {
    let notes: Vec<Value> = head
        .iter()
        .skip(6)
        .map(|(key, text)| json!({ "of": key, "says": text }))
        .collect();
    let sensors: Vec<Value> = told
        .sensors
        .iter()
        .enumerate()
        .map(|(at, of)| sensor(of, judged.get(at)))
        .collect();
    let recordings: Vec<Value> = (0..told.recordings.len())
        .map(|place| {
            let survey = told.surveys.get(place).and_then(Option::as_ref);
            let outcome = &told.outcomes[place];
            json!({
                "recording": told.recordings[place].display().to_string(),
                "rate_hz": survey.map(|s| s.info.rate_hz),
                "channels": survey.map(|s| s.info.channels),
                "start_utc": survey.and_then(|s| s.start).map(|at| at.to_string()),
                "heard_s": outcome.heard_s,
                "warnings": outcome.warnings,
                "errors": outcome.errors,
            })
        })
        .collect();
    let gaps: Vec<Value> = told
        .gaps
        .iter()
        .map(|gap| json!({ "from_utc": gap.from.to_string(), "length_s": gap.length_s }))
        .collect();
    json!({
        "format": "measures/1",
        "program": PROGRAM,
        "plan": about.plan.display().to_string(),
        "plan_digest": about.plan_digest,
        "arithmetic": "scalar",
        "mistakes": mistakes,
        "every_s": told.every,
        "notes": notes,
        "recordings": recordings,
        "gaps": gaps,
        "sensors": sensors,
        PERIODS: [],
    })
}

fn sensor(sensor: &Sensor, judged: Option<&Result<DummyJudged, String>>) -> Value {
    let reference = sensor.reference.unwrap_or(Reference::Water);
    let upa = reference_upa(reference);
    let averaged = sensor.averaged_s > 0.0;
    let spread = spread(&sensor.levels_db);
    let bands: Vec<Value> = sensor
        .bands
        .iter()
        .filter(|(_, _, averaged_s)| *averaged_s > 0.0)
        .map(|(band, sum, averaged_s)| {
            json!({
                "nominal_hz": band.nominal_hz(),
                "centre_hz": band.centre_hz(),
                "level_db": level_db(sum / averaged_s, upa),
            })
        })
        .collect();
    json!({
        "sensor": sensor.path,
        "channel": sensor.channel,
        "level_reference": reference.pressure(),
        "exposure_reference": reference.exposure(),
        "whole_periods": sensor.whole,
        "periods_in_part": sensor.partly,
        "periods_without_figures": sensor.without_figures,
        "silent_periods": sensor.silent,
        "averaged_s": sensor.averaged_s,
        "clipped_samples": sensor.clipped_samples,
        "level_db": averaged.then(|| level_db(sensor.exposure_upa2_s / sensor.averaged_s, upa)),
        "highest_peak_level_db": averaged.then(|| peak_level_db(sensor.highest_peak_upa, upa)),
        "lowest_level_db": spread.map(|s| s[0]),
        "middle_level_db": spread.map(|s| s[1]),
        "highest_level_db": spread.map(|s| s[2]),
        "bands": bands,
        "dummy": judged.map(dummy::to_json),
    })
}

/// A period of the document.
pub(super) fn period(period: &Period, sensor: &Sensor, recordings: &[PathBuf]) -> Value {
    let upa = reference_upa(sensor.reference.unwrap_or(Reference::Water));
    let broad = period.broad.as_ref();
    let level = |square: f64| level_db(square, upa);
    json!({
        "channel": sensor.channel,
        "sensor": sensor.path,
        "recording": recordings[period.place].display().to_string(),
        "begin_utc": match period.begin {
            PeriodBegin::Utc(at) => Some(at.to_string()),
            PeriodBegin::Recording(_) => None,
        },
        "first_s": period.first_s,
        "listened_s": period.listened_s,
        "averaged_s": period.averaged_s,
        "clipped_samples": period.clipped_samples,
        "parts": period.parts,
        "level_db": broad.map(|b| level(b.mean_square_upa2)),
        "level_without_mean_db": broad.map(|b| level(b.variance_upa2)),
        "exposure_level_db": broad.map(|b| level(b.exposure_upa2_s)),
        "peak_level_db": broad.map(|b| peak_level_db(b.peak_upa, upa)),
        "peak_to_peak_level_db": broad.map(|b| peak_level_db(b.peak_to_peak_upa, upa)),
        "kurtosis": broad.and_then(|b| b.kurtosis),
    })
}
