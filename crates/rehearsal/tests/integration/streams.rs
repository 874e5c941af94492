//! Packets of streams in a rehearsal: worked by hand, and by what must always hold.

use std::fmt::Write as _;

use network::DropReason;
use plan::{Recovery, StreamIx};
use rehearsal::{Loss, Outcome, Record, Recovered, StreamStep, What};
use timeline::Ns;

use crate::chain::{Node, cue_text, fault, in_a_row, input, line_text, told, topic};
use crate::support::{read, run};

/// A packet of 1000 B on one link of 10 Mbit/s: 1086 bytes, 100 m at 5 ns/m, 100 us of processing.
const HOP_NS: u64 = 868_800 + 500 + 100_000;

fn stream(id: &str, from: usize, to: usize, rate: &str, more: &str) -> String {
    format!(
        "\n[stream.{id}]\nfrom = \"module.m{from}\"\nto = \"module.m{to}\"\nrate = \"{rate}\"\npacket = \"1000 B\"\npriority = 3\n{more}\n"
    )
}

fn expect(id: &str, that: &str, more: &str) -> String {
    format!("\n[expect.{id}]\nthat = \"{that}\"\nof = \"stream.raw\"\n{more}\n")
}

/// Three in a row; raw sound of 1 Mbit/s from the last to the first, a packet each 8 ms.
fn raw(more: &str) -> String {
    line_text(&in_a_row(&["running"; 3]), 300, 100) + &stream("raw", 2, 0, "1 Mbit/s", more)
}

/// The same with a supply of its own at the last module, which a cut leaves at work.
fn raw_with_power() -> String {
    raw("")
        + "\n[supply.own]\nat = \"module.m2\"\nkind = \"bench\"\noutput = { voltage = \"48 V\", resistance = \"0 ohm\" }\n"
}

fn steps(records: &[Record]) -> Vec<(u64, StreamStep)> {
    let all = records.iter().filter_map(|r| match r.what {
        What::Streaming { what, .. } => Some((r.at.0, what)),
        _ => None,
    });
    all.collect()
}

#[track_caller]
fn all_hold(outcome: &Outcome) {
    let failed: Vec<_> = outcome.expectations.iter().filter(|e| !e.passed).collect();
    assert!(failed.is_empty(), "{failed:?}");
}

#[test]
fn verif_packets_take_what_frames_take() {
    let (line, cues) = read(&raw(""), &cue_text(10, 1));
    let (outcome, records) = run(&line, &cues);
    let came = &outcome.streams[0];
    assert_eq!((came.sent, came.delivered, came.under_way), (1250, 1250, 0));
    assert!(came.lost.is_empty() && !came.refused && came.late == 0);
    let latency = came.latency.unwrap();
    assert_eq!(
        (latency.least, latency.greatest),
        (Ns(2 * HOP_NS), Ns(2 * HOP_NS))
    );
    assert_eq!(came.soonest, Some(Ns(2 * HOP_NS)));
    assert!(came.bound.unwrap() >= latency.greatest);
    // From the last, sent at 9.992 s, to the end there is nothing: less than from one to the next.
    assert_eq!(came.greatest_gap, Some(Ns(8_000_000)));
    assert_eq!(came.most_under_way, 1);
    assert_eq!(came.way.len(), 2);
    assert_eq!(came.way[1].busy, Ns(1250 * 868_800));
    assert_eq!(came.way[0].most_waiting, 0);
    assert_eq!(steps(&records), [(0, StreamStep::Begins)]);
    // Packets are counted among streams alone, and leave no records.
    assert_eq!(outcome.copies, rehearsal::Copies::default());
    assert!(
        !records
            .iter()
            .any(|r| matches!(r.what, What::Crossed { .. } | What::Delivered { .. }))
    );
}

/// A burst of five each 40 ms: a frame of a picture. The last waits for four before it.
#[test]
fn verif_a_burst_waits_for_itself() {
    let (line, cues) = read(&raw("burst = 5"), &cue_text(10, 1));
    let (outcome, _) = run(&line, &cues);
    let came = &outcome.streams[0];
    assert_eq!((came.sent, came.delivered), (1250, 1250));
    let latency = came.latency.unwrap();
    assert_eq!(latency.least, Ns(2 * HOP_NS));
    assert_eq!(latency.median, latency.least.max(latency.median));
    assert_eq!(latency.greatest, Ns(2 * HOP_NS + 4 * 868_800));
    assert!(latency.greatest <= came.bound.unwrap());
    assert_eq!((came.most_under_way, came.way[0].most_waiting), (5, 4));
}

