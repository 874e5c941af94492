//! Uplinks that pack, stop at a cap or depend on the sea, and stores that fill; worked by hand.

use plan::{Droppable, StorageIx, UplinkIx};
use rehearsal::{Ashore, Record, RehearsalError, What};
use timeline::Ns;

use crate::chain::{cue_text, fault, in_a_row, input, line_text, told, topic};
use crate::support::{line_and_cues, read, run};

const SENDS: &str = "sending_state = \"sending\"\n";
const SURE: &str = "success = \"100 %\"\n";

fn times(records: &[Record], is: impl Fn(&What) -> bool) -> Vec<f64> {
    records
        .iter()
        .filter(|r| is(&r.what))
        .map(|r| r.at.as_s_f64())
        .collect()
}

/// Two alerts of 200 bytes, about 30 s apart, share a message of 700 bytes: the load is due a minute after the first, when the outage is over, and is ashore
/// 5 s later.
#[test]
fn verif_alerts_that_wait_for_each_other_are_billed_once() {
    let plain = line_and_cues(
        &[],
        &[
            ("[fault.outage]", "[fault.short]"),
            ("until = \"80 s\"", "until = \"41 s\""),
        ],
    );
    let (outcome, _) = run(&plain.0, &plain.1);
    assert_eq!((outcome.uplinks[0].sent, outcome.uplinks[0].billed), (2, 4));
    let (line, cues) = line_and_cues(
        &[
            (SURE, "success = \"100 %\"\npack_within = \"1 min\"\n"),
            ("message_size = \"120 B\"", "message_size = \"700 B\""),
        ],
        &[],
    );
    let (outcome, records) = run(&line, &cues);
    let queued = times(&records, |w| matches!(w, What::Queued { .. }));
    assert_eq!(queued.len(), 2);
    let sent = times(&records, |w| matches!(w, What::Sent { .. }));
    assert_eq!(sent.len(), 2);
    for at in sent {
        assert!((at - (queued[0] + 65.0)).abs() < 1e-9, "{at} {queued:?}");
    }
    let up = outcome.uplinks[0];
    assert_eq!((up.sent, up.billed, up.waiting), (2, 1, 0));
}

/// The alert comes at 10 s; its module is dead from 12 s to 40 s and boots for 3 s once its voltage is there, a millisecond later. The attempt fails with the module, none begins meanwhile, and no
/// back-off is left: sessions of 5 s.
#[test]
fn verif_an_uplink_tries_nothing_while_its_module_is_down() {
    let mut plan = line_text(&in_a_row(&["running", "running"]), 300, 100);
    plan = plan.replace(
        "back_off = \"2 s\"",
        "back_off = \"2 s\"\nback_off_grows = 2\nback_off_longest = \"5 min\"",
    );
    plan += &topic("go");
    plan += &told(
        "b0",
        0,
        "go",
        r#"{ send_up = "uplink.shore", about = "go" }"#,
    );
    let cues = cue_text(100, 1)
        + &input("one", 10.0, 1, "go")
        + &fault("f", "dead", "module.m0", 12.0, 40.0);
    let (line, cues) = read(&plan, &cues);
    let (outcome, records) = run(&line, &cues);
    let queued = times(&records, |w| matches!(w, What::Queued { .. }))[0];
    let works = 40.0 + 0.001 + 3.0;
    assert_eq!(times(&records, |w| matches!(w, What::Up { .. })), [works]);
    assert_eq!(
        times(&records, |w| matches!(w, What::Attempt { .. })),
        [queued, works]
    );
    assert_eq!(
        times(&records, |w| matches!(w, What::Failed { .. })),
        [12.0]
    );
    assert_eq!(
        times(&records, |w| matches!(w, What::Sent { .. })),
        [works + 5.0]
    );
    assert_eq!(
        (outcome.uplinks[0].sent, outcome.uplinks[0].waiting),
        (1, 0)
    );
    // What came of the fault says so.
    let cost = Ashore {
        failed: 1,
        sent: 1,
        longest: Some(Ns::from_s_f64(works + 5.0 - queued).unwrap()),
        ..Ashore::default()
    };
    assert_eq!(outcome.faults[0].uplinks, [(UplinkIx(0), cost)]);
}

