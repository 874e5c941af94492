//! Messages that are sent again, held or kept, worked by hand on a line of three modules.
//!
//! A message of 200 bytes takes as long as in relays.rs: 38 bytes of Ethernet (IEEE 802.3), 48 of IPv6 and UDP (RFC 8200, RFC 768) and 200 of payload at
//! 10 Mb/s, 100 m at 5 ns/m, and 100 us of processing a hop. An acknowledgement of 8 bytes takes 94 bytes on the wire.

use network::NoteKind;
use rehearsal::{Loss, Outcome, Record, What};
use timeline::Ns;

use crate::chain::{cue_text, fault, in_a_row, input, line_text, told, topic};
use crate::support::{read, run};

const HOP: u64 = (38 + 48 + 200) * 8 * 100 + 500 + 100_000;
const BACK: u64 = (38 + 48 + 8) * 8 * 100 + 500 + 100_000;
const S: u64 = 1_000_000_000;

/// Messages of module 0 at 10, 11, 12 ... s to module 2, on these terms, with this fault.
fn rehearsed(terms: &str, messages: u32, faults: &str) -> (Outcome, Vec<Record>) {
    let mut plan = line_text(&in_a_row(&["running", "running", "running"]), 300, 100);
    plan += &topic("go");
    plan += terms;
    plan += &told("b", 2, "go", r#"{ log = "told" }"#);
    let mut cues = cue_text(60, 1) + faults;
    for i in 0..messages {
        cues += &input(&format!("i{i}"), 10.0 + f64::from(i), 0, "go");
    }
    let (line, cues) = read(&plan, &cues);
    run(&line, &cues)
}

fn delivered(records: &[Record]) -> Vec<u64> {
    let of = |r: &Record| matches!(r.what, What::Delivered { .. }).then_some(r.at.0);
    records.iter().filter_map(of).collect()
}

/// When a module is up again.
fn up(records: &[Record]) -> u64 {
    let up = records.iter().find(|r| matches!(r.what, What::Up { .. }));
    up.unwrap().at.0
}

fn posted(records: &[Record]) -> Vec<(NoteKind, Ns)> {
    let of = |r: &Record| match r.what {
        What::Posted { what, .. } => Some((what, r.at)),
        _ => None,
    };
    records.iter().filter_map(of).collect()
}

const RETRY: &str = "delivery = \"at-least-once\"\nretry = { after = \"2 s\", at_most = 3, acknowledgement = \"8 B\" }\n";

#[test]
fn verif_what_is_not_acknowledged_is_sent_again() {
    let (outcome, records) = rehearsed(RETRY, 1, "");
    assert_eq!(delivered(&records), [10 * S + 2 * HOP]);
    let back = Ns(10 * S + 2 * HOP + 2 * BACK);
    assert_eq!(posted(&records), [(NoteKind::Acknowledged, back)]);
    assert_eq!((outcome.copies.due, outcome.copies.delivered), (1, 1));
    assert_eq!(outcome.on_terms.answers, 1);

    // Cut from 9 s to 10.5 s, and then three seconds of boot: sendings at 10 and 12 s find nobody, that at 14 s does.
    let cut = fault("f", "cut", "span.s2", 9.0, 10.5);
    let (outcome, records) = rehearsed(RETRY, 1, &cut);
    assert_eq!(delivered(&records), [14 * S + 2 * HOP]);
    let back = Ns(14 * S + 2 * HOP + 2 * BACK);
    let missed = NoteKind::Missed {
        reason: network::DropReason::NodeDown,
    };
    let again = |sending| NoteKind::Again { sending };
    assert_eq!(
        posted(&records),
        [
            (missed, Ns(10 * S)),
            (again(2), Ns(12 * S)),
            (missed, Ns(12 * S)),
            (again(3), Ns(14 * S)),
            (NoteKind::Acknowledged, back)
        ]
    );
    let told = records
        .iter()
        .find(|r| matches!(r.what, What::Delivered { .. }));
    let published = records
        .iter()
        .find(|r| matches!(r.what, What::Published { .. }));
    assert_eq!(told.unwrap().parent, Some(published.unwrap().id));
    assert_eq!(outcome.on_terms.again, 2);

    // Cut for good: given up two seconds after the fourth sending.
    let cut = fault("f", "cut", "span.s2", 9.0, 59.0);
    let (outcome, records) = rehearsed(RETRY, 1, &cut);
    let lost = records
        .iter()
        .find(|r| matches!(r.what, What::Lost { .. }))
        .unwrap();
    assert_eq!(lost.at, Ns(18 * S));
    let unanswered = Loss::Network(network::DropReason::Unanswered);
    assert!(matches!(lost.what, What::Lost { why, .. } if why == unanswered));
    assert_eq!((outcome.copies.due, outcome.copies.lost), (1, 1));
}

#[test]
fn verif_what_cannot_go_waits_in_order_and_within_its_limits() {
    // The cut takes the power of module 2 too: it boots afterwards.
    let cut = fault("f", "cut", "span.s2", 9.0, 14.5);
    let keep = |messages: u32, longest: &str| {
        format!("keep = {{ messages = {messages}, longest = \"{longest}\" }}\n")
    };
    // Five wait and go one behind another: each follows by the time of its frame on the wire.
    let (outcome, records) = rehearsed(&keep(9, "1 h"), 5, &cut);
    let frame = (38 + 48 + 200) * 800;
    let burst: Vec<u64> = (0..5).map(|i| up(&records) + 2 * HOP + i * frame).collect();
    assert_eq!(delivered(&records), burst);
    assert_eq!((outcome.copies.delivered, outcome.copies.lost), (5, 0));
    assert!((17 * S..18 * S).contains(&up(&records)));
    // Room for two; those of 12, 13 and 14 s, when only six seconds are waited.
    let (outcome, records) = rehearsed(&keep(2, "1 h"), 5, &cut);
    assert_eq!(delivered(&records), burst[..2]);
    assert_eq!(
        outcome.on_terms.dropped[&network::DropReason::KeptTooMany],
        3
    );
    let (outcome, records) = rehearsed(&keep(9, "6 s"), 5, &cut);
    assert_eq!(delivered(&records), burst[..3]);
    assert_eq!(
        outcome.on_terms.dropped[&network::DropReason::KeptTooLong],
        2
    );
    let lost = records
        .iter()
        .find(|r| matches!(r.what, What::Lost { .. }))
        .unwrap();
    assert_eq!(lost.at, Ns(16 * S));
}

#[test]
fn verif_a_module_that_comes_up_is_sent_the_last_value() {
    // Off from 15 s to 20 s, then three seconds of boot.
    let off = fault("f", "dead", "module.m2", 15.0, 20.0);
    let (outcome, records) = rehearsed("retained = true\n", 3, &off);
    let up_at = up(&records);
    let at = |s: u64| s * S + 2 * HOP;
    assert_eq!(
        delivered(&records),
        [at(10), at(11), at(12), up_at + 2 * HOP]
    );
    assert_eq!(posted(&records), [(NoteKind::Retained, Ns(up_at))]);
    assert_eq!((outcome.copies.due, outcome.copies.delivered), (4, 4));
    // Out of reach for a while, because the module between hangs, it has missed nothing: what comes is removed.
    let hung = fault("f", "hang", "module.m1", 15.0, 20.0);
    let (outcome, records) = rehearsed("retained = true\n", 3, &hung);
    assert_eq!(delivered(&records), [at(10), at(11), at(12)]);
    let up_at = up(&records);
    let had = Ns(up_at + 2 * HOP);
    let told = [(NoteKind::Retained, Ns(up_at)), (NoteKind::Had, had)];
    assert_eq!(posted(&records), told);
    assert_eq!((outcome.copies.due, outcome.copies.delivered), (3, 3));
    // A publisher that stopped holds nothing.
    let both =
        fault("f", "dead", "module.m2", 15.0, 30.0) + &fault("g", "dead", "module.m0", 16.0, 20.0);
    let (_, records) = rehearsed("retained = true\n", 3, &both);
    assert_eq!(delivered(&records), [at(10), at(11), at(12)]);
}