/// The span is cut from 2 s to 4 s: 250 packets find no way. The last before went at 1.992 s, the first after at 4 s.
#[test]
fn verif_a_cut_loses_its_packets() {
    let cues = cue_text(10, 1)
        + &fault("saw", "cut", "span.s1", 2.0, 4.0)
        + &expect("all", "packets-lost", "at_least = 250\nat_most = 250")
        + &expect("few", "packets-lost", "at_most = 0\nfrom = \"4 s\"")
        + &expect(
            "came",
            "packets-delivered",
            "at_least = 1000\nat_most = 1000",
        )
        + &expect("late", "packets-late", "at_most = 0")
        + &expect(
            "late-by-hand",
            "packets-late",
            "beyond = \"1.9386 ms\"\nat_most = 0",
        )
        + &expect(
            "each",
            "packets-late",
            "beyond = \"1.9385 ms\"\nat_least = 1000",
        )
        + &expect(
            "again",
            "recovered",
            "after = \"fault.saw\"\nwithin = \"2 ms\"",
        );
    let (line, cues) = read(&raw_with_power(), &cues);
    let (outcome, records) = run(&line, &cues);
    all_hold(&outcome);
    let came = &outcome.streams[0];
    assert_eq!(came.lost, [(Loss::Network(DropReason::NoPath), 250)]);
    assert_eq!((came.sent, came.delivered), (1250, 1000));
    assert_eq!(came.greatest_gap, Some(Ns(2_008_000_000)));
    let fault = &outcome.faults[0];
    assert_eq!(fault.streams.len(), 1);
    assert_eq!(
        (fault.streams[0].1.lost, fault.streams[0].1.lost_after),
        (250, 0)
    );
    let again = Recovered::After(Ns(2 * HOP_NS));
    assert_eq!(fault.recovered, [(Recovery::Stream(StreamIx(0)), again)]);
    // It goes on sending all the while.
    assert_eq!(steps(&records), [(0, StreamStep::Begins)]);
}

/// An expectation that nothing is lost or late shows nothing where nothing was sent; a wrong count fails.
#[test]
fn verif_expectations_on_packets_can_fail() {
    let cues = cue_text(4, 1)
        + &fault("saw", "cut", "span.s1", 1.0, 9.0)
        + &expect("empty", "packets-lost", "at_most = 0\nuntil = \"1 us\"")
        + &expect("lost", "packets-lost", "at_most = 100")
        + &expect(
            "again",
            "recovered",
            "after = \"fault.pull\"\nwithin = \"2 ms\"",
        )
        + &fault("pull", "cut", "span.s2", 3.0, 3.5);
    let (line, cues) = read(&raw_with_power(), &cues);
    let (outcome, _) = run(&line, &cues);
    let passed: Vec<(&str, bool)> = outcome
        .expectations
        .iter()
        .map(|e| (e.id.as_str(), e.passed))
        .collect();
    assert_eq!(
        passed,
        [("again", false), ("empty", false), ("lost", false)]
    );
    assert!(
        outcome.expectations[1].said.contains("shows nothing"),
        "{:?}",
        outcome.expectations
    );
    // To the end: what nobody mends is a gap too, here since 0.992 s and one packet's way.
    assert_eq!(
        outcome.streams[0].greatest_gap,
        Some(Ns(4_000_000_000 - 992_000_000 - 2 * HOP_NS))
    );
}

/// It runs in a state alone: from 1 s, when its module is told to enter it, for two seconds. The pause after it is no gap.
#[test]
fn verif_a_stream_runs_in_its_state() {
    let plan = raw("in_state = \"watch\"")
        + &topic("look")
        + &told("films", 2, "look", "{ enter = \"watch\", for = \"2 s\" }");
    let cues = cue_text(10, 1) + &input("ask", 1.0, 2, "look") + &input("other", 0.9, 0, "look");
    let (line, cues) = read(&plan, &cues);
    let (outcome, records) = run(&line, &cues);
    let seen = steps(&records);
    let entered = seen[0].0;
    assert_eq!(
        seen,
        [
            (entered, StreamStep::Begins),
            (entered + 2_000_000_000, StreamStep::Ends)
        ]
    );
    let came = &outcome.streams[0];
    assert_eq!((came.sent, came.delivered), (250, 250));
    assert!(
        came.greatest_gap.unwrap() < Ns(9_000_000),
        "{:?}",
        came.greatest_gap
    );
}

