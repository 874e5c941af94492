//! Bounds where a route crosses a shared bus: by hand, by response times, and against buses that are stepped.

use network::{
    Access, AtMost, BusSpec, CanIds, CanMessage, CanResponse, DelayBound, Flow, LatencyError,
    Machine, MachineError, Medium, Topology, TopologyError, WhyUnknown, Wire, can_response_times,
    delay_bounds, no_queue_latency,
};
use timeline::Ns;

use crate::support::{Draw, link};

const CAN: Wire = Wire::Can {
    ids: CanIds::Bits11,
    header_bytes: 0,
};

pub(crate) fn can(stations: Vec<usize>, rate_bps: u64) -> BusSpec {
    BusSpec {
        stations,
        rate_bps,
        propagation: Ns(500),
        wire: CAN,
        payload_bytes: 8,
        access: Access::Priority,
    }
}

fn serial(overhead_bytes: u32) -> Wire {
    Wire::Bytes {
        lead: Ns::ZERO,
        bits_per_byte: 10,
        overhead_bytes,
        min_payload_bytes: 0,
    }
}

/// 9600 baud, eight bytes around each payload of at most 32, 2 ms of silence.
fn polled(stations: Vec<usize>, by: usize) -> BusSpec {
    BusSpec {
        stations,
        rate_bps: 9600,
        propagation: Ns(6000),
        wire: serial(8),
        payload_bytes: 32,
        access: Access::Polled {
            by,
            request: serial(8),
            turnaround: Ns(2_000_000),
        },
    }
}

fn flow(node: usize, target: usize, bytes: u32, priority: u8, messages: u32, per: u64) -> Flow {
    Flow {
        node,
        targets: vec![target],
        bytes,
        priority,
        at_most: Some(AtMost::new(messages, Ns(per)).unwrap()),
        late: Some(Ns(0)),
    }
}

fn totals(topology: &Topology, flows: &[Flow]) -> Vec<Option<Ns>> {
    let found = delay_bounds(topology, flows).unwrap();
    let total = |bounds: Vec<DelayBound>| match &bounds[0] {
        DelayBound::Known { total, .. } => Some(*total),
        DelayBound::Unknown(_) => None,
    };
    found.into_iter().map(total).collect()
}

/// Frames of eight bytes and fewer on one bus are the messages of the 2007 analysis.
#[test]
fn val_one_can_bus_has_its_response_times() {
    let topology = Topology::new(vec![Ns(7); 4], Vec::new(), 100)
        .unwrap()
        .with_buses(vec![can(vec![0, 1, 2, 3], 125_000)])
        .unwrap();
    let set = [(0, 7, 2_500_000), (1, 7, 3_500_000), (2, 7, 3_500_000)];
    let flows: Vec<Flow> = set
        .iter()
        .enumerate()
        .map(|(priority, (node, bytes, per))| flow(*node, 3, *bytes, priority as u8, 1, *per))
        .collect();
    let told = totals(&topology, &flows);
    // 2.0, 3.0 and 3.5 ms of the published counter-example, propagation and processing.
    let expected = [2_000_000, 3_000_000, 3_500_000].map(|ns| Some(Ns(ns + 500 + 7)));
    assert_eq!(told, expected);
    assert_eq!(topology.route(0, 3), Some(vec![(Medium::Bus(0), 3)]));
    assert_eq!(
        no_queue_latency(&topology, 0, 3, 7),
        Err(LatencyError::Shared { from: 0, to: 3 })
    );
    assert!(Machine::new(topology, Vec::new()).is_ok());
}

/// A message of 20 bytes is two frames of 1.08 ms and one of 0.76 ms at 125 kbit/s; what follows it may block it by one frame, and two messages in its span
/// come at once.
#[test]
fn verif_long_messages_and_bursts_on_a_can_bus_by_hand() {
    let topology = Topology::new(vec![Ns(0); 3], Vec::new(), 1000)
        .unwrap()
        .with_buses(vec![can(vec![0, 1, 2], 125_000)])
        .unwrap();
    let flows = [
        flow(0, 2, 20, 0, 2, 100_000_000),
        flow(1, 2, 8, 1, 1, 100_000_000),
    ];
    let message = 2 * 1_080_000 + 760_000;
    let told = totals(&topology, &flows);
    assert_eq!(told[0], Some(Ns(1_080_000 + 2 * message + 500)));
    assert_eq!(told[1], Some(Ns(2 * message + 1_080_000 + 500)));
    // Of one priority, either may go first.
    let equal = [flows[0].clone(), flow(1, 2, 8, 0, 1, 100_000_000)];
    assert_eq!(totals(&topology, &equal), [told[1]; 2]);
}

