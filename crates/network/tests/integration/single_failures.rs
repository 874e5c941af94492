//! Single failures against brute force over all sequences of nodes (`reference/network/numpy-failures.json`), and worked by hand.

use network::{
    Access, Broken, BusSpec, FailureError, How, LinkSpec, Medium, PastBroken, StillPasses,
    Topology, Wire, single_failures,
};
use serde_json::Value;
use timeline::Ns;

use crate::support::{int, link, list, reference};

const FRAME: Wire = Wire::Bytes {
    lead: Ns::ZERO,
    bits_per_byte: 8,
    overhead_bytes: 8,
    min_payload_bytes: 0,
};

fn nodes(value: &Value) -> Vec<usize> {
    list(value).iter().map(|n| int(n) as usize).collect()
}

fn links(ends: &[(usize, usize)]) -> Vec<LinkSpec> {
    let of = |&(a, b): &(usize, usize)| link(a, b, 1_000_000, 0, 8);
    ends.iter().map(of).collect()
}

fn bus(stations: Vec<usize>, asks: Option<usize>) -> BusSpec {
    BusSpec {
        stations,
        rate_bps: 500_000,
        propagation: Ns::ZERO,
        wire: FRAME,
        payload_bytes: 8,
        access: match asks {
            None => Access::Priority,
            Some(by) => Access::Polled {
                by,
                request: FRAME,
                turnaround: Ns(1000),
            },
        },
    }
}

fn past(value: &Value) -> PastBroken {
    match value.as_str().unwrap() {
        "passes" => PastBroken::Passes,
        "stops" => PastBroken::Stops,
        _ => PastBroken::HoldsBuses,
    }
}

fn broken(value: &Value) -> Broken {
    let index = int(&value[1]) as usize;
    match (value[0].as_str().unwrap(), value[2].as_str()) {
        ("link", _) => Broken::Medium(Medium::Link(index)),
        ("bus", _) => Broken::Medium(Medium::Bus(index)),
        (_, Some("hung")) => Broken::Node(index, How::Hung),
        _ => Broken::Node(index, How::Unpowered),
    }
}

#[test]
fn val_failures_of_drawn_networks() {
    let document = reference("numpy-failures.json");
    let cases = list(&document["cases"]);
    assert_eq!(cases.len(), 80);
    let mut tried = 0;
    for case in cases {
        let ends: Vec<(usize, usize)> = list(&case["links"])
            .iter()
            .map(|l| (int(&l[0]) as usize, int(&l[1]) as usize))
            .collect();
        let buses = list(&case["buses"])
            .iter()
            .map(|b| {
                let asks = b["asks"].as_u64().map(|by| by as usize);
                bus(nodes(&b["stations"]), asks)
            })
            .collect();
        let count = int(&case["nodes"]) as usize;
        let topology = Topology::new(vec![Ns::ZERO; count], links(&ends), 64)
            .unwrap()
            .with_buses(buses)
            .unwrap()
            .without_relays(&nodes(&case["ends"]));
        let passes: Vec<StillPasses> = list(&case["passes"])
            .iter()
            .map(|p| StillPasses {
                unpowered: past(&p[0]),
                hung: past(&p[1]),
            })
            .collect();
        let found = single_failures(&topology, &nodes(&case["sinks"]), &passes).unwrap();
        let expected = list(&case["failures"]);
        assert_eq!(found.len(), expected.len());
        for (ours, theirs) in found.iter().zip(expected) {
            assert_eq!(ours.broken, broken(&theirs["broken"]));
            let reaches: Vec<bool> = list(&theirs["reaches"])
                .iter()
                .map(|r| r.as_bool().unwrap())
                .collect();
            assert_eq!(ours.reaches, reaches, "{:?} of {case}", ours.broken);
            assert_eq!(ours.lost, nodes(&theirs["lost"]), "{:?}", ours.broken);
        }
        tried += found.len();
    }
    assert!(tried > 800, "{tried}");
}

fn all(count: usize, unpowered: PastBroken, hung: PastBroken) -> Vec<StillPasses> {
    vec![StillPasses { unpowered, hung }; count]
}

/// A buoy and four modules in a row: the first module hangs, and all four are lost; where it falls back to a wire without power, only itself. On one bus with the buoy a module that
/// holds it takes all with it.
#[test]
fn verif_a_hung_first_module_silences_the_line() {
    let row = Topology::new(
        vec![Ns::ZERO; 5],
        links(&[(0, 1), (1, 2), (2, 3), (3, 4)]),
        64,
    )
    .unwrap();
    let passes = all(5, PastBroken::Passes, PastBroken::Stops);
    let found = single_failures(&row, &[0], &passes).unwrap();
    let lost = |broken: Broken| {
        let of = found.iter().find(|f| f.broken == broken).unwrap();
        of.lost.clone()
    };
    assert_eq!(lost(Broken::Node(1, How::Hung)), [1, 2, 3, 4]);
    assert_eq!(lost(Broken::Node(1, How::Unpowered)), [1]);
    assert_eq!(lost(Broken::Node(0, How::Unpowered)), [0, 1, 2, 3, 4]);
    assert_eq!(lost(Broken::Medium(Medium::Link(2))), [3, 4]);
    assert_eq!(found.len(), 14);
    let shared = Topology::new(vec![Ns::ZERO; 5], vec![], 64)
        .unwrap()
        .with_buses(vec![bus(vec![0, 1, 2, 3, 4], None)])
        .unwrap();
    let passes = all(5, PastBroken::Stops, PastBroken::HoldsBuses);
    let found = single_failures(&shared, &[0], &passes).unwrap();
    let of_three: Vec<&Vec<usize>> = found
        .iter()
        .filter(|f| matches!(f.broken, Broken::Node(3, _)))
        .map(|f| &f.lost)
        .collect();
    assert_eq!(of_three, [&vec![3], &vec![1, 2, 3, 4]]);
}

#[test]
fn verif_mistakes_are_named() {
    let pair = Topology::new(vec![Ns::ZERO; 2], links(&[(0, 1)]), 64).unwrap();
    let passes = all(2, PastBroken::Stops, PastBroken::Stops);
    assert_eq!(
        single_failures(&pair, &[], &passes),
        Err(FailureError::NoSink)
    );
    assert_eq!(
        single_failures(&pair, &[2], &passes),
        Err(FailureError::NoSuchSink { sink: 2, nodes: 2 })
    );
    assert_eq!(
        single_failures(&pair, &[0], &passes[..1]),
        Err(FailureError::WrongLength { given: 1, nodes: 2 })
    );
}
