//! Who edits the plan elsewhere is told to the page within seconds, and that the server is there.

use std::fs;
use std::io::{BufRead, BufReader, Lines, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::bench_plan::Desk;

/// Several looks at the file, and several heartbeats.
const LONGEST_WAIT: Duration = Duration::from_secs(60);

struct Events(Lines<BufReader<TcpStream>>);

impl Events {
    fn of(desk: &Desk) -> Events {
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
        Events(BufReader::new(stream).lines())
    }

    /// The next event of this name; others pass.
    fn next(&mut self, wanted: &str) -> Value {
        let mut name = String::new();
        let begun = Instant::now();
        loop {
            // Heartbeats alone would go on for ever.
            assert!(begun.elapsed() < LONGEST_WAIT, "no {wanted}");
            let line = self.0.next().unwrap().unwrap();
            if let Some(told) = line.strip_prefix("event: ") {
                name = told.to_owned();
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