/// One master and two others at 9600 baud. Station 1 answers with 24 + 8 characters (33.334 ms), station 2 with nothing but the 8 characters around it (8.334 ms); both are
/// asked with 8 (8.334 ms). A round is 2 x 8.334 + 33.334 + 8.334 + 4 x 2 ms + 4 x 6 us.
#[test]
fn verif_a_polled_bus_by_hand() {
    let topology = Topology::new(vec![Ns(0); 3], Vec::new(), 1000)
        .unwrap()
        .with_buses(vec![polled(vec![0, 1, 2], 0)])
        .unwrap();
    let eight = 80_000_000_000u64.div_ceil(9600);
    let answer = 320_000_000_000u64.div_ceil(9600);
    let round = 3 * eight + answer + 8_000_000 + 24_000;
    let one = [flow(1, 0, 24, 0, 1, 1_000_000_000)];
    assert_eq!(totals(&topology, &one), [Some(Ns(round + answer + 6000))]);
    // Two messages at once wait for two rounds; a third stream of a later priority for all three.
    let two = [
        flow(1, 0, 24, 0, 2, 1_000_000_000),
        flow(1, 0, 24, 1, 1, 10_000_000_000),
    ];
    let told = totals(&topology, &two);
    assert_eq!(told[0], Some(Ns(2 * round + answer + 6000)));
    let first = 2 * u128::from(round);
    let left = 1_000_000_000 - first;
    let chosen = (3 * u128::from(round) * 1_000_000_000).div_ceil(left) as u64;
    assert_eq!(told[1], Some(Ns(chosen + answer + 6000)));
    // What one tells another goes through the station that asks.
    assert_eq!(
        topology.route(1, 2),
        Some(vec![(Medium::Bus(0), 0), (Medium::Bus(0), 2)])
    );
}

#[test]
fn verif_turns_that_nobody_gives_and_buses_that_are_full() {
    let unsaid = BusSpec {
        access: Access::Unsaid,
        ..can(vec![0, 1], 125_000)
    };
    let of = |bus| {
        Topology::new(vec![Ns(0); 2], Vec::new(), 100)
            .unwrap()
            .with_buses(vec![bus])
            .unwrap()
    };
    let one = [flow(0, 1, 7, 0, 1, 10_000_000)];
    assert_eq!(
        delay_bounds(&of(unsaid.clone()), &one).unwrap(),
        [[DelayBound::Unknown(WhyUnknown::NoTurns { bus: 0 })]]
    );
    assert_eq!(
        Machine::new(of(unsaid), Vec::new()).unwrap_err(),
        MachineError::SharedBus { bus: 0 }
    );
    // 1 ms each millisecond.
    let full = [flow(0, 1, 7, 0, 1, 1_000_000)];
    assert_eq!(
        delay_bounds(&of(can(vec![0, 1], 125_000)), &full).unwrap(),
        [[DelayBound::Unknown(WhyUnknown::BusFull {
            bus: 0,
            asked_ppm: 1_000_000
        })]]
    );
    // A message of 6000 bytes each second at 9600 baud: 188 rounds a second of 57 ms.
    let stream = [flow(1, 0, 6000, 0, 1, 1_000_000_000)];
    let told = delay_bounds(&of(polled(vec![0, 1], 0)), &stream).unwrap();
    let DelayBound::Unknown(WhyUnknown::BusFull { bus: 0, asked_ppm }) = told[0][0] else {
        panic!("{told:?}")
    };
    assert!(asked_ppm > 10_000_000, "{asked_ppm}");
}

#[test]
fn verif_buses_that_cannot_be() {
    let build = |bus| {
        Topology::new(vec![Ns(0); 2], Vec::new(), 100)
            .unwrap()
            .with_buses(vec![bus])
            .map(|_| ())
    };
    assert_eq!(
        build(can(vec![0, 2], 1)),
        Err(TopologyError::NoSuchStation {
            bus: 0,
            node: 2,
            nodes: 2
        })
    );
    assert_eq!(
        build(can(vec![0, 0], 1)),
        Err(TopologyError::StationTwice { bus: 0, node: 0 })
    );
    assert_eq!(
        build(can(vec![1], 1)),
        Err(TopologyError::TooFewStations {
            bus: 0,
            stations: 1
        })
    );
    let elsewhere = BusSpec {
        stations: vec![0, 1],
        ..polled(vec![0, 1], 2)
    };
    assert_eq!(
        build(elsewhere),
        Err(TopologyError::AskerElsewhere { bus: 0 })
    );
    let nine = BusSpec {
        payload_bytes: 9,
        ..can(vec![0, 1], 125_000)
    };
    assert_eq!(
        build(nine).unwrap_err().to_string(),
        "bus 0: a frame of 9 data bytes does not exist; the most is 8"
    );
    assert!(matches!(
        build(can(vec![0, 1], 0)),
        Err(TopologyError::BusFrame { bus: 0, .. })
    ));
}

