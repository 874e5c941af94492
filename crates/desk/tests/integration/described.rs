//! The OpenAPI document is true: each route and method it tells is there, no other is, and answers have the keys that it promises.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use crate::bench_plan::Desk;

const METHODS: [&str; 5] = ["GET", "PUT", "POST", "DELETE", "PATCH"];

#[test]
fn verif_every_route_and_method_is_told_and_no_other_is_there() {
    let desk = Desk::open();
    let told = desk.get("/api/openapi.json").ok();
    assert_eq!(told["openapi"], "3.1.0");
    let paths = told["paths"].as_object().unwrap();
    assert!(paths.len() > 15);
    for (path, operations) in paths {
        let real = path
            .replace("{kind}", "none")
            .replace("{id}", "999")
            .replace("/cues/{name}", "/cues/none.toml")
            .replace("{name}", "none.wav");
        for method in METHODS {
            let there = operations.get(method.to_lowercase()).is_some();
            // A stream does not end.
            if there && path == "/api/events" {
                continue;
            }
            let answer = match method {
                "GET" => desk.get(&real),
                _ => desk.send(method, &real, &json!({})),
            };
            assert_eq!(
                answer.status != 405,
                there,
                "{method} {path}: {}",
                answer.status
            );
            if answer.status == 404 {
                assert_ne!(answer.error(), "no-such-route", "{method} {path}");
            }
        }
    }
}

