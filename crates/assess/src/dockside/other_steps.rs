//! Steps without a network: the start, first messages, sound, clocks and stores.

use plan::{Action, Line, ModuleIx, SensorIx, StorageIx, When};
use quantity::{Dimension, HALF_WIDTH_DEVIATIONS, show};

use super::bench::deviation;
use super::quay::Quay;
use super::{Dockside, Expected, Step};
use crate::drawn::topic_ways;
use crate::input::{Contacts, filling, sensor_chain, usable_bytes};
use crate::start::start;
use crate::sync_verdicts::clocks_when_set;

/// Bytes of a gigabyte, as stores are told.
const GB: f64 = 1e9;

pub(super) fn put(sheet: &mut Dockside, line: &Line) {
    alive(sheet, line);
    messages(sheet, line);
    sound(sheet, line);
    clocks(sheet, line);
    stores(sheet, line);
}

fn half_width(law: Option<quantity::Law>) -> f64 {
    law.map_or(0.0, |law| HALF_WIDTH_DEVIATIONS * deviation(law))
}

/// The start of the whole line, from the switch.
fn alive(sheet: &mut Dockside, line: &Line) {
    let started = start(line, Contacts::New, None);
    let stage = sheet.stage("The start, from the switch, capacitors empty".to_owned());
    let mut steps: Vec<(f64, Step)> = Vec::new();
    for module in line.modules.iter().filter(|m| m.input.is_some()) {
        let path = format!("module.{}", module.id);
        let expected = match &started {
            Err(error) => Err(error.to_string()),
            Ok(start) => match start.modules.iter().find(|m| m.path == path) {
                None => Err("no supply feeds it".to_owned()),
                Some(m) => m
                    .booted_s
                    .filter(|_| m.runs)
                    .ok_or_else(|| format!("by the plan it does not come up: {}", start.told)),
            },
        };
        let boot = half_width(module.boot.and_then(|b| b.time_s.law));
        let order = expected.as_ref().map_or(f64::INFINITY, |s| *s);
        let step = Step {
            id: format!("alive.{}", module.id),
            stage,
            subject: path,
            what: "time until it is alive".to_owned(),
            unit: "s",
            expected: expected.map(|s| Expected::about(s, libm::hypot(boot, sheet.quay.watch_s))),
            why: "the start followed in time (docs/method/start-up.md), and the watch".to_owned(),
            probe: None,
        };
        steps.push((order, step));
    }
    steps.sort_by(|a, b| a.0.total_cmp(&b.0));
    sheet.steps.extend(steps.into_iter().map(|(_, step)| step));
}

/// The first message of each topic from each publisher to each hearer.
fn messages(sheet: &mut Dockside, line: &Line) {
    if line.topics.is_empty() {
        return;
    }
    let stage = sheet.stage("First messages, when they are exercised".to_owned());
    let ways = match topic_ways(line) {
        Ok(ways) => ways.ways,
        Err(why) => {
            for topic in &line.topics {
                sheet.steps.push(Step {
                    id: format!("message.{}", topic.name),
                    stage,
                    subject: format!("topic.\"{}\"", topic.name),
                    what: "time from its cause until it is there".to_owned(),
                    unit: "s",
                    expected: Err(why.clone()),
                    why: String::new(),
                    probe: None,
                });
            }
            return;
        }
    };
    for way in ways {
        let (cause, period_s) = cause(line, way.from, &way.topic);
        let ids = [way.from, way.to].map(|m| line.modules[m.0].id.as_str());
        let watch_s = sheet.quay.watch_s;
        let within = |longest_s: &f64| longest_s + period_s + watch_s;
        sheet.steps.push(Step {
            id: format!("message.{}.{}.{}", way.topic, ids[0], ids[1]),
            stage,
            subject: format!("topic.\"{}\"", way.topic),
            what: format!(
                "time until it is at {} from {}: {cause}",
                line.module_path(way.to),
                line.module_path(way.from)
            ),
            unit: "s",
            expected: way
                .longest_s
                .as_ref()
                .map(|s| Expected::at_most(within(s)))
                .map_err(Clone::clone),
            why: match period_s > 0.0 {
                true => "the period, the longest way of a message, and the watch".to_owned(),
                false => "the longest way of a message, and the watch".to_owned(),
            },
            probe: None,
        });
    }
}

/// What brings a message of a topic about on a module, and how long that may take by itself, s.
fn cause(line: &Line, module: ModuleIx, topic: &str) -> (String, f64) {
    let publishes = |action: &Action| matches!(action, Action::Publish { topic: t, .. } if line.topics[t.0].name == topic);
    let behaviours = line.behaviours.iter();
    let own = behaviours.filter(|b| b.on == module && b.actions.iter().any(publishes));
    let mut told = Vec::new();
    let mut shortest_s = f64::INFINITY;
    for behaviour in own {
        told.push(match &behaviour.when {
            When::Each { period_s } => {
                shortest_s = shortest_s.min(period_s.si);
                format!("by itself each {}", show(period_s.si, Dimension::Time))
            }
            When::Heard { detector, .. } => format!(
                "from the notice of detector.{} on, with its sound played at the hydrophone",
                line.detectors[detector.0].id
            ),
            When::Voted { vote } => {
                format!("from the moment vote.{} is carried", line.votes[vote.0].id)
            }
            When::Told { filter } => format!("after a message on `{filter}`"),
            When::Asked { request } | When::Answered { request } | When::Unanswered { request } => {
                format!("by request.{}", line.requests[request.0].id)
            }
        });
    }
    told.dedup();
    let period_s = if shortest_s.is_finite() {
        shortest_s
    } else {
        0.0
    };
    match told.is_empty() {
        true => ("from its cause on".to_owned(), period_s),
        false => (told.join(", or "), period_s),
    }
}

