//! The documents of the commands that answer at once, of the text that a page sends.

mod ask;

use std::path::Path;

use assess::input::InputError;
use assess::range::call_spectrum;
use assess::{
    HoursAsk, Memo, NamedError, PathAsk, PathError, SlipAsk, chain_budget, depths_told,
    energy_years, evidence_table, hearing_sensors, line_reserve, line_weight_reserve,
    listening_hours, module_health, moorings, sensor_named, solar_supply, sound_paths_with,
    uplinks_ashore,
};
use axum::http::StatusCode;
use beside::Kept;
use plan::{CallIx, Line, Reading, SensorIx};
use report::{
    chain_json, check_json, evidence_table_json, failures_json, faults_json, hours_json,
    mooring_json, paths_json, recovery_json, reserve_json, shadow_json, slip_json, start_json,
    uplink_json, year_json,
};
use serde_json::{Value, json};

pub(crate) use ask::Ask;

use crate::error::ApiError;
use crate::text;

/// The kinds of documents.
pub(crate) const KINDS: [&str; 14] = [
    "year", "mooring", "reserve", "failures", "hours", "recovery", "slip", "uplink", "chain",
    "paths", "start", "faults", "evidence", "verdicts",
];

/// What the work of a request sees of the desk.
pub(crate) struct Given<'a> {
    /// Path of the plan.
    pub(crate) path: &'a Path,
    pub(crate) memo: &'a Memo,
    /// What was read beside it.
    pub(crate) kept: &'a Kept,
    /// Whether somebody still waits.
    pub(crate) go_on: &'a (dyn Fn() -> bool + Sync),
    /// Is told how far the work is, 0 to 1; whether to go on.
    pub(crate) at: &'a (dyn Fn(f64) -> bool + Sync),
}

/// The document of a kind, as the command of that name gives it with `--format json`.
pub(crate) fn document(
    given: &Given<'_>,
    kind: &str,
    plan_text: &str,
    ask: &Ask,
) -> Result<Value, ApiError> {
    if !KINDS.contains(&kind) {
        let near = KINDS.join(", ");
        return Err(ApiError::missing(
            "no-such-document",
            format!("there is no document `{kind}`"),
        )
        .help(format!("there are {near}")));
    }
    let reading = text::read(given.path, plan_text, given.memo);
    if matches!(kind, "verdicts" | "evidence") {
        let with_evidence = ask.evidence || kind == "evidence";
        return verdicts(given, &reading, ask, with_evidence);
    }
    let line = text::line(&reading)?;
    let told = match kind {
        "year" => year(given, line, ask)?,
        "mooring" => mooring(line)?,
        "reserve" => reserve(&reading, line)?,
        "failures" => failures(line, ask)?,
        "hours" => hours(given, line, ask)?,
        "recovery" => recovery(line)?,
        "slip" => slip(given, &reading, line)?,
        "uplink" => uplink(line)?,
        "chain" => chain(line, ask)?,
        "paths" => paths(given, line, ask)?,
        "start" => start(line, ask)?,
        "faults" => faults(line, ask)?,
        _ => unreachable!("the kinds are those above"),
    };
    let mistakes = report::mistakes_json(&reading.mistakes, &reading.sources);
    Ok(beside::of_plan(told, Some(&reading.digest), &mistakes))
}

/// Something cannot be worked out, and why.
fn no(what: &str, why: impl std::fmt::Display) -> ApiError {
    ApiError::unusable("cannot-be", format!("{what} cannot be worked out: {why}"))
}

fn named(error: NamedError) -> ApiError {
    ApiError::unusable("not-named", error.to_string())
}

fn threads() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

fn verdicts(
    given: &Given<'_>,
    reading: &Reading,
    ask: &Ask,
    with_evidence: bool,
) -> Result<Value, ApiError> {
    let shelf = text::shelf(given.path, reading, given.kept, given.go_on);
    let (shelf, warnings) = shelf.ok_or_else(ApiError::cancelled)?;
    let check = assess::check_with(reading, &shelf, given.memo, ask.tier()?);
    let mut whole = check_json(&check, beside::PROGRAM, &reading.mistakes, &reading.sources);
    if with_evidence {
        let found = evidence_table(reading.line.as_ref(), &check);
        whole["rests_on"] = evidence_table_json(&found);
    }
    whole["warnings"] = json!(warnings);
    Ok(whole)
}

