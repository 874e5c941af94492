//! Two CAN buses behind one another: against the holistic analysis written down once more (reference/make/network_two_buses.py), and runs that never pass a bound.

use network::{AtMost, DelayBound, Flow, Topology, WhyUnknown, delay_bounds};
use serde_json::Value;
use timeline::Ns;

use crate::bus::can;
use crate::support::{
    Draw, Scenario, drawn_streams, drawn_subscriptions, int, list, reference, runs_within_bounds,
};

/// Two stations on each bus and a gateway on both.
fn two_buses(rate_bps: u64) -> Topology {
    Topology::new(vec![Ns(0); 5], Vec::new(), 100)
        .unwrap()
        .with_buses(vec![
            can(vec![0, 1, 2], rate_bps),
            can(vec![2, 3, 4], rate_bps),
        ])
        .unwrap()
}

/// What the bus itself adds to a crossing, ns.
const PROPAGATION_NS: u64 = 500;

#[test]
fn val_two_buses_have_the_response_times_of_the_holistic_analysis() {
    let file = reference("holistic-two-buses.json");
    let (mut promised, mut crossed, mut hit, mut refused) = (0, 0, 0, 0);
    for (number, case) in list(&file["cases"]).iter().enumerate() {
        let apart: Vec<(usize, Ns)> = list(&case["apart"])
            .iter()
            .enumerate()
            .filter_map(|(bus, ns)| Some((bus, Ns(ns.as_u64()?))))
            .collect();
        let topology = two_buses(1_000_000_000 / int(&case["bit"])).with_errors_apart(&apart);
        let ends = |s: &Value| [int(&s["from"]), int(&s["to"])];
        let flows: Vec<Flow> = list(&case["streams"])
            .iter()
            .enumerate()
            .map(|(priority, s)| {
                let [from, to] = ends(s);
                Flow {
                    node: [0, 3][from as usize],
                    targets: vec![[1, 4][to as usize]],
                    bytes: u32::try_from(int(&s["bytes"])).unwrap(),
                    priority: priority as u8,
                    at_most: Some(AtMost::new(1, Ns(int(&s["period"]))).unwrap()),
                    late: Some(Ns(0)),
                }
            })
            .collect();
        let found = delay_bounds(&topology, &flows).unwrap();
        let Some(theirs) = case["response"].as_array() else {
            let unknown = |t: &Vec<DelayBound>| matches!(t[0], DelayBound::Unknown(_));
            assert!(found.iter().any(unknown), "case {number}: {found:?}");
            refused += 1;
            continue;
        };
        for ((ours, theirs), s) in found.iter().zip(theirs).zip(list(&case["streams"])) {
            let [from, to] = ends(s);
            let buses = if from == to { 1 } else { 2 };
            let DelayBound::Known { total, .. } = &ours[0] else {
                panic!("case {number}: {ours:?}")
            };
            assert_eq!(
                total.0,
                int(theirs) + buses * PROPAGATION_NS,
                "case {number}"
            );
            crossed += buses - 1;
        }
        promised += 1;
        hit += apart.len();
    }
    assert!(promised > 60 && refused > 10, "{promised} {refused}");
    assert!(crossed > 100 && hit > 30, "{crossed} {hit}");
}

/// Bit errors of which nobody says how often they come leave no bound; a least time between them gives one, and a longer one is better.
#[test]
fn verif_errors_that_are_stated_have_a_bound() {
    let flow = |at: usize, to: usize| Flow {
        node: at,
        targets: vec![to],
        bytes: 8,
        priority: 0,
        at_most: Some(AtMost::new(1, Ns(100_000_000)).unwrap()),
        late: Some(Ns(0)),
    };
    let flows = [flow(0, 1), flow(3, 1)];
    let total = |topology: &Topology| match &delay_bounds(topology, &flows).unwrap()[0][0] {
        DelayBound::Known { total, .. } => Ok(total.0),
        DelayBound::Unknown(why) => Err(*why),
    };
    let hit = two_buses(125_000).with_bit_errors_on(&[0]);
    assert_eq!(total(&hit), Err(WhyUnknown::BitErrors { bus: 0 }));
    let frame_ns = 135 * 8000;
    let calm = total(&two_buses(125_000)).unwrap();
    // The other stream may go first: two frames, and a crossing.
    assert_eq!(calm, 2 * frame_ns + PROPAGATION_NS);
    let apart = |ns| total(&hit.clone().with_errors_apart(&[(0, Ns(ns))]));
    // One error within: 31 bit times, and the frame again.
    assert_eq!(apart(50_000_000), Ok(calm + 31 * 8000 + frame_ns));
    assert!(apart(2_500_000).unwrap() > apart(50_000_000).unwrap());
    assert!(matches!(
        apart(1_000_000),
        Err(WhyUnknown::BusFull { bus: 0, .. })
    ));
    // Nothing is stated by no time.
    assert_eq!(apart(0), Err(WhyUnknown::BitErrors { bus: 0 }));
}

/// Streams that cross two buses and a gateway both ways, on a coarse grid of instants.
fn random_crossing(seed: u64) -> Scenario {
    let mut draw = Draw(333_000 + seed);
    let topology = two_buses(draw.pick(&[125_000, 250_000]));
    let streams = drawn_streams(&mut draw, 5, (30, 4_000_000), (6, 500_000), 9);
    let subscriptions = drawn_subscriptions(&mut draw, 5);
    Scenario {
        topology,
        subscriptions,
        streams,
        faults: Vec::new(),
    }
}

#[test]
fn verif_no_run_over_two_buses_passes_its_bound() {
    let (checked, closest) = runs_within_bounds(random_crossing);
    assert!(checked > 1000, "{checked}");
    assert!(closest > 0.8, "{closest}");
}
