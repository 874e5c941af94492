//! JSON of a rehearsal: one object a record for the trace, one object for the whole.

use assess::input::{Carrier, arithmetic};
use network::NoteKind;
use plan::{CueSheet, Line, SupplyIx};
use rehearsal::{Collapse, KeptBack, Outcome, Record, What};
use serde_json::{Map, Value, json};

use super::came::{faults_came_json, topics_came_json};
use super::{asking, content, fail_safes, settings, streams, words};

/// The first line of a trace, as one JSON object: of what it is. The records follow it ([`record_json`]).
#[must_use]
pub fn trace_json(
    program: &str,
    plan_digest: &str,
    cues_digest: &str,
    line: &Line,
    cues: &CueSheet,
) -> Value {
    json!({
        "format": "trace/1",
        "program": program,
        "plan_digest": plan_digest,
        "cues_digest": cues_digest,
        "seed": cues.seed,
        "arithmetic": arithmetic(line),
    })
}

/// One record of the trace, as one JSON object; keys end in their unit.
#[must_use]
pub fn record_json(line: &Line, cues: &CueSheet, record: &Record) -> Value {
    let mut object = Map::new();
    object.insert("id".to_owned(), json!(record.id.0));
    if let Some(parent) = record.parent {
        object.insert("parent".to_owned(), json!(parent.0));
    }
    object.insert("at_ns".to_owned(), json!(record.at.0));
    if let Some(root) = record.root {
        object.insert(
            "sound".to_owned(),
            json!({
                "id": format!("sound.{}", cues.sounds[root.sound.0].id),
                "repeat": root.repeat,
                "heard_at_ns": root.heard_at.0,
            }),
        );
    }
    let (what, detail) = detail(line, cues, &record.what);
    object.insert("what".to_owned(), json!(what));
    if let Value::Object(detail) = detail {
        object.extend(detail);
    }
    Value::Object(object)
}

