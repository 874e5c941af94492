//! Long work: progress, the end, and being stopped.

use std::io::{BufRead, BufReader, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::bench_plan::Desk;

/// A calm minute: one near call.
pub(crate) const CUES: &str = r#"
format = 1
[rehearsal]
name = "A call"
duration = "90 s"
seed = 7
wind = "4 m/s"
contacts = "aged"
[sound.call]
at = "60 s"
kind = "upsweep"
from = "90 Hz"
to = "150 Hz"
length = "0.7 s"
source_level = "176 dB re 1 uPa m"
track = [{ range = "0.6 km", bearing = "80 deg", depth = "15 m" }]
"#;

/// The events of a stream until it ends: name and data.
pub(crate) fn events(desk: &Desk, path: &str) -> Vec<(String, Value)> {
    let mut stream = TcpStream::connect(desk.address).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(300)))
        .unwrap();
    write!(
        stream,
        "GET {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n",
        desk.address
    )
    .unwrap();
    let mut found = Vec::new();
    let mut name = String::new();
    for line in BufReader::new(stream).lines() {
        let Ok(line) = line else { break };
        if let Some(told) = line.strip_prefix("event: ") {
            name = told.to_owned();
        }
        if let Some(data) = line.strip_prefix("data: ") {
            found.push((name.clone(), serde_json::from_str(data).unwrap()));
        }
    }
    found
}

pub(crate) fn start(desk: &Desk, kind: &str, ask: &Value) -> u64 {
    let asked = json!({ "kind": kind, "text": desk.text(), "ask": ask });
    let answer = desk.post("/api/jobs", &asked);
    assert_eq!(answer.status, 202, "{}", answer.text());
    answer.json()["job"].as_u64().unwrap()
}

/// The document of a job at its end.
pub(crate) fn done(desk: &Desk, job: u64) -> Value {
    let told = events(desk, &format!("/api/jobs/{job}/events"));
    let (name, data) = told.last().unwrap();
    assert_eq!(name, "done", "{data}");
    assert!(told.iter().all(|(n, _)| n == "progress" || n == "done"));
    desk.get(&format!("/api/jobs/{job}")).ok()["result"].clone()
}

/// The page's rehearsal is the command's: the same digest of all that it showed; its records lead from the sound to all that followed.
#[test]
fn verif_a_rehearsal_is_that_of_the_command_and_every_record_has_its_chain() {
    let desk = Desk::open();
    let job = start(&desk, "rehearse", &json!({ "cue_text": CUES }));
    let result = done(&desk, job);
    assert_eq!(result["format"], "rehearsal/1");
    // What a page has in hand leaves nothing beside the plan.
    assert_eq!(result["evidence"], Value::Null);
    assert!(!desk.folder.path().join("plan.evidence").exists());
    let path = desk.plan();
    let reading = assess::read(&path, &plan::from_folder_of(&path));
    let line = reading.line.as_ref().unwrap();
    let sheet = desk.folder.path().join("own.toml");
    std::fs::write(&sheet, CUES).unwrap();
    let read = plan::read_cues(&sheet, &reading, &plan::from_disk);
    let cues = read.cues.as_ref().unwrap();
    let mut hash = beside::TraceDigest::default();
    let mut lines = Vec::new();
    let mut sink = |record: &rehearsal::Record| lines.push(hash.line(line, cues, record).unwrap());
    let outcome = rehearsal::run(line, cues, &mut sink, &mut |_| true).unwrap();
    let digest = hash.end(line, cues, &outcome);
    assert_eq!(result["result_digest"], digest);

    let export = desk.get(&format!("/api/jobs/{job}/export"));
    let text = export.text();
    let mut exported = text.lines();
    let head: Value = serde_json::from_str(exported.next().unwrap()).unwrap();
    assert_eq!(head["format"], "trace/1");
    assert_eq!(exported.count(), lines.len());
    assert_eq!(result["records"], lines.len());

    let all = desk
        .get(&format!("/api/jobs/{job}/records?from_s=55&to_s=70"))
        .ok();
    let own: Vec<Value> = lines
        .iter()
        .map(|l| serde_json::from_str::<Value>(l).unwrap())
        .filter(|r| (55_000_000_000..=70_000_000_000).contains(&r["at_ns"].as_u64().unwrap()))
        .collect();
    assert_eq!(all["records"], json!(own));
    let few = desk.get(&format!("/api/jobs/{job}/records?limit=3")).ok();
    assert_eq!(
        (few["records"].as_array().unwrap().len(), &few["more"]),
        (3, &json!(true))
    );

    // From the event back to the sound, and on to what came of it.
    let event = own
        .iter()
        .find(|r| r["what"] == "notice")
        .expect("the call is heard");
    let id = event["id"].as_u64().unwrap();
    let chain = desk.get(&format!("/api/jobs/{job}/chain?record={id}")).ok();
    let chain = chain["records"].as_array().unwrap();
    assert_eq!(chain[0]["what"], "arrives");
    let ids: Vec<u64> = chain.iter().map(|r| r["id"].as_u64().unwrap()).collect();
    assert!(ids.contains(&id) && ids.len() > 2, "{ids:?}");
    assert_eq!(chain[0]["arriving"], "sound.call");
    for record in &chain[1..] {
        let parent = record["parent"].as_u64();
        let heard = record["sound"]["heard_at_ns"] == chain[0]["at_ns"];
        assert!(parent.map_or(heard, |p| ids.contains(&p)), "{record}");
    }
    let none = desk.get(&format!("/api/jobs/{job}/chain?record=99999999"));
    assert_eq!(none.error(), "no-such-record");
}

