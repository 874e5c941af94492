//! Speed of the network machine: frame crossings and deliveries a second, beside the same network in SimPy.
//!
//! For people who change the machine or the queue. Bounds: 2 million frame crossings a second, and 20 times the deliveries a second of the
//! peer, `bench/network_simpy.py`, run with the interpreter named by the environment variable PYTHON (default python3). Equal results come first, to the
//! nanosecond; then ours and theirs take turns, both warm. Building the network is inside the measured part on both sides. Exit status 1 if results
//! differ, the peer does not run, or a bound is missed.
#![expect(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a bench tells its figures"
)]

use std::error::Error;
use std::io::{BufRead, BufReader, Write};
use std::process::{Child, ChildStdin, ChildStdout, Command, ExitCode, Stdio};
use std::time::Instant;

use network::{Delivery, Filter, LinkSpec, Machine, Publication, TopicName, Topology};
use serde_json::{Value, json};
use timeline::Ns;

const NODES: usize = 16;
const SPAN_NS: u64 = 400_000_000;
const ROUNDS: usize = 7;
const OURS_PER_ROUND: usize = 5;
const BOUND_HOPS_PER_S: f64 = 2e6;
const BOUND_TIMES: f64 = 20.0;

fn main() -> ExitCode {
    match run() {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(why) => {
            eprintln!("network bench: {why}");
            ExitCode::FAILURE
        }
    }
}

struct Stream {
    node: usize,
    topic: String,
    bytes: u32,
    priority: u8,
    period_ns: u64,
    offset_ns: u64,
}

impl Stream {
    fn count(&self) -> u64 {
        (SPAN_NS - self.offset_ns).div_ceil(self.period_ns)
    }
}

/// A line of sixteen modules on 10 Mb/s spans: levels from all to the first, alerts from all to all, audio from three to the first.
fn streams() -> Vec<Stream> {
    let mut streams = Vec::new();
    for node in 0..NODES {
        let offset_ns = 37_000 * node as u64;
        let stream = |kind: &str, bytes, priority, period_ns| Stream {
            node,
            topic: format!("line/n{node}/{kind}"),
            bytes,
            priority,
            period_ns,
            offset_ns,
        };
        streams.push(stream("level", 60, 1, 4_000_000));
        streams.push(stream("alert", 9, 0, 20_000_000));
        if node % 5 == 4 {
            streams.push(stream("audio", 2400, 2, 10_000_000));
        }
    }
    streams
}

fn subscriptions() -> Vec<(usize, &'static str)> {
    let mut subscriptions = vec![(0, "line/+/level"), (0, "line/+/audio")];
    subscriptions.extend((0..NODES).map(|node| (node, "line/+/alert")));
    subscriptions
}

fn links() -> Vec<LinkSpec> {
    (1..NODES)
        .map(|node| LinkSpec {
            a: node - 1,
            b: node,
            rate_bps: 10_000_000,
            propagation: Ns(500),
            overhead_bytes: 86,
            min_payload_bytes: 0,
            bits_per_byte: 8,
            lead: Ns::ZERO,
        })
        .collect()
}

const PROC_NS: u64 = 20_000;
const MTU_BYTES: u32 = 1400;

struct Ours {
    delivered: Vec<Delivery>,
    frame_hops: u64,
}

fn ours(streams: &[Stream], publications: &[(Ns, u32, u64)]) -> Result<Ours, Box<dyn Error>> {
    let topology = Topology::new(vec![Ns(PROC_NS); NODES], links(), MTU_BYTES)?;
    let mut filters = Vec::new();
    for (node, text) in subscriptions() {
        filters.push((node, Filter::parse(text)?));
    }
    let mut machine = Machine::new(topology, filters)?;
    let mut topics = Vec::new();
    for stream in streams {
        topics.push(machine.topic(&TopicName::parse(&stream.topic)?));
    }
    let mut delivered = Vec::new();
    for &(at, number, seq) in publications {
        while machine.next_time().is_some_and(|next| next < at) {
            machine.step(&mut delivered);
        }
        let stream = &streams[number as usize];
        let topic = topics[number as usize];
        machine.publish(
            at,
            Publication {
                node: stream.node,
                topic,
                bytes: stream.bytes,
                priority: stream.priority,
                stream: number,
                seq,
            },
        )?;
    }
    while machine.next_time().is_some() {
        machine.step(&mut delivered);
    }
    Ok(Ours {
        delivered,
        frame_hops: machine.stats().frame_hops,
    })
}