/// No attempt from 9 s to 30 s, and a session of 5 s: the message of 10 s is ashore at 35 s. That of 40 s finds nothing amiss. With an end at 20 s the first still waits.
#[test]
fn verif_what_an_outage_costs_is_told_with_the_fault() {
    let mut plan = line_text(&in_a_row(&["running", "running"]), 300, 100);
    plan += &topic("go");
    plan += &told(
        "b0",
        0,
        "go",
        r#"{ send_up = "uplink.shore", about = "go" }"#,
    );
    for (duration_s, sent, waiting) in [(60, 1, 0), (20, 0, 1)] {
        let mut cues = cue_text(duration_s, 1) + &input("one", 10.0, 1, "go");
        cues += &fault("f", "no-uplink", "uplink.shore", 9.0, 30.0);
        if duration_s > 40 {
            cues += &input("two", 40.0, 1, "go");
        }
        let (line, cues) = read(&plan, &cues);
        let (outcome, records) = run(&line, &cues);
        let queued = times(&records, |w| matches!(w, What::Queued { .. }))[0];
        let took = Ns::from_s_f64(35.0 - queued).unwrap();
        let cost = Ashore {
            sent,
            longest: (sent > 0).then_some(took),
            waiting,
            ..Ashore::default()
        };
        assert_eq!(outcome.faults[0].uplinks, [(UplinkIx(0), cost)]);
        assert_eq!(outcome.faults[0].recovered, []);
    }
}

#[test]
fn verif_a_cap_stops_the_uplink_and_is_told() {
    let capped = "success = \"100 %\"\ncap = \"0.10 EUR\"\nat_cap = \"stop\"\n";
    let (line, cues) = line_and_cues(
        &[
            (SURE, capped),
            ("message_size = \"120 B\"", "message_size = \"200 B\""),
        ],
        &[],
    );
    let (outcome, records) = run(&line, &cues);
    let up = outcome.uplinks[0];
    assert_eq!(
        (up.sent, up.billed, up.waiting, up.months_capped),
        (1, 1, 1, 1)
    );
    let reached = times(&records, |w| {
        matches!(w, What::CapReached { billed: 1, .. })
    });
    let sent = times(&records, |w| matches!(w, What::Sent { .. }));
    assert_eq!(reached, sent);
}

/// With room for one the second alert takes the place of the first, which the outage holds back.
#[test]
fn verif_without_room_the_oldest_goes() {
    let one = "success = \"100 %\"\nroom = 1\ngives_up = \"oldest\"\n";
    let (line, cues) = line_and_cues(&[(SURE, one)], &[("at = \"40 s\"", "at = \"10 s\"")]);
    let (outcome, records) = run(&line, &cues);
    let up = outcome.uplinks[0];
    assert_eq!((up.sent, up.dropped, up.waiting), (1, 1, 0));
    let dropped = times(&records, |w| matches!(w, What::NoRoom { message: 0, .. }));
    let queued = times(&records, |w| matches!(w, What::Queued { message: 1, .. }));
    assert_eq!(dropped, queued);
}

/// The wind of the cue sheet, 4 m/s, picks the row; beyond the last row nothing is run.
#[test]
fn verif_the_sea_of_the_cue_sheet_decides() {
    let rows = |rows: &str| line_and_cues(&[(SURE, &format!("success_by = [{rows}]\n"))], &[]);
    let failed = |rows_text: &str| {
        let (line, cues) = rows(rows_text);
        let (_, records) = run(&line, &cues);
        times(&records, |w| matches!(w, What::Failed { .. })).len()
    };
    let calm = "{ wind = \"4 m/s\", success = \"100 %\" }, { wind = \"9 m/s\", success = \"1 %\" }";
    let rough =
        "{ wind = \"3.9 m/s\", success = \"100 %\" }, { wind = \"9 m/s\", success = \"1 %\" }";
    assert_eq!(failed(calm), 0);
    assert!(failed(rough) >= 2);
    for (text, says) in [
        (
            "{ wind = \"3 m/s\", success = \"90 %\" }",
            "up to a wind of 3 m/s, not for 4 m/s",
        ),
        (
            "{ wave_height = \"3 m\", success = \"90 %\" }",
            "`wave_height` of the cue sheet",
        ),
    ] {
        let (line, cues) = rows(text);
        let error = rehearsal::run(&line, &cues, &mut |_| {}, &mut |_| true).unwrap_err();
        assert!(matches!(error, RehearsalError::NotSaid { .. }));
        assert!(error.to_string().contains(says), "{error}");
    }
}

