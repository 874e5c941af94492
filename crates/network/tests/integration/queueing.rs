//! Closed forms of queueing theory, for one link fed at random.

use network::{Machine, Publication, TopicName, Topology};
use timeline::Ns;

use crate::support::{Draw, link};

const BATCHES: usize = 40;

struct Class {
    per_ms: f64,
    /// Frame of this many bytes on the wire, so that service lasts `bytes` x 0.8 us.
    bytes: u32,
}

/// Mean wait before service in units of a millisecond, and its standard error from batch means, by class (priority = index).
fn waits(classes: &[Class], messages: u64, seed: u64) -> Vec<(f64, f64)> {
    let topology = Topology::new(
        vec![Ns(0); 2],
        vec![link(0, 1, 10_000_000, 0, 1)],
        1_000_000,
    )
    .unwrap();
    let mut machine =
        Machine::new(topology, vec![(1, network::Filter::parse("#").unwrap())]).unwrap();
    let topic = machine.topic(&TopicName::parse("t").unwrap());
    let mut due = Vec::new();
    let total: f64 = classes.iter().map(|c| c.per_ms).sum();
    for (number, class) in classes.iter().enumerate() {
        let mut draw = Draw(seed + number as u64);
        let mut at_ms = 0.0;
        for seq in 0..(messages as f64 * class.per_ms / total) as u64 {
            at_ms += draw.exponential(1.0 / class.per_ms);
            due.push((Ns((at_ms * 1e6) as u64), number, seq));
        }
    }
    due.sort_unstable();
    let mut out = Vec::new();
    for (at, number, seq) in due {
        while machine.next_time().is_some_and(|next| next < at) {
            machine.step(&mut out);
        }
        machine
            .publish(
                at,
                Publication {
                    node: 0,
                    topic,
                    bytes: classes[number].bytes - 1,
                    priority: number as u8,
                    stream: number as u32,
                    seq,
                },
            )
            .unwrap();
    }
    while machine.next_time().is_some() {
        machine.step(&mut out);
    }
    let mut result = Vec::new();
    for (number, class) in classes.iter().enumerate() {
        let mut one: Vec<_> = out.iter().filter(|d| d.stream == number as u32).collect();
        one.sort_by_key(|d| d.seq);
        let wait_ms: Vec<f64> = one
            .iter()
            .map(|d| (d.at.0 - d.published.0 - u64::from(class.bytes) * 800) as f64 / 1e6)
            .collect();
        let means: Vec<f64> = wait_ms
            .chunks_exact(wait_ms.len() / BATCHES)
            .take(BATCHES)
            .map(|batch| batch.iter().sum::<f64>() / batch.len() as f64)
            .collect();
        let mean = means.iter().sum::<f64>() / BATCHES as f64;
        let variance = means.iter().map(|m| (m - mean).powi(2)).sum::<f64>() / (BATCHES - 1) as f64;
        result.push((mean, (variance / BATCHES as f64).sqrt()));
    }
    result
}

#[test]
fn val_md1_mean_wait() {
    // Pollaczek-Khinchine for fixed service S: W/S = rho/(2 (1 - rho)).
    for (rho, wait) in [(0.5, 0.5), (0.7, 1.166_667), (0.8, 2.0)] {
        let (mean, error) = waits(
            &[Class {
                per_ms: rho,
                bytes: 1250,
            }],
            200_000,
            11,
        )[0];
        assert!(
            (mean - wait).abs() < 3.0 * error,
            "rho {rho}: {mean} +- {error} against {wait}"
        );
        // The check has power: the M/M/1 value, twice as large, lies far outside.
        assert!((mean - 2.0 * wait).abs() > 10.0 * error);
    }
}

#[test]
fn val_cobham_priorities() {
    // Cobham (1954, formula from memory), non-preemptive: W_k = W0/((1 - s_(k-1)) (1 - s_k)); rates .1, .2, .3 /ms, fixed services .5, 1, 1.5 ms.
    let classes = [
        Class {
            per_ms: 0.1,
            bytes: 625,
        },
        Class {
            per_ms: 0.2,
            bytes: 1250,
        },
        Class {
            per_ms: 0.3,
            bytes: 1875,
        },
    ];
    let found = waits(&classes, 400_000, 23);
    for (&(mean, error), wait) in found.iter().zip([0.473_684, 0.631_579, 2.0]) {
        assert!(
            (mean - wait).abs() < 3.0 * error,
            "{mean} +- {error} against {wait}"
        );
        assert!(error < 0.02 * wait);
    }
}