fn year(given: &Given<'_>, line: &Line, ask: &Ask) -> Result<Value, ApiError> {
    let of = solar_supply(line, ask.supply.as_deref()).map_err(named)?;
    let years = energy_years(line, of, ask.seed(), ask.years()?, &mut |share| {
        (given.at)(share)
    });
    let years = years.map_err(|e: InputError| no("the year", e))?;
    let years = years.ok_or_else(ApiError::cancelled)?;
    let mut told = year_json(&line.deployment.name, &years);
    told["picture"] = Value::Null;
    told["picture_of_sizes"] = Value::Null;
    Ok(told)
}

fn mooring(line: &Line) -> Result<Value, ApiError> {
    sections(line)?;
    let found = moorings(line).map_err(|e| no("where the line hangs", e))?;
    Ok(without_pictures(mooring_json(line, &found)))
}

fn sections(line: &Line) -> Result<(), ApiError> {
    match line.sections.is_empty() {
        true => Err(ApiError::unusable(
            "no-sections",
            "the plan has no `section`: nothing says what its modules hang on",
        )
        .help("add [section.ID] with from, to, length and rope")),
        false => Ok(()),
    }
}

/// Pictures are files of a command; a page draws its own.
fn without_pictures(mut told: Value) -> Value {
    told["pictures"] = json!([]);
    told
}

fn reserve(reading: &Reading, line: &Line) -> Result<Value, ApiError> {
    let found = line_reserve(line).map_err(|e| no("the reserve", e))?;
    let weight = line_weight_reserve(reading);
    let depths = depths_told(line);
    let name = &line.deployment.name;
    Ok(reserve_json(name, &found, &weight, depths.as_ref()))
}

fn failures(line: &Line, ask: &Ask) -> Result<Value, ApiError> {
    let found = assess::failures(line, ask.contacts()?);
    let found = found.map_err(|e| no("the single failures", e))?;
    Ok(failures_json(&line.deployment.name, &found))
}

fn hours(given: &Given<'_>, line: &Line, ask: &Ask) -> Result<Value, ApiError> {
    let asked = HoursAsk {
        years: ask.years()?,
        seed: ask.seed(),
        threads: threads(),
    };
    let hours = listening_hours(line, &asked, &|share| (given.at)(share));
    let hours = hours.map_err(|e| no("the hours of hearing", e))?;
    let hours = hours.ok_or_else(ApiError::cancelled)?;
    let health = ask.health.then(|| module_health(line)).transpose();
    let health = health.map_err(|e| no("the messages on health", e))?;
    Ok(hours_json(&line.deployment.name, &hours, health.as_deref()))
}

fn recovery(line: &Line) -> Result<Value, ApiError> {
    sections(line)?;
    let found = assess::recovery(line).map_err(|e| no("the recovery", e))?;
    Ok(recovery_json(line, &found))
}

fn slip(given: &Given<'_>, reading: &Reading, line: &Line) -> Result<Value, ApiError> {
    let shelf = text::shelf(given.path, reading, given.kept, given.go_on);
    let (shelf, _) = shelf.ok_or_else(ApiError::cancelled)?;
    let asked = SlipAsk { threads: threads() };
    let found = assess::slip(reading, &shelf, given.memo, asked, &|share| {
        (given.at)(share)
    });
    let found = found.ok_or_else(ApiError::cancelled)?;
    let (spares, waits) = (assess::spares(line), assess::weather_waits(line));
    let told = slip_json(&line.deployment.name, &found, &spares, &waits);
    Ok(without_pictures(told))
}