/// Its module restarts at 2 s and boots for three: it ends and begins anew, and what the receiver misses is a gap.
#[test]
fn verif_a_restart_is_a_gap() {
    let cues = cue_text(10, 1)
        + "\n[fault.dog]\nkind = \"restart\"\nof = \"module.m2\"\nby = \"watchdog\"\nat = \"2 s\"\n";
    let (line, cues) = read(&raw(""), &cues);
    let (outcome, records) = run(&line, &cues);
    let seen = steps(&records);
    assert_eq!(
        seen,
        [
            (0, StreamStep::Begins),
            (2_000_000_000, StreamStep::Ends),
            (5_000_000_000, StreamStep::Begins)
        ]
    );
    let came = &outcome.streams[0];
    assert_eq!((came.sent, came.delivered), (250 + 625, 250 + 625));
    assert_eq!(came.greatest_gap, Some(Ns(5_000_000_000 - 1_992_000_000)));
    let fault = &outcome.faults[0];
    assert!(
        fault.recovered.contains(&(
            Recovery::Stream(StreamIx(0)),
            Recovered::After(Ns(3_000_000_000 + 2 * HOP_NS))
        )),
        "{:?}",
        fault.recovered
    );
}

/// What has no room does not run, and costs the others nothing.
#[test]
fn verif_a_refused_stream_does_not_run() {
    let plan = raw("") + &stream("too-much", 1, 0, "9.9 Mbit/s", "");
    let (line, cues) = read(&plan, &cue_text(1, 1));
    let (outcome, records) = run(&line, &cues);
    assert!(outcome.streams[1].refused && outcome.streams[1].sent == 0);
    assert_eq!(outcome.streams[0].latency.unwrap().greatest, Ns(2 * HOP_NS));
    assert_eq!(steps(&records).len(), 1);
}

struct Draw(u64);

impl Draw {
    /// splitmix64: Steele, Lea and Flood (2014).
    fn below(&mut self, n: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((u128::from(z ^ (z >> 31)) * u128::from(n)) >> 64) as u64
    }

    fn pick<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.below(of.len() as u64) as usize]
    }
}

/// A tree of modules with topics told once and at least once, and streams of all kinds.
fn random_line(draw: &mut Draw) -> (String, usize) {
    let count = 2 + draw.below(4) as usize;
    let rate_kbit_s = draw.pick(&[1_000, 10_000]);
    let nodes: Vec<Node> = (0..count)
        .map(|i| Node {
            parent: draw.below(i.max(1) as u64) as usize,
            passes_data: "always",
            rate_kbit_s,
        })
        .collect();
    let mut text = line_text(&nodes, 300, 100);
    for t in 0..1 + draw.below(3) {
        let delivery = draw.pick(&[
            "",
            "delivery = \"at-least-once\"\nretry = { after = \"30 s\", at_most = 2, acknowledgement = \"40 B\" }\n",
        ]);
        let priority = draw.below(6);
        let bytes = draw.pick(&[20, 300, 3000]);
        write!(text, "\n[topic.\"t{t}\"]\npriority = {priority}\nsize = \"{bytes} B\"\nat_most = \"10 per s\"\n{delivery}").unwrap();
        let from = draw.below(count as u64) as usize;
        let to = (from + 1 + draw.below(count as u64 - 1) as usize) % count;
        let each = draw.pick(&["0.1 s", "0.13 s"]);
        write!(text, "\n[behaviour.says-{t}]\non = \"module.m{from}\"\neach = \"{each}\"\ndo = [{{ publish = \"t{t}\" }}]\n").unwrap();
        text += &told(
            &format!("hears-{t}"),
            to,
            &format!("t{t}"),
            "{ log = \"told\" }",
        );
    }
    for s in 0..1 + draw.below(3) {
        let from = draw.below(count as u64) as usize;
        let to = (from + 1 + draw.below(count as u64 - 1) as usize) % count;
        let rate = rate_kbit_s / draw.pick(&[3, 5, 11, 40]);
        let (packet, burst) = (draw.pick(&[188, 1000, 1500, 4000]), draw.pick(&[1, 3, 20]));
        let priority = draw.below(6);
        let within = draw.pick(&["", "within = \"300 ms\"\n"]);
        write!(
            text,
            "\n[stream.s{s}]\nfrom = \"module.m{from}\"\nto = \"module.m{to}\"\nrate = \"{rate} kbit/s\"\npacket = \"{packet} B\"\nburst = {burst}\npriority = {priority}\n{within}"
        )
        .unwrap();
    }
    (text, count)
}

