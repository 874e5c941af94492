//! A day of a chain of a hundred modules, and memory over a week.
//!
//! For people who change the machine or the queue. Each module publishes a level of 60 bytes every 10 s to the first: 864,000 messages and 42.8 million frame crossings a day. Bound: the day
//! in under 10 s, building the network included. Then a week of the same chain with a message every 70 s from each, as many messages in all; the peak of
//! memory in use must not grow by more than a tenth over that after the first day of it (Linux alone: `VmHWM` of /proc/self/status). Exit status 1 if a bound is missed or a message is.
#![expect(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a bench tells its figures"
)]

mod common;

use std::error::Error;
use std::process::ExitCode;
use std::time::Instant;

use network::{Filter, Machine, Publication, TopicName, Topology};
use timeline::Ns;

use common::{ended, links, peak_kib};

const NODES: usize = 100;
const DAY_S: u64 = 86_400;
const BOUND_S: f64 = 10.0;
const BOUND_GROWTH: f64 = 1.1;

fn main() -> ExitCode {
    ended(run())
}

fn chain() -> Result<Machine, Box<dyn Error>> {
    let links = links(NODES, 10_000_000);
    let topology = Topology::new(vec![Ns(20_000); NODES], links, 1400)?;
    Ok(Machine::new(topology, vec![(0, Filter::parse("level")?)])?)
}

/// Runs the chain for so many days with a message from each module every so often; calls `daily` after each day. How many were delivered.
fn days(
    machine: &mut Machine,
    days: u64,
    every_s: u64,
    mut daily: impl FnMut(u64),
) -> Result<u64, Box<dyn Error>> {
    let topic = machine.topic(&TopicName::parse("level")?);
    let (mut delivered, mut out) = (0, Vec::new());
    let (mut day, rounds) = (0, days * DAY_S / every_s);
    for seq in 0..rounds {
        // Two modules fifty apart at each of fifty instants.
        for slot in 0..50u64 {
            let now = Ns(seq * every_s * 1_000_000_000 + slot * 37_000_000);
            while machine.next_time().is_some_and(|next| next < now) {
                machine.step(&mut out);
            }
            for node in [slot as usize, slot as usize + 50] {
                machine.publish(
                    now,
                    Publication {
                        node,
                        topic,
                        bytes: 60,
                        priority: 1,
                        stream: node as u32,
                        seq,
                    },
                )?;
            }
            delivered += out.len() as u64;
            out.clear();
        }
        if (seq + 1) * every_s >= (day + 1) * DAY_S {
            day += 1;
            daily(day);
        }
    }
    while machine.next_time().is_some() {
        machine.step(&mut out);
    }
    Ok(delivered + out.len() as u64)
}

fn run() -> Result<bool, Box<dyn Error>> {
    let begin = Instant::now();
    let mut machine = chain()?;
    let delivered = days(&mut machine, 1, 10, |_| {})?;
    let seconds = begin.elapsed().as_secs_f64();
    let stats = machine.stats();
    // The first module's own messages go nowhere.
    let due = 8640 * (NODES as u64 - 1);
    if delivered != due || stats.in_flight != 0 || stats.dropped != 0 {
        return Err(format!("{delivered} delivered of {due}").into());
    }
    println!(
        "a day of a chain of {NODES} modules: {} messages, {} frame crossings in {seconds:.2} s ({:.2} million a second), bound {BOUND_S:.0} s",
        stats.published,
        stats.frame_hops,
        stats.frame_hops as f64 / seconds / 1e6
    );
    let mut peaks = Vec::new();
    let mut machine = chain()?;
    let delivered = days(&mut machine, 7, 70, |_| peaks.push(peak_kib()))?;
    if delivered != 8640 * (NODES as u64 - 1) {
        return Err(format!("{delivered} delivered in a week").into());
    }
    let peaks: Option<Vec<u64>> = peaks.into_iter().collect();
    let flat = match peaks.as_deref() {
        Some([first, .., last]) => {
            println!(
                "a week of it, a message every 70 s from each: peak memory {first} KiB after a day, {last} KiB after seven"
            );
            *last as f64 <= BOUND_GROWTH * *first as f64
        }
        _ => {
            println!("a week of it: no figure of memory on this system, not checked");
            true
        }
    };
    Ok(seconds < BOUND_S && flat)
}