fn card(more: &str) -> String {
    format!(
        "{SENDS}\n[storage.card]\nat = \"module.ear\"\ncapacity = \"400 kB\"\nrecords = [{{ sensor = \"module.ear.sensor.one\", share = \"100 %\", compression = 1 }}]\ncut = \"30 s\"\n{more}\n"
    )
}

/// 4 kHz of 16 bits in files of 30 s with 116 bytes before the samples are 240 116 bytes each: 400 kB are full after 49.983 s. The cable is cut from
/// 90 s to 100 s.
const FULL_S: f64 = 400_000.0 / 240_116.0 * 30.0;

#[test]
fn verif_a_store_that_drops_nothing_stops() {
    let (line, cues) = line_and_cues(&[(SENDS, &card("drop = [\"nothing\"]"))], &[]);
    let (outcome, records) = run(&line, &cues);
    let full = times(&records, |w| matches!(w, What::StoreFull { .. }));
    assert_eq!(full.len(), 1);
    assert!((full[0] - FULL_S).abs() < 1e-6, "{full:?}");
    let count = outcome.stores[0];
    assert_eq!((count.files_begun, count.files_closed), (2, 2));
    assert!((count.held_bytes - 400_000.0).abs() < 1.0, "{count:?}");
    let away = times(&records, |w| {
        matches!(w, What::Down { .. } | What::Up { .. })
    });
    assert_eq!(away.len(), 2, "the cut takes the ear down once");
    let lost_s = 120.0 - FULL_S - (away[1] - away[0]);
    assert!(
        (count.lost_bytes - lost_s * 240_116.0 / 30.0).abs() < 1.0,
        "{count:?}"
    );
}

/// Files end at 30, 60, 90 and 120 s and when the ear goes down, and begin again when it is back.
#[test]
fn verif_a_store_that_overwrites_keeps_the_latest() {
    let (line, cues) = line_and_cues(&[(SENDS, &card("drop = [\"oldest-recordings\"]"))], &[]);
    let (outcome, records) = run(&line, &cues);
    let drops = times(&records, |w| {
        matches!(
            w,
            What::StoreDrops {
                what: Droppable::OldestRecordings,
                ..
            }
        )
    });
    assert_eq!(drops.len(), 1);
    assert!((drops[0] - FULL_S).abs() < 1e-6, "{drops:?}");
    let count = outcome.stores[0];
    assert_eq!((count.files_begun, count.files_closed), (6, 5));
    assert!((count.held_bytes - 400_000.0).abs() < 1.0, "{count:?}");
    assert_eq!(count.lost_bytes, 0.0);
    let down = times(&records, |w| matches!(w, What::Down { .. }))[0];
    assert!(Ns::from_s_f64(down).is_ok());
}

/// An event of 4 kB in the log goes first and leaves room for half a second more.
#[test]
fn verif_what_is_dropped_first_goes_first() {
    let more = "drop = [\"logs\"]\nlogs = { event = \"4 kB\" }";
    let (line, cues) = line_and_cues(&[(SENDS, &card(more))], &[]);
    let (outcome, records) = run(&line, &cues);
    let drops: Vec<(f64, f64)> = records
        .iter()
        .filter_map(|r| match r.what {
            What::StoreDrops {
                what: Droppable::Logs,
                bytes,
                ..
            } => Some((r.at.as_s_f64(), bytes)),
            _ => None,
        })
        .collect();
    let rate_b_s = 240_116.0 / 30.0;
    assert_eq!(drops.len(), 1, "{drops:?}");
    assert!(
        (drops[0].0 - (FULL_S - 4_000.0 / rate_b_s)).abs() < 1e-6,
        "{drops:?}"
    );
    assert_eq!(drops[0].1, 4_000.0);
    let full = times(&records, |w| matches!(w, What::StoreFull { .. }));
    assert!((full[0] - FULL_S).abs() < 1e-6, "{full:?}");
    assert!(outcome.stores[0].dropped_bytes >= 4_000.0);
}

