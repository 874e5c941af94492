//! What is paid and what is stored, by arithmetic.

use assess::input::uplink_spec;
use assess::{Shelf, Status, Word, check};
use network::{Outcome, Uplink, UplinkEvent, UplinkMessage};
use plan::UplinkIx;
use timeline::Ns;

use crate::batteries::SUN;
use crate::support::{changed, checked, close, known, read, requirement, why_unknown};

const A_DAY: &str = "duration = \"1 d\"";
const SURE: &str = "success = \"100 %\"\n";

/// 12 a day for 30 days are 360 messages, at 0.12 EUR 43.20 EUR.
#[test]
fn val_cost_is_messages_times_price() {
    let check = checked(&[("0.10 EUR", "0.12 EUR")]);
    close(known(&check, "messages").value.value, 360.0, 0.0);
    close(known(&check, "messages").margin.value, 40.0, 0.0);
    let budget = known(&check, "budget");
    close(budget.value.value, 43.20, 1e-9);
    close(budget.margin.value, 6.80, 1e-9);
    assert_eq!(budget.value.unit, "EUR");
}

/// Attempts that fail, where they are billed. By hand: one each 15 s (a session of 5 s, a back-off of 10 s) is 172 801 in 30 d at most; a message that
/// lives 60 s is tried five times at most. On a line that is a day in the water nothing came before the 30 d: 360 of them fail 1800 times. On one that is in it for 60 d the 12 of the day before may
/// have waited: 372 fail 1860 times. As often again as they succeed, 10 cents each.
#[test]
fn val_failed_attempts_are_paid_where_the_plan_says_so() {
    let sure = "success = \"100 %\"\n";
    let of = |more: &str| checked(&[(sure, &format!("success = \"90 %\"\n{more}"))]);
    for (more, messages, words) in [
        (
            "failed_attempts = \"free\"\n",
            360.0,
            "failed attempts are free",
        ),
        (
            "failed_attempts = \"billed\"\n",
            173_161.0,
            "failed attempts are billed",
        ),
        (
            "failed_attempts = \"billed\"\nexpiry = \"60 s\"\n",
            2160.0,
            "at most 1800 for attempts that fail",
        ),
        (
            "failed_attempts = \"billed\"\nexpiry = \"60 s\"\n",
            2232.0,
            "at most 1860 for attempts that fail",
        ),
    ] {
        let tariff = format!("success = \"90 %\"\n{more}");
        let longer = (A_DAY, "duration = \"60 d\"");
        let check = match messages {
            2232.0 => checked(&[(sure, &tariff), longer]),
            _ => of(more),
        };
        close(known(&check, "messages").value.value, messages, 0.0);
        let budget = known(&check, "budget");
        close(budget.value.value, 0.1 * messages, 1e-9);
        assert!(budget.why.contains(words), "{more}: {}", budget.why);
    }
    // What is not said is judged both ways: 36 EUR of 50 free, 17,316.10 EUR billed.
    let open = of("");
    for (id, billed) in [("messages", "173161"), ("budget", "17316.1")] {
        let why = why_unknown(&open, id);
        assert!(
            why.contains(billed) && why.contains("write `failed_attempts`"),
            "{why}"
        );
    }
    let rich = checked(&[
        (sure, "success = \"90 %\"\n"),
        ("400 per 30 d", "200000 per 30 d"),
        ("50 EUR", "20000 EUR"),
    ]);
    close(known(&rich, "messages").value.value, 173_161.0, 0.0);
    assert_eq!(requirement(&rich, "budget").word(), Word::Met);
    let poor = checked(&[(sure, "success = \"90 %\"\n"), ("50 EUR", "20 EUR")]);
    assert_eq!(requirement(&poor, "budget").word(), Word::Broken);
    close(known(&poor, "budget").value.value, 36.0, 1e-9);
    let told = "uplink.shore: failed attempts count as free";
    let assumed = |more: &str| of(more).assumed.iter().any(|a| a.contains(told));
    assert!(assumed("") && !assumed("failed_attempts = \"free\"\n"));
    let never = checked(&[(sure, "success = \"100 %\"\nfailed_attempts = \"billed\"\n")]);
    close(known(&never, "messages").value.value, 360.0, 0.0);
    assert!(!known(&never, "budget").why.contains("failed"));
}