/// A sheet that stands in the folder leaves its evidence, and the verdict that asks for it is met.
#[test]
fn verif_a_sheet_of_the_folder_leaves_evidence_that_a_check_finds() {
    let desk = Desk::open();
    let before = desk.consequences(&desk.text(), "full");
    let night = |told: &Value| {
        let all = told["verdicts"]["requirements"].as_array().unwrap();
        all.iter().find(|r| r["id"] == "night").unwrap()["ruling"].clone()
    };
    assert_eq!(night(&before), "unknown");
    // A shorter night than that of the example, which passes too.
    let sheet = CUES.to_owned()
        + "[expect.heard]\nthat = \"notice\"\nof = \"detector.upcall-upper.confirmed\"\nafter = \"sound.call\"\nwithin = \"2 s\"\n";
    std::fs::write(desk.folder.path().join("cues/ferry-night.toml"), sheet).unwrap();
    let job = start(
        &desk,
        "rehearse",
        &json!({ "cues": "cues/ferry-night.toml" }),
    );
    let result = done(&desk, job);
    assert!(std::path::Path::new(result["evidence"].as_str().unwrap()).exists());
    assert_eq!(night(&desk.consequences(&desk.text(), "full")), "met");
    for bad in ["../plan.toml", "/etc/passwd", "cues/none.toml", ""] {
        let job = start(&desk, "rehearse", &json!({ "cues": bad }));
        let told = events(&desk, &format!("/api/jobs/{job}/events"));
        assert_eq!(told.last().unwrap().1["error"]["code"], "outside", "{bad}");
    }
}

/// Mistakes of a sheet are told with their places in it.
#[test]
fn verif_a_sheet_with_mistakes_is_told_where() {
    let desk = Desk::open();
    let text = CUES.replace("seed = 7", "sead = 7");
    let job = start(&desk, "rehearse", &json!({ "cue_text": text }));
    let told = events(&desk, &format!("/api/jobs/{job}/events"));
    let (name, data) = told.last().unwrap();
    assert_eq!(name, "failed");
    assert_eq!(data["error"]["code"], "mistakes");
    let mistake = &data["mistakes"][0];
    let units: Vec<u16> = text.encode_utf16().collect();
    let place = |m: &Value, key: &str| m[key].as_u64().unwrap() as usize;
    let all = data["mistakes"].as_array().unwrap();
    let named = all
        .iter()
        .any(|m| String::from_utf16(&units[place(m, "from")..place(m, "to")]).unwrap() == "sead");
    assert!(named, "{mistake}");
}