/// The log goes before old recordings also once these are overwritten: an entry that comes then goes at once, because more is recorded. The other way round it
/// takes the place of old recordings and stays.
#[test]
fn verif_the_order_of_what_goes_holds_while_recordings_are_overwritten() {
    let rate_b_s = 240_116.0 / 30.0;
    let of = |drop: &str| {
        let more = format!("drop = [{drop}]\nlogs = {{ event = \"4 kB\" }}");
        let (line, cues) = line_and_cues(&[(SENDS, &card(&more))], &[]);
        let (outcome, records) = run(&line, &cues);
        let events = times(&records, |w| matches!(w, What::Event { .. }));
        let logs_gone = times(&records, |w| {
            let logs = Droppable::Logs;
            matches!(w, What::StoreDrops { what, .. } if *what == logs)
        });
        (outcome.stores[0], events, logs_gone)
    };
    let (count, events, gone) = of("\"logs\", \"oldest-recordings\"");
    let first = FULL_S - 4_000.0 / rate_b_s;
    let late: Vec<f64> = events.iter().copied().filter(|t| *t > FULL_S).collect();
    assert!(!late.is_empty() && late.len() < events.len(), "{events:?}");
    assert!((gone[0] - first).abs() < 1e-6, "{gone:?}");
    assert_eq!(gone[1..], late);
    assert!((count.held_bytes - 400_000.0).abs() < 1.0, "{count:?}");
    let (count, _, gone) = of("\"oldest-recordings\", \"logs\"");
    assert!(gone.is_empty(), "{gone:?}");
    assert!((count.held_bytes - 400_000.0).abs() < 1.0, "{count:?}");
}

/// Something else fills the card from 40 s to 70 s: the file is closed, 30 s of sound find no room, and a new one begins. What was recorded before stays.
#[test]
fn verif_a_store_that_something_else_fills_loses_until_it_is_free() {
    let large = card("drop = [\"nothing\"]").replace("400 kB", "4 MB");
    let stuffed = "[fault.stuffed]\nkind = \"storage-full\"\nof = \"storage.card\"\nat = \"40 s\"\nuntil = \"70 s\"\n\n[fault.cut]";
    let (line, cues) = line_and_cues(&[(SENDS, &large)], &[("[fault.cut]", stuffed)]);
    let (outcome, records) = run(&line, &cues);
    let full = times(&records, |w| matches!(w, What::StoreFull { .. }));
    assert_eq!(full, [40.0]);
    let away = times(&records, |w| {
        matches!(w, What::Down { .. } | What::Up { .. })
    });
    let count = outcome.stores[0];
    let rate_b_s = 240_116.0 / 30.0;
    assert!(
        (count.lost_bytes - 30.0 * rate_b_s).abs() < 1.0,
        "{count:?}"
    );
    let held_s = 120.0 - 30.0 - (away[1] - away[0]);
    assert!(
        (count.held_bytes - held_s * rate_b_s).abs() < 1.0,
        "{count:?}"
    );
    let (storage, lost) = outcome.faults.iter().find_map(|f| f.store).unwrap();
    assert_eq!((storage, lost.dropped_bytes), (StorageIx(0), 0.0));
    assert!(
        (lost.lost_bytes - count.lost_bytes).abs() < 1e-3,
        "{lost:?}"
    );
    // Begun at 0, 30, 70, 90 s, with the ear and at 120 s.
    assert_eq!((count.files_begun, count.files_closed), (6, 5));
}