/// Each JSON answer has the keys that the document requires, and each body is taken with the keys that it tells and with no other.
#[test]
fn verif_answers_and_bodies_have_the_keys_that_are_told() {
    let desk = Desk::open();
    let told = desk.get("/api/openapi.json").ok();
    let text = desk.text();
    let on_disk = desk.get("/api/plan").ok();
    let (digest, identity) = (&on_disk["source_digest"], &on_disk["identity"]);
    let wav = desk.folder.path().join("a.wav");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 8000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(&wav, spec).unwrap();
    (0..800).for_each(|n| writer.write_sample(n as i16).unwrap());
    writer.finalize().unwrap();
    let night = desk.get("/api/cues/cues/ferry-night.toml").ok();
    let cues = night["text"]
        .as_str()
        .unwrap()
        .replace("duration = \"21 min\"", "duration = \"30 s\"");
    let short = cues.split("\n[").take(2).collect::<Vec<_>>().join("\n[");
    let job = json!({ "kind": "rehearse", "text": text, "ask": { "cue_text": short } });
    let started = desk.post("/api/jobs", &job);
    let id = started.json()["job"].as_u64().unwrap();
    while desk.get(&format!("/api/jobs/{id}")).ok()["state"] == "progress" {
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    let own = |path: &str| path.replace("{id}", &id.to_string());
    let bodies: BTreeMap<&str, Value> = BTreeMap::from([
        (
            "put /api/plan",
            json!({ "text": text, "base_digest": digest, "identity": identity }),
        ),
        (
            "put /api/cues/{name}",
            json!({ "text": night["text"], "base_digest": night["source_digest"], "identity": identity }),
        ),
        (
            "post /api/consequences",
            json!({ "text": text, "tier": "quick", "serial": 1, "client": "a" }),
        ),
        (
            "post /api/document/{kind}",
            json!({ "text": text, "ask": {} }),
        ),
        (
            "post /api/edit",
            json!({ "text": text, "path": "section.riser.length", "value": "111 m" }),
        ),
        (
            "post /api/sheet",
            json!({ "text": text, "cues": "cues/ferry-night.toml", "cue_text": short }),
        ),
        (
            "post /api/quay",
            json!({ "text": text, "quay": {}, "rows": [["open.sun", "24", "V", "ab", ""]] }),
        ),
        (
            "post /api/places",
            json!({ "text": text, "part": "part.flow-meter", "silent": true, "without_years": true, "at": ["section.riser:40 m"] }),
        ),
        (
            "post /api/place",
            json!({ "held": { "text": text, "part": "part.flow-meter", "silent": true }, "number": 0 }),
        ),
        (
            "post /api/threshold",
            json!({ "text": text, "detector": "upcall-upper", "on_above_db": 11.0, "real_per_d": 3.0 }),
        ),
        (
            "post /api/listen",
            json!({ "text": text, "recording": "a.wav", "as": ["module.upper.sensor.ear"] }),
        ),
        ("post /api/jobs", job),
    ]);
    for (path, operations) in told["paths"].as_object().unwrap() {
        for (method, operation) in operations.as_object().unwrap() {
            let name = format!("{method} {path}");
            if path == "/api/events" || method == "delete" || path == "/api/listen" {
                continue;
            }
            let mut real = own(path)
                .replace("{kind}", "mooring")
                .replace("/cues/{name}", "/cues/cues/ferry-night.toml")
                .replace("{name}", "a.wav");
            if path.ends_with("/chain") {
                real.push_str("?record=0");
            }
            if path.ends_with("/picture") {
                real.push_str("?from_s=0&to_s=0.1&width=8&height=8");
            }
            let body = bodies.get(name.as_str());
            let answer = match (method.as_str(), body) {
                ("get", _) => desk.get(&real),
                (_, Some(body)) => desk.send(&method.to_uppercase(), &real, body),
                (_, None) => panic!("no body for {name}"),
            };
            let expected = operation["responses"].as_object().unwrap();
            let status = answer.status.to_string();
            let response = expected.get(&status);
            let response = response.unwrap_or_else(|| panic!("{name}: {status} {}", answer.text()));
            let content = response["content"].as_object().unwrap();
            let kind = content.keys().next().unwrap();
            assert_eq!(answer.header("Content-Type").unwrap(), kind, "{name}");
            if let Some(keys) = content[kind]["schema"]["required"].as_array() {
                let json = answer.json();
                for key in keys {
                    assert!(
                        json.get(key.as_str().unwrap()).is_some(),
                        "{name} has no {key}"
                    );
                }
            }
            // The body has no key that is not told, and none that is told is refused.
            let Some(body) = body else { continue };
            let schema = &operation["requestBody"]["content"]["application/json"]["schema"];
            let properties = schema["properties"].as_object().unwrap();
            for key in body.as_object().unwrap().keys() {
                assert!(properties.contains_key(key), "{name}: {key} is not told");
            }
            for key in schema["required"].as_array().unwrap() {
                let mut less = body.clone();
                less.as_object_mut().unwrap().remove(key.as_str().unwrap());
                assert_eq!(
                    desk.send(&method.to_uppercase(), &real, &less).status,
                    400,
                    "{name} without {key}"
                );
            }
            let mut more = body.clone();
            more["moon"] = json!(1);
            assert_eq!(
                desk.send(&method.to_uppercase(), &real, &more).status,
                400,
                "{name}"
            );
        }
    }
}

/// What may be asked within a body is told key by key: the server takes these and no other, as it says itself where it is asked another.
#[test]
fn verif_what_may_be_asked_is_told_key_by_key() {
    let desk = Desk::open();
    let told = desk.get("/api/openapi.json").ok();
    let (text, moon) = (desk.text(), json!({ "moon": 1 }));
    let cases = [
        (
            "/api/document/{kind}",
            "/api/document/uplink",
            "ask",
            json!({ "text": text, "ask": moon }),
        ),
        (
            "/api/jobs",
            "/api/jobs",
            "ask",
            json!({ "kind": "rehearse", "text": text, "ask": moon }),
        ),
        (
            "/api/quay",
            "/api/quay",
            "quay",
            json!({ "text": text, "quay": moon }),
        ),
        (
            "/api/place",
            "/api/place",
            "held",
            json!({ "held": moon, "number": 0 }),
        ),
    ];
    for (path, real, key, body) in cases {
        let answer = desk.post(real, &body);
        assert_eq!(answer.error(), "bad-body");
        let said = answer.json()["error"]["message"]
            .as_str()
            .unwrap()
            .to_owned();
        // unknown field `moon`, expected one of `supply`, `years`, ...
        let names = said
            .split("expected")
            .nth(1)
            .unwrap_or_else(|| panic!("{said}"));
        let mut taken: Vec<&str> = names.split('`').skip(1).step_by(2).collect();
        taken.sort_unstable();
        let schema =
            &told["paths"][path]["post"]["requestBody"]["content"]["application/json"]["schema"];
        let own = &schema["properties"][key];
        assert_eq!(own["additionalProperties"], false, "{path}");
        let mut named: Vec<&str> = own["properties"]
            .as_object()
            .unwrap()
            .keys()
            .map(String::as_str)
            .collect();
        named.sort_unstable();
        assert_eq!(named, taken, "{path}");
        // Each is of the type that is told: another is refused.
        for (name, schema) in own["properties"].as_object().unwrap() {
            let wrong = match schema["type"].as_str().unwrap() {
                "string" => json!(1),
                _ => json!("x"),
            };
            let mut body = body.clone();
            body[key] = json!({});
            body[key][name] = wrong;
            let answer = desk.post(real, &body);
            assert_eq!(answer.error(), "bad-body", "{path} {name}");
        }
    }
}

/// A recording is heard by what the server was given for it: with the text of the page, the file of the folder and the sensors that are
/// named, and it can be stopped.
#[test]
fn verif_a_recording_is_heard_as_a_job() {
    let desk = Desk::hearing(std::sync::Arc::new(|_, text, recording, sensors, go_on| {
        if sensors.is_empty() {
            return Err(("no sensor".to_owned(), Some("name one".to_owned())));
        }
        assert!(go_on(0.5));
        while sensors[0] == "for-ever" && go_on(0.5) {
            std::thread::yield_now();
        }
        Ok(
            json!({ "text": text, "recording": recording.file_name().unwrap().to_str(), "sensors": sensors }),
        )
    }));
    std::fs::write(desk.folder.path().join("a.wav"), "RIFF").unwrap();
    let ask =
        |sensors: &[&str]| json!({ "text": "of the page", "recording": "a.wav", "as": sensors });
    let start = |sensors: &[&str]| {
        let answer = desk.post("/api/listen", &ask(sensors));
        assert_eq!(answer.status, 202, "{}", answer.text());
        answer.json()["job"].as_u64().unwrap()
    };
    let end = |job: u64| {
        crate::jobs::events(&desk, &format!("/api/jobs/{job}/events"))
            .pop()
            .unwrap()
    };
    let heard = start(&["module.upper.sensor.ear"]);
    assert_eq!(end(heard).0, "done");
    let told = desk.get(&format!("/api/jobs/{heard}")).ok();
    assert_eq!(told["kind"], "listen");
    assert_eq!(
        told["result"],
        json!({ "text": "of the page", "recording": "a.wav", "sensors": ["module.upper.sensor.ear"] })
    );
    let failed = end(start(&[]));
    assert_eq!(
        (failed.0.as_str(), &failed.1["error"]["help"]),
        ("failed", &json!("name one"))
    );
    let long = start(&["for-ever"]);
    desk.send("DELETE", &format!("/api/jobs/{long}"), &json!({}))
        .ok();
    assert_ne!(end(long).0, "progress");
    // Where nothing hears, that is said.
    let deaf = Desk::open();
    std::fs::write(deaf.folder.path().join("a.wav"), "RIFF").unwrap();
    assert_eq!(
        deaf.post("/api/listen", &ask(&["x"])).error(),
        "no-listening"
    );
}
