//! Against an independent model in SimPy 4.1.2 (reference/make/network_uplink.py), and the edges by hand.

use network::{
    BackOff, Failure, Outcome, Uplink, UplinkError, UplinkEvent, UplinkMessage, UplinkSpec,
    UplinkStats, Windows,
};
use serde_json::Value;
use timeline::{Class, Ns};

use crate::support::{int, list, reference};

fn s(seconds: u64) -> Ns {
    Ns(seconds * 1_000_000_000)
}

fn message(id: u64, bytes: u32) -> UplinkMessage {
    UplinkMessage {
        id,
        bytes,
        priority: 0,
    }
}

fn spec(case: &Value) -> UplinkSpec {
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
        backoff: BackOff::steady(s(int(&case["backoff"]))),
        expiry: case["expiry"].as_u64().map(s),
        ..UplinkSpec::plain(s(1), 300)
    }
}

fn conserves(uplink: &Uplink) {
    let UplinkStats {
        offered,
        sent,
        expired,
        waiting,
        ..
    } = uplink.stats();
    assert_eq!(offered, sent + expired + waiting);
}

/// What became of each message, and how many attempts began. With `unforeseen`, an outage is declared only when it begins.
fn told(case: &Value, unforeseen: bool) -> (Vec<(u64, u64, u64, &'static str)>, u64) {
    let mut uplink = Uplink::new(spec(case)).unwrap();
    let until = s(int(&case["until"]));
    let outages: Vec<(Ns, Ns)> = list(&case["outages"])
        .iter()
        .map(|o| (s(int(&o[0])), s(int(&o[1]))))
        .collect();
    let mut calls: Vec<(Ns, Option<u64>, (Ns, Ns))> = outages
        .iter()
        .map(|&o| (if unforeseen { o.0 } else { Ns(0) }, None, o))
        .collect();
    calls.extend(
        (0..int(&case["count"])).map(|id| (s(id * int(&case["every"])), Some(id), (Ns(0), Ns(0)))),
    );
    calls.sort();
    let mut out = Vec::new();
    for (at, id, outage) in calls {
        while uplink.next_time().is_some_and(|next| next < at) {
            uplink.step(&mut out).unwrap();
            conserves(&uplink);
        }
        match id {
            Some(id) => assert_eq!(uplink.offer(at, message(id, 1)).unwrap(), None),
            None => uplink.set_outage(outage.0, outage.1).unwrap(),
        }
    }
    while uplink.next_time().is_some_and(|next| next < until) {
        uplink.step(&mut out).unwrap();
        conserves(&uplink);
    }
    let whole = |at: Ns| at.0 / 1_000_000_000;
    let rows = out
        .iter()
        .filter_map(|event| match *event {
            UplinkEvent::Sent {
                id, offered, at, ..
            } => Some((id, whole(offered), whole(at), "sent")),
            UplinkEvent::Expired { id, offered, at } => {
                Some((id, whole(offered), whole(at), "expired"))
            }
            UplinkEvent::Started { .. }
            | UplinkEvent::Failed { .. }
            | UplinkEvent::CapReached { .. } => None,
        })
        .collect();
    (rows, uplink.stats().attempts)
}

#[test]
fn val_uplink_queue_exactly() {
    let file = reference("simpy-uplink.json");
    let cases = list(&file["cases"]);
    assert_eq!(cases.len(), 42);
    let mut with_outage = 0;
    for case in cases {
        let theirs: Vec<(u64, u64, u64, &str)> = list(&case["told"])
            .iter()
            .map(|row| {
                (
                    int(&row[0]),
                    int(&row[1]),
                    int(&row[2]),
                    row[3].as_str().unwrap(),
                )
            })
            .collect();
        for unforeseen in [false, true] {
            let (rows, attempts) = told(&case["case"], unforeseen);
            assert_eq!(rows, theirs, "{}", case["case"]);
            assert_eq!(attempts, int(&case["attempts"]));
        }
        with_outage += usize::from(!list(&case["case"]["outages"]).is_empty());
    }
    assert!(with_outage >= 15);
}

/// The first two cases by figures of our own, so that a slip of script and crate together shows.
#[test]
fn regress_two_cases_by_their_figures() {
    let file = reference("simpy-uplink.json");
    let (rows, attempts) = told(&list(&file["cases"])[0]["case"], true);
    let sent: Vec<u64> = rows.iter().map(|row| row.2).collect();
    assert_eq!(attempts, 26);
    assert_eq!(
        sent,
        [
            1840, 1880, 1920, 7940, 7980, 8020, 8160, 8200, 13840, 13980, 14020, 14060, 14200,
            19840, 19880, 20020, 20060, 20100, 25840, 25880
        ]
    );
    assert_eq!(rows.iter().map(|row| row.2 - row.1).sum::<u64>(), 4833 * 20);
    let (rows, attempts) = told(&list(&file["cases"])[1]["case"], true);
    let sent: Vec<u64> = rows
        .iter()
        .filter(|row| row.3 == "sent")
        .map(|row| row.0)
        .collect();
    assert_eq!(
        (attempts, sent, rows.len()),
        (8, vec![0, 1, 2, 8, 9, 10], 20)
    );
}

fn plain(failure: Failure) -> UplinkSpec {
    UplinkSpec {
        failure,
        backoff: BackOff::steady(s(5)),
        ..UplinkSpec::plain(s(10), 100)
    }
}

#[test]
fn verif_price_counts_begun_messages() {
    let mut uplink = Uplink::new(plain(Failure::Never)).unwrap();
    let mut out = Vec::new();
    for (id, bytes) in [(0, 0), (1, 1), (2, 100), (3, 101), (4, 350)] {
        uplink.offer(Ns(0), message(id, bytes)).unwrap();
    }
    while uplink.next_time().is_some() {
        uplink.step(&mut out).unwrap();
    }
    let billed: Vec<u32> = out
        .iter()
        .filter_map(|e| {
            if let UplinkEvent::Sent { billed, .. } = *e {
                Some(billed)
            } else {
                None
            }
        })
        .collect();
    assert_eq!(billed, [1, 1, 1, 2, 4]);
    assert_eq!(uplink.stats().billed, 9);
}

#[test]
fn verif_an_age_of_just_the_expiry_is_kept() {
    for (expiry_ns, expired) in [(10_000_000_000, 0), (9_999_999_999, 1)] {
        let mut uplink = Uplink::new(UplinkSpec {
            expiry: Some(Ns(expiry_ns)),
            ..plain(Failure::Never)
        })
        .unwrap();
        let mut out = Vec::new();
        for id in 0..2 {
            uplink.offer(Ns(0), message(id, 1)).unwrap();
        }
        while uplink.next_time().is_some() {
            uplink.step(&mut out).unwrap();
        }
        assert_eq!(uplink.stats().expired, expired);
    }
}

#[test]
fn verif_an_outage_touches_only_what_it_overlaps() {
    // The first attempt lasts from 20 to 30.
    for (from_ns, to_ns, sent_s) in [
        (s(10).0, s(20).0, 30),
        (s(30).0, s(40).0, 30),
        // Touched in its last nanosecond: fails at 30, backs off until 35; touched in its first: begins when the outage is over.
        (s(30).0 - 1, s(30).0, 45),
        (s(20).0 - 1, s(21).0, 31),
    ] {
        let mut uplink = Uplink::new(plain(Failure::Never)).unwrap();
        let mut out = Vec::new();
        uplink.set_outage(Ns(from_ns), Ns(to_ns)).unwrap();
        uplink.offer(s(20), message(0, 1)).unwrap();
        while uplink.next_time().is_some() {
            uplink.step(&mut out).unwrap();
        }
        let sent: Vec<Ns> = out
            .iter()
            .filter_map(|e| {
                if let UplinkEvent::Sent { at, .. } = *e {
                    Some(at)
                } else {
                    None
                }
            })
            .collect();
        assert_eq!(sent, [s(sent_s)], "outage from {from_ns} to {to_ns}");
    }
}

#[test]
fn verif_outcomes_are_asked_for() {
    let mut uplink = Uplink::new(plain(Failure::Asked)).unwrap();
    let mut out = Vec::new();
    uplink.offer(Ns(0), message(7, 1)).unwrap();
    assert_eq!(uplink.next(), Some((Ns(0), Class::StartService)));
    uplink.step(&mut out).unwrap();
    assert_eq!(uplink.next(), Some((s(10), Class::Arrive)));
    assert_eq!(
        uplink.step(&mut out),
        Err(UplinkError::NobodyAsked { attempt: 1 })
    );
    uplink.step_asking(&mut out, |attempt| {
        if attempt == 1 {
            Outcome::Failed
        } else {
            Outcome::Arrived
        }
    });
    assert_eq!(uplink.next(), Some((s(15), Class::StartService)));
    uplink.step_asking(&mut out, |_| Outcome::Failed);
    // An outage settles the outcome: nobody needs asking.
    uplink.set_outage(s(20), s(22)).unwrap();
    uplink.step(&mut out).unwrap();
    assert_eq!(uplink.next(), Some((s(30), Class::StartService)));
    uplink.step(&mut out).unwrap();
    uplink.step_asking(&mut out, |_| Outcome::Arrived);
    let kinds: Vec<UplinkEvent> = out.clone();
    assert_eq!(
        kinds,
        [
            UplinkEvent::Started {
                id: 7,
                attempt: 1,
                at: s(0)
            },
            UplinkEvent::Failed {
                id: 7,
                attempt: 1,
                at: s(10),
                billed: 0,
            },
            UplinkEvent::Started {
                id: 7,
                attempt: 2,
                at: s(15)
            },
            UplinkEvent::Failed {
                id: 7,
                attempt: 2,
                at: s(25),
                billed: 0,
            },
            UplinkEvent::Started {
                id: 7,
                attempt: 3,
                at: s(30)
            },
            UplinkEvent::Sent {
                id: 7,
                attempt: 3,
                offered: s(0),
                at: s(40),
                billed: 1
            },
        ]
    );
    assert_eq!(uplink.next(), None);
}

#[test]
fn verif_uplinks_and_calls_that_cannot_be() {
    let with = |change: fn(&mut UplinkSpec)| {
        let mut changed = plain(Failure::Never);
        change(&mut changed);
        Uplink::new(changed).map(|_| ()).unwrap_err()
    };
    assert_eq!(with(|u| u.session = Ns(0)), UplinkError::NoSession);
    assert_eq!(with(|u| u.message_bytes = 0), UplinkError::NoMessageSize);
    assert_eq!(
        with(|u| u.failure = Failure::EveryNth(0)),
        UplinkError::NoNth
    );
    assert_eq!(
        with(|u| u.windows = Windows::Every {
            first: Ns(0),
            period: s(10),
            width: s(11)
        }),
        UplinkError::WindowsOverlap {
            width: s(11),
            period: s(10)
        }
    );
    assert_eq!(
        with(|u| u.windows = Windows::Every {
            first: Ns(0),
            period: s(100),
            width: s(9)
        }),
        UplinkError::WindowTooShort {
            session: s(10),
            width: s(9)
        }
    );
    let mut uplink = Uplink::new(plain(Failure::Never)).unwrap();
    uplink.offer(s(3), message(0, 1)).unwrap();
    assert_eq!(
        uplink.offer(s(2), message(1, 1)),
        Err(UplinkError::Late {
            now: s(2),
            reached: s(3)
        })
    );
    assert_eq!(
        uplink.offer(s(4), message(1, 1)),
        Err(UplinkError::Early {
            now: s(4),
            pending: s(3)
        })
    );
    assert_eq!(
        uplink.set_outage(s(5), s(5)),
        Err(UplinkError::NoOutage {
            from: s(5),
            to: s(5)
        })
    );
    assert_eq!(
        uplink.set_outage(s(1), s(5)),
        Err(UplinkError::Late {
            now: s(1),
            reached: s(3)
        })
    );
    // An outage up to the end of time: nothing comes any more, and that is said as `None`.
    uplink.set_outage(s(3), Ns::MAX).unwrap();
    assert_eq!(uplink.next(), None);
}
