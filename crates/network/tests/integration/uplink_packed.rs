//! Priorities, packing, growing back-off, limited room and the cap, against an independent model in SimPy 4.1.2
//! (reference/make/network_uplink_packed.py), and capacities by a table.

use std::collections::VecDeque;

use network::{
    AtCap, BackOff, Cap, Failure, GivesUp, Room, Uplink, UplinkError, UplinkEvent, UplinkMessage,
    UplinkSpec, UplinkStats, Windows,
};
use serde_json::Value;
use timeline::{Class, Ns};

use crate::support::{int, list, reference};

fn s(seconds: u64) -> Ns {
    Ns(seconds * 1_000_000_000)
}

fn small(value: &Value) -> u32 {
    u32::try_from(int(value)).unwrap()
}

fn spec(case: &Value) -> UplinkSpec {
    let word = |key: &str| case[key].as_str().unwrap();
    UplinkSpec {
        session: s(int(&case["session"])),
        windows: match case["period"].as_u64() {
            Some(period) => Windows::Every {
                first: s(int(&case["first"])),
                period: s(period),
                width: s(int(&case["width"])),
            },
            None => Windows::Always,
        },
        failure: match int(&case["fail_every"]) {
            0 => Failure::Never,
            n => Failure::EveryNth(n),
        },
        backoff: BackOff {
            first: s(int(&case["backoff"])),
            growth: small(&case["growth"]),
            longest: s(int(&case["longest"])),
        },
        expiry: case["expiry"].as_u64().map(s),
        message_bytes: small(&case["message"]),
        overhead_bytes: small(&case["overhead"]),
        stamp_bytes: small(&case["stamp"]),
        pack: case["hold"].as_u64().map(s),
        urgent: case["urgent"].as_u64().map(|u| u8::try_from(u).unwrap()),
        room: case["room"].as_u64().map(|messages| Room {
            messages,
            gives_up: match word("gives_up") {
                "oldest" => GivesUp::Oldest,
                _ => GivesUp::Newest,
            },
        }),
        cap: case["cap"].as_u64().map(|messages| Cap {
            month: s(int(&case["month"])),
            messages,
            then: match word("then") {
                "urgent" => AtCap::UrgentOnly,
                _ => AtCap::Stop,
            },
        }),
        bills_failed: case["bills_failed"].as_bool().unwrap(),
    }
}

fn conserves(uplink: &Uplink) {
    let UplinkStats {
        offered,
        sent,
        expired,
        dropped,
        waiting,
        ..
    } = uplink.stats();
    assert_eq!(offered, sent + expired + dropped + waiting);
}

