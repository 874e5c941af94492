//! `soundline desk`: the server says what the command line says.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Stdio};

use assess::tuning::{TunedCurve, TunedPoint, Tuning, chain_digest, steady_digest};
use serde_json::{Value, json};

use crate::shapes::compare;
use crate::support::{demo, run, soundline, stdout};

/// Ends with the test.
struct Server {
    program: Child,
    address: String,
}

impl Server {
    fn open(plan: &str) -> Server {
        let mut program = soundline()
            .args(["desk", plan, "--port", "0"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut url = String::new();
        let told = program.stdout.take().unwrap();
        BufReader::new(told).read_line(&mut url).unwrap();
        let address = url.trim().strip_prefix("http://").unwrap();
        let address = address.strip_suffix('/').unwrap().to_owned();
        Server { program, address }
    }

    fn ask(&self, method: &str, path: &str, body: &Value) -> Value {
        let mut stream = TcpStream::connect(&self.address).unwrap();
        let (address, body) = (&self.address, body.to_string());
        write!(
            stream,
            "{method} {path} HTTP/1.1\r\nHost: {address}\r\nOrigin: http://{address}\r\nConnection: close\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}",
            body.len()
        )
        .unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        let (head, body) = answer.split_once("\r\n\r\n").unwrap();
        assert!(head.starts_with("HTTP/1.1 20"), "{path}: {answer}");
        serde_json::from_str(body).unwrap()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // It may have ended by itself; a test that fails already need not fail twice.
        drop(self.program.kill());
        drop(self.program.wait());
    }
}

/// For every document: the command with `--format json` and the server with the same question give the same, key by key.
#[test]
fn verif_the_desk_gives_the_documents_of_the_commands() {
    let demo = demo("harrow-sound", false);
    let text = std::fs::read_to_string(&demo.plan).unwrap();
    let server = Server::open(&demo.plan);
    let cases: [(&str, &[&str], Value); 10] = [
        ("mooring", &[], json!({})),
        (
            "failures",
            &["--contacts", "new"],
            json!({ "contacts": "new" }),
        ),
        ("recovery", &[], json!({})),
        ("uplink", &[], json!({})),
        ("chain", &["--month", "3"], json!({ "month": 3 })),
        ("start", &[], json!({})),
        ("faults", &["--leak", "500"], json!({ "leak_ohm": 500.0 })),
        (
            "year",
            &["--years", "12", "--seed", "3"],
            json!({ "years": 12, "seed": 3 }),
        ),
        ("hours", &["--years", "6"], json!({ "years": 6 })),
        ("check", &["--evidence"], json!({ "evidence": true })),
    ];
    for (command, flags, ask) in cases {
        let mut args = vec![command, &demo.plan, "--format", "json"];
        args.extend(flags);
        let own: Value = serde_json::from_str(&stdout(&run(&args))).unwrap();
        let kind = if command == "check" {
            "verdicts"
        } else {
            command
        };
        let path = format!("/api/document/{kind}");
        let served = server.ask("POST", &path, &json!({ "text": text, "ask": ask }));
        assert!(
            served == own,
            "{command}: {}",
            difference(&own, &served, "")
        );
    }
}

/// A recording is heard on the page as `listen` hears it.
#[test]
fn verif_the_desk_hears_what_listen_hears() {
    let demo = demo("harrow-sound", false);
    let text = std::fs::read_to_string(&demo.plan).unwrap();
    let name = "night_20270402T223000Z.wav";
    let wav = demo.folder.path().join(name);
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 48_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(&wav, spec).unwrap();
    for n in 0..3 * 48_000 {
        let x = (std::f64::consts::TAU * 120.0 * f64::from(n) / 48_000.0).sin();
        writer.write_sample((x * 3000.0) as i16).unwrap();
    }
    writer.finalize().unwrap();
    let recording = wav.display().to_string();
    let sensor = "module.upper.sensor.ear";
    let args = [
        "listen", &demo.plan, &recording, "--as", sensor, "--format", "json",
    ];
    let own: Value = serde_json::from_str(&stdout(&run(&args))).unwrap();
    let server = Server::open(&demo.plan);
    let asked = json!({ "text": text, "recording": name, "as": [sensor] });
    let job = server.ask("POST", "/api/listen", &asked)["job"].clone();
    let heard = loop {
        let told = server.ask("GET", &format!("/api/jobs/{job}"), &json!({}));
        match told["state"].as_str().unwrap() {
            "progress" => std::thread::sleep(std::time::Duration::from_millis(50)),
            "done" => break told["result"].clone(),
            other => panic!("{other}: {told}"),
        }
    };
    assert!(heard == own, "{}", difference(&own, &heard, ""));
}

/// The first place at which two documents differ.
fn difference(own: &Value, served: &Value, at: &str) -> String {
    if let (Value::Object(a), Value::Object(b)) = (own, served) {
        for key in a.keys().chain(b.keys()) {
            let (x, y) = (&own[key], &served[key]);
            if x != y || a.contains_key(key) != b.contains_key(key) {
                return difference(x, y, &format!("{at}.{key}"));
            }
        }
    }
    if let (Value::Array(a), Value::Array(b)) = (own, served) {
        let differing = a.iter().zip(b).position(|(x, y)| x != y);
        if let Some(i) = differing {
            return difference(&a[i], &b[i], &format!("{at}[{i}]"));
        }
    }
    format!("{at}: {own} and {served}")
}

/// Documents that only the desk gives, each held to the committed one of its version.
#[test]
fn regress_the_documents_of_the_desk() {
    let demo = demo("harrow-sound", false);
    let folder = demo.folder.path();
    let text = std::fs::read_to_string(&demo.plan).unwrap();
    let server = Server::open(&demo.plan);
    let mut session = server.ask("GET", "/api/session", &json!({}));
    // Schemas are held elsewhere, and the text is the plan's own.
    for schema in ["schema", "cue_schema"] {
        assert!(session[schema]["properties"].is_object());
        session[schema] = json!({});
    }
    session["plan"]["text"] = json!("format = 1");
    compare("desk-1.json", &session, folder);
    let wrong = text.replace("[section.riser]\n", "[section.riser]\nlenght = \"9 m\"\n");
    let asked = json!({ "text": wrong, "tier": "quick", "serial": 1 });
    let mistaken = server.ask("POST", "/api/consequences", &asked);
    let asked = json!({ "text": text, "tier": "quick", "serial": 2 });
    let mut told = server.ask("POST", "/api/consequences", &asked);
    told["mistakes"] = mistaken["mistakes"].clone();
    assert_eq!(told["mistakes"][0]["code"], "unknown-key");
    // Held as a document of its own.
    told["verdicts"] = json!({ "format": told["verdicts"]["format"] });
    compare("consequences-1.json", &told, folder);
    // With a record of labels all is known at a threshold that was tried, and not much beyond.
    let text = text + LABELS;
    std::fs::write(&demo.plan, &text).unwrap();
    leave_a_record(&demo.plan, folder);
    let asked = |db: f64| json!({ "text": text, "detector": "upcall-upper", "on_above_db": db });
    for (db, document) in [
        (10.0, "threshold-2.json"),
        (20.0, "threshold-2-unknown.json"),
    ] {
        let mut told = server.ask("POST", "/api/threshold", &asked(db));
        assert_eq!(told["text_with_expects"].is_string(), db < 20.0);
        for text in ["text", "text_with_expects"] {
            if told[text].is_string() {
                told[text] = json!("format = 1");
            }
        }
        compare(document, &told, folder);
    }
}

const LABELS: &str = "\n[requirement.finds]\nthat = \"recall\"\nof = \"detector.upcall-upper\"\nat_least = \"50 %\"\nlabels = \"labels.csv\"\n";

/// A record of 100 labels in 10 d, tried at 6 and 12 dB.
fn leave_a_record(plan: &str, folder: &Path) {
    let (path, labels) = (Path::new(plan), folder.join("labels.csv"));
    std::fs::write(&labels, "recording,from_s,to_s\n").unwrap();
    let reading = assess::read(path, &plan::from_folder_of(path));
    let line = reading.line.as_ref().unwrap();
    let of = line.detectors.iter().position(|d| d.id == "upcall-upper");
    let of = plan::DetectorIx(of.unwrap());
    let point = |(threshold_db, hits, false_alarms)| TunedPoint {
        threshold_db,
        hits,
        false_alarms,
        by_day: None,
    };
    let record = Tuning {
        program: beside::computed_by(),
        detector: "upcall-upper".to_owned(),
        chain_digest: chain_digest(line, of, None).unwrap(),
        labels: "labels.csv".to_owned(),
        labels_digest: beside::recordings::digest(&labels).unwrap(),
        labelled: 100,
        hits: 80,
        false_alarms: 100,
        judged_s: 864_000.0,
        curve: Some(TunedCurve {
            steady_digest: steady_digest(line, of, None).unwrap(),
            points: [(6.0, 80, 100), (12.0, 50, 4)].map(point).to_vec(),
        }),
        ..Tuning::begun()
    };
    let file = record.path(path);
    std::fs::create_dir_all(file.parent().unwrap()).unwrap();
    std::fs::write(file, record.to_json()).unwrap();
}
