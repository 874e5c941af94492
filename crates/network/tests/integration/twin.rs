//! Against an independent simulator written from the rules in SimPy 4.1.2: reference/make/network_simpy.py.

use network::DropReason;
use serde_json::Value;

use crate::support::{HandIn, Run, int, list, read_scenario, reference, run};

/// As [`check_copies`], and busy times and hops of the links too.
pub(crate) fn check_ends(ours: &Run, case: &Value) -> (usize, usize) {
    let busy: Vec<u64> = ours.stats.directions.iter().map(|d| d.busy.0).collect();
    let theirs: Vec<u64> = list(&case["busy_ns"]).iter().map(int).collect();
    assert_eq!(busy, theirs);
    assert_eq!(ours.stats.frame_hops, int(&case["frame_hops"]));
    assert_eq!(ours.hops.len() as u64, ours.stats.frame_hops);
    check_copies(ours, case)
}

/// Deliveries and drops of a run, each with its instant and reason, against those of a case; how many there were.
pub(crate) fn check_copies(ours: &Run, case: &Value) -> (usize, usize) {
    let mut delivered: Vec<[u64; 4]> = ours
        .delivered
        .iter()
        .map(|d| [u64::from(d.stream), d.seq, d.node as u64, d.at.0])
        .collect();
    delivered.sort_unstable();
    let numbers =
        |row: &Value| -> [u64; 4] { [int(&row[0]), int(&row[1]), int(&row[2]), int(&row[3])] };
    let theirs: Vec<[u64; 4]> = list(&case["delivered"]).iter().map(numbers).collect();
    assert_eq!(delivered, theirs);
    let mut dropped: Vec<([u64; 4], &str)> = ours
        .dropped
        .iter()
        .map(|d| {
            let why = match d.reason {
                DropReason::NoPath => "path",
                DropReason::LinkDown => "link",
                DropReason::NodeDown => "node",
                DropReason::BusOff => "bus off",
                other => panic!("{other:?} is nothing that a machine alone does"),
            };
            ([u64::from(d.stream), d.seq, d.node as u64, d.at.0], why)
        })
        .collect();
    dropped.sort_unstable();
    let theirs: Vec<([u64; 4], &str)> = list(&case["dropped"])
        .iter()
        .map(|row| (numbers(row), row[4].as_str().unwrap()))
        .collect();
    assert_eq!(dropped, theirs);
    (delivered.len(), dropped.len())
}

fn check_case(case: &Value, hand_in: HandIn) -> (usize, usize) {
    let ours = run(&read_scenario(&case["scenario"]), hand_in);
    let counts = check_ends(&ours, case);
    let most: Vec<u64> = ours
        .stats
        .directions
        .iter()
        .map(|d| d.most_waiting as u64)
        .collect();
    let theirs: Vec<u64> = list(&case["most_waiting"]).iter().map(int).collect();
    assert_eq!(most, theirs);
    counts
}

#[test]
fn val_line_of_four_to_the_nanosecond() {
    let file = reference("simpy-line-of-four.json");
    let case = &list(&file["cases"])[0];
    assert_eq!(check_case(case, HandIn::BeforeArrivals), (18, 0));
}

/// The same line by figures of our own, so that a slip of script and crate together shows.
#[test]
fn regress_line_of_four_by_its_figures() {
    let file = reference("simpy-line-of-four.json");
    let case = &list(&file["cases"])[0];
    let ours = run(&read_scenario(&case["scenario"]), HandIn::BeforeArrivals);
    let latency = |stream: u32, seq: u64, node: usize| {
        let d = ours
            .delivered
            .iter()
            .find(|d| (d.stream, d.seq, d.node) == (stream, seq, node))
            .unwrap();
        d.at.0 - d.published.0
    };
    assert_eq!(
        [0, 1, 2, 3, 4].map(|seq| latency(0, seq, 0)),
        [2_635_150, 1_751_950, 2_057_550, 2_363_150, 2_668_750]
    );
    assert_eq!(
        [0, 1, 2, 3, 4].map(|seq| latency(0, seq, 1)),
        [1_426_100, 542_900, 848_500, 1_154_100, 1_459_700]
    );
    assert_eq!([0, 1].map(|seq| latency(1, seq, 0)), [6_957_550, 7_101_550]);
    assert_eq!(
        [latency(2, 0, 2), latency(2, 1, 2), latency(2, 2, 3)],
        [210_350, 210_350, 316_150]
    );
}

#[test]
fn val_hundred_random_networks_to_the_nanosecond() {
    let file = reference("simpy-random.json");
    let cases = list(&file["cases"]);
    assert_eq!(cases.len(), 100);
    let (mut delivered, mut dropped) = (0, 0);
    for (number, case) in cases.iter().enumerate() {
        let counts = check_case(case, HandIn::BeforeArrivals);
        assert_eq!(
            counts,
            check_case(case, HandIn::AfterArrivalsShuffled(number as u64))
        );
        delivered += counts.0;
        dropped += counts.1;
    }
    assert!(delivered > 3000 && dropped > 400, "{delivered} {dropped}");
}

#[test]
#[should_panic(expected = "assertion")]
fn val_red_a_later_first_prio_fails_the_twin() {
    // The wrong convention that a larger priority goes first does not pass.
    let file = reference("simpy-line-of-four.json");
    let mut case = list(&file["cases"])[0].clone();
    for stream in case["scenario"]["streams"].as_array_mut().unwrap() {
        stream["prio"] = (9 - int(&stream["prio"])).into();
    }
    check_case(&case, HandIn::BeforeArrivals);
}