type Told = Vec<(i64, u64, &'static str, u64)>;

fn told(case: &Value) -> (Told, Uplink) {
    let mut uplink = Uplink::new(spec(case)).unwrap();
    let until = s(int(&case["until"]));
    for outage in list(&case["outages"]) {
        uplink
            .set_outage(s(int(&outage[0])), s(int(&outage[1])))
            .unwrap();
    }
    let mut rows = Told::new();
    let whole = |at: Ns| at.0 / 1_000_000_000;
    let step = |uplink: &mut Uplink, rows: &mut Told| {
        let mut out = Vec::new();
        uplink.step(&mut out).unwrap();
        conserves(uplink);
        rows.extend(out.iter().filter_map(|event| match *event {
            UplinkEvent::Sent { id, at, billed, .. } => {
                Some((id as i64, whole(at), "sent", u64::from(billed)))
            }
            UplinkEvent::Expired { id, at, .. } => Some((id as i64, whole(at), "expired", 0)),
            UplinkEvent::CapReached { billed, at } => Some((-1, whole(at), "cap", billed)),
            UplinkEvent::Started { .. } | UplinkEvent::Failed { .. } => None,
        }));
    };
    // When its module stops, and when it works again, before all else of the instant.
    let mut stops: VecDeque<(Ns, bool)> = list(&case["stops"])
        .iter()
        .flat_map(|spell| [(s(int(&spell[0])), true), (s(int(&spell[1])), false)])
        .collect();
    let mut turn = |uplink: &mut Uplink, rows: &mut Told, until: (Ns, Class)| {
        while let Some((at, stop)) = stops.front().copied()
            && (at, Class::Fault) < until
        {
            stops.pop_front();
            while uplink.next().is_some_and(|next| next < (at, Class::Fault)) {
                step(uplink, rows);
            }
            let mut out = Vec::new();
            if stop {
                uplink.stop(at, &mut out).unwrap();
            } else {
                uplink.start(at).unwrap();
            }
            conserves(uplink);
            let failed = |e: &&UplinkEvent| matches!(e, UplinkEvent::Failed { .. });
            let failed = out.iter().filter(failed).count();
            if failed > 0 {
                rows.push((-1, whole(at), "broken off", failed as u64));
            }
            rows.extend(out.iter().filter_map(|e| match *e {
                UplinkEvent::CapReached { billed, at } => Some((-1, whole(at), "cap", billed)),
                _ => None,
            }));
        }
        while uplink.next().is_some_and(|next| next < until) {
            step(uplink, rows);
        }
    };
    for (id, offer) in list(&case["offers"]).iter().enumerate() {
        let at = s(int(&offer[0]));
        turn(&mut uplink, &mut rows, (at, Class::Act));
        let message = UplinkMessage {
            id: id as u64,
            bytes: small(&offer[1]),
            priority: u8::try_from(int(&offer[2])).unwrap(),
        };
        if let Some(gone) = uplink.offer(at, message).unwrap() {
            rows.push((gone.id as i64, whole(at), "dropped", 0));
        }
        conserves(&uplink);
    }
    turn(&mut uplink, &mut rows, (until, Class::Fault));
    (rows, uplink)
}

#[test]
fn val_packed_uplinks_exactly() {
    let file = reference("simpy-uplink-packed.json");
    let cases = list(&file["cases"]);
    assert_eq!(cases.len(), 100);
    let mut seen = std::collections::BTreeMap::new();
    let mut failed_billed = 0;
    for (i, case) in cases.iter().enumerate() {
        let theirs: Vec<(i64, u64, &str, u64)> = list(&case["told"])
            .iter()
            .map(|row| {
                (
                    row[0].as_i64().unwrap(),
                    int(&row[1]),
                    row[2].as_str().unwrap(),
                    int(&row[3]),
                )
            })
            .collect();
        let (rows, uplink) = told(&case["case"]);
        assert_eq!(rows, theirs, "case {i}: {}", case["case"]);
        let stats = uplink.stats();
        assert_eq!(stats.attempts, int(&case["attempts"]), "case {i}");
        assert_eq!(stats.billed, int(&case["billed"]), "case {i}");
        let sent = rows.iter().filter(|r| r.2 == "sent");
        let sent: u64 = sent.map(|r| r.3).sum();
        let bills_failed = case["case"]["bills_failed"].as_bool().unwrap();
        assert!(stats.billed == sent || bills_failed && stats.billed > sent);
        failed_billed += u32::from(stats.billed > sent);
        for row in rows {
            *seen.entry((row.2, row.3.min(2))).or_insert(0_u32) += 1;
        }
    }
    assert!(failed_billed >= 30, "{failed_billed}");
    // Every rule has been at work: messages that ride along, large ones, dropped and expired ones, caps.
    for kind in [
        ("sent", 0),
        ("sent", 1),
        ("sent", 2),
        ("dropped", 0),
        ("expired", 0),
        ("cap", 2),
    ] {
        assert!(
            seen.get(&kind).is_some_and(|n| *n >= 30),
            "{kind:?}: {seen:?}"
        );
    }
    let broken_off: u32 = seen
        .iter()
        .filter(|(kind, _)| kind.0 == "broken off")
        .map(|(_, n)| n)
        .sum();
    assert!(broken_off >= 20, "{seen:?}");
}

/// Alerts per billed message of 50, 120, 270 and 340 bytes: 9 bytes packed with a CRC 5, 13, 30 and 37, as JSON of 100 bytes 0, 1, 2 and 3 (arithmetic,
/// on the sizes that `payload` is held to).
#[test]
fn val_alerts_per_billed_message() {
    for (message_bytes, packed, json) in [(50, 5, 0), (120, 13, 1), (270, 30, 2), (340, 37, 3)] {
        let spec = UplinkSpec::plain(s(20), message_bytes);
        assert_eq!((spec.capacity(9), spec.capacity(100)), (packed, json));
        let mut uplink = Uplink::new(UplinkSpec {
            pack: Some(s(600)),
            ..spec
        })
        .unwrap();
        // One less than full waits for the hold; full goes at once.
        for id in 0..packed {
            assert!(uplink.next_time().is_none_or(|at| at == s(600)));
            let message = UplinkMessage {
                id,
                bytes: 9,
                priority: 0,
            };
            uplink.offer(Ns(0), message).unwrap();
        }
        assert_eq!(uplink.next(), Some((Ns(0), Class::StartService)));
        let mut out = Vec::new();
        while uplink.next().is_some() {
            uplink.step(&mut out).unwrap();
        }
        assert_eq!((uplink.stats().attempts, uplink.stats().billed), (1, 1));
        assert_eq!(uplink.stats().sent, packed);
    }
}

/// By hand: 10 s, doubled at each failure in a row up to 60 s: 10, 20, 40, 60, 60; and no overflow far out.
#[test]
fn verif_a_back_off_grows_to_its_longest() {
    let growing = BackOff {
        first: s(10),
        growth: 2,
        longest: s(60),
    };
    let waits: Vec<Ns> = (1..=5).map(|k| growing.after(k)).collect();
    assert_eq!(waits, [10, 20, 40, 60, 60].map(s));
    assert_eq!(growing.after(u32::MAX), s(60));
    assert_eq!(BackOff::steady(s(7)).after(9), s(7));
}

#[test]
fn verif_specifications_that_cannot_be() {
    let with = |change: fn(&mut UplinkSpec)| {
        let mut changed = UplinkSpec::plain(s(10), 100);
        change(&mut changed);
        Uplink::new(changed).map(|_| ()).unwrap_err()
    };
    assert_eq!(
        with(|u| u.overhead_bytes = 100),
        UplinkError::OverheadFills {
            overhead_bytes: 100,
            message_bytes: 100
        }
    );
    assert_eq!(with(|u| u.backoff.growth = 0), UplinkError::NoGrowth);
    assert_eq!(
        with(|u| u.backoff = BackOff {
            first: s(2),
            growth: 1,
            longest: s(1)
        }),
        UplinkError::LongestTooShort {
            first: s(2),
            longest: s(1)
        }
    );
    assert_eq!(
        with(|u| u.room = Some(Room {
            messages: 0,
            gives_up: GivesUp::Oldest
        })),
        UplinkError::NoRoom
    );
    assert_eq!(
        with(|u| u.cap = Some(Cap {
            month: s(1),
            messages: 0,
            then: AtCap::Stop
        })),
        UplinkError::NoCap {
            messages: 0,
            month: s(1)
        }
    );
}

/// A cap of no message stops an uplink for good where it stops at its cap; where what is urgent goes on above it only that is ever sent.
#[test]
fn verif_a_cap_of_nothing_lets_what_is_urgent_go() {
    let plain = UplinkSpec {
        urgent: Some(0),
        cap: Some(Cap {
            month: s(1000),
            messages: 0,
            then: AtCap::UrgentOnly,
        }),
        ..UplinkSpec::plain(s(5), 100)
    };
    let mut uplink = Uplink::new(plain).unwrap();
    let mut out = Vec::new();
    for (id, priority) in [(0, 3), (1, 0), (2, 5)] {
        let message = UplinkMessage {
            id,
            bytes: 10,
            priority,
        };
        uplink.offer(Ns::ZERO, message).unwrap();
    }
    while uplink.next().is_some() {
        uplink.step(&mut out).unwrap();
    }
    let sent = out.iter().filter_map(|e| match e {
        UplinkEvent::Sent { id, .. } => Some(*id),
        _ => None,
    });
    assert_eq!(sent.collect::<Vec<_>>(), [1]);
    assert_eq!(uplink.stats().waiting, 2);
}
