//! Faults planted in lines that are drawn from their spreads and read with the meter's errors: how often the true one is in the first class.

use std::num::NonZeroU64;

use chance::Stream;
use plan::{Line, Reading, SpanIx};
use quantity::HALF_WIDTH_DEVIATIONS;

use super::bench::Bench;
use super::predict::{Fault, Probe};
use super::quay::{Quay, QuayAsk};
use super::rank::{Ranking, faults, rank};

/// Share of plants whose fault must be in the first class.
const LEAST_SHARE: f64 = 0.9;
/// Plants in the test, and in a soak.
const PLANTS: (u64, u64) = (60, 1000);
const SEED: u64 = 41;

fn plan_of(name: &str) -> Reading {
    let path = truth::in_repository(&format!("plans/{name}/plan.toml"));
    crate::read(&path, &plan::from_folder_of(&path))
}

fn bench_of<'l>(line: &'l Line, quay: &Quay) -> Bench<'l> {
    Bench::of(line, quay).unwrap()
}

/// What the sheet of a line asks to read with a meter.
fn asked(bench: &Bench<'_>, quay: &Quay) -> Vec<Probe> {
    let sheet = super::dockside(bench.line, &QuayAsk::default()).unwrap();
    assert_eq!(sheet.quay, *quay);
    sheet.probes()
}

/// Between two sizes, even in the logarithm.
fn between(stream: &mut Stream, (low, high): (f64, f64)) -> f64 {
    let (low, high) = (libm::log(low), libm::log(high));
    libm::exp(low + (high - low) * stream.uniform())
}

/// A size that a quay may meet.
fn size_of(stream: &mut Stream, fault: &Fault) -> f64 {
    match fault {
        Fault::PoorContact { .. } => between(stream, (0.3, 30.0)),
        Fault::SupplyContact(_) => between(stream, (0.5, 10.0)),
        Fault::Length(_) => between(stream, (0.4, 2.5)),
        Fault::OtherLoad(_) => between(stream, (0.3, 4.0)),
        Fault::Leak(_) => between(stream, (100.0, 5000.0)),
        Fault::SupplyVolts(_) => between(stream, (0.85, 1.15)),
        _ => 0.0,
    }
}

/// Readings of a line drawn from its spreads, with a fault and the errors of the meter.
fn readings(
    bench: &Bench<'_>,
    quay: &Quay,
    stream: &mut Stream,
    fault: &Fault,
    size: f64,
    probes: &[Probe],
) -> Option<Vec<(Probe, f64)>> {
    let by: Vec<f64> = bench
        .knobs
        .iter()
        .map(|(_, deviation)| deviation * stream.gaussian())
        .collect();
    let told = bench.predict(&bench.moved(&by), fault, size, probes)?;
    let read = probes.iter().zip(told).map(|(probe, value)| {
        let half = match value.is_finite() {
            true => probe.tolerance(quay).half_width(value),
            false => 0.0,
        };
        (
            *probe,
            value + half / HALF_WIDTH_DEVIATIONS * stream.gaussian(),
        )
    });
    Some(read.collect())
}

fn first_has(ranking: &Ranking, fault: &Fault) -> bool {
    let first = ranking.classes.first().into_iter().flatten();
    first
        .into_iter()
        .any(|i| ranking.candidates[*i].fault == *fault)
}

/// Each plant by its own stream: a fault of those that are tried, its size, a line, the meter.
#[test]
fn verif_a_planted_fault_is_in_the_first_class() {
    let soak = std::env::var_os("SOUNDLINE_SOAK").is_some();
    let plants = if soak { PLANTS.1 } else { PLANTS.0 };
    for name in ["harrow-sound", "kelp-gate"] {
        let reading = plan_of(name);
        let quay = Quay::of(&QuayAsk::default()).unwrap();
        let bench = bench_of(reading.line.as_ref().unwrap(), &quay);
        let all = faults(&bench);
        let probes = asked(&bench, &quay);
        let (mut hits, mut planted, mut alone, mut explained, mut noticed) = (0, 0, 0, 0, 0);
        let mut members = 0;
        let mut missed = Vec::new();
        for index in 0.. {
            if planted == plants {
                break;
            }
            let mut stream = Stream::named(SEED, "dockside plants", index);
            let many = NonZeroU64::new(all.len() as u64 - 1).unwrap();
            let fault = &all[1 + stream.below(many) as usize];
            let size = size_of(&mut stream, fault);
            let Some(read) = readings(&bench, &quay, &mut stream, fault, size, &probes) else {
                continue;
            };
            planted += 1;
            let ranking = rank(&bench, &quay, &probes, &read).unwrap();
            members += ranking.classes[0].len();
            alone += u64::from(ranking.classes[0].len() == 1);
            explained += u64::from(!ranking.unexplained());
            noticed += u64::from(!ranking.calls_for_none());
            if first_has(&ranking, fault) {
                hits += 1;
            } else {
                missed.push((fault.clone(), size));
            }
        }
        let share = hits as f64 / planted as f64;
        println!(
            "{name}: {hits} of {planted} plants in the first class ({:.1} %), {alone} alone, {:.1} members on average, {noticed} noticed, {explained} explained by one fault",
            100.0 * share,
            members as f64 / planted as f64
        );
        for (fault, size) in missed.iter().take(12) {
            println!("  missed {fault:?} {size:.3}");
        }
        assert!(share >= LEAST_SHARE, "{name}: {share}");
    }
}

