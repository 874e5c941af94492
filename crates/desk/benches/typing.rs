//! Typing at the desk: fifty changes of one value each of the first example, over HTTP, until their quick consequences are there; and what
//! the first page weighs.
//!
//! Run with `cargo bench -p desk --bench typing`. Each change is a text that was never asked for before. `TYPING_EDITS` (50) shortens it. Exit status 1
//! when a bound is missed.
#![expect(clippy::print_stdout, reason = "a bench tells its figures")]
#![expect(clippy::unwrap_used, reason = "a bench stops at the first surprise")]

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::process::ExitCode;
use std::time::Instant;

use serde_json::json;

const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../plans/harrow-sound");
/// Median and worst of all changes, s.
const BOUNDS_S: (f64, f64) = (0.100, 0.200);

/// Keys, and the values they are given in turn: `{}` counts up, so that no text comes twice.
const CHANGES: [(&str, &str, f64, f64); 10] = [
    ("section.riser.length", "{} m", 110.0, 0.1),
    ("module.upper.loads.listening", "{} W", 0.5, 0.01),
    ("module.lower.loads.sending", "{} W", 1.3, 0.01),
    ("supply.sun.battery.capacity", "{} Ah", 240.0, 0.5),
    ("supply.sun.output.voltage", "{} V", 23.5, 0.1),
    ("span.upper-probe.length", "{} m", 9.0, 0.1),
    ("anchor.sinker.weight_in_water", "{} N", 6500.0, 5.0),
    ("requirement.messages.at_most", "{} per 30 d", 400.0, 1.0),
    ("module.marker.output.lamp.power", "{} W", 6.0, 0.1),
    ("site.water_depth", "{} m", 85.0, 0.1),
];

struct Page {
    into: TcpStream,
    from: BufReader<TcpStream>,
    address: SocketAddr,
}

impl Page {
    fn open(address: SocketAddr) -> Page {
        let into = TcpStream::connect(address).unwrap();
        into.set_nodelay(true).unwrap();
        let from = BufReader::new(into.try_clone().unwrap());
        Page {
            into,
            from,
            address,
        }
    }

    fn ask(&mut self, method: &str, path: &str, body: &str) -> (u16, Vec<u8>) {
        let address = self.address;
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: {address}\r\nOrigin: http://{address}\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\r\n",
            body.len()
        );
        self.into.write_all((head + body).as_bytes()).unwrap();
        let (mut status, mut length) = (0, 0);
        for number in 0.. {
            let mut row = String::new();
            self.from.read_line(&mut row).unwrap();
            let row = row.trim_end().to_ascii_lowercase();
            if row.is_empty() {
                break;
            }
            if number == 0 {
                status = row.split(' ').nth(1).unwrap().parse().unwrap();
            }
            if let Some(told) = row.strip_prefix("content-length: ") {
                length = told.parse().unwrap();
            }
        }
        let mut bytes = vec![0; length];
        self.from.read_exact(&mut bytes).unwrap();
        (status, bytes)
    }
}

fn main() -> ExitCode {
    let edits = std::env::var("TYPING_EDITS").ok();
    let edits: usize = edits.and_then(|n| n.parse().ok()).unwrap_or(50).max(10);
    let plan = Path::new(ROOT).join("plan.toml");
    let text = std::fs::read_to_string(&plan).unwrap();
    let reading = assess::read(&plan, &plan::from_folder_of(&plan));
    let options = desk::Options {
        plan: plan.clone(),
        listen: None,
        port: Some(0),
        hears: None,
    };
    let bound = desk::bind(options).unwrap();
    let address = bound.address();
    // It ends with the bench.
    std::thread::spawn(move || bound.serve(&|| false).unwrap());
    let mut page = Page::open(address);
    let (status, first) = page.ask("GET", "/", "");
    let weight = match status {
        200 => format!("{} bytes", first.len()),
        _ => "not built (make page)".to_owned(),
    };
    println!("first page: {weight}");
    let mut follow = |text: &str, serial: usize| {
        let asked = json!({ "text": text, "tier": "quick", "serial": serial, "client": "bench" });
        let asked = asked.to_string();
        let begun = Instant::now();
        let (status, bytes) = page.ask("POST", "/api/consequences", &asked);
        let took_s = begun.elapsed().as_secs_f64();
        assert_eq!(status, 200, "{}", String::from_utf8_lossy(&bytes));
        (took_s, bytes)
    };
    // The page asks for the plan as it stands before anybody types.
    let (opening_s, _) = follow(&text, 0);
    let mut times = Vec::new();
    let mut slowest = (0.0, "");
    for number in 0..edits {
        let (key, form, from, step) = CHANGES[number % CHANGES.len()];
        let value = from + step * (1 + number / CHANGES.len()) as f64;
        let value = form.replace("{}", &format!("{value:.2}"));
        // Numbers of messages are whole.
        let value = value.replace(".00 per", " per");
        let edit = reading.set(key, &value).unwrap();
        let changed = plan::splice(&text, &[edit]).unwrap();
        let (took_s, bytes) = follow(&changed, number + 1);
        let told: serde_json::Value = serde_json::from_slice(&bytes).unwrap();
        assert_eq!(told["mistakes"], json!([]), "{key} = {value}");
        if took_s > slowest.0 {
            slowest = (took_s, key);
        }
        times.push(took_s);
    }
    times.sort_by(f64::total_cmp);
    let (median_s, worst_s) = (times[times.len() / 2], slowest.0);
    println!("opened: {:.0} ms", 1e3 * opening_s);
    println!(
        "{edits} changes, each to its quick consequences: median {:.0} ms (bound {:.0} ms), worst {:.0} ms (bound {:.0} ms), of {}",
        1e3 * median_s,
        1e3 * BOUNDS_S.0,
        1e3 * worst_s,
        1e3 * BOUNDS_S.1,
        slowest.1
    );
    match median_s <= BOUNDS_S.0 && worst_s <= BOUNDS_S.1 {
        true => ExitCode::SUCCESS,
        false => ExitCode::FAILURE,
    }
}