/// A link feeds the bus: what it delays counts as jitter there, and the bound from the publication is the response time with that jitter.
#[test]
fn verif_a_link_before_the_bus_is_its_jitter() {
    let topology = Topology::new(vec![Ns(11); 3], vec![link(0, 1, 1_000_000, 100, 92)], 1000)
        .unwrap()
        .with_buses(vec![can(vec![1, 2], 125_000)])
        .unwrap();
    let flows = [
        flow(0, 2, 8, 1, 1, 40_000_000),
        flow(1, 2, 8, 0, 1, 5_000_000),
    ];
    // On the link, alone: frame and burst, 100 bytes each at 1 Mbit/s.
    let stay = 1_600_000;
    let messages = [
        CanMessage {
            frame: Ns(1_080_000),
            period: Ns(5_000_000),
            jitter: Ns(0),
        },
        CanMessage {
            frame: Ns(1_080_000),
            period: Ns(40_000_000),
            jitter: Ns(stay),
        },
    ];
    let response = can_response_times(&messages, Ns(8000)).unwrap()[1];
    let CanResponse::Within(response) = response else {
        panic!("{response:?}")
    };
    let told = totals(&topology, &flows)[0];
    assert_eq!(told, Some(Ns(response.0 + (100 + 11) + (500 + 11))));
}

/// What comes to a bus that is stepped here: some seconds after it has begun, close to as often as it may.
struct Stepped {
    /// (stream, message, released, frame time), in order of release.
    frames: Vec<(usize, usize, u64, u64)>,
}

impl Stepped {
    fn messages(draw: &mut Draw, streams: &[Stream]) -> Stepped {
        let mut frames = Vec::new();
        for (number, s) in streams.iter().enumerate() {
            let (mut at, mut times) = (1_000_000_000 + draw.below(4) * 250_000, Vec::new());
            for message in 0..24 {
                if times.len() >= s.messages as usize {
                    at = at.max(times[times.len() - s.messages as usize] + s.per);
                }
                times.push(at);
                for time in &s.frames {
                    frames.push((number, message, at, *time));
                }
                at += draw.pick(&[0, 0, s.per / 3, s.per]);
            }
        }
        frames.sort_by_key(|f| (f.2, f.0, f.1));
        Stepped { frames }
    }

    /// Each message of a stream up to so much later than it may be sent.
    fn late(mut self, draw: &mut Draw, late: &[u64]) -> Stepped {
        let mut by = std::collections::BTreeMap::new();
        for (stream, message, released, _) in &mut self.frames {
            let later = by
                .entry((*stream, *message))
                .or_insert_with(|| draw.pick(&[0, late[*stream] / 2, late[*stream]]));
            *released += *later;
        }
        self.frames.sort_by_key(|f| (f.2, f.0, f.1));
        self
    }
}

struct Stream {
    station: usize,
    priority: u8,
    bytes: u32,
    messages: u32,
    per: u64,
    frames: Vec<u64>,
}

fn streams(draw: &mut Draw, stations: u64, time: impl Fn(u32) -> u64, payload: u32) -> Vec<Stream> {
    (0..2 + draw.below(4))
        .map(|_| {
            let bytes = draw.pick(&[0, 1, 5, 8, 13, 40]);
            let mut frames = vec![time(payload); (bytes / payload) as usize];
            if !bytes.is_multiple_of(payload) || bytes == 0 {
                frames.push(time(bytes % payload));
            }
            Stream {
                station: 1 + draw.below(stations) as usize,
                priority: draw.below(3) as u8,
                bytes,
                messages: 1 + draw.below(3) as u32,
                per: 0,
                frames,
            }
        })
        .collect()
}

/// Priority among all that wait, first in first out within a priority; the bound is never passed and comes within reach.
#[test]
fn verif_no_stepped_can_bus_passes_the_bound() {
    let (checked, closest) = stepped_can(&[0], true);
    assert!(checked > 10_000, "{checked}");
    assert!((0.9..=1.0).contains(&closest), "{closest}");
}

/// Streams that answer others come late, and closer together than their limit says; a bound that takes them for punctual is passed.
#[test]
fn verif_no_stepped_can_bus_of_late_streams_passes_the_bound() {
    let (checked, closest) = stepped_can(&[0, 1, 4], true);
    assert!(checked > 10_000, "{checked}");
    assert!((0.8..=1.0).contains(&closest), "{closest}");
    let (_, punctual) = stepped_can(&[0, 1, 4], false);
    assert!(punctual > 1.0, "{punctual}");
}