/// Of sound lines those that are said to have a fault are few, and the chi-square test holds its share.
#[test]
fn verif_a_sound_line_calls_for_no_fault() {
    let reading = plan_of("harrow-sound");
    let quay = Quay::of(&QuayAsk::default()).unwrap();
    let bench = bench_of(reading.line.as_ref().unwrap(), &quay);
    let probes = asked(&bench, &quay);
    let count = 40;
    let mut called = 0;
    for index in 0..count {
        let mut stream = Stream::named(SEED, "dockside sound lines", index);
        let read = readings(&bench, &quay, &mut stream, &Fault::Nothing, 0.0, &probes).unwrap();
        let ranking = rank(&bench, &quay, &probes, &read).unwrap();
        called += u64::from(!ranking.calls_for_none());
        assert!(!ranking.unexplained(), "{}", ranking.share_further_off);
    }
    println!("{called} of {count} sound lines said to have a fault");
    assert!(called <= count / 5, "{called} of {count}");
}

/// Without noise a fault is fitted with the size that it has, and nothing is left.
#[test]
fn verif_a_fault_without_noise_has_its_size() {
    let reading = plan_of("kelp-gate");
    let quay = Quay::of(&QuayAsk::default()).unwrap();
    let bench = bench_of(reading.line.as_ref().unwrap(), &quay);
    let probes = asked(&bench, &quay);
    for (fault, size) in [
        (Fault::Length(SpanIx(3)), 1.4),
        (Fault::Leak(bench.order[4].0), 900.0),
        (Fault::OtherLoad(bench.order[1].0), 2.2),
        (Fault::SupplyVolts(plan::SupplyIx(0)), 0.93),
        (Fault::SupplyContact(plan::SupplyIx(0)), 2.5),
    ] {
        let told = bench
            .predict(&bench.nominal, &fault, size, &probes)
            .unwrap();
        let read: Vec<(Probe, f64)> = probes.iter().copied().zip(told).collect();
        let ranking = rank(&bench, &quay, &probes, &read).unwrap();
        let found = ranking
            .candidates
            .iter()
            .find(|c| c.fault == fault)
            .unwrap();
        assert!((found.size.unwrap() / size - 1.0).abs() < 1e-3, "{found:?}");
        assert!(found.chi_square < 1e-3, "{found:?}");
        assert!(first_has(&ranking, &fault), "{fault:?}");
    }
}

/// Two poor contacts at once are no single fault.
#[test]
fn verif_two_faults_are_said_to_be_no_single_one() {
    let reading = plan_of("kelp-gate");
    let quay = Quay::of(&QuayAsk::default()).unwrap();
    let bench = bench_of(reading.line.as_ref().unwrap(), &quay);
    let probes = asked(&bench, &quay);
    let mut values = bench.nominal.clone();
    values.contact_ohm[0][0] += 3.0;
    values.contact_ohm[4][1] += 3.0;
    let told = bench
        .predict(&values, &Fault::Nothing, 0.0, &probes)
        .unwrap();
    let read: Vec<(Probe, f64)> = probes.iter().copied().zip(told).collect();
    let ranking = rank(&bench, &quay, &probes, &read).unwrap();
    assert!(ranking.unexplained() && !ranking.calls_for_none());
}

/// The order of the readings changes no rank.
#[test]
fn verif_the_order_of_readings_changes_nothing() {
    let reading = plan_of("harrow-sound");
    let quay = Quay::of(&QuayAsk::default()).unwrap();
    let bench = bench_of(reading.line.as_ref().unwrap(), &quay);
    let probes = asked(&bench, &quay);
    let mut stream = Stream::named(SEED, "dockside order", 0);
    let fault = Fault::Length(SpanIx(1));
    let mut read = readings(&bench, &quay, &mut stream, &fault, 2.0, &probes).unwrap();
    let one = rank(&bench, &quay, &probes, &read).unwrap();
    read.reverse();
    let other = rank(&bench, &quay, &probes, &read).unwrap();
    let first = |r: &Ranking| {
        let members = r.classes[0]
            .iter()
            .map(|i| format!("{:?}", r.candidates[*i].fault));
        members.collect::<std::collections::BTreeSet<_>>()
    };
    assert_eq!(first(&one), first(&other));
    let chi = |r: &Ranking| r.candidates[0].chi_square;
    assert!((chi(&one) - chi(&other)).abs() < 1e-6);
}