fn uplink(line: &Line) -> Result<Value, ApiError> {
    if line.uplinks.is_empty() {
        return Err(ApiError::unusable("no-uplink", "the plan has no `uplink`"));
    }
    Ok(uplink_json(line, &uplinks_ashore(line)))
}

fn chain(line: &Line, ask: &Ask) -> Result<Value, ApiError> {
    let sensors = hearing_sensors(line, &ask.sensors).map_err(named)?;
    let month = ask.month()?;
    let budgets = sensors
        .iter()
        .map(|(_, ix)| chain_budget(line, *ix, month))
        .collect::<Result<Vec<_>, _>>()
        .map_err(|e| no("the chain", e))?;
    let mut told = without_pictures(chain_json(&line.deployment.name, &budgets));
    if let Some(range_m) = ask.range_m()? {
        let of_each = budgets.iter().zip(&sensors).map(|(budget, (_, ix))| {
            // Calls come through the water.
            let count = if budget.in_air() { 0 } else { line.calls.len() };
            let calls = (0..count).map(|call| call_told(line, CallIx(call), *ix, range_m));
            calls.collect::<Value>()
        });
        let sensors = told["sensors"].as_array_mut().into_iter().flatten();
        sensors
            .zip(of_each)
            .for_each(|(told, calls)| told["calls"] = calls);
    }
    Ok(told)
}

/// A call at its source and at a sensor some way off, by band.
fn call_told(line: &Line, call: CallIx, at: SensorIx, range_m: f64) -> Value {
    let found = call_spectrum(line, call, at, range_m);
    let bands = found.as_ref().map(|found| {
        let bands = found.bands.iter().map(|one| {
            json!({
                // As the bands of the sea and of the chain are named.
                "centre_hz": one.band.nominal_hz(),
                "source_level_db_re_1upa_m": one.source_level_db,
                "received_level_db_re_1upa": one.received_level_db,
            })
        });
        bands.collect::<Vec<_>>()
    });
    json!({
        "call": format!("call.{}", line.calls[call.0].id),
        "range_m": range_m,
        "bands": bands.as_ref().ok(),
        "unknown": bands.err().map(ToString::to_string),
    })
}

fn paths(given: &Given<'_>, line: &Line, ask: &Ask) -> Result<Value, ApiError> {
    let (range_m, source_depth_m) = ask.source_m()?;
    let asked = PathAsk {
        source_depth_m,
        range_m,
        out_to_m: ask.out_to_m()?,
        to: ask
            .to
            .as_deref()
            .map(|to| sensor_named(line, to))
            .transpose()
            .map_err(named)?,
        frequency_hz: ask.frequency_hz()?,
        field: ask.picture,
    };
    let found = sound_paths_with(line, &asked, given.go_on).map_err(|e| {
        if matches!(e, PathError::Cancelled) {
            return ApiError::cancelled();
        }
        let help = matches!(e, PathError::NoBottom).then(|| {
            "add to [site]: bottom = { sound_speed = \"1650 m/s\", density = \"1900 kg/m3\", attenuation_per_wavelength = \"0.8 dB\" } or { loss_per_bounce = \"10 dB\" }"
                .to_owned()
        });
        no("the paths", e).help_of(help)
    })?;
    let mut told = without_pictures(paths_json(&line.deployment.name, &found));
    if ask.picture {
        told["shadows"] = found.ears.iter().filter_map(shadow_json).collect();
    }
    Ok(told)
}

fn start(line: &Line, ask: &Ask) -> Result<Value, ApiError> {
    let found = assess::start(line, ask.contacts()?, ask.longest_s()?).map_err(|e| {
        let said = format!("the start cannot be followed: {e}");
        ApiError::new(StatusCode::UNPROCESSABLE_ENTITY, "cannot-be", said)
    })?;
    Ok(without_pictures(start_json(&line.deployment.name, &found)))
}

fn faults(line: &Line, ask: &Ask) -> Result<Value, ApiError> {
    let found = assess::faults(line, ask.contacts()?, ask.leak_ohm()?);
    let found = found.map_err(|e| no("the faults", e))?;
    Ok(faults_json(&line.deployment.name, &found))
}