fn detail(line: &Line, cues: &CueSheet, what: &What) -> (&'static str, Value) {
    let detector = |d: &plan::DetectorIx| format!("detector.{}", line.detectors[d.0].id);
    let topic = |t: &plan::TopicIx| line.topics[t.0].name.clone();
    let uplink = |u: &plan::UplinkIx| format!("uplink.{}", line.uplinks[u.0].id);
    let store = |s: &plan::StorageIx| format!("storage.{}", line.storages[s.0].id);
    let behaviour = |b: &plan::BehaviourIx| format!("behaviour.{}", line.behaviours[b.0].id);
    let module = |m: &plan::ModuleIx| line.module_path(*m);
    match what {
        What::Arrives {
            sensor,
            sound,
            repeat,
            closest_range_m,
            level_db_re_1upa,
        } => (
            "arrives",
            json!({ "sensor": line.sensor_path(*sensor), "arriving": format!("sound.{}", cues.sounds[sound.0].id), "repeat": repeat,
                    "closest_range_m": closest_range_m, "level_db_re_1upa": level_db_re_1upa }),
        ),
        What::Noticed {
            detector: d,
            event,
            notice,
        } => (
            "notice",
            json!({ "detector": detector(d), "event": event, "notice": words::notice(*notice) }),
        ),
        What::Event { detector: d, event } => {
            let reference = words::level_key(line, *d);
            let mut told = json!({ "detector": detector(d), "event": event.id.0, "begin_sample": event.begin_sample,
                    "end_sample": event.end_sample, "score_db": event.score_db, "pulses": event.pulses });
            told[format!("peak_level_{reference}")] = json!(event.peak_level_db);
            told[format!("mean_level_{reference}")] = json!(event.mean_level_db);
            told[format!("background_{reference}")] = json!(event.background_db);
            ("event", told)
        }
        What::Dropped {
            detector: d,
            event,
            reason,
        } => (
            "dropped",
            json!({ "detector": detector(d), "event": event, "why": words::dropped(*reason) }),
        ),
        What::Started { behaviour: b } => ("started", json!({ "behaviour": behaviour(b) })),
        What::Refused { what, why } => (
            "refused",
            match what {
                KeptBack::Behaviour(b) => {
                    json!({ "behaviour": behaviour(b), "why": words::refusal(*why) })
                }
                KeptBack::Fault(f) => {
                    json!({ "fault": format!("fault.{}", cues.faults[*f].id), "why": words::refusal(*why) })
                }
                KeptBack::Answer(a) => {
                    json!({ "answer": words::answer(cues, *a), "why": words::refusal(*why) })
                }
                KeptBack::Input(i) => {
                    json!({ "input": words::input(cues, *i), "why": words::refusal(*why) })
                }
            },
        ),
        What::Published {
            module: m,
            topic: t,
            message,
            content,
        } => {
            let told = json!({ "module": module(m), "topic": topic(t), "message": message.0 });
            (
                "published",
                content::json(told, &line.topics[t.0], content.as_deref()),
            )
        }
        What::Crossed {
            over,
            to,
            message,
            answer,
            fragment,
            queued,
            start,
            end,
        } => {
            let mut told = json!({ "to": module(to), "message": message.0, "fragment": fragment,
                    "queued_ns": queued.0, "start_ns": start.0, "end_ns": end.0 });
            let key = match over {
                Carrier::Span(_) => "span",
                Carrier::Bus(_) => "bus",
            };
            told[key] = json!(over.path(line));
            if *answer {
                told["acknowledges"] = json!(true);
            }
            ("crossed", told)
        }
        What::Delivered {
            module: m,
            topic: t,
            message,
            from,
            after,
            late,
            ..
        } => (
            "delivered",
            json!({ "module": module(m), "topic": topic(t), "message": message.0, "from": module(from),
                    "latency_ns": after.0, "late": late }),
        ),
        What::BeyondBound {
            module: m,
            topic: t,
            message,
            after,
            bound,
        } => (
            "beyond-the-bound",
            json!({ "module": module(m), "topic": topic(t), "message": message.0, "latency_ns": after.0,
                    "bound_ns": bound.0 }),
        ),
        What::Contact {
            span,
            open,
            held_open_by,
        } => (
            "contact",
            json!({ "span": format!("span.{}", line.spans[span.0].id), "open": open,
                    "held_open_by": held_open_by.map(|f| format!("fault.{}", cues.faults[f].id)) }),
        ),
        What::Spent { supply } => (
            "spent",
            json!({ "supply": format!("supply.{}", line.supplies[supply.0].id) }),
        ),
        What::Lost {
            module: m,
            topic: t,
            message,
            why,
        } => (
            "lost",
            json!({ "module": module(m), "topic": topic(t), "message": message.0, "why": words::loss(*why) }),
        ),
        What::Asking {
            request,
            ask,
            module,
            what,
            content,
        } => asking::ask_json(line, *request, *ask, *module, *what, content.as_deref()),
        What::Joining { module, what } => asking::join_json(line, *module, *what),
        What::ComesOn => ("comes-on", json!({})),
        What::Streaming { stream, what } => streams::step_json(line, *stream, *what),
        What::FailSafe { output, what } => fail_safes::step_json(line, *output, *what),
        What::Posted {
            module: m,
            topic: t,
            message,
            what,
        } => {
            let mut told = json!({ "module": module(m), "topic": topic(t), "message": message.0 });
            if let NoteKind::Missed { reason } | NoteKind::AnswerLost { reason } = what {
                told["why"] = json!(words::network_loss(*reason));
            }
            if let NoteKind::Again { sending } = what {
                told["sending"] = json!(sending);
            }
            (words::posted(*what), told)
        }
        What::Switched { output, on } => (
            "switched",
            json!({ "output": line.output_path(*output), "to": words::on_off(*on) }),
        ),
        What::Stays { output, on } => (
            "stays",
            json!({ "output": line.output_path(*output), "at": words::on_off(*on) }),
        ),
        What::Entered { module: m, state } => (
            "entered",
            json!({ "module": module(m), "state": line.modules[m.0].loads[*state].state }),
        ),
        What::Queued {
            uplink: u,
            topic: t,
            message,
            bytes,
            content,
        } => {
            let mut told = json!({ "uplink": uplink(u), "message": message, "size_bytes": bytes });
            if content.is_some() {
                told["topic"] = json!(topic(t));
            }
            (
                "queued",
                content::json(told, &line.topics[t.0], content.as_deref()),
            )
        }
        What::Attempt {
            uplink: u,
            message,
            attempt,
        } => (
            "attempt",
            json!({ "uplink": uplink(u), "message": message, "attempt": attempt }),
        ),
        What::Failed {
            uplink: u,
            message,
            attempt,
        } => (
            "failed",
            json!({ "uplink": uplink(u), "message": message, "attempt": attempt }),
        ),
        What::Sent {
            uplink: u,
            message,
            billed,
        } => (
            "sent",
            json!({ "uplink": uplink(u), "message": message, "billed": billed }),
        ),
        What::Expired { uplink: u, message } => (
            "expired",
            json!({ "uplink": uplink(u), "message": message }),
        ),
        What::NoRoom { uplink: u, message } => (
            "no-room",
            json!({ "uplink": uplink(u), "message": message }),
        ),
        What::CapReached { uplink: u, billed } => (
            "cap-reached",
            json!({ "uplink": uplink(u), "billed": billed }),
        ),
        What::StoreDrops {
            storage,
            what,
            bytes,
        } => (
            "store-drops",
            json!({ "storage": store(storage), "dropped": what.word(), "size_bytes": bytes }),
        ),
        What::StoreFull { storage } => ("store-full", json!({ "storage": store(storage) })),
        What::Stopped {
            behaviour: b,
            line: at,
            column,
            why,
        } => (
            "stopped",
            json!({ "behaviour": behaviour(b), "line": at, "column": column, "why": why }),
        ),
        What::Set {
            detector,
            threshold_db,
            hold_off_s,
            restored,
        } => (
            "set",
            json!({ "detector": format!("detector.{}", line.detectors[detector.0].id),
                "threshold": { "value": threshold_db, "unit": settings::unit(line, *detector) },
                "hold_off_s": hold_off_s, "restored": restored }),
        ),
        What::Logged { module: m, text } => {
            ("logged", json!({ "module": module(m), "text": text }))
        }
        What::FaultBegins { fault } => (
            "fault-begins",
            json!({ "fault": words::fault(line, cues, *fault) }),
        ),
        What::FaultEnds { fault } => (
            "fault-ends",
            json!({ "fault": words::fault(line, cues, *fault) }),
        ),
        What::Settled { voltages_v } => {
            let all: Map<String, Value> = line
                .modules
                .iter()
                .zip(voltages_v)
                .map(|(m, v)| (format!("module.{}", m.id), json!(v)))
                .collect();
            ("settled", json!({ "voltages_v": all }))
        }
        What::Collapsed { why, modules } => {
            let (word, share, supplies) = match why {
                Collapse::Powers { share } => ("power", Some(*share), [].as_slice()),
                Collapse::Currents => ("current", None, [].as_slice()),
                Collapse::Overloaded { supplies } => ("current-limit", None, supplies.as_slice()),
            };
            let supply = |s: &SupplyIx| format!("supply.{}", line.supplies[s.0].id);
            (
                "collapsed",
                json!({ "share_that_can_be_carried": share, "why": word,
                    "supplies": supplies.iter().map(supply).collect::<Vec<_>>(),
                    "modules": modules.iter().map(module).collect::<Vec<_>>() }),
            )
        }
        What::OverVoltage {
            module: m,
            voltage_v,
            highest_v,
        } => (
            "over-voltage",
            json!({ "module": module(m), "voltage_v": voltage_v, "highest_v": highest_v }),
        ),
        What::Together { exclusive, holding } => (
            "together",
            json!({ "exclusive": format!("exclusive.{}", line.exclusives[*exclusive].id), "holding": holding }),
        ),
        What::Down {
            module: m,
            voltage_v,
        } => (
            "down",
            json!({ "module": module(m), "voltage_v": voltage_v }),
        ),
        What::Voted { vote, detectors } => (
            "voted",
            json!({ "vote": format!("vote.{}", line.votes[vote.0].id),
                    "detectors": detectors.iter().map(&detector).collect::<Vec<_>>() }),
        ),
        What::Hears { detector: d } => ("hears", json!({ "detector": detector(d) })),
        What::Deaf { detector: d } => ("deaf", json!({ "detector": detector(d) })),
        What::Boots { module: m } => ("boots", json!({ "module": module(m) })),
        What::Up { module: m } => ("up", json!({ "module": module(m) })),
    }
}