fn run() -> Result<bool, Box<dyn Error>> {
    let streams = streams();
    let mut publications = Vec::new();
    for (number, stream) in (0u32..).zip(&streams) {
        publications.extend(
            (0..stream.count())
                .map(|seq| (Ns(stream.offset_ns + seq * stream.period_ns), number, seq)),
        );
    }
    publications.sort_unstable();
    let mut peer = Peer::start(&scenario(&streams))?;

    let first = ours(&streams, &publications)?;
    let mut rows: Vec<[u64; 4]> = first
        .delivered
        .iter()
        .map(|d| [u64::from(d.stream), d.seq, d.node as u64, d.at.0])
        .collect();
    rows.sort_unstable();
    let theirs = peer.ask("rows")?;
    if theirs["delivered"] != json!(rows) || theirs["frame_hops"] != json!(first.frame_hops) {
        return Err("the results differ from the peer's".into());
    }
    println!(
        "line of {NODES} modules, {} messages, {} deliveries, {} frame crossings: equal to the nanosecond",
        publications.len(),
        rows.len(),
        first.frame_hops
    );

    let (mut our_s, mut their_s) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        for _ in 0..OURS_PER_ROUND {
            let begin = Instant::now();
            let result = ours(&streams, &publications)?;
            our_s.push(begin.elapsed().as_secs_f64());
            std::hint::black_box(result.delivered);
        }
        their_s.push(
            peer.ask("time")?["seconds"]
                .as_f64()
                .ok_or("the peer gave no time")?,
        );
    }
    peer.stop()?;

    let (our_s, their_s) = (quantiles(our_s), quantiles(their_s));
    let (hops, deliveries) = (first.frame_hops as f64, rows.len() as f64);
    println!(
        "{:>8} {:>28} {:>28}",
        "", "frame crossings/s", "deliveries/s"
    );
    for (name, seconds) in [("ours", our_s), ("SimPy", their_s)] {
        let [fast, median, slow] = seconds;
        println!(
            "{name:>8} {:>28} {:>28}",
            format!(
                "{:.0} ({:.0} to {:.0})",
                hops / median,
                hops / slow,
                hops / fast
            ),
            format!(
                "{:.0} ({:.0} to {:.0})",
                deliveries / median,
                deliveries / slow,
                deliveries / fast
            )
        );
    }
    println!("medians of runs taken in turn, in brackets least and most");
    let (rate, times) = (hops / our_s[1], their_s[1] / our_s[1]);
    println!(
        "{rate:.0} frame crossings/s, bound {BOUND_HOPS_PER_S:.0}; {times:.0} times the peer, bound {BOUND_TIMES:.0}"
    );
    let held = rate >= BOUND_HOPS_PER_S && times >= BOUND_TIMES;
    if !held {
        println!("BOUND MISSED");
    }
    Ok(held)
}

fn scenario(streams: &[Stream]) -> Value {
    json!({
        "proc_ns": vec![PROC_NS; NODES],
        "mtu_bytes": MTU_BYTES,
        "links": links().iter().map(|link| json!({
            "a": link.a, "b": link.b, "rate_bps": link.rate_bps, "prop_ns": link.propagation.0,
            "overhead_bytes": link.overhead_bytes, "min_payload_bytes": link.min_payload_bytes,
        })).collect::<Vec<_>>(),
        "streams": streams.iter().map(|stream| json!({
            "node": stream.node, "topic": stream.topic, "bytes": stream.bytes, "prio": stream.priority,
            "period_ns": stream.period_ns, "offset_ns": stream.offset_ns, "count": stream.count(),
        })).collect::<Vec<_>>(),
        "subs": subscriptions().iter().map(|(node, filter)| json!({ "node": node, "filter": filter })).collect::<Vec<_>>(),
        "faults": [],
    })
}

/// Least, median and greatest.
fn quantiles(mut seconds: Vec<f64>) -> [f64; 3] {
    seconds.sort_unstable_by(f64::total_cmp);
    [
        seconds[0],
        seconds[seconds.len() / 2],
        seconds[seconds.len() - 1],
    ]
}

struct Peer {
    process: Child,
    commands: ChildStdin,
    answers: BufReader<ChildStdout>,
}

impl Peer {
    fn start(scenario: &Value) -> Result<Peer, Box<dyn Error>> {
        let python = std::env::var("PYTHON").unwrap_or_else(|_| "python3".to_owned());
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/../../bench/network_simpy.py");
        let mut process = Command::new(&python)
            .arg(script)
            .env("PYTHONDONTWRITEBYTECODE", "1")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .map_err(|why| format!("{python} does not start: {why}"))?;
        let mut commands = process.stdin.take().ok_or("the peer has no input")?;
        let answers = BufReader::new(process.stdout.take().ok_or("the peer has no output")?);
        writeln!(commands, "{scenario}")?;
        Ok(Peer {
            process,
            commands,
            answers,
        })
    }

    fn ask(&mut self, command: &str) -> Result<Value, Box<dyn Error>> {
        writeln!(self.commands, "{command}")?;
        self.commands.flush()?;
        let mut line = String::new();
        if self.answers.read_line(&mut line)? == 0 {
            return Err(
                "the peer stopped without an answer (is simpy installed for PYTHON?)".into(),
            );
        }
        Ok(serde_json::from_str(&line)?)
    }

    fn stop(self) -> Result<(), Box<dyn Error>> {
        let Peer {
            mut process,
            commands,
            ..
        } = self;
        drop(commands);
        process.wait()?;
        Ok(())
    }
}