/// A job that is stopped ends soon, and says so.
#[test]
fn verif_a_job_is_stopped() {
    let desk = Desk::open();
    let job = start(
        &desk,
        "certainty",
        &json!({ "draws": 100_000, "no_evidence": true }),
    );
    let told = desk.get(&format!("/api/jobs/{job}")).ok();
    assert_eq!(
        (&told["kind"], &told["state"]),
        (&json!("certainty"), &json!("progress"))
    );
    assert_eq!(told["result"], Value::Null);
    let asked = Instant::now();
    desk.send("DELETE", &format!("/api/jobs/{job}"), &json!({}))
        .ok();
    let told = events(&desk, &format!("/api/jobs/{job}/events"));
    assert_eq!(told.last().unwrap().0, "cancelled");
    assert!(asked.elapsed() < Duration::from_secs(60));
    // Once it is over it can be forgotten.
    desk.send("DELETE", &format!("/api/jobs/{job}"), &json!({}))
        .ok();
    assert_eq!(desk.get(&format!("/api/jobs/{job}")).error(), "no-such-job");
}

/// No more than four run at once.
#[test]
fn verif_jobs_are_limited() {
    let desk = Desk::open();
    let ask = json!({ "draws": 100_000, "no_evidence": true });
    let jobs: Vec<u64> = (0..4).map(|_| start(&desk, "certainty", &ask)).collect();
    let asked = json!({ "kind": "certainty", "text": desk.text(), "ask": ask });
    let fifth = desk.post("/api/jobs", &asked);
    assert_eq!((fifth.status, fifth.error().as_str()), (503, "busy"));
    for job in &jobs {
        desk.send("DELETE", &format!("/api/jobs/{job}"), &json!({}))
            .ok();
    }
    for job in &jobs {
        let told = events(&desk, &format!("/api/jobs/{job}/events"));
        assert_eq!(told.last().unwrap().0, "cancelled");
    }
    let again = start(&desk, "rehearse", &json!({ "cue_text": CUES }));
    done(&desk, again);
}

/// Each remedy carries the text that it makes: the edits make it, and its check mends the requirement.
#[test]
fn verif_a_remedy_can_be_looked_at_before_it_is_taken() {
    let desk = Desk::open();
    let text = desk.text();
    let asked =
        json!({ "text": text, "path": "requirement.messages.at_most", "value": "150 per 30 d" });
    let edited = desk.post("/api/edit", &asked).ok();
    let broken = edited["text"].as_str().unwrap().to_owned();
    let asked = json!({ "kind": "remedy", "text": broken, "ask": { "requirement": "messages" } });
    let job = desk.post("/api/jobs", &asked).json()["job"]
        .as_u64()
        .unwrap();
    let found = done(&desk, job);
    assert_eq!(found["format"], "remedy/1");
    let texts = found["texts"].as_array().unwrap();
    assert!(!texts.is_empty(), "{found}");
    for told in texts {
        let mut units: Vec<u16> = broken.encode_utf16().collect();
        let mut edits: Vec<&Value> = told["edits"].as_array().unwrap().iter().collect();
        edits.sort_by_key(|e| std::cmp::Reverse(e["from"].as_u64().unwrap()));
        for edit in edits {
            let (from, to) = (edit["from"].as_u64().unwrap(), edit["to"].as_u64().unwrap());
            let new = edit["text"].as_str().unwrap().encode_utf16();
            units.splice(from as usize..to as usize, new);
        }
        assert_eq!(String::from_utf16(&units).unwrap(), told["text"]);
    }
    let mended = desk.consequences(texts[0]["text"].as_str().unwrap(), "quick");
    let all = mended["verdicts"]["requirements"].as_array().unwrap();
    let own = all.iter().find(|r| r["id"] == "messages").unwrap();
    assert!(
        own["ruling"] == "met" || own["ruling"] == "marginal",
        "{own}"
    );
    // Nothing was written.
    assert_eq!(desk.text(), text);
}

#[test]
fn verif_jobs_that_cannot_be_are_refused() {
    let desk = Desk::open();
    let text = desk.text();
    let cases = [
        (json!({ "kind": "dance", "text": text }), 422, "no-such-job"),
        (
            json!({ "kind": "remedy", "text": text, "ask": { "moon": 1 } }),
            400,
            "bad-body",
        ),
        (json!({ "kind": "remedy" }), 400, "bad-body"),
    ];
    for (asked, status, code) in cases {
        let answer = desk.post("/api/jobs", &asked);
        assert_eq!((answer.status, answer.error().as_str()), (status, code));
    }
    assert_eq!(desk.get("/api/jobs/77").error(), "no-such-job");
    assert_eq!(desk.get("/api/jobs/77/records").error(), "no-such-job");
    assert_eq!(desk.get("/api/jobs/x/events").error(), "no-such-job");
}