/// What waited as the month began is billed in it. By hand, of 12 a day on a line that is 240 d in the water: given up after 2 h they come from 30 d and 2 h, in which 31 spans of a day begin, so
/// 372; after 25 h from 31 d and 1 h, 384; with room for 5 they are 365; with neither any number may wait. On a line of 30 d and an hour what came in the hour before may have waited, though it may get older.
/// Where none fails each begins as long after its offer as its like of the day before may: 360.
#[test]
fn val_what_waited_as_the_month_began_is_billed_in_it() {
    let of = |more: &str, duration: &str| {
        let uplink = format!("success = \"90 %\"\nfailed_attempts = \"free\"\n{more}");
        checked(&[
            (SURE, &uplink),
            (A_DAY, &format!("duration = \"{duration}\"")),
        ])
    };
    for (more, duration, messages, said) in [
        ("expiry = \"2 h\"\n", "240 d", 372.0, "up to 2 h before"),
        ("expiry = \"25 h\"\n", "240 d", 384.0, "up to 25 h before"),
        (
            "room = 5\ngives_up = \"oldest\"\n",
            "240 d",
            365.0,
            "and 5 at most that waited",
        ),
        ("expiry = \"25 h\"\n", "721 h", 372.0, "up to 60 min before"),
        ("", "30 d", 360.0, "360 of behaviour.act"),
    ] {
        let check = of(more, duration);
        for (id, value) in [("messages", messages), ("budget", 0.1 * messages)] {
            close(known(&check, id).value.value, value, 1e-9);
            let why = &known(&check, id).why;
            assert!(why.contains(said), "{said}: {why}");
        }
    }
    let open = of("", "240 d");
    for id in ["messages", "budget"] {
        let why = why_unknown(&open, id);
        assert!(
            why.contains("any number may wait") && why.contains("write its `expiry` or its `room`"),
            "{why}"
        );
    }
    let months = (A_DAY, "duration = \"240 d\"");
    close(
        known(&checked(&[months]), "messages").value.value,
        360.0,
        0.0,
    );
    // A battery may take it off with what waits.
    let why = checked(&[SUN, months]);
    let why = why_unknown(&why, "messages");
    assert!(
        why.contains("supply.bench may take its module off"),
        "{why}"
    );
}

/// Messages of two sizes where none fails: 12 a day of one billed message and 12 of two, each kind at once, so that 24 sessions of 5 s are waited for by less than 2 min: 31 days begin in 30 d and
/// 115 s, 372 of each are 1116. With windows of 1 min each hour, twelve sessions each, the last of twelve waits for up to an hour: 372 too.
#[test]
fn val_messages_wait_for_each_other_and_for_windows() {
    const LARGE: &str = "[behaviour.large]\non = \"module.base\"\neach = \"1 min\"\nat_most = \"12 per d\"\ndo = [{ send_up = \"uplink.shore\", about = \"large\" }]\n[topic.large]\nsize = \"200 B\"\npriority = 3\n[behaviour.act]";
    let months = (A_DAY, "duration = \"240 d\"");
    let check = checked(&[months, ("[behaviour.act]", LARGE)]);
    close(known(&check, "messages").value.value, 1116.0, 0.0);
    let windows =
        format!("{SURE}windows = {{ first = \"0 s\", period = \"1 h\", width = \"1 min\" }}\n");
    let check = checked(&[months, (SURE, &windows)]);
    close(known(&check, "messages").value.value, 372.0, 0.0);
    let day = [A_DAY, "at_most = \"400 per 30 d\""];
    let check = checked(&[
        (SURE, &windows),
        (day[0], "duration = \"1 d\""),
        (day[1], "at_most = \"400 per d\""),
    ]);
    close(known(&check, "messages").value.value, 12.0, 0.0);
}