/// The whole of a rehearsal: expectations, voltages, energy, messages.
#[must_use]
pub fn rehearsal_json(line: &Line, cues: &CueSheet, outcome: &Outcome) -> Value {
    let expectations: Vec<Value> = outcome
        .expectations
        .iter()
        .map(|e| json!({ "id": format!("expect.{}", e.id), "passed": e.passed, "seen": e.said }))
        .collect();
    let passed = outcome.expectations.iter().filter(|e| e.passed).count();
    let modules: Map<String, Value> = line
        .modules
        .iter()
        .enumerate()
        .map(|(i, m)| {
            let (low, high) = outcome.voltages_v[i];
            (
                format!("module.{}", m.id),
                json!({ "lowest_voltage_v": low, "highest_voltage_v": high, "energy_j": outcome.module_energy_j[i],
                        "restarts": outcome.restarts[i] }),
            )
        })
        .collect();
    let uplinks: Map<String, Value> = line
        .uplinks
        .iter()
        .zip(&outcome.uplinks)
        .map(|(u, c)| {
            (
                format!("uplink.{}", u.id),
                json!({ "queued": c.queued, "sent": c.sent, "billed": c.billed, "expired": c.expired, "dropped": c.dropped,
                        "waiting": c.waiting, "months_capped": c.months_capped,
                        "price": u.cost(c.billed).map(money_json) }),
            )
        })
        .collect();
    let stores: Map<String, Value> = line
        .storages
        .iter()
        .zip(&outcome.stores)
        .map(|(s, c)| {
            (
                format!("storage.{}", s.id),
                json!({ "held_bytes": c.held_bytes, "files_begun": c.files_begun, "files_closed": c.files_closed,
                        "dropped_bytes": c.dropped_bytes, "lost_bytes": c.lost_bytes }),
            )
        })
        .collect();
    let t = &outcome.on_terms;
    let mut messages = json!({ "copies_due": outcome.copies.due, "delivered": outcome.copies.delivered, "lost": outcome.copies.lost,
                      "under_way": outcome.copies.under_way });
    if t.due > 0 {
        let dropped: Map<String, Value> = t
            .dropped
            .iter()
            .map(|(why, n)| (words::network_loss(*why).to_owned(), json!(n)))
            .collect();
        messages["on_terms"] = json!({ "copies_due": t.due, "delivered": t.delivered, "lost": dropped, "had_already": t.had, "kept": t.kept,
                      "under_way": t.under_way, "sent_again": t.again, "duplicates_removed": t.duplicates, "delivered_twice": t.repeated,
                      "acknowledged": t.acknowledged, "acknowledged_after_given_up": t.acknowledged_late, "never_confirmed": t.unconfirmed, "acknowledgements": t.answers,
                      "acknowledgements_lost": t.answers_lost, "held_and_sent": t.retained });
    }
    let clocks = line.modules.iter().zip(&outcome.clocks_s);
    let clocks: Map<String, Value> = clocks
        .filter_map(|(module, off_s)| Some((format!("module.{}", module.id), json!((*off_s)?))))
        .collect();
    if !clocks.is_empty() {
        messages["clock_error_s"] = json!(clocks);
    }
    let never_set = outcome.clocks_never_set.iter();
    let never_set: Map<String, Value> = never_set
        .map(|(module, why)| (line.module_path(*module), json!(why)))
        .collect();
    if !never_set.is_empty() {
        messages["clocks_never_set"] = json!(never_set);
    }
    let clamped = line.topics.iter().zip(&outcome.clamped);
    let clamped: Map<String, Value> = clamped
        .filter(|(_, n)| **n > 0)
        .map(|(topic, n)| (topic.name.clone(), json!(n)))
        .collect();
    let mut whole = json!({
        "format": "rehearsal/1",
        "name": cues.name,
        "seed": cues.seed,
        "duration_s": outcome.duration_s,
        "arithmetic": arithmetic(line),
        "status": words::status(outcome.status()),
        "counts": { "passed": passed, "failed": outcome.expectations.len() - passed },
        "expectations": expectations,
        "modules": modules,
        "uplinks": uplinks,
        "stores": stores,
        "messages": messages,
        "topics": topics_came_json(line, outcome),
        "faults": faults_came_json(line, cues, outcome),
        "records": outcome.records,
        "hydrophones": outcome.clipped.iter().map(|(sensor, clipped)| json!({
            "sensor": line.sensor_path(*sensor), "clipped_samples": clipped,
            "self_noise": if outcome.self_noise_unknown.contains(sensor) { "unknown" } else { "as planned" },
        })).collect::<Vec<_>>(),
    });
    let held_back = line.behaviours.iter().zip(&outcome.held_back);
    let held_back: Map<String, Value> = held_back
        .filter(|(_, n)| **n > 0)
        .map(|(b, n)| (format!("behaviour.{}", b.id), json!({ "held_back": n })))
        .collect();
    if !held_back.is_empty() {
        whole["behaviours"] = json!(held_back);
    }
    if !outcome.routines.is_empty() {
        let routines: Map<String, Value> = outcome
            .routines
            .iter()
            .zip(&outcome.logs)
            .map(|(r, log)| {
                (
                    format!("behaviour.{}", line.behaviours[r.behaviour.0].id),
                    json!({ "runs": r.runs, "most_steps": r.most_operations, "steps_allowed": routine::LIMITS.operations, "stops": r.stops,
                            "logged_lines": log.lines, "last_lines": log.last.iter().map(|(at, text)| json!({ "at_ns": at.0, "text": text })).collect::<Vec<_>>() }),
                )
            })
            .collect();
        whole["routines"] = json!(routines);
    }
    if !outcome.settings.is_empty() {
        whole["settings"] = settings::totals_json(line, outcome);
    }
    if !outcome.buses.is_empty() {
        let buses = outcome.buses.iter().map(|bus| {
            let stations = bus.stations.iter().map(|s| {
                json!({ "module": line.module_path(s.module), "hit": s.hit, "bus_offs": s.bus_offs,
                        "most_errors": s.most_errors })
            });
            json!({ "over": bus.over.path(line), "frames": bus.frames, "hit": bus.hit,
                    "stations": stations.collect::<Vec<_>>() })
        });
        whole["buses"] = buses.collect();
    }
    // Only where some were, so that the document of a night without is what it was.
    let (requests, joins) = asking::totals_json(line, outcome);
    if !requests.is_empty() {
        whole["requests"] = json!(requests);
    }
    let acquaintances = asking::acquaintances_json(line, outcome);
    if !acquaintances.is_empty() {
        whole["acquaintances"] = json!(acquaintances);
    }
    let streams = streams::streams_json(line, outcome);
    if !streams.is_empty() {
        whole["streams"] = json!(streams);
    }
    if !joins.is_empty() {
        whole["joining"] = json!(joins);
    }
    if !clamped.is_empty() {
        whole["clamped_values"] = json!(clamped);
    }
    whole
}

pub(super) fn money_json(money: quantity::Money) -> Value {
    json!({ "value": money.major(), "unit": String::from_utf8_lossy(&money.currency) })
}
