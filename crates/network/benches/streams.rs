//! Ten minutes of a stream of 100 Mbit/s over four links, and memory over the hour.
//!
//! For people who change the machine or the queue. Packets of 1500 bytes, 8333 a second, over four links of 1 Gbit/s: 5 million packets and 20 million frame crossings in ten minutes. Bound: these
//! in under 15 s. Then an hour of a tenth of the rate; the peak of memory in use must not grow by more than a hundredth over that
//! after the first minute of it (Linux alone: `VmHWM` of /proc/self/status). Exit status 1 if a bound is missed or a packet is.
#![expect(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a bench tells its figures"
)]

mod common;

use std::error::Error;
use std::process::ExitCode;
use std::time::Instant;

use network::{Delivery, Machine, StreamSource, TopicName, Topology};
use timeline::Ns;

use common::{ended, links, peak_kib};

const NODES: usize = 5;
const BOUND_S: f64 = 15.0;
const BOUND_GROWTH: f64 = 1.01;
const S: u64 = 1_000_000_000;

fn main() -> ExitCode {
    ended(run())
}

/// A chain of five with a stream at this rate from the last to the first, running.
fn chain(rate_bps: u64) -> Result<Machine, Box<dyn Error>> {
    let links = links(NODES, 1_000_000_000);
    let topology = Topology::new(vec![Ns(20_000); NODES], links, 1500)?;
    let mut machine = Machine::new(topology, Vec::new())?;
    let topic = machine.topic(&TopicName::parse("$stream/video")?);
    let stream = machine.add_stream(StreamSource {
        node: NODES - 1,
        to: 0,
        topic,
        bytes: 1500,
        burst: 1,
        beat_num_ns: 8 * 1500 * S,
        beat_den: rate_bps,
        priority: 3,
        stream: 0,
    })?;
    machine.start_stream(Ns::ZERO, stream, Ns::ZERO)?;
    Ok(machine)
}

/// Lets it run to an instant; packets delivered.
fn run_to(machine: &mut Machine, out: &mut Vec<Delivery>, until: Ns) -> u64 {
    let mut delivered = 0;
    while machine.next_time().is_some_and(|at| at < until) {
        machine.step(out);
        delivered += out.len() as u64;
        out.clear();
    }
    delivered
}

fn run() -> Result<bool, Box<dyn Error>> {
    let mut out = Vec::new();
    let begin = Instant::now();
    let mut machine = chain(100_000_000)?;
    let delivered = run_to(&mut machine, &mut out, Ns(600 * S));
    let took_s = begin.elapsed().as_secs_f64();
    let hops = machine.stats().frame_hops;
    println!(
        "ten minutes of 100 Mbit/s over four links: {delivered} packets delivered, {hops} frame crossings in {took_s:.2} s, bound {BOUND_S}; {:.2} million crossings/s",
        hops as f64 / took_s / 1e6
    );
    // The last is still on its way.
    if delivered != 4_999_999 {
        return Err(format!("{delivered} packets came, and 4999999 were due").into());
    }
    let mut machine = chain(10_000_000)?;
    run_to(&mut machine, &mut out, Ns(60 * S));
    let first_kib = peak_kib();
    run_to(&mut machine, &mut out, Ns(3600 * S));
    let flat = match (first_kib, peak_kib()) {
        (Some(first), Some(last)) => {
            println!("peak of memory after a minute {first} KiB, after an hour {last} KiB");
            last as f64 <= first as f64 * BOUND_GROWTH
        }
        _ => {
            println!("peak of memory: not known on this system");
            true
        }
    };
    Ok(took_s < BOUND_S && flat)
}