/// The queue of the uplink itself: twelve are offered an hour before the month, and twelve each day from then on; all attempts before the month fail, and none in it. It bills as many as the bound says.
#[test]
fn verif_the_queue_bills_in_a_month_what_waited_before_it() {
    const DAY: u64 = 86_400_000_000_000;
    const HOUR: u64 = DAY / 24;
    let uplink = "success = \"90 %\"\nfailed_attempts = \"free\"\nexpiry = \"2 h\"\n";
    let reading = read(&changed(&[(SURE, uplink), (A_DAY, "duration = \"240 d\"")]));
    let most = known(&check(&reading, &Shelf::default()), "messages")
        .value
        .value;
    let spec = uplink_spec(reading.line.as_ref().unwrap(), UplinkIx(0)).unwrap();
    let mut queue = Uplink::new(spec).unwrap();
    let (from, until) = (30 * DAY, 60 * DAY);
    let mut out = Vec::new();
    let mut step = |queue: &mut Uplink| {
        let fails = queue.next_time().is_some_and(|at| at.0 <= from);
        queue.step_asking(&mut out, |_| match fails {
            true => Outcome::Failed,
            false => Outcome::Arrived,
        });
    };
    for id in 0..12 * 32_u64 {
        let at = Ns(from - HOUR + id / 12 * DAY);
        while queue.next_time().is_some_and(|next| next < at) {
            step(&mut queue);
        }
        let message = UplinkMessage {
            id,
            bytes: 100,
            priority: 0,
        };
        queue.offer(at, message).unwrap();
    }
    while queue.next_time().is_some_and(|next| next.0 < until) {
        step(&mut queue);
    }
    let sent = out
        .iter()
        .filter(|e| matches!(e, UplinkEvent::Sent { at, .. } if at.0 >= from && at.0 < until));
    assert_eq!(sent.count() as f64, most);
}

/// A battery may take the module of an uplink off any number of times, and each time an attempt that breaks off may be billed: what is counted while it works on breaks a limit and keeps none. A
/// cap that stops keeps it: 600 EUR are 6000 messages of 10 cents.
#[test]
fn verif_failed_attempts_behind_a_battery_are_bounded_by_a_cap_alone() {
    let of = |more: &str, limit: &str| {
        let tariff = format!("success = \"90 %\"\nexpiry = \"60 s\"\n{more}");
        let budget = format!("at_most = \"{limit}\"");
        let more = [
            SUN,
            (A_DAY, "duration = \"60 d\""),
            ("success = \"100 %\"\n", tariff.as_str()),
            ("400 per 30 d", "9000 per 30 d"),
            ("at_most = \"50 EUR\"", budget.as_str()),
        ];
        checked(&more)
    };
    let billed = "failed_attempts = \"billed\"\n";
    let open = of(billed, "900 EUR");
    for (id, counted) in [("messages", "2232 messages"), ("budget", "223.2 EUR")] {
        let why = why_unknown(&open, id);
        for said in ["how often is not known", counted, "a `cap` that stops"] {
            assert!(why.contains(said), "{said}: {why}");
        }
    }
    let poor = of(billed, "200 EUR");
    close(known(&poor, "budget").value.value, 223.2, 1e-9);
    assert_eq!(requirement(&poor, "budget").word(), Word::Broken);
    let capped = format!("{billed}cap = \"600 EUR\"\nat_cap = \"stop\"\n");
    let kept = of(&capped, "900 EUR");
    for (id, at_cap) in [("messages", 6000.0), ("budget", 600.0)] {
        close(known(&kept, id).value.value, at_cap, 1e-9);
        let why = &known(&kept, id).why;
        assert!(why.ends_with("up to the cap"), "{why}");
        assert_eq!(requirement(&kept, id).word(), Word::Met);
    }
    let free = of("failed_attempts = \"free\"\n", "50 EUR");
    assert_eq!(requirement(&free, "budget").word(), Word::Met);
}