/// The level that each hydrophone shows of the calibrator.
fn sound(sheet: &mut Dockside, line: &Line) {
    let hydrophones: Vec<SensorIx> = line.hydrophones().collect();
    if hydrophones.is_empty() {
        return;
    }
    let stage = sheet.stage(match sheet.quay.calibrator {
        Some(c) => format!(
            "Hydrophones under a calibrator of {} dB re 1 uPa at {}",
            c.level_db,
            show(c.frequency_hz, Dimension::Frequency)
        ),
        None => "Hydrophones under a calibrator, or a tap that each must show".to_owned(),
    });
    for sensor in hydrophones {
        let module = &line.modules[sensor.module.0];
        let own = &module.sensors[sensor.sensor];
        sheet.steps.push(Step {
            id: format!("level.{}.{}", module.id, own.id),
            stage,
            subject: line.sensor_path(sensor),
            what: "level of its recording, rms".to_owned(),
            unit: "dB re 1 uPa",
            expected: level(line, sensor, &sheet.quay),
            why: "the calibrator less what the high-pass takes; sensitivity, gain and calibrator with their spreads".to_owned(),
            probe: None,
        });
    }
}

fn level(line: &Line, sensor: SensorIx, quay: &Quay) -> Result<Expected, String> {
    let Some(calibrator) = quay.calibrator else {
        return Err(
            "nobody says what the calibrator gives: `--calibrator-level` and `--calibrator-frequency`"
                .to_owned(),
        );
    };
    let chain = sensor_chain(line, sensor).map_err(|e| e.to_string())?;
    if calibrator.frequency_hz >= 0.5 * chain.rate_hz() {
        return Err(format!(
            "the calibrator's frequency is above half the sample rate, {}",
            show(0.5 * chain.rate_hz(), Dimension::Frequency)
        ));
    }
    let high_pass = chain.high_pass_filter().map_err(|e| e.to_string())?;
    let loss_db = high_pass.map_or(0.0, |filter| {
        let (re, im) = filter.response(calibrator.frequency_hz);
        -20.0 * libm::log10(libm::hypot(re, im))
    });
    let overload_db = chain.overload_sine_level_db_re_1upa();
    if calibrator.level_db - loss_db > overload_db {
        return Err(format!(
            "the calibrator overloads its converter, which bears {overload_db:.1} dB re 1 uPa of a sine: take a weaker one"
        ));
    }
    let own = line.sensor(sensor);
    let said = own.chain.as_ref();
    let mut square = quay.calibrator_within_db * quay.calibrator_within_db;
    let laws = said.map(|c| [c.sensitivity_db.law, c.gain_db.law]);
    let calibrated = own.calibrated.as_ref().and_then(|c| c.uncertainty_db);
    // A calibration says how well the sensitivity is known; without one the spread of the type counts.
    let [sensitivity, gain] = laws.unwrap_or_default().map(half_width);
    let sensitivity = calibrated.map_or(sensitivity, |u| u.db);
    square += sensitivity * sensitivity + gain * gain;
    Ok(Expected::about(
        calibrator.level_db - loss_db,
        libm::sqrt(square),
    ))
}

/// How far each clock is from the true time.
fn clocks(sheet: &mut Dockside, line: &Line) {
    let set = clocks_when_set(line);
    let stage = sheet.stage("Clocks, against a clock that is right".to_owned());
    for (m, module) in line.modules.iter().enumerate() {
        if module.input.is_none() {
            continue;
        }
        let by_line = match &set {
            Ok(all) => all[m].clone(),
            Err(why) => Some(Err(why.clone())),
        };
        let within = match (by_line, module.clock_error_s) {
            (Some(Ok(s)), _) => Ok((s, "what setting it over the line leaves")),
            (_, Some(q)) => Ok((q.si, "the plan's `clock_error`")),
            (Some(Err(why)), None) => Err(why),
            (None, None) => Err(format!(
                "module.{} says nothing of how far its clock may be off (`clock_error`), and nothing sets it over the line",
                module.id
            )),
        };
        let why = within.as_ref().map_or("", |(_, why)| *why).to_owned();
        sheet.steps.push(Step {
            id: format!("clock.{}", module.id),
            stage,
            subject: line.module_path(ModuleIx(m)),
            what: "its time less the right time".to_owned(),
            unit: "s",
            expected: within.map(|(s, _)| Expected::about(0.0, s)),
            why,
            probe: None,
        });
    }
}

/// Room of each store before it sails.
fn stores(sheet: &mut Dockside, line: &Line) {
    if line.storages.is_empty() {
        return;
    }
    let stage = sheet.stage("Stores".to_owned());
    for (s, storage) in line.storages.iter().enumerate() {
        let of = StorageIx(s);
        let needed = filling(line, of).map(|f| f.b_s() * line.deployment.longest_s());
        let usable = usable_bytes(line, of);
        sheet.steps.push(Step {
            id: format!("free.{}", storage.id),
            stage,
            subject: format!("storage.{}", storage.id),
            what: "free room".to_owned(),
            unit: "GB",
            expected: needed
                .map(|bytes| Expected {
                    value: Some(usable / GB),
                    ..Expected::at_least(bytes / GB)
                })
                .map_err(|e| e.to_string()),
            why: "what the longest time in the water fills; expected of an empty store is what may be filled"
                .to_owned(),
            probe: None,
        });
    }
}