/// Log entries of 300 kB and a store of 400 kB. The second entry takes all the room of the recordings and some that is not there: what the plan names
/// further goes, or the store takes nothing more. It never holds more than its capacity, and what came in is held, went or found no room.
#[test]
fn verif_a_store_that_overwrites_never_holds_more_than_its_capacity() {
    let with = |drop: &str, event: &str| {
        let more = format!("drop = [{drop}]\nlogs = {{ event = \"{event}\" }}");
        line_and_cues(&[(SENDS, &card(&more))], &[])
    };
    // Without a log: what is recorded in all.
    let (line, cues) = line_and_cues(&[(SENDS, &card("drop = [\"oldest-recordings\"]"))], &[]);
    let recorded = {
        let count = run(&line, &cues).0.stores[0];
        count.held_bytes + count.dropped_bytes + count.lost_bytes
    };
    for (drop, event, full_at_end) in [
        ("\"oldest-recordings\"", 300e3, true),
        ("\"oldest-recordings\"", 1e6, true),
        ("\"oldest-recordings\", \"logs\"", 300e3, false),
        ("\"logs\", \"oldest-recordings\"", 300e3, false),
        ("\"logs\", \"oldest-recordings\"", 1e6, false),
        ("\"nothing\"", 300e3, true),
        ("\"oldest-recordings\"", 50e3, false),
    ] {
        let (line, cues) = with(drop, &format!("{event} B"));
        let (outcome, records) = run(&line, &cues);
        let count = outcome.stores[0];
        let events = times(&records, |w| matches!(w, What::Event { .. })).len() as f64;
        assert!(events >= 2.0, "{events}");
        assert!(
            count.held_bytes <= 400_000.0 + 1e-3,
            "{drop} {event}: {count:?}"
        );
        let all = count.held_bytes + count.dropped_bytes + count.lost_bytes;
        assert!(
            (all - recorded - events * event).abs() < 1.0,
            "{drop} {event}: {all} {recorded} {events} {count:?}"
        );
        let full = times(&records, |w| matches!(w, What::StoreFull { .. }));
        assert_eq!(full.len(), usize::from(full_at_end), "{drop} {event}");
        if full_at_end {
            assert!(count.lost_bytes > 0.0, "{drop} {event}: {count:?}");
        }
    }
}

/// The card at the base takes what the ear's stream brings: ten packets a second of 800 bytes. While the cable is cut, from 90 s to 100 s, the ear has a supply of its own and
/// goes on, and nothing is recorded; nor while its module hangs. Files end at 30, 60, 90 and 120 s, and begin with the first packet.
#[test]
fn verif_a_store_on_another_module_takes_what_arrives() {
    let stream = "[stream.raw]\nfrom = \"module.ear.sensor.one\"\nto = \"module.base\"\nrate = \"64 kbit/s\"\npacket = \"800 B\"\npriority = 7\n\n[supply.own]\nat = \"module.ear\"\nkind = \"bench\"\noutput = { voltage = \"48 V\", resistance = \"0 ohm\" }\n\n[storage.card]\nat = \"module.base\"";
    let far = card("drop = [\"nothing\"]")
        .replace("[storage.card]\nat = \"module.ear\"", stream)
        .replace("400 kB", "4 MB");
    let bytes_of_packet = 800.0 * 240_116.0 / 240_000.0;
    let (line, cues) = line_and_cues(&[(SENDS, &far)], &[]);
    let (outcome, _) = run(&line, &cues);
    let (count, came) = (outcome.stores[0], &outcome.streams[0]);
    assert_eq!((came.sent, came.delivered), (1200, 1100));
    assert!(
        (count.held_bytes - 1100.0 * bytes_of_packet).abs() < 1.0,
        "{count:?}"
    );
    assert_eq!((count.files_begun, count.files_closed), (4, 4));
    assert_eq!(count.lost_bytes, 0.0);
    // It hangs from 50 s to 70 s, over the end of a file.
    let hang = "[fault.hang]\nkind = \"hang\"\nof = \"module.ear\"\nat = \"50 s\"\nuntil = \"70 s\"\n\n[fault.cut]";
    let (line, cues) = line_and_cues(&[(SENDS, &far)], &[("[fault.cut]", hang)]);
    let (outcome, _) = run(&line, &cues);
    let (count, came) = (outcome.stores[0], &outcome.streams[0]);
    assert!(came.delivered < 950, "{came:?}");
    assert!(
        (count.held_bytes - came.delivered as f64 * bytes_of_packet).abs() < 1.0,
        "{count:?}"
    );
    // Full after 499 packets, the next finds part of its room and the rest none.
    let small = far.replace("4 MB", "400 kB");
    let (line, cues) = line_and_cues(&[(SENDS, &small)], &[]);
    let (outcome, records) = run(&line, &cues);
    let count = outcome.stores[0];
    let full = times(&records, |w| matches!(w, What::StoreFull { .. }));
    assert!(
        full.len() == 1 && full[0] > 49.9 && full[0] < 50.0,
        "{full:?}"
    );
    let all = count.held_bytes + count.lost_bytes;
    assert!((count.held_bytes - 400_000.0).abs() < 1e-3, "{count:?}");
    assert!((all - 1100.0 * bytes_of_packet).abs() < 1.0, "{count:?}");
}