/// With nothing amiss no packet and no message is later than its bound, none is lost, and none is later than its stream may be.
#[test]
fn verif_nothing_is_later_than_its_bound_with_streams() {
    let (mut packets, mut closest, mut refused) = (0, 0.0f64, 0);
    for seed in 0..48 {
        let mut draw = Draw(31_000 + seed);
        let (text, _) = random_line(&mut draw);
        let (line, cues) = read(&text, &cue_text(5, seed));
        let (outcome, records) = run(&line, &cues);
        let beyond = |r: &&Record| matches!(r.what, What::BeyondBound { .. });
        assert_eq!(records.iter().filter(beyond).count(), 0, "seed {seed}");
        assert!(outcome.topics.iter().all(|t| t.late == 0), "seed {seed}");
        for (plan, came) in line.streams.iter().zip(&outcome.streams) {
            assert_eq!((came.late, came.beyond_bound), (0, 0), "seed {seed}");
            assert!(came.lost.is_empty(), "seed {seed}");
            assert_eq!(came.sent, came.delivered + came.under_way);
            refused += u32::from(came.refused);
            if let (Some(latency), Some(bound)) = (came.latency, came.bound) {
                assert!(
                    plan.within_s
                        .is_none_or(|q| latency.greatest.as_s_f64() <= q.si)
                );
                assert!(came.soonest.unwrap() <= latency.least, "seed {seed}");
                closest = closest.max(latency.greatest.as_s_f64() / bound.as_s_f64());
                packets += came.delivered;
            }
        }
    }
    assert!(packets > 20_000 && refused > 3, "{packets} {refused}");
    assert!(closest > 0.5, "{closest}");
}

/// With cuts, restarts and wrong bits: each packet is delivered once, lost once or under way at the end; what came later than its bound came under a fault or in its wake; and a run in one go
/// is that in steps, on which nothing about streams depends.
#[test]
fn verif_each_packet_comes_to_one_end() {
    let (mut lost, mut delivered) = (0, 0);
    for seed in 0..32 {
        let mut draw = Draw(57_000 + seed);
        let (text, count) = random_line(&mut draw);
        let mut cues = cue_text(8, seed);
        for f in 0..1 + draw.below(3) {
            let span = 1 + draw.below(count as u64 - 1);
            let from_s = draw.below(40) as f64 / 10.0;
            let until_s = from_s + 0.1 + draw.below(20) as f64 / 10.0;
            cues += &match draw.below(3) {
                0 => fault(
                    &format!("f{f}"),
                    "cut",
                    &format!("span.s{span}"),
                    from_s,
                    until_s,
                ),
                1 => fault(
                    &format!("f{f}"),
                    "hang",
                    &format!("module.m{span}"),
                    from_s,
                    until_s,
                ),
                _ => {
                    fault(
                        &format!("f{f}"),
                        "bit-errors",
                        &format!("span.s{span}"),
                        from_s,
                        until_s,
                    ) + "rate = 0.00001\n"
                }
            };
        }
        let (line, cues) = read(&text, &cues);
        let (outcome, records) = run(&line, &cues);
        for came in &outcome.streams {
            let gone: u64 = came.lost.iter().map(|(_, n)| n).sum();
            assert_eq!(
                came.sent,
                came.delivered + gone + came.under_way,
                "seed {seed}"
            );
            assert_eq!(came.beyond_bound, 0, "seed {seed}");
            (lost, delivered) = (lost + gone, delivered + came.delivered);
        }
        let c = outcome.copies;
        assert_eq!(c.due, c.delivered + c.lost + c.under_way, "seed {seed}");
        let mut again = Vec::new();
        let mut sink = |r: &Record| again.push(r.clone());
        let mut steps = rehearsal::Steps::new(&line, &cues, &mut sink).unwrap();
        for until in [1_000_000_007, 1_000_000_008, 2_500_000_000, 8_000_000_000] {
            steps.step_to(Ns(until), &mut |_| true).unwrap();
        }
        assert_eq!(steps.finish().streams, outcome.streams, "seed {seed}");
        assert!(again == records, "seed {seed}");
    }
    assert!(lost > 500 && delivered > 10_000, "{lost} {delivered}");
}