/// How many messages have a bound, and the greatest lateness as a share of it. Streams are late by up to so many halves of their period.
fn stepped_can(halves: &[u64], told: bool) -> (usize, f64) {
    let (mut checked, mut closest) = (0, 0.0f64);
    for seed in 0..300 {
        let mut draw = Draw(90_000 + seed);
        let time = |bytes| CAN.frame_time(125_000, bytes).unwrap().0;
        let mut set = streams(&mut draw, 3, time, 8);
        for s in &mut set {
            let busy: u64 = s.frames.iter().sum();
            s.per = busy * u64::from(s.messages) * (4 + draw.below(10));
        }
        let late: Vec<u64> = set.iter().map(|s| draw.pick(halves) * s.per / 2).collect();
        let topology = Topology::new(vec![Ns(0); 4], Vec::new(), 1000)
            .unwrap()
            .with_buses(vec![can(vec![0, 1, 2, 3], 125_000)])
            .unwrap();
        let flows: Vec<Flow> = set
            .iter()
            .zip(&late)
            .map(|(s, late)| Flow {
                late: Some(Ns(if told { *late } else { 0 })),
                ..flow(s.station, 0, s.bytes, s.priority, s.messages, s.per)
            })
            .collect();
        let bounds = totals(&topology, &flows);
        let mut waiting: Vec<(u8, u64, usize, usize, u64)> = Vec::new();
        let stepped = Stepped::messages(&mut draw, &set);
        let mut coming = stepped.late(&mut draw, &late).frames.into_iter().peekable();
        let mut now = 0;
        loop {
            while let Some((s, m, at, lasts)) = coming.next_if(|f| f.2 <= now) {
                waiting.push((set[s].priority, at, s, m, lasts));
            }
            let Some(next) = (0..waiting.len()).min_by_key(|i| waiting[*i]) else {
                match coming.peek() {
                    Some(f) => now = f.2,
                    None => break,
                }
                continue;
            };
            let (_, at, s, _, lasts) = waiting.remove(next);
            now += lasts;
            if let Some(bound) = bounds[s] {
                let took = now + 500 - at;
                closest = closest.max(took as f64 / bound.0 as f64);
                checked += 1;
            }
        }
    }
    (checked, closest)
}

/// The master asks in turn, whether or not there is something to say; each station answers with its best frame.
#[test]
fn verif_no_stepped_polled_bus_passes_the_bound() {
    let (mut checked, mut closest) = (0, 0.0f64);
    let wire = serial(8);
    let time = |bytes| wire.frame_time(9600, bytes).unwrap().0;
    for seed in 0..300 {
        let mut draw = Draw(95_000 + seed);
        let mut set = streams(&mut draw, 2, time, 32);
        for s in &mut set {
            let frames = s.frames.len() as u64 * u64::from(s.messages);
            s.per = frames * 400_000_000 * (2 + draw.below(6));
        }
        let topology = Topology::new(vec![Ns(0); 3], Vec::new(), 1000)
            .unwrap()
            .with_buses(vec![polled(vec![0, 1, 2], 0)])
            .unwrap();
        let flows: Vec<Flow> = set
            .iter()
            .map(|s| flow(s.station, 0, s.bytes, s.priority, s.messages, s.per))
            .collect();
        let bounds = totals(&topology, &flows);
        let mut waiting: Vec<(u8, u64, usize, usize, u64)> = Vec::new();
        let mut coming = Stepped::messages(&mut draw, &set)
            .frames
            .into_iter()
            .peekable();
        let mut now = draw.below(50_000_000);
        while coming.peek().is_some() || !waiting.is_empty() {
            for station in [1, 2] {
                now += time(0) + 6000 + 2_000_000;
                while let Some((s, m, at, lasts)) = coming.next_if(|f| f.2 <= now) {
                    waiting.push((set[s].priority, at, s, m, lasts));
                }
                let here = (0..waiting.len()).filter(|i| set[waiting[*i].2].station == station);
                let lasts = match here.min_by_key(|i| waiting[*i]) {
                    None => time(0),
                    Some(next) => {
                        let (_, at, s, _, lasts) = waiting.remove(next);
                        if let Some(bound) = bounds[s] {
                            let late = now + lasts + 6000 - at;
                            assert!(late <= bound.0, "seed {seed}: {late} > {bound}");
                            closest = closest.max(late as f64 / bound.0 as f64);
                            checked += 1;
                        }
                        lasts
                    }
                };
                now += lasts + 6000 + 2_000_000;
            }
        }
    }
    assert!(checked > 10_000, "{checked}");
    assert!(closest > 0.7, "{closest}");
}