/// 200 bytes in messages of 120 bytes are two billed messages each: 720.
#[test]
fn val_a_payload_over_the_message_size_is_billed_in_parts() {
    let check = checked(&[("size = \"100 B\"", "size = \"200 B\"")]);
    close(known(&check, "messages").value.value, 720.0, 0.0);
    assert_eq!(requirement(&check, "messages").word(), Word::Broken);
    close(known(&check, "budget").value.value, 72.0, 1e-9);
    let exact = checked(&[("size = \"100 B\"", "size = \"120 B\"")]);
    close(known(&exact, "messages").value.value, 360.0, 0.0);
}

/// Rate = sampling rate times bytes times share over compression. 48 kHz of 24 bits are 144 000 B/s, 12.4416 GB a day; 96 kHz of 16
/// bits 16.5888; 96 kHz of 24 bits 24.8832; 192 kHz of 16 bits 33.1776; 384 kHz of 16 bits 66.3552. 1 TB lasts 80.38 d at the
/// first. (Arithmetic; 1 TB is 10^12 bytes.)
#[test]
fn val_storage_lasts_capacity_over_rate() {
    for (rate, bits, gb_a_day) in [
        ("48 kHz", 24, 12.4416),
        ("96 kHz", 16, 16.5888),
        ("96 kHz", 24, 24.8832),
        ("192 kHz", 16, 33.1776),
        ("384 kHz", 16, 66.3552),
    ] {
        let adc = format!("bits = {bits}, rate = \"{rate}\"");
        let check = checked(&[("bits = 16, rate = \"4 kHz\"", &adc)]);
        let card = known(&check, "card");
        close(card.value.value, 1000.0 / gb_a_day, 1e-9);
        assert!(
            card.why.contains(&format!("{gb_a_day:.3} GB a day")),
            "{}",
            card.why
        );
    }
    let check = checked(&[(
        "bits = 16, rate = \"4 kHz\"",
        "bits = 24, rate = \"48 kHz\"",
    )]);
    close(known(&check, "card").value.value, 80.38, 0.005);
}

/// A tenth kept free, half the time, compressed twice: 0.9 * 2 * 2 = 3.6 times as long.
#[test]
fn val_share_compression_and_what_is_kept_free_count() {
    let plain = known(&checked(&[]), "card").value.value;
    let check = checked(&[
        (
            "share = \"100 %\", compression = 1",
            "share = \"50 %\", compression = 2",
        ),
        (
            "capacity = \"1 TB\"",
            "capacity = \"1 TB\"\nkeep_free = \"10 %\"",
        ),
    ]);
    close(known(&check, "card").value.value / plain, 3.6, 1e-12);
}

/// The limit is the time in the water: 240 d and a recovery 12 weeks late are 324 d.
#[test]
fn val_storage_must_last_until_a_late_recovery() {
    let check = checked(&[(
        "duration = \"1 d\"",
        "duration = \"240 d\"\nrecovery_slip = \"12 wk\"",
    )]);
    close(known(&check, "card").limit.value, 324.0, 1e-9);
}

/// A broken `should` is shown, and does not make the plan broken; an unknown one leaves it unknown.
#[test]
fn verif_a_broken_should_does_not_count() {
    let size = ("size = \"100 B\"", "size = \"200 B\"");
    let night = "[requirement.night]\nthat = \"rehearsed\"\ncues = \"cues/night.toml\"\n";
    let messages = "[requirement.messages]\nthat = \"uplink-messages\"";
    let budget = "[requirement.budget]\nthat = \"uplink-cost\"";
    let should = |head: &str| format!("{head}\nmust = \"should\"");
    let status = |changes: &[(&str, &str)]| {
        let reading = read(&changed(changes));
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        check(&reading, &Shelf::default()).status()
    };
    assert_eq!(status(&[size, (night, "")]), Status::Broken);
    let both = [
        (night, String::new()),
        (messages, should(messages)),
        (budget, should(budget)),
    ];
    let mut both: Vec<(&str, &str)> = both.iter().map(|(a, b)| (*a, b.as_str())).collect();
    both.push(size);
    let softened = checked(&both);
    assert_eq!(requirement(&softened, "messages").word(), Word::Broken);
    assert_eq!(softened.status(), Status::Met);
    assert_eq!(status(&both[1..]), Status::Unknown);
}
