//! Who edits the plan elsewhere is told to the page within seconds, and that the server is there.

use std::fs;
use std::io::{BufRead, BufReader, Lines, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::bench_plan::Desk;
use crate::jobs::{CUES, start};

/// Several looks at the file, and several heartbeats.
const LONGEST_WAIT: Duration = Duration::from_secs(60);

pub(crate) struct Events {
    lines: Lines<BufReader<TcpStream>>,
    /// Names that the server says its events have.
    told: Vec<String>,
}

impl Events {
    pub(crate) fn of(desk: &Desk) -> Events {
        let mut stream = TcpStream::connect(desk.address).unwrap();
        // Far longer than a heartbeat.
        stream
            .set_read_timeout(Some(Duration::from_secs(60)))
            .unwrap();
        write!(
            stream,
            "GET /api/events HTTP/1.1\r\nHost: {}\r\n\r\n",
            desk.address
        )
        .unwrap();
        let told = desk.get("/api/openapi.json").ok();
        let content = &told["paths"]["/api/events"]["get"]["responses"]["200"]["content"];
        let names = content["text/event-stream"]["schema"]["description"].clone();
        Events {
            lines: BufReader::new(stream).lines(),
            told: names
                .as_str()
                .unwrap()
                .split(", ")
                .map(str::to_owned)
                .collect(),
        }
    }

    /// The next event of this name; others pass.
    pub(crate) fn next(&mut self, wanted: &str) -> Value {
        let mut name = String::new();
        let begun = Instant::now();
        loop {
            // Heartbeats alone would go on for ever.
            assert!(begun.elapsed() < LONGEST_WAIT, "no {wanted}");
            let line = self.lines.next().unwrap().unwrap();
            if let Some(told) = line.strip_prefix("event: ") {
                name = told.to_owned();
                assert!(self.told.contains(&name), "{name} is not told");
            }
            if let Some(data) = line.strip_prefix("data: ")
                && name == wanted
            {
                return serde_json::from_str(data).unwrap();
            }
        }
    }
}

#[test]
fn verif_a_change_on_the_disk_is_told_and_a_heartbeat_comes() {
    let desk = Desk::open();
    let mut events = Events::of(&desk);
    events.next("heartbeat");
    let text = desk.text();
    fs::write(desk.plan(), text.clone() + "# elsewhere\n").unwrap();
    let told = events.next("plan-changed");
    let now = desk.get("/api/plan").ok();
    assert_eq!(told["source_digest"], now["source_digest"]);
    assert_eq!(now["text"], text.clone() + "# elsewhere\n");
    let away = desk.folder.path().join("away.toml");
    fs::rename(desk.plan(), &away).unwrap();
    let gone = events.next("plan-gone");
    assert_eq!(gone["error"]["code"], "plan-gone");
    // It comes back, as it was before.
    fs::write(desk.plan(), &text).unwrap();
    let back = events.next("plan-changed");
    assert_eq!(
        back["source_digest"],
        desk.get("/api/plan").ok()["source_digest"]
    );
    // Nothing happens, and the server says that it is there.
    events.next("heartbeat");
}

/// How far long work is comes over the one stream, of all jobs, each by its number; a page needs no connection for each.
#[test]
fn verif_the_progress_of_all_jobs_comes_over_one_stream() {
    let desk = Desk::open();
    let mut events = Events::of(&desk);
    events.next("heartbeat");
    let sheet = json!({ "cue_text": CUES });
    let long = json!({ "draws": 100_000, "no_evidence": true });
    let (rehearsed, drawn) = (
        start(&desk, "rehearse", &sheet),
        start(&desk, "certainty", &long),
    );
    let mut ends = std::collections::BTreeMap::new();
    let mut moved = std::collections::BTreeSet::new();
    while ends.len() < 2 {
        let told = events.next("job");
        let number = told["job"].as_u64().unwrap();
        match told["state"].as_str().unwrap() {
            "progress" => {
                assert!(
                    (0.0..=1.0).contains(&told["share"].as_f64().unwrap()),
                    "{told}"
                );
                moved.insert(number);
            }
            end => drop(ends.insert(number, end.to_owned())),
        }
        if ends.contains_key(&rehearsed) && !ends.contains_key(&drawn) {
            desk.send("DELETE", &format!("/api/jobs/{drawn}"), &json!({}))
                .ok();
        }
    }
    assert_eq!(ends[&rehearsed], "done");
    assert_eq!(ends[&drawn], "cancelled");
    assert!(moved.contains(&rehearsed) && moved.contains(&drawn));
    // One that fails says why, with the places of its mistakes, there and where it is asked for.
    let wrong = json!({ "cue_text": CUES.replace("seed = 7", "sead = 7") });
    let failed = start(&desk, "rehearse", &wrong);
    let told = loop {
        let told = events.next("job");
        if told["job"] == failed && told["state"] == "failed" {
            break told;
        }
    };
    assert_eq!(told["error"]["code"], "mistakes");
    let asked = desk.get(&format!("/api/jobs/{failed}")).ok();
    assert!(!told["mistakes"].as_array().unwrap().is_empty());
    assert_eq!(asked["mistakes"], told["mistakes"]);
    assert_eq!(asked["error"], told["error"]);
}

/// Numbers of jobs are not those that another server gave: a page that outlives its server takes no other's work for its own.
#[test]
fn verif_numbers_of_jobs_are_of_one_server_alone() {
    let ask = json!({ "cue_text": "format = 1" });
    let (one, other) = (Desk::open(), Desk::open());
    let mut seen = std::collections::BTreeSet::new();
    for desk in [&one, &other] {
        for _ in 0..3 {
            let number = start(desk, "rehearse", &ask);
            // What a page counts exactly.
            assert!(number < 1 << 53);
            assert!(seen.insert(number));
            let stranger = if std::ptr::eq(desk, &one) {
                &other
            } else {
                &one
            };
            let answer = stranger.get(&format!("/api/jobs/{number}"));
            assert_eq!(answer.error(), "no-such-job");
        }
    }
}

/// What a check has read beside the plan is looked at, too: catalogues, labels and evidence that come, change or go.
#[test]
fn verif_a_change_beside_the_plan_is_told() {
    let desk = Desk::open();
    let labels = "\n[requirement.finds]\nthat = \"recall\"\nof = \"detector.upcall-upper\"\nat_least = \"50 %\"\nlabels = \"labels.csv\"\n";
    let mut events = Events::of(&desk);
    events.next("heartbeat");
    desk.consequences(&(desk.text() + labels), "quick");
    let own = |name: &str| desk.folder.path().join(name);
    let parts = fs::read_to_string(own("parts.toml")).unwrap();
    fs::write(own("parts.toml"), parts + "# elsewhere\n").unwrap();
    assert_eq!(
        events.next("beside-changed")["files"],
        json!(["parts.toml"])
    );
    fs::write(own("labels.csv"), "recording,from_s,to_s\n").unwrap();
    assert_eq!(
        events.next("beside-changed")["files"],
        json!(["labels.csv"])
    );
    fs::create_dir(own("plan.evidence")).unwrap();
    fs::write(own("plan.evidence/tune-one.json"), "{}").unwrap();
    let told = events.next("beside-changed");
    assert_eq!(told["files"], json!(["plan.evidence/tune-one.json"]));
    fs::remove_file(own("plan.evidence/tune-one.json")).unwrap();
    let told = events.next("beside-changed");
    assert_eq!(told["files"], json!(["plan.evidence/tune-one.json"]));
    // The cue sheet that a requirement names.
    let night = fs::read_to_string(own("cues/ferry-night.toml")).unwrap();
    fs::write(own("cues/ferry-night.toml"), night + "# elsewhere\n").unwrap();
    assert_eq!(
        events.next("beside-changed")["files"],
        json!(["cues/ferry-night.toml"])
    );
}
